"""Distances between the lines of a family say how fast the spindle turns, wherever the family lies."""

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from shopmon.signals.comb.spacing import MOST_LINES, MOST_SUPPORT, differences, spacing_support, strongest
from shopmon.signals.comb.votes import CombVotes

WINDOW_S = 0.4
NEAR = np.exp(5e-4 * np.arange(-70, 71))


def _family(chatter_hz, step_hz, members=4):
    frequency_hz = chatter_hz + step_hz * np.arange(members)
    return frequency_hz, np.full(members, 28.0)


@settings(max_examples=80, deadline=None)
@given(
    rotation_hz=st.floats(25, 400),
    flutes=st.integers(1, 7),
    chatter_hz=st.floats(300, 2500),
    told_off=st.floats(-0.03, 0.03),
)
def test_a_family_gives_the_rotation_near_the_told_speed(rotation_hz, flutes, chatter_hz, told_off):
    step_hz = flutes * rotation_hz
    multiples = np.array([1, 2, 3]) * chatter_hz / step_hz
    assume(np.all(np.abs(multiples - np.rint(multiples)) * step_hz > np.array([1.1, 2.2, 3.3])))
    candidates_hz = rotation_hz * (1 + told_off) * NEAR
    support = spacing_support(candidates_hz, flutes, *_family(chatter_hz, step_hz), WINDOW_S)
    good = candidates_hz[support > support.max() - 1e-9]
    assert support.max() > 1.4
    assert good.min() * (1 - 6e-4) <= rotation_hz <= good.max() * (1 + 6e-4)


def test_sidebands_of_the_rotation_count_less_than_steps_of_tooth_passing():
    candidates_hz = 50.0 * NEAR
    teeth = spacing_support(candidates_hz, 4, *_family(1234.0, 200.0), WINDOW_S).max()
    turns = spacing_support(candidates_hz, 4, *_family(1234.0, 50.0), WINDOW_S).max()
    assert 0.3 < turns < 0.7 * teeth


@pytest.mark.parametrize("lines", [(), (1700.0,)])
def test_fewer_than_two_lines_say_nothing(lines):
    frequency_hz = np.array(lines)
    height_db = np.full(frequency_hz.size, 30.0)
    assert not spacing_support(50.0 * NEAR, 3, frequency_hz, height_db, WINDOW_S).any()
    assert not CombVotes(8.0, 500.0, None).of_spacing(frequency_hz, height_db).any()


def test_strangers_do_not_agree():
    frequency_hz, height_db = np.array([487.0, 1310.0, 1923.0]), np.full(3, 30.0)
    assert spacing_support(183.0 * NEAR, 3, frequency_hz, height_db, WINDOW_S).max() < 0.1 * MOST_SUPPORT


@settings(max_examples=50, deadline=None)
@given(heights_db=st.lists(st.floats(0, 60), min_size=2, max_size=30))
def test_the_few_strongest_are_taken_and_low_ones_hardly_count(heights_db):
    frequency_hz, height_db = strongest(100.0 * np.arange(1, len(heights_db) + 1), np.array(heights_db))
    assert frequency_hz.size <= MOST_LINES
    assert list(height_db) == sorted(height_db, reverse=True)
    assume(frequency_hz.size >= 2)
    apart_hz, worth = differences(frequency_hz, height_db)
    assert np.all(apart_hz > 0)
    assert worth.min() >= 0 and worth.sum() <= frequency_hz.size - 1 + 1e-9


def test_over_all_speeds_a_family_speaks_for_its_step_and_parts_of_it():
    votes = CombVotes(8.0, 500.0, None)
    spacing = votes.of_spacing(*_family(1033.0, 364.0, 3))
    for part in (1, 2, 3):
        assert spacing[votes.index(364.0 / part)] > 0.8
    assert np.median(spacing) < 0.1


@settings(max_examples=40, deadline=None)
@given(pitch_hz=st.floats(70, 400), first=st.integers(1, 6))
def test_overtones_of_one_tone_are_no_family(pitch_hz, first):
    orders = np.arange(first, first + 5)
    _, worth = differences(pitch_hz * orders, np.full(5, 30.0))
    assert worth.sum() < 0.6

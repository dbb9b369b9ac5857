"""Lines that step by the rotation, and are another comb all the same."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopmon.listening.chatter.other_comb import (
    ANY_PARTS,
    BEYOND_FAMILY_NATS,
    SURE_NATS,
    SURE_OF_STRANGERS_NATS,
    ReadLines,
    comb_shares,
    family_nats,
    part_comb_nats,
    strangers_comb_nats,
    whole_comb_nats,
)
from shopmon.listening.events import ChatterStarted
from tests.listening.hearing import listen, of
from tests.listening.synthetic import RATE_HZ, comb, gate, machine, tone

WINDOW_S = 0.4


def read(*frequency_hz):
    """Lines as the listener has them, all of them clear."""
    frequency_hz = np.array(frequency_hz)
    level_db = np.full(frequency_hz.size, -40.0)
    read_hz = 0.06 / WINDOW_S + 3e-4 * frequency_hz
    return ReadLines(frequency_hz, level_db, read_hz, np.ones(frequency_hz.size, bool))


def nats_of_part(lines, rotation_hz):
    return part_comb_nats(
        lines, lines.in_steps(rotation_hz) | np.eye(len(lines.clear), dtype=bool), rotation_hz
    )


@given(
    rotation_hz=st.floats(40, 300),
    part=st.sampled_from([(1, 2), (1, 3), (2, 3), (1, 4), (3, 4)]),
    first=st.integers(0, 6),
    count=st.integers(2, 6),
    misread=st.floats(-0.05, 0.05),
)
def test_lines_on_a_part_of_the_rotation_are_another_comb(rotation_hz, part, first, count, misread):
    orders = first + np.arange(count) + part[0] / part[1]
    lines = read(*(orders * rotation_hz + misread))
    assert (nats_of_part(lines, rotation_hz) > SURE_NATS).all()


@given(
    rotation_hz=st.floats(40, 300),
    away=st.floats(4.0, 8.0),
    part=st.sampled_from([1 / 2, 1 / 3, 1 / 4]),
    first=st.integers(2, 6),
    count=st.integers(2, 6),
)
def test_a_family_that_comes_no_nearer_than_it_is_read_is_chatter(rotation_hz, away, part, first, count):
    orders = first + np.arange(count) + part
    away_hz = away * read(*(orders * rotation_hz)).read_hz.max()
    offset_hz = (part * rotation_hz + away_hz) % rotation_hz
    others_hz = rotation_hz * np.array([0, 1 / 4, 1 / 3, 1 / 2, 2 / 3, 3 / 4, 1])
    if np.abs(offset_hz - others_hz).min() > 0.99 * away_hz:
        assert (nats_of_part(read(*(orders * rotation_hz + away_hz)), rotation_hz) < SURE_NATS).all()


def strangers(lines, rotation_hz):
    return strangers_comb_nats(comb_shares(lines, rotation_hz), lines, lines.in_steps(rotation_hz))


def test_a_comb_of_strangers_takes_the_line_along_that_has_a_relative_by_chance():
    rotation_hz = 233.97
    neighbour = 70.15 * np.arange(1, 13)
    lines = read(*neighbour)
    assert (
        strangers_comb_nats(comb_shares(lines, rotation_hz), lines, lines.in_steps(rotation_hz))
        > SURE_OF_STRANGERS_NATS
    ).all()


@given(
    chatter_hz=st.floats(900, 3000),
    rotation_hz=st.floats(80, 300),
    flutes=st.integers(2, 4),
    hum=st.booleans(),
)
def test_a_family_is_no_comb_of_strangers(chatter_hz, rotation_hz, flutes, hum):
    """Even beside hum, and where it happens to be a multiple of something: relatives do not count."""
    steps = np.arange(-2, 3) * flutes * rotation_hz
    family = np.abs(chatter_hz + steps)
    others = [100.0, 200.0, 300.0] if hum else []
    lines = read(*family, *others)
    nats = strangers_comb_nats(comb_shares(lines, rotation_hz), lines, lines.in_steps(rotation_hz))[
        : family.size
    ]
    on_hum = np.abs(family - 50 * np.rint(family / 50)) < 2 * lines.read_hz[: family.size] + 0.5
    assert (nats[~on_hum] < SURE_OF_STRANGERS_NATS).all()


def rather_a_comb(lines, rotation_hz, flutes=None):
    related = family_nats(lines, rotation_hz, flutes) + BEYOND_FAMILY_NATS
    return whole_comb_nats(comb_shares(lines, rotation_hz), lines) > np.maximum(
        related, SURE_OF_STRANGERS_NATS
    )


@pytest.mark.parametrize(
    ("rotation_hz", "own_hz"), [(12.13, 279.5), (22.21, 253.37), (8.67, 233.7), (16.2, 149.3)]
)
def test_at_a_strangers_slow_rotation_our_own_teeth_are_no_family(rotation_hz, own_hz):
    """Twelve turns a second leave hardly a line that is no relative; but they are multiples of one."""
    lines = read(*(own_hz * np.array([2, 3, 6, 7, 8, 9, 10])))
    assert rather_a_comb(lines, rotation_hz).all()


@pytest.mark.parametrize("first", [12, 15, 23])
def test_high_lines_of_our_own_teeth_are_known_by_their_distance(first):
    """A stranger's seventeen turns a second are followed, and the low lines of ours lie beside its own."""
    lines = read(*(239.0 * (first + np.array([3, 1, 2, 0, 4, 5]))))
    assert rather_a_comb(lines, 17.05, 2).all()


@pytest.mark.parametrize("flutes", [5, 6, 7])
def test_runout_of_a_slow_spindle_whose_tooth_passing_was_taken_for_the_rotation_is_no_chatter(flutes):
    rotation_hz = 17.7
    runout = np.array([flutes - 1, 2 * flutes - 1, 3 * flutes - 1]) * rotation_hz
    lines = read(*runout)
    members = lines.in_steps(flutes * rotation_hz) | np.eye(3, dtype=bool)
    assert (part_comb_nats(lines, members, flutes * rotation_hz, ANY_PARTS) > SURE_NATS).all()


@given(
    chatter_hz=st.floats(600, 3000),
    rotation_hz=st.floats(8, 300),
    flutes=st.integers(1, 5),
    known=st.booleans(),
    reach=st.integers(1, 3),
)
def test_a_family_is_no_comb_though_it_were_one_by_chance(chatter_hz, rotation_hz, flutes, known, reach):
    family_hz = np.abs(chatter_hz + np.arange(-reach, reach + 1) * flutes * rotation_hz)
    away_hz = np.abs(family_hz - rotation_hz * np.rint(family_hz / rotation_hz))
    lines = read(*family_hz)
    # what lies on a line of the rotation itself is none of the stray ones
    if away_hz.min() > 4 * lines.read_hz.max():
        assert not rather_a_comb(lines, rotation_hz, flutes if known else None).any()


@pytest.mark.parametrize("ratio", [0.5, 1.5, 4 / 3, 0.75])
def test_a_neighbour_that_starts_at_a_simple_ratio_is_no_chatter(ratio):
    rotation_hz = 120.0
    sound = machine(seconds=9.0, rotation_hz=rotation_hz, engaged=((3.0, 8.5),), flutes=4)
    neighbour = comb(ratio * rotation_hz, 9.0, flutes=3, level=0.08, seed=5)
    sound = sound + gate(9.0, ((5.0, 8.0),)) * neighbour
    assert not of(ChatterStarted, listen(sound, RATE_HZ, rpm=60 * rotation_hz, flutes=4))


def test_period_doubling_of_three_flutes_is_still_chatter():
    rotation_hz, doubled = 110.0, 9.0
    sound = machine(seconds=doubled, rotation_hz=rotation_hz, engaged=((3.0, 8.5),), flutes=3)
    family = sum(tone(order * rotation_hz, doubled, 0.06) for order in (4.5, 7.5, 10.5, 13.5))
    events = listen(sound + gate(doubled, ((5.0, 8.0),)) * family, RATE_HZ, rpm=60 * rotation_hz, flutes=3)
    (started,) = of(ChatterStarted, events)
    assert 5.0 * RATE_HZ < started.sample < 6.5 * RATE_HZ
    assert started.chatter.kind == "period-doubling"

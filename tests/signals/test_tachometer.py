"""Pulses of a tachometer: kept in a column, repaired, and never believed beyond what they say."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopmon.signals.sensors.tachometer import edge_codes, edge_places, turns_of

RATE_HZ = 26_667.0


def pulses(rotation_hz, turns, start=10.0):
    return start + np.arange(turns) * RATE_HZ / rotation_hz


@given(
    st.lists(st.floats(0, 999.999), max_size=30, unique_by=lambda edge: int(edge)),
    st.sampled_from(["int16", "int24"]),
    st.integers(0, 10**9),
)
def test_a_column_keeps_the_pulses(edges, code_format, first):
    column = edge_codes(edges, 1000, code_format)
    places = edge_places(column, first)
    assert len(places) == len(edges)
    assert places - first == pytest.approx(sorted(edges), abs=0.01)


def test_pulses_outside_are_left_out_and_one_sample_holds_the_first():
    column = edge_codes([-0.5, 3.2, 3.9, 10.0], 10, "int16")
    assert np.flatnonzero(column).tolist() == [3]
    assert edge_places(column)[0] == pytest.approx(3.2, abs=0.01)


@given(st.floats(5, 1000), st.integers(8, 60))
def test_even_pulses_give_the_rotation(rotation_hz, turns):
    found = turns_of(pulses(rotation_hz, turns), RATE_HZ)
    assert found.rotation_hz == pytest.approx(rotation_hz, rel=1e-9)
    assert (found.missing, found.doubled, found.per_turn) == (0, 0, 1)


@given(st.integers(0, 999), st.integers(1, 6), st.integers(1, 6))
def test_missing_and_double_pulses_are_repaired(seed, missing, doubled):
    rng = np.random.default_rng(seed)
    true = pulses(200.0, 60) + rng.normal(0, 0.3, 60)
    lacking = rng.choice(np.arange(3, 57, 4), missing, replace=False)
    kept = np.delete(true, lacking)
    bounced = rng.choice(kept[1:-1], doubled, replace=False)
    bounces = bounced + rng.uniform(1.0, 25.0, doubled)
    found = turns_of(np.sort(np.concatenate([kept, bounces])), RATE_HZ)
    assert found.rotation_hz == pytest.approx(200.0, rel=1e-3)
    assert found.missing == missing
    assert found.doubled == doubled


@given(st.integers(0, 999), st.floats(0.03, 0.3))
def test_a_bounce_after_every_pulse(seed, share):
    turn = RATE_HZ / 150.0
    true = pulses(150.0, 40)
    rng = np.random.default_rng(seed)
    bounces = true + share * turn + rng.normal(0, 0.02, true.size)
    found = turns_of(np.sort(np.concatenate([true, bounces])), RATE_HZ)
    assert found.rotation_hz == pytest.approx(150.0, rel=1e-3)


@pytest.mark.parametrize("apart", [0.55, 0.62, 0.7])
def test_two_marks_at_unequal_distance_are_told(apart):
    first = pulses(150.0, 20)
    second = first + apart * RATE_HZ / 150.0
    found = turns_of(np.sort(np.concatenate([first, second])), RATE_HZ)
    assert found.rotation_hz == pytest.approx(150.0, rel=1e-6)
    assert found.per_turn == 2


def test_a_ramp_is_no_fault():
    turn = RATE_HZ / np.linspace(100.0, 130.0, 40)
    found = turns_of(10 + np.cumsum(turn), RATE_HZ)
    assert 100 < found.rotation_hz < 130
    assert (found.missing, found.doubled, found.per_turn) == (0, 0, 1)


@pytest.mark.parametrize("seed", range(20))
def test_noise_is_no_rotation(seed):
    places = np.sort(np.random.default_rng(seed).uniform(0, RATE_HZ, 60))
    assert turns_of(places, RATE_HZ).rotation_hz is None


@pytest.mark.parametrize("count", range(4))
def test_too_few_pulses_say_nothing(count):
    assert turns_of(pulses(100.0, count), RATE_HZ).rotation_hz is None

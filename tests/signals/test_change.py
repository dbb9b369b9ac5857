"""Trends with and without a change, and how often an alarm is false."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopmon.errors import SettingError
from shopmon.signals.spindle.change import SCATTER_FLOOR_DB, decision_interval, find_change

EVERY = 250.0


def readings(count, shift_db=0.0, at=None, scatter=1.0, seed=0):
    values = np.random.default_rng(seed).normal(-20.0, scatter, count)
    if at is not None:
        values[at:] += shift_db
    return values


@pytest.mark.parametrize(("interval", "length"), [(4.0, 168.0), (5.0, 465.0)])
def test_the_interval_is_the_textbooks(interval, length):
    """Average run lengths of a two-sided CUSUM with k = 0.5 (D. C. Montgomery, Introduction to Statistical
    Quality Control; from memory): h = 4 gives 168, h = 5 gives 465.
    """
    assert decision_interval(length) == pytest.approx(interval, abs=0.03)


def test_false_alarms_come_as_rarely_as_stated():
    """In 60 readings without a change an alarm every 250 makes about one series in five alarm."""
    alarms = sum(find_change(readings(60, seed=seed), EVERY).verdict == "changed" for seed in range(400))
    expected = 1 - np.exp(-60 / EVERY)
    assert alarms / 400 < expected + 0.06


def test_a_step_of_two_scatters_is_found_and_dated():
    late, shifts = [], []
    for seed in range(60):
        found = find_change(readings(36, 2.5, at=18, seed=seed), EVERY)
        if found.verdict == "changed":
            late.append(found.since - 18)
            shifts.append(found.shift_db)
    assert len(late) > 45
    assert abs(np.median(late)) <= 2
    assert np.median(shifts) == pytest.approx(2.5, abs=0.8)


def test_a_slow_rise_is_found():
    values = readings(52) + np.r_[np.zeros(20), np.linspace(0, 6, 32)]
    assert find_change(values, EVERY).verdict == "changed"


def test_a_fall_is_a_change_too():
    found = find_change(readings(40, -4.0, at=20), EVERY)
    assert found.verdict == "changed" and found.shift_db < -2


def test_few_readings_tell_nothing():
    assert find_change([], EVERY).verdict == "cannot tell"
    assert find_change([-20.0], EVERY).shift_db is None
    assert find_change([-20.0, -20.1, -20.0], EVERY).verdict == "cannot tell"
    assert find_change([-20.0, -20.1, -20.0, -20.05], EVERY).verdict == "as it was"


def test_one_odd_reading_is_no_change():
    values = readings(30, scatter=0.5)
    values[20] += 15.0
    assert find_change(values, EVERY).verdict == "as it was"


@given(st.floats(-60, 60), st.integers(0, 100))
def test_the_level_itself_does_not_matter(offset, seed):
    values = readings(25, 2.0, at=12, seed=seed)
    one, other = find_change(values, EVERY), find_change(values + offset, EVERY)
    assert (one.verdict, one.since) == (other.verdict, other.since)


def test_readings_that_hardly_scatter_do_not_make_a_hair_a_change():
    values = [-20.0] * 10 + [-20.0 + SCATTER_FLOOR_DB / 3] * 5
    assert find_change(values, EVERY).verdict == "as it was"


def test_what_cannot_be_is_refused():
    with pytest.raises(SettingError):
        find_change([1.0, float("nan")], EVERY)
    with pytest.raises(SettingError):
        decision_interval(1.0)

"""Amplitude and phase at once per turn from a rotating mass, through a housing that answers as it likes."""

from cmath import rect
from math import radians

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shopmon.signals.sensors.tachometer import pulses_in, speed_along, turn_numbers
from shopmon.signals.spindle.balance import imbalance, left_over
from shopmon.signals.spindle.once_per_turn import once_per_turn

RATE, ROTATION, SECONDS = 6_400.0, 61.37, 2.5
ANSWER_SIZE, ANSWER_LAG = 0.02, 1.9


def run(weights, seed=0, wander=0.002, drop=(), noise=0.02, mark=0.2):
    """Return vibration and pulses of a shaft with weights (g mm, degrees behind the mark)."""
    rng = np.random.default_rng(seed)
    t = np.arange(int(SECONDS * RATE)) / RATE
    turns = ROTATION * (t + wander * np.sin(2 * np.pi * 0.6 * t) / (2 * np.pi * 0.6)) - mark
    x = noise * rng.standard_normal(t.size)
    for size, behind in weights:
        # a mass behind the mark points to the sensor that much later; the housing answers with its own lag
        x += size * ANSWER_SIZE * np.cos(2 * np.pi * turns - radians(behind) - ANSWER_LAG)
    x += (
        0.3 * np.cos(4 * np.pi * turns + 1)
        + 0.2 * np.cos(6 * np.pi * turns)
        + 0.1 * np.sin(2 * np.pi * 50 * t)
    )
    whole = np.arange(np.ceil(turns[0]), turns[-1])
    return x, np.delete(np.interp(whole, turns, np.arange(t.size)), list(drop))


def measured(weights, **options):
    found = once_per_turn(*[(x := run(weights, **options))[0]], RATE, x[1])
    return (found.amplitude, found.phase_deg), found


def test_amplitude_phase_and_their_error():
    (amplitude, phase), found = measured([(37.0, 250.0)])
    assert amplitude == pytest.approx(37 * ANSWER_SIZE, rel=0.01)
    assert phase == pytest.approx((250 + np.degrees(ANSWER_LAG)) % 360, abs=1.0)
    assert found.rotation_hz == pytest.approx(ROTATION, rel=2e-3)
    assert 0 < found.error < 0.02 * amplitude


@settings(deadline=None)
@given(st.floats(5, 80), st.floats(0, 359), st.floats(0, 359))
def test_a_known_imbalance_is_found_and_a_correction_leaves_little(size, behind, trial_deg):
    trial = 40.0
    before, _ = measured([(size, behind)], seed=1)
    with_trial, _ = measured([(size, behind), (trial, trial_deg)], seed=2, mark=0.7)
    found = imbalance(before, with_trial, trial, trial_deg)
    off = abs(rect(found.unbalance_g_mm, radians(found.angle_deg)) - rect(size, radians(behind)))
    assert off < 0.02 * (size + trial)
    after, _ = measured([(size, behind), (found.unbalance_g_mm, found.angle_deg + 180)], seed=3)
    assert left_over(after, before, with_trial, trial, trial_deg).unbalance_g_mm < 0.03 * (size + trial)


def test_lost_pulses_do_no_harm_and_two_marks_have_no_phase():
    whole, dropped = measured([(37.0, 20.0)])[0], measured([(37.0, 20.0)], drop=[10, 11, 90])[0]
    assert dropped == pytest.approx(whole, rel=0.01)
    x, places = run([(37.0, 20.0)])
    doubled = np.sort(np.concatenate([places, places[:-1] + 0.4 * np.diff(places)]))
    assert once_per_turn(x, RATE, doubled) is None
    assert once_per_turn(x, RATE, places[:20]) is None and once_per_turn(x, RATE, np.empty(0)) is None


def test_the_error_of_an_imbalance_is_about_its_scatter():
    found = []
    for seed in range(30):
        first = measured([(20.0, 70.0)], seed=seed, noise=0.5)
        second = measured([(20.0, 70.0), (30.0, 0.0)], seed=100 + seed, noise=0.5)
        found.append(imbalance(first[0], second[0], 30.0, errors=(first[1].error, second[1].error)))
    there = np.array([rect(each.unbalance_g_mm, radians(each.angle_deg)) for each in found])
    scatter = np.sqrt(np.mean(np.abs(there - rect(20.0, radians(70.0))) ** 2))
    assert 0.6 < np.mean([each.error_g_mm for each in found]) / scatter < 1.6


@pytest.mark.parametrize("height", [(0.0, 5.0), (-0.1, 0.1), (3.3, 0.0)])
def test_pulses_of_a_voltage_are_found_between_samples(height):
    t = np.arange(20_000)
    turns = t / 203.7
    rise = np.clip((turns % 1) * 40, 0, 1) * ((turns % 1) < 0.3)
    low, high = height
    places = pulses_in(low + (high - low) * rise + 0.001 * np.random.default_rng(0).standard_normal(t.size))
    assert np.diff(places) == pytest.approx(203.7, abs=1.0)
    assert turn_numbers(places)[1][-1] == places.size - 1


def test_a_column_of_the_monitor_and_one_without_pulses():
    column = np.zeros(1000)
    column[[10, 210, 410]] = [3e-8, 1e-8, 2e-8]
    assert pulses_in(column).tolist() == [10, 210, 410]
    assert pulses_in(np.zeros(1000)).size == 0 and pulses_in(np.ones(1000)).size == 0


def test_the_speed_of_a_run_up_is_followed_from_turn_to_turn():
    t = np.arange(0, 20, 1e-4)
    turns = 50 * t + 2.5 * t**2
    places = np.interp(np.arange(1, turns[-1]), turns, t) * RATE
    at_s, hz = speed_along(np.delete(places, [100, 500]), RATE)
    assert hz == pytest.approx(50 + 5 * at_s, rel=1e-3)

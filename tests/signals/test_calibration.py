"""Calibration: what a turned-over sensor and a calibrator's tone say, and every way they can be wrong."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopmon.signals.sensors.calibration import (
    PLACES,
    from_level,
    from_sensitivity_db,
    level_in,
    resting,
    turn_over,
)

RATE_HZ = 3200.0
IDEAL = np.eye(3) / 16.0


def places_of(matrix=IDEAL, offset=(0.0, 0.0, 0.0), noise=2e-4, seed=0):
    """A sensor of which `matrix` times gravity gives shares of full scale, in all six places."""
    rng = np.random.default_rng(seed)
    found = {}
    for number, name in enumerate(PLACES):
        gravity = np.zeros(3)
        gravity[number // 2] = 1.0 if number % 2 == 0 else -1.0
        mean = np.asarray(matrix) @ gravity + offset
        found[name] = resting(mean + rng.normal(0, noise, (4800, 3)), RATE_HZ)
    return found


@given(st.tuples(*[st.floats(2, 16)] * 3), st.tuples(*[st.floats(-0.02, 0.02)] * 3), st.integers(0, 50))
def test_scale_and_offset_come_back(scales, offset, seed):
    found = turn_over(places_of(np.diag(1 / np.array(scales)), offset, 1e-4, seed))
    assert found.g_per_full_scale == pytest.approx(scales, rel=1e-2)
    assert found.offset_g == pytest.approx(np.array(offset) * scales, abs=0.02)
    assert max(found.residual_g) < 0.02


def test_the_residual_is_what_a_tilt_leaves():
    tilt = np.radians(3.0)
    turned = np.array([[np.cos(tilt), np.sin(tilt), 0], [-np.sin(tilt), np.cos(tilt), 0], [0, 0, 1.0]]) / 16
    found = turn_over(places_of(turned, noise=0))
    # the cross-talk of 3 degrees, in two of six places
    assert found.residual_g[:2] == pytest.approx([np.tan(tilt) / np.sqrt(3)] * 2, rel=0.02)


def test_a_wrong_scale_is_said():
    found = turn_over(places_of(IDEAL * 0.3), stated_g=(16.0, 16.0, 16.0))
    assert found.g_per_full_scale == pytest.approx([16 / 0.3] * 3, rel=1e-2)
    assert len(found.remarks) == 3
    assert "gravity on axis x reads 0.30 g" in found.remarks[0]
    assert turn_over(places_of(), stated_g=(16.0, 16.0, 16.0)).remarks == ()


def test_swapped_axes_are_said():
    swapped = IDEAL[[1, 0, 2]]
    with pytest.raises(ValueError, match="axes are exchanged: turning x over moves axis y"):
        turn_over(places_of(swapped))


@pytest.mark.parametrize("axis", range(3))
def test_a_stuck_axis_is_said(axis):
    stuck = IDEAL.copy()
    stuck[axis] = 0
    with pytest.raises(ValueError, match=f"axis {'xyz'[axis]} is stuck"):
        turn_over(places_of(stuck, noise=0))


def test_an_axis_that_points_the_other_way_is_said_and_kept():
    found = turn_over(places_of(np.diag([1, -1, 1]) / 16))
    assert found.g_per_full_scale == pytest.approx([16.0] * 3, rel=1e-2)
    assert any("y points the other way" in remark for remark in found.remarks)


def test_movement_and_missing_places_are_refused():
    places = places_of()
    wobble = np.sin(2 * np.pi * 0.7 * np.arange(4800) / RATE_HZ)[:, None] * [0.02, 0, 0]
    with pytest.raises(ValueError, match="moved while it lay with z up"):
        turn_over({**places, "z up": resting(np.array([0, 0, 1 / 16]) + wobble, RATE_HZ)})
    del places["x down"]
    with pytest.raises(ValueError, match="still missing: x down"):
        turn_over(places)
    with pytest.raises(ValueError, match="no axis answers"):
        turn_over(places_of(np.zeros((3, 3)), noise=0))


def tone(level, hz=1000.0, seconds=3.0, rate_hz=48_000.0):
    return level * np.sin(2 * np.pi * hz * np.arange(round(seconds * rate_hz)) / rate_hz)


def test_a_calibrators_tone():
    """94 dB re 20 µPa is 1.0024 Pa (r.m.s.)."""
    pascals = from_level(tone(0.05), 48_000.0)
    assert pascals == pytest.approx(1.00237 / (0.05 / np.sqrt(2)), rel=1e-4)
    level_db = 20 * np.log10(0.05 / np.sqrt(2))
    assert level_in("Pa", pascals, level_db) == pytest.approx(94.0, abs=1e-6)
    assert from_level(tone(0.05), 48_000.0, 114.0) == pytest.approx(10 * pascals)


def test_the_sensitivity_of_a_sheet_counts_the_peak():
    """A digital microphone of −26 dB re full scale at 94 dB: a full-scale sine is 120 dB (data sheets)."""
    full_scale_sine_db = 20 * np.log10(1 / np.sqrt(2))
    assert level_in("Pa", from_sensitivity_db(-26.0), full_scale_sine_db) == pytest.approx(120.0, abs=0.01)


@pytest.mark.parametrize(
    ("samples", "text"),
    [
        (tone(1.0), "overloaded"),
        (tone(1e-6), "nothing is heard"),
        (tone(0.05) * np.linspace(1.0, 0.8, 144_000), "wavers"),
        (np.random.default_rng(0).normal(0, 0.05, 144_000), "no clear tone"),
        (tone(0.05) + np.random.default_rng(0).normal(0, 0.05, 144_000), "no clear tone"),
    ],
)
def test_a_bad_tone_is_refused(samples, text):
    with pytest.raises(ValueError, match=text):
        from_level(samples, 48_000.0)


@pytest.mark.parametrize("value", [0.0, 10.0, -300.0, float("nan")])
def test_an_absurd_sensitivity_is_refused(value):
    with pytest.raises(ValueError):
        from_sensitivity_db(value)


def test_a_sensor_that_only_rustles_has_no_axes_to_exchange():
    rng = np.random.default_rng(1)
    places = {name: resting(2e-4 * rng.standard_normal((12_000, 3)), 8000.0) for name in PLACES}
    with pytest.raises(ValueError, match="no axis answers"):
        turn_over(places)

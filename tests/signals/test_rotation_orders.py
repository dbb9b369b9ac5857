"""Levels at multiples of a rotation, and velocity from acceleration."""

import numpy as np
import pytest

from shopmon.errors import RecordingError
from shopmon.signals.spindle.rotation_orders import order_amplitudes, refine_rotation, velocity_rms_mm_s

RATE = 8000.0


def run(rotation_hz, amplitudes, seconds=2.0):
    t = np.arange(int(RATE * seconds)) / RATE
    return sum(a * np.cos(2 * np.pi * k * rotation_hz * t + k) for k, a in enumerate(amplitudes, 1))


@pytest.mark.parametrize("rotation_hz", [50.0, 41.37, 83.21])
def test_amplitudes_read_right_on_and_off_the_bins(rotation_hz):
    wanted = [1.0, 0.25, 0.02]
    found = order_amplitudes(run(rotation_hz, wanted), RATE, rotation_hz, 3)
    assert found == pytest.approx(wanted, rel=2e-3)


def test_the_rotation_is_refined_within_a_bin():
    assert refine_rotation(run(41.37, [1.0, 0.3]), RATE, 41.1) == pytest.approx(41.37, abs=0.03)


def test_orders_above_what_the_sensor_hears_are_left_out():
    assert order_amplitudes(run(1500.0, [1.0]), RATE, 1500.0, 10).size == 2


def test_too_few_turns_are_refused():
    with pytest.raises(RecordingError):
        order_amplitudes(np.zeros(300), RATE, 50.0, 3)


# v = a / (2 pi f): 1 g r.m.s. is 15.6078 mm/s at 100 Hz (arithmetic, g = 9.80665 m/s²)
@pytest.mark.parametrize(("frequency", "mm_s"), [(100.0, 15.6078), (159.155, 9.80665)])
def test_velocity_of_one_g(frequency, mm_s):
    t = np.arange(40_000) / RATE
    wave = np.sqrt(2) * np.sin(2 * np.pi * frequency * t)
    assert velocity_rms_mm_s(wave, RATE) == pytest.approx(mm_s, rel=2e-3)


def test_velocity_leaves_out_what_lies_outside_the_band():
    t = np.arange(40_000) / RATE
    assert velocity_rms_mm_s(np.sin(2 * np.pi * 2 * t) + np.sin(2 * np.pi * 3000 * t), RATE) < 0.05

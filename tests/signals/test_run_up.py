"""Run-ups of systems that are known: the speed is followed, and what rings is found where it is."""

from functools import cache

import numpy as np
import pytest

from shopmon.errors import RecordingError, SettingError
from shopmon.signals.spindle.resonances import Resonance, find_resonances, speeds_to_avoid
from shopmon.signals.spindle.run_up import follow_speed, run_up
from tests.run_ups import RATE, ramp, sound, stairs

LOW, HIGH = 3000.0, 15_000.0
TWO = ((640.0, 0.03, 1.0), (1130.0, 0.02, 0.7))


@cache
def judged(speed, modes, **options):
    rotation = speed(LOW, HIGH)
    samples = sound(rotation, modes, **options)
    track = follow_speed(samples, RATE, LOW, HIGH)
    run = run_up(samples, RATE, track)
    return rotation, track, run, find_resonances(run)


@pytest.mark.parametrize("speed", [ramp, stairs])
def test_the_speed_is_followed(speed):
    rotation, track, _, _ = judged(speed, TWO)
    true = rotation[(track.time_s * RATE).astype(int)]
    assert np.percentile(np.abs(track.rotation_hz / true - 1), 95) < 0.006


def test_a_stated_speed_that_is_off_does_no_harm():
    rotation = 0.98 * ramp(LOW, HIGH)
    track = follow_speed(sound(rotation, TWO), RATE, LOW, HIGH)
    true = rotation[(track.time_s * RATE).astype(int)]
    assert np.median(np.abs(track.rotation_hz / true - 1)) < 0.003


@pytest.mark.parametrize("speed", [ramp, stairs])
def test_what_rings_is_found_where_it_is(speed):
    _, _, _, found = judged(speed, TWO)
    assert [mode.frequency_hz for mode in found] == pytest.approx([640.0, 1130.0], rel=0.01)
    for mode, (_, damping, _) in zip(found, TWO, strict=True):
        assert damping / 1.7 < mode.damping_ratio < 1.7 * damping
        assert len(mode.orders) >= 2


def test_two_that_are_near_each_other():
    found = judged(ramp, ((640.0, 0.02, 1.0), (700.0, 0.02, 1.0)))[3]
    assert [mode.frequency_hz for mode in found] == pytest.approx([640.0, 700.0], rel=0.015)


def test_where_nothing_rings_nothing_is_named():
    """Neither mains nor a fan that is there at every speed, nor a speed at which everything gets louder."""
    assert judged(ramp, ((12.0, 0.5, 1.0),))[3] == ()
    assert judged(ramp, ((12.0, 0.5, 1.0),), louder_at=9000.0)[3] == ()


def test_an_order_keeps_its_amplitude_however_the_speed_moves():
    rotation = ramp(LOW, HIGH)
    samples = 0.7 * np.sin(3 * 2 * np.pi * np.cumsum(rotation) / RATE)
    samples += 1e-3 * np.random.default_rng(0).standard_normal(samples.size)
    samples += 0.7 * np.sin(2 * np.pi * np.cumsum(rotation) / RATE)
    run = run_up(samples, RATE, follow_speed(samples, RATE, LOW, HIGH), orders=5)
    assert np.median(run.amplitudes[:, 2]) == pytest.approx(0.7, rel=0.03)
    assert np.median(run.amplitudes[:, 1]) < 0.02


def test_a_microvolt_or_a_volt_is_the_same():
    samples = sound(ramp(LOW, HIGH), TWO)
    one = find_resonances(run_up(samples, RATE, follow_speed(samples, RATE, LOW, HIGH)))
    small = 1e-6 * samples
    other = find_resonances(run_up(small, RATE, follow_speed(small, RATE, LOW, HIGH)))
    assert [mode.frequency_hz for mode in one] == pytest.approx(
        [mode.frequency_hz for mode in other], rel=1e-4
    )


def test_speeds_to_avoid_are_those_of_tooth_passing():
    mode = Resonance(600.0, 0.03, 1.0, (2, 3), 12.0)
    (low, high) = speeds_to_avoid((mode,), 3, 3000.0, 15_000.0)
    assert (low.multiple, high.multiple) == (2, 1)
    assert low.low_rpm < 6000 < low.high_rpm and high.low_rpm < 12_000 < high.high_rpm
    assert high.low_rpm == pytest.approx(12_000 * 0.97)
    assert speeds_to_avoid((mode,), 3, 13_000.0, 15_000.0) == ()


def test_noise_has_no_speed():
    with pytest.raises(RecordingError) as error:
        follow_speed(np.random.default_rng(0).standard_normal(int(30 * RATE)), RATE, LOW, HIGH)
    assert error.value.hint


@pytest.mark.parametrize(
    ("samples", "low", "high"),
    [
        (np.ones(int(30 * RATE)), LOW, HIGH),
        (np.full(int(30 * RATE), np.nan), LOW, HIGH),
        (np.zeros(100), LOW, HIGH),
    ],
)
def test_what_is_no_run_is_refused(samples, low, high):
    with pytest.raises(RecordingError):
        follow_speed(samples, RATE, low, high)


@pytest.mark.parametrize(("low", "high"), [(HIGH, LOW), (3000.0, 3100.0), (0.0, 3000.0), (3000.0, 300_000.0)])
def test_speeds_that_cannot_be(low, high):
    with pytest.raises(SettingError):
        follow_speed(np.zeros(int(30 * RATE)), RATE, low, high)

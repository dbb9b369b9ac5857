"""What is left when the teeth are taken out: the comb goes, however the speed runs; all else stays."""

import numpy as np
import pytest
from scipy import signal

from shopmon.signals.comb.removal import stretch_frames, within_bands, without_comb

RATE_HZ = 48_000.0


def spindle(rotation_hz, samples, orders=30, seed=1):
    """Return a comb whose every line has its own level and phase, and the turns it was made of."""
    rng = np.random.default_rng(seed)
    turns = np.cumsum(np.broadcast_to(rotation_hz, samples)) / RATE_HZ
    comb = sum(
        (0.06 if order % 3 == 0 else 0.03)
        / np.sqrt(order)
        * np.sin(2 * np.pi * (order * turns + rng.uniform()))
        for order in range(1, orders + 1)
    )
    return comb.astype(np.float32), turns


def power_db(samples):
    return 10 * np.log10(np.mean(samples.astype(float) ** 2))


def near(samples, frequency_hz, half_hz=8.0):
    """Power around a frequency by scipy's own periodogram, dB."""
    frequency, density = signal.periodogram(samples, RATE_HZ, window="hann")
    return 10 * np.log10(density[np.abs(frequency - frequency_hz) < half_hz].sum())


def whole(seconds, rotation_hz):
    length = stretch_frames(rotation_hz, RATE_HZ)
    return int(seconds * RATE_HZ / (length // 2)) * (length // 2), length


@pytest.mark.parametrize("rotation_hz", [12.0, 21.0, 76.29, 196.6, 333.0])
@pytest.mark.parametrize("off", [0.0, 0.003, -0.006])
def test_the_comb_goes_and_a_stray_tone_stays(rotation_hz, off):
    count, length = whole(6, rotation_hz)
    comb, turns = spindle(rotation_hz, count)
    stray_hz = 7.37 * rotation_hz if rotation_hz > 50 else 1437.3
    time = np.arange(count) / RATE_HZ
    stray = (0.02 * np.sin(2 * np.pi * stray_hz * time)).astype(np.float32)
    noise = (0.0005 * np.random.default_rng(2).standard_normal(count)).astype(np.float32)
    left = without_comb(comb + stray + noise, turns * (1 + off), RATE_HZ, length)[length:-length]
    rest = (left - stray[length:-length]) - noise[length:-length]
    assert power_db(rest) < power_db(comb) - 35
    assert near(left, stray_hz) == pytest.approx(near(stray[length:-length], stray_hz), abs=0.2)


def test_a_speed_that_droops_and_a_comb_that_swells_are_followed():
    count, length = whole(8, 200.0)
    time = np.arange(count) / RATE_HZ
    rotation = 200 * (1 - 0.02 / (1 + np.exp(-(time - 4) / 0.3)))
    comb, _ = spindle(rotation, count)
    comb *= (0.4 + 0.6 / (1 + np.exp(-(time - 4) / 0.3))).astype(np.float32)
    told = np.cumsum(np.interp(time, time[::2400], np.roll(rotation[::2400], 2))) / RATE_HZ  # 0.1 s late
    left = without_comb(comb, told, RATE_HZ, length)[length:-length]
    assert power_db(left) < power_db(comb) - 15


def test_where_no_speed_is_known_the_sound_stays_as_it_is():
    count, length = whole(2, 200.0)
    comb, _ = spindle(200.0, count)
    assert (without_comb(comb, np.full(count, np.nan), RATE_HZ, length) == comb).all()


def test_pure_noise_loses_hardly_anything():
    count, length = whole(4, 200.0)
    _, turns = spindle(200.0, count)
    noise = np.random.default_rng(5).standard_normal(count).astype(np.float32)
    left = without_comb(noise, turns, RATE_HZ, length)[length:-length]
    assert power_db(left) == pytest.approx(power_db(noise), abs=0.3)


def test_bands_keep_their_tones_in_their_time_and_nothing_else():
    count, length = whole(6, 200.0)
    time = np.arange(count) / RATE_HZ
    tones = {hz: (0.1 * np.sin(2 * np.pi * hz * time)).astype(np.float32) for hz in (700.0, 1437.0, 3210.0)}
    heard = within_bands(
        sum(tones.values()), RATE_HZ, length, [(0, count, 1420.0, 1454.0), (0, int(RATE_HZ), 3190.0, 3230.0)]
    )
    middle = slice(2 * length, -length)
    assert near(heard[middle], 1437.0) == pytest.approx(near(tones[1437.0][middle], 1437.0), abs=0.1)
    assert near(heard[middle], 700.0) < near(tones[700.0][middle], 700.0) - 60
    assert near(heard[int(2 * RATE_HZ) :], 3210.0) < near(tones[3210.0][middle], 3210.0) - 60

"""Bringing a signal onto another clock: levels and tones right, no aliases, no seams."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal

from shopmon.signals.resampling import Resampler, interpolation_table, passed_hz

RATES = ((26_667.0, 48_000.0), (48_000.0, 26_667.0), (3200.0, 48_000.0), (44_100.0, 48_000.0))


def brought(samples, from_hz, to_hz, off=1.0):
    """Resample all of it, at a clock that is off by a factor; returns samples and their times in s."""
    resampler = Resampler(from_hz, to_hz)
    places = np.arange(resampler.reach, samples.size - resampler.reach - 1, off * from_hz / to_hz)
    return resampler.at(samples[None].astype(np.float32), places)[0], places / from_hz


@pytest.mark.parametrize(("from_hz", "to_hz"), RATES)
@pytest.mark.parametrize("share", [0.01, 0.1, 0.4])
def test_a_tone_keeps_level_and_frequency(from_hz, to_hz, share):
    tone_hz = share * min(from_hz, to_hz)
    times = np.arange(round(from_hz)) / from_hz
    made, at_s = brought(0.5 * np.sin(2 * np.pi * tone_hz * times), from_hz, to_hz, off=1 + 50e-6)
    wanted = 0.5 * np.sin(2 * np.pi * tone_hz * at_s)
    assert 20 * np.log10(np.std(made - wanted) / np.std(wanted)) < -65


@pytest.mark.parametrize("share", [0.51, 0.6, 0.9])
def test_what_the_slower_rate_cannot_hold_is_taken_out(share):
    times = np.arange(48_000) / 48_000
    made, _ = brought(np.sin(2 * np.pi * share * 16_000 * times), 48_000.0, 16_000.0)
    assert 20 * np.log10(np.std(made) * 2**0.5) < -65


def test_no_image_appears_above_what_the_slower_rate_holds():
    times = np.arange(32_000) / 3200
    made, _ = brought(np.sin(2 * np.pi * 1000 * times), 3200.0, 48_000.0)
    spectrum = np.abs(np.fft.rfft(made[:48_000] * np.hanning(48_000)))
    assert 20 * np.log10(spectrum[1600:].max() / spectrum.max()) < -65


def test_it_agrees_with_another_resampler():
    """scipy.signal.resample, which goes through one transform, on a signal that ends where it began."""
    rng = np.random.default_rng(1)
    spectrum = np.zeros(4001, complex)
    spectrum[1:3200] = rng.standard_normal(3199) + 1j * rng.standard_normal(3199)
    samples = np.fft.irfft(spectrum)
    resampler = Resampler(8000.0, 14_400.0)
    around = np.concatenate([samples[-100:], samples, samples[:100]])[None].astype(np.float32)
    made = resampler.at(around, 100 + np.arange(14_400) * 8000 / 14_400)[0]
    wanted = signal.resample(samples, 14_400)
    assert np.abs(made - wanted).max() < 2e-3 * np.abs(wanted).max()


@settings(deadline=None)
@given(st.lists(st.integers(1, 700), min_size=1, max_size=20), st.floats(0.3, 3.0))
def test_the_sizes_of_the_runs_change_nothing(sizes, ratio):
    samples = np.random.default_rng(3).standard_normal((2, 30_000)).astype(np.float32)
    resampler = Resampler(ratio, 1.0)
    places = resampler.reach + ratio * np.arange(sum(sizes))
    places = places[places < samples.shape[1] - resampler.reach - 2]
    whole = resampler.at(samples, places)
    parts, begin = [], 0
    for size in sizes:
        mine = places[begin : begin + size]
        if mine.size:
            first = int(mine[0]) - resampler.reach
            parts.append(resampler.at(samples[:, first : int(mine[-1]) + resampler.reach + 2], mine - first))
        begin += size
    assert np.allclose(np.concatenate(parts, axis=1), whole, atol=2e-5)


def test_a_constant_stays_what_it_is():
    made = Resampler(26_667.0, 48_000.0).at(np.full((1, 500), 0.37, np.float32), np.linspace(30, 460, 900))
    assert np.ptp(made) < 1e-6
    assert interpolation_table(24, 0.455).sum(axis=1) == pytest.approx(1.0, abs=1e-6)


def test_what_is_passed_is_flat():
    assert passed_hz(26_667.0, 48_000.0) == pytest.approx(0.41 * 26_667)
    times = np.arange(26_667) / 26_667
    made, _ = brought(np.sin(2 * np.pi * passed_hz(26_667, 48_000) * times), 26_667.0, 48_000.0)
    assert np.std(made) * 2**0.5 == pytest.approx(1.0, abs=0.002)


@pytest.mark.parametrize("rates", [(0.0, 48_000.0), (48_000.0, -1.0), (float("nan"), 1.0)])
def test_rates_that_are_none_are_refused(rates):
    with pytest.raises(ValueError, match="rates"):
        Resampler(*rates)

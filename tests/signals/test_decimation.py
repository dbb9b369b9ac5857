"""Decimating run by run equals decimating in one piece; what lies above the new band is gone."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shopmon.signals.decimation import Decimator, decimation_factor, decimation_taps


@settings(max_examples=30)
@given(factor=st.integers(1, 12), runs=st.integers(1, 5), run=st.integers(3, 60), seed=st.integers(0, 99))
def test_run_by_run_is_the_same_as_in_one_piece(factor, runs, run, seed):
    frames = factor * run
    signal = np.random.default_rng(seed).standard_normal((2, frames * runs)).astype(np.float32)
    decimator = Decimator(factor, frames, 2)
    got = np.concatenate([decimator(signal[:, i * frames : (i + 1) * frames]) for i in range(runs)], axis=1)
    taps = decimation_taps(factor)
    for row, channel in zip(got, signal, strict=True):
        assert row == pytest.approx(np.convolve(channel, taps)[: frames * runs : factor], abs=2e-5)


@pytest.mark.parametrize("factor", [2, 3, 12])
@pytest.mark.parametrize(
    ("share", "least_db", "most_db"), [(0.2, -0.1, 0.1), (0.4, -0.1, 0.1), (0.6, -200, -60)]
)
def test_the_band_passes_and_what_would_fold_into_it_does_not(factor, share, least_db, most_db):
    taps = decimation_taps(factor)
    frequency = share / factor
    gain = abs(np.sum(taps * np.exp(-2j * np.pi * frequency * np.arange(taps.size))))
    assert least_db <= 20 * np.log10(gain) <= most_db


def test_the_rate_stays_high_enough():
    for rate in (8000, 11025, 16000, 44100, 48000, 96000, 192000):
        left = rate / decimation_factor(rate)
        assert left == rate or 16_000 <= left < 32_000


def test_a_run_must_fit_the_factor():
    with pytest.raises(ValueError, match="multiple"):
        Decimator(3, 100, 1)

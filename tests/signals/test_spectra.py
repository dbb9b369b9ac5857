"""Amplitude-correct spectra; window figures are Harris's (Proc. IEEE 66, 1978, 51-83) for the Hann window."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopmon.signals.spectra import (
    LineReader,
    LocalFloor,
    hann_kernel,
    hann_skirt_db,
    hann_window,
    sine_power_spectrum,
    sine_scaled,
)


def test_the_window_is_the_periodic_one():
    window = hann_window(4096)
    noise_bandwidth = 4096 * np.sum(window**2) / np.sum(window) ** 2
    assert noise_bandwidth == pytest.approx(1.5, abs=1e-9)  # the symmetric form gives 1.50037
    assert 20 * np.log10(hann_kernel(0.5)) == pytest.approx(-1.424, abs=1e-3)


@given(amplitude=st.floats(1e-4, 1.0), cycles=st.integers(10, 180), phase=st.floats(0, 6.28))
def test_a_sine_on_a_bin_reads_its_amplitude(amplitude, cycles, phase):
    n = 400
    sine = amplitude * np.sin(2 * np.pi * cycles * np.arange(n) / n + phase)
    power = sine_power_spectrum(sine, sine_scaled(hann_window(n)), n)
    assert np.argmax(power) == cycles
    assert power[cycles] == pytest.approx(amplitude**2, rel=1e-6)


@given(
    amplitude=st.floats(1e-3, 1.0),
    frequency=st.floats(0.02, 0.47),
    phase=st.floats(0, 6.28),
    padding=st.sampled_from([1.0, 1.25, 1.6, 2.0]),
)
def test_a_lone_line_is_read_between_the_bins(amplitude, frequency, phase, padding):
    n, size = 1600, round(1600 * padding)
    sine = amplitude * np.sin(2 * np.pi * frequency * np.arange(n) + phase)
    level = 10 * np.log10(sine_power_spectrum(sine, sine_scaled(hann_window(n)), size))
    place, height = LineReader(n, size)(level, np.array([np.argmax(level)]))
    assert place[0] / size == pytest.approx(frequency, abs=0.01 / n)
    assert height[0] == pytest.approx(20 * np.log10(amplitude), abs=0.03)


@given(away=st.floats(0, 60))
def test_the_skirt_covers_the_window(away):
    assert hann_skirt_db(np.array([away]))[0] >= 20 * np.log10(abs(hann_kernel(away)) + 1e-12) - 1e-6


def test_white_noise_has_the_expected_floor():
    rng = np.random.default_rng(4)
    n, spread = 4096, 0.1
    window = sine_scaled(hann_window(n))
    power = np.mean(
        [sine_power_spectrum(spread * rng.standard_normal(n), window, n)[1:-1] for _ in range(40)]
    )
    # sine power of white noise per bin: 4 · 1.5 · variance / n
    assert power == pytest.approx(4 * 1.5 * spread**2 / n, rel=0.02)


def test_the_floor_ignores_lines():
    rng = np.random.default_rng(5)
    flat = -80 + rng.standard_normal(2000)
    lines = flat.copy()
    lines[::25] += 40
    floor = LocalFloor(2000, 80)(lines)
    assert floor == pytest.approx(np.full(2000, -80.0), abs=1.0)


def test_the_floor_follows_a_slope():
    slope = np.linspace(-40, -100, 2000)
    assert LocalFloor(2000, 80)(slope)[100:1900] == pytest.approx(slope[100:1900], abs=1.5)

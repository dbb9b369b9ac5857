"""Levels: a full-scale sine reads 0 dB."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopmon.signals.levels import full_scale_runs, power_db, sine_power


@given(amplitude=st.floats(1e-4, 1.0), offset=st.floats(-1, 1))
def test_a_sine_reads_its_amplitude_whatever_the_offset(amplitude, offset):
    sine = amplitude * np.sin(2 * np.pi * 7 * np.arange(700) / 700) + offset
    both = np.stack([sine, 0.5 * sine], axis=1)
    assert power_db(sine_power(both)) == pytest.approx(
        [20 * np.log10(amplitude), 20 * np.log10(amplitude / 2)]
    )
    assert power_db(sine_power(both.T, axis=1)) == pytest.approx(power_db(sine_power(both)))


def test_silence_has_a_level():
    assert power_db(0.0) == -200.0


@pytest.mark.parametrize("code", [127 / 128, 32767 / 32768, 1.0, -1.0])
def test_full_scale_of_every_width_counts(code):
    samples = np.array([[0.5], [code], [code], [-0.9]])
    assert full_scale_runs(samples) == 2

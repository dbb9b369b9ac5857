"""The tap test against closed forms and against real hits."""

import os
from pathlib import Path

import numpy as np
import pytest

from shopmon.errors import RecordingError
from shopmon.service.tap.judging import TapSettings, with_force, without_force
from shopmon.signals.tap.decay_poles import decay_poles
from shopmon.signals.tap.frequency_response import exponential_window, measured_response
from tests.hits import RATE, accelerations, receptance

DATA = os.environ.get("SHOPMON_REFERENCE_DATA")
ONE = [(1450.0, 0.03, 8e6)]  # the one-mode check: textbook formulas, recomputed with python-control 0.10.2


def test_a_simulated_hit_gives_the_receptance_of_the_closed_form():
    """|H| at its natural frequency is 1 / (2 k ζ) = 2.083333e-6 m/N; pyFRF 1.5.0 gave 2.07659e-6."""
    force = np.zeros(int(0.5 * RATE))
    pulse = int(0.0002 * RATE)
    force[100 : 100 + pulse] = 200 * np.sin(np.pi * np.arange(pulse) / pulse)
    measured = measured_response(force[None], accelerations(ONE, force)[None], RATE)
    at = int(np.argmin(np.abs(measured.frequency_hz - 1450)))
    assert abs(measured.receptance[at]) == pytest.approx(2.083333e-6, rel=2e-3)
    band = (measured.frequency_hz > 1200) & (measured.frequency_hz < 1700)
    exact = receptance(ONE, measured.frequency_hz[band])
    assert np.max(np.abs(measured.receptance[band] / exact - 1)) < 6e-3


def test_the_damping_that_the_exponential_window_adds():
    """ζ_add = 1 / (τ ω_n): 0.002195 for τ = 50 ms at 1450 Hz (closed form), on top of the mode's own 0.03."""
    window, rate = exponential_window(int(0.5 * RATE), RATE, float(np.exp(-10)))
    assert 1 / rate == pytest.approx(0.05)
    added = rate / (2 * np.pi * 1450)
    assert added == pytest.approx(0.002195, abs=1e-6)
    force = np.zeros(window.size)
    force[0] = 100.0
    (plain,) = decay_poles(accelerations(ONE, force)[1:], RATE, 900, 2200)
    (windowed,) = decay_poles((accelerations(ONE, force) * window)[1:], RATE, 900, 2200)
    assert plain.damping_ratio == pytest.approx(0.03, rel=1e-3)
    assert windowed.damping_ratio - plain.damping_ratio == pytest.approx(added, rel=0.01)


@pytest.fixture(scope="module")
def real_hits():
    if not DATA:
        pytest.skip("SHOPMON_REFERENCE_DATA is not set")
    files = [np.load(Path(DATA) / "hammer" / f"measurements_{number}.npy") for number in (1, 2, 3)]
    return np.concatenate([file[1] for file in files]), np.concatenate([file[2] for file in files])


KNOWN_HZ = (810.0, 851.0, 900.0, 2640.0, 3669.0, 4128.0)  # read from the same files by others


def test_modes_of_real_hits_without_the_force(real_hits):
    """The pyFRF repository's hits: damping at 900 Hz 0.00147 from the decay (half power on 1 Hz: 0.0022)."""
    result = without_force(real_hits[1], 25_600.0, TapSettings(record_s=0.95))
    found = {mode["frequency_hz"]: mode for mode in result["modes"]}
    for known in KNOWN_HZ:
        assert min(abs(hz - known) for hz in found) < 1.0, known
    at_900 = found[min(found, key=lambda hz: abs(hz - 900))]
    assert at_900["damping_ratio"] == pytest.approx(0.00147, rel=0.06)
    assert all(mode["stiffness_n_per_m"] is None for mode in result["modes"])


def test_modes_of_real_hits_with_the_force(real_hits):
    result, _ = with_force(*real_hits, 25_600.0, TapSettings(record_s=0.95))
    found = {mode["frequency_hz"]: mode for mode in result["modes"]}
    for known in (810.0, 851.0, 900.0, 3669.0):
        assert min(abs(hz - known) for hz in found) < 1.0, known
    at_900 = found[min(found, key=lambda hz: abs(hz - 900))]
    assert at_900["damping_ratio"] == pytest.approx(0.00147, rel=0.06)
    assert "grid-too-coarse" in [notice["code"] for notice in result["notices"]]


def test_no_recording_of_other_things_is_taken_for_hits(reference_data):
    """Speech with two plosives, noise, hiss, hum and machines: nothing there was hit."""
    import soundfile

    names = ("Front_Center.wav", "Noise.wav", "vinyl_hiss.flac", "ambi_glass_hum.flac", "IndustryHigh1.wav")
    for name in (*names, "Harbor2.wav", "complete.oga"):
        sound, rate = soundfile.read(reference_data / "sounds" / name, frames=1_500_000, always_2d=True)
        settings = TapSettings(highest_hz=min(5000.0, 0.4 * rate))
        with pytest.raises(RecordingError):
            without_force(sound[:, 0], rate, settings)

"""Frequency responses on the same records as a reference library makes them (pyFRF, MIT, from PyPI)."""

import numpy as np
import pytest

from shopmon.signals.tap.frequency_response import measured_response
from tests.hits import RATE, taps

pyfrf = pytest.importorskip("pyFRF", reason="pyFRF is not installed: responses are not compared with it")
ONE = [(1450.0, 0.03, 8e6)]
THREE = [(900.0, 0.02, 2e7), (1450.0, 0.03, 8e6), (2300.0, 0.015, 1.5e7)]


def theirs(forces, accelerations, rate_hz):
    """Return H1, H2 as receptances, and the coherence, at the lines above 0 Hz."""
    found = {}
    for estimator in ("H1", "H2"):
        library = pyfrf.FRF(
            int(rate_hz), exc=forces, resp=accelerations, exc_type="f", resp_type="a", window="none",
            fft_len=forces.shape[1], frf_estimator=estimator,
        )  # fmt: skip
        found[estimator] = np.squeeze(library.get_FRF(frf_form="receptance"))[1:]
    return found["H1"], found["H2"], np.squeeze(library.get_coherence())[1:], library.get_f_axis()[1:]


def compared(forces, accelerations, rate_hz, low_hz, high_hz):
    """Assert that both agree within a band."""
    first, second, coherence, hz = theirs(forces, accelerations, rate_hz)
    ours = [measured_response(forces, accelerations, rate_hz, estimator=name) for name in ("H1", "H2")]
    assert hz == pytest.approx(ours[0].frequency_hz)
    band = (hz > low_hz) & (hz < high_hz)
    for own, other in zip(ours, (first, second), strict=True):
        assert np.max(np.abs(own.receptance[band] / other[band] - 1)) < 1e-6
    assert ours[0].coherence[band] == pytest.approx(coherence[band], abs=1e-6)


@pytest.mark.parametrize("modes", [ONE, THREE], ids=["one", "three"])
def test_simulated_hits_at_40_db(modes):
    force, acceleration = taps(modes, noise_db=-40, hits=5)
    rows = int(0.5 * RATE)
    compared(force.reshape(5, rows), acceleration.reshape(5, rows), RATE, 300.0, 5000.0)


def test_real_hits(reference_data):
    """The hits of pyFRF's own repository."""
    files = [np.load(reference_data / "hammer" / f"measurements_{number}.npy") for number in (1, 2, 3)]
    forces, accelerations = (np.array([file[row] for file in files]) for row in (1, 2))
    compared(forces, accelerations, 25_600.0, 300.0, 5000.0)

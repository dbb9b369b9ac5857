"""Vibration at the multiples of a rotation, and over a band, of a steady run."""

import numpy as np
from scipy import fft

from shopmon.errors import RecordingError
from shopmon.signals.spectra import hann_window, sine_scaled

STANDARD_GRAVITY = 9.80665  # m/s², by definition (3rd CGPM, 1901)
SEVERITY_BAND_HZ = (10.0, 1000.0)  # the band of vibration severity in ISO 20816-1


def refine_rotation(samples: np.ndarray, sample_rate_hz: float, near_hz: float, orders: int = 4) -> float:
    """Return the rotation at which its first multiples stand highest, within one spectral bin of `near_hz`.

    Parameters
    ----------
    samples
        Shape ``(n,)``.
    near_hz
        The rotation, known to better than a bin of the recording's length.
    orders
        How many multiples count.
    """
    bin_hz = sample_rate_hz / samples.size
    grid = near_hz + np.linspace(-1, 1, 41) * bin_hz
    levels = [np.sum(order_amplitudes(samples, sample_rate_hz, hz, orders) ** 2) for hz in grid]
    return float(grid[int(np.argmax(levels))])


def order_amplitudes(
    samples: np.ndarray, sample_rate_hz: float, rotation_hz: float, orders: int
) -> np.ndarray:
    """Return the amplitudes (peak, not r.m.s.) at the first multiples of a rotation, in the samples' unit.

    Parameters
    ----------
    samples
        Shape ``(n,)``, covering at least four turns.
    rotation_hz
        Of the shaft; steady.
    orders
        How many; those above 0.45 of the sample rate are left out.

    Raises
    ------
    RecordingError
        The recording covers fewer than four turns: neighbouring multiples could not be told apart.
    """
    if samples.size * rotation_hz < 4 * sample_rate_hz:
        raise RecordingError("The recording covers fewer than four turns.", "Record longer.")
    count = min(orders, int(0.45 * sample_rate_hz / rotation_hz))
    window = sine_scaled(hann_window(samples.size))
    weighed = (samples - samples.mean()) * window
    turn = np.exp(-2j * np.pi * rotation_hz / sample_rate_hz * np.arange(samples.size))
    phasor, amplitudes = turn.copy(), []
    for _ in range(count):
        amplitudes.append(abs(np.dot(weighed, phasor)))
        phasor *= turn
    return np.array(amplitudes)


def velocity_rms_mm_s(acceleration_g: np.ndarray, sample_rate_hz: float, band_hz=SEVERITY_BAND_HZ) -> float:
    """Return the r.m.s. velocity of a vibration within a band, mm/s.

    Parameters
    ----------
    acceleration_g
        Shape ``(n,)``, in g.
    sample_rate_hz
        Samples per second.
    band_hz
        Lowest and highest frequency.

    Examples
    --------
    One g r.m.s. at 159.155 Hz is 9.80665 mm/s.

    >>> t = np.arange(16000) / 16000
    >>> round(velocity_rms_mm_s(2**0.5 * np.sin(2 * np.pi * 159.155 * t), 16000.0), 2)
    9.81
    """
    window = hann_window(acceleration_g.size)
    spectrum = fft.rfft((acceleration_g - acceleration_g.mean()) * window)
    frequency = fft.rfftfreq(acceleration_g.size, 1 / sample_rate_hz)
    inside = (frequency >= band_hz[0]) & (frequency <= band_hz[1])
    velocity = np.abs(spectrum[inside]) * STANDARD_GRAVITY * 1000 / (2 * np.pi * frequency[inside])
    # Parseval for one-sided spectra: twice the sum, over n times the window's own power
    return float(np.sqrt(2 * np.sum(velocity**2) / (acceleration_g.size * np.sum(window**2))))


def acceleration_rms(acceleration: np.ndarray) -> float:
    """Return the r.m.s. of what alternates, in the samples' unit."""
    return float(np.std(acceleration))

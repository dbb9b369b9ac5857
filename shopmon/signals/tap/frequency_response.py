"""Frequency responses from hits: windows, averages, H1 and H2, coherence.

Force in N, response an acceleration in m/s²; receptance is displacement over force, m/N (ISO 7626-5 for the
method; D. J. Ewins, *Modal Testing*, 2nd ed., 2000, for estimators and the exponential window's damping).
"""

from dataclasses import dataclass

import numpy as np
from scipy import fft

from shopmon.errors import RecordingError, SettingError

FORCE_TAPER = 0.1  # share of the force window that fades out


@dataclass(frozen=True)
class MeasuredResponse:
    """An averaged frequency response.

    Attributes
    ----------
    frequency_hz
        Shape ``(n,)``, evenly spaced, without 0.
    receptance
        Shape ``(n,)``, complex, m/N.
    coherence
        Shape ``(n,)``; None after a single hit, where it would be 1 everywhere and say nothing.
    force_db
        Shape ``(n,)``: spectrum of the force relative to its strongest part, dB.
    added_damping_rate
        By how much the exponential window raised every decay rate, 1/s.
    hits
        How many were averaged.
    """

    frequency_hz: np.ndarray
    receptance: np.ndarray
    coherence: np.ndarray | None
    force_db: np.ndarray
    added_damping_rate: float
    hits: int


def exponential_window(length: int, sample_rate_hz: float, end_level: float) -> tuple[np.ndarray, float]:
    """Return a window that falls to `end_level` at the end, and the decay rate 1/τ that it adds, 1/s.

    It adds ζ = 1 / (τ ω_n) to the damping ratio of each mode.

    Examples
    --------
    >>> window, rate = exponential_window(1000, 1000.0, 0.01)
    >>> round(rate, 3)
    4.605
    """
    if not 0 < end_level <= 1:
        raise SettingError(f"The window must end between 0 and 1, not at {end_level!r}.")
    rate = -np.log(end_level) * sample_rate_hz / length
    return np.exp(-rate * np.arange(length) / sample_rate_hz), float(rate)


def force_window(force: np.ndarray, start: int, end: int) -> np.ndarray:
    """Return ones over the hit, fading to zero after it: what follows a hit is noise of the force sensor."""
    window = np.zeros(force.size)
    fade = max(2, int(FORCE_TAPER * (end - start)))
    window[start:end] = 1.0
    tail = min(fade, force.size - end)
    window[end : end + tail] = 0.5 + 0.5 * np.cos(np.pi * np.arange(tail) / fade)
    return window


def measured_response(
    forces: np.ndarray,
    accelerations: np.ndarray,
    sample_rate_hz: float,
    *,
    estimator: str = "H1",
    added_damping_rate: float = 0.0,
) -> MeasuredResponse:
    """Average hits, already windowed, into one response.

    Parameters
    ----------
    forces, accelerations
        Shape ``(hits, samples)``, N and m/s²; each hit begins at the same place of its row.
    sample_rate_hz
        Samples per second.
    estimator
        ``"H1"`` (noise in the response averages out) or ``"H2"`` (noise in the force does).
    added_damping_rate
        1/τ of the exponential window used on both, 1/s.

    Raises
    ------
    RecordingError
        There is no hit, or no force.
    """
    if forces.size == 0 or forces.shape != accelerations.shape:
        raise RecordingError("There is no hit to average.", "Hit again, or lower the trigger.")
    if not np.any(forces):
        raise RecordingError("The force is zero throughout.", "Check the hammer's cable and channel.")
    if estimator not in ("H1", "H2"):
        raise SettingError(f"There is no estimator {estimator!r}.", "Use H1 or H2.")
    force, response = fft.rfft(forces)[:, 1:], fft.rfft(accelerations)[:, 1:]
    frequency = fft.rfftfreq(forces.shape[1], 1 / sample_rate_hz)[1:]
    ff = np.mean(np.abs(force) ** 2, axis=0)
    xx = np.mean(np.abs(response) ** 2, axis=0)
    fx = np.mean(np.conj(force) * response, axis=0)
    tiny = 1e-20 * ff.max()
    accelerance = (
        fx / np.maximum(ff, tiny) if estimator == "H1" else xx / np.where(fx == 0, tiny, np.conj(fx))
    )
    power = np.maximum(ff * xx, 1e-300)
    coherence = np.abs(fx) ** 2 / power if forces.shape[0] > 1 else None
    return MeasuredResponse(
        frequency_hz=frequency,
        receptance=accelerance / -((2 * np.pi * frequency) ** 2),
        coherence=coherence,
        force_db=10 * np.log10(np.maximum(ff, tiny) / ff.max()),
        added_damping_rate=added_damping_rate,
        hits=forces.shape[0],
    )

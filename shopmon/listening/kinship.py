"""Which lines can belong to one chatter, and which are strangers to each other."""

import numpy as np

OVERTONES = 5
OVERTONE_SHARE = 2e-3


def kinship(frequency_hz: np.ndarray, rotation_hz: float, tolerance_hz: float) -> np.ndarray:
    """Return which lines are relatives of which, shape ``(lines, lines)``; every line is its own.

    Two lines of one chatter differ by, or add up to, a multiple of the rotation (Insperger, Stépán, Bayly,
    Mann, J. Sound Vib. 262, 2003, 333-345), or one is an overtone of the other: teeth that leave the metal
    bend the wave.

    Parameters
    ----------
    frequency_hz
        Shape ``(lines,)``.
    rotation_hz
        Rotation frequency.
    tolerance_hz
        How well differences are known.
    """
    low = np.minimum(frequency_hz[:, None], frequency_hz)
    high = np.maximum(frequency_hz[:, None], frequency_hz)
    both = np.stack((high - low, high + low))
    related = (_off_multiple(both, rotation_hz) <= tolerance_hz).any(axis=0)
    times = np.rint(high / low)
    off = np.abs(high - times * low) <= np.maximum(tolerance_hz, OVERTONE_SHARE * high)
    return related | ((times >= 2) & (times <= OVERTONES) & off)


def _off_multiple(frequency_hz: np.ndarray, rotation_hz: float) -> np.ndarray:
    return np.abs(frequency_hz - rotation_hz * np.rint(frequency_hz / rotation_hz))

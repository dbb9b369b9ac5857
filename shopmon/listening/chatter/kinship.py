"""Which lines can belong to one chatter, and which are strangers to each other."""

import numpy as np

OVERTONES = 5
OVERTONE_SHARE = 2e-3
MOST_NATS = 4.0


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
    stepping = (_off_multiple(both, rotation_hz) <= tolerance_hz).any(axis=0)
    return stepping | overtones(frequency_hz, tolerance_hz)


def overtones(frequency_hz: np.ndarray, tolerance_hz: float) -> np.ndarray:
    """Return which lines are a small multiple of which, or a small part, shape ``(lines, lines)``.

    Parameters
    ----------
    frequency_hz
        Shape ``(lines,)``.
    tolerance_hz
        How well differences are known.
    """
    low = np.minimum(frequency_hz[:, None], frequency_hz)
    high = np.maximum(frequency_hz[:, None], frequency_hz)
    times = np.rint(high / low)
    off = np.abs(high - times * low) <= np.maximum(tolerance_hz, OVERTONE_SHARE * high)
    return (times >= 2) & (times <= OVERTONES) & off


def steps_nats(frequency_hz: np.ndarray, rotation_hz: float, resolved_hz: float, doubt: float) -> np.ndarray:
    """Return how little chance has to do with each pair's step, shape ``(lines, lines)``.

    Two lines whose distance, or sum, is a multiple of the rotation to within what can be told are worth the
    logarithm of the odds against it: much where the rotation is fast, next to nothing where it is so slow
    that any distance is near a multiple. So a family counts alike at all speeds, whatever the flutes: of
    many flutes at high speed hardly a relative at tooth-passing distance is left within the band.

    Parameters
    ----------
    frequency_hz
        Shape ``(lines,)``.
    rotation_hz
        Rotation frequency.
    resolved_hz
        How well distances are known.
    doubt
        Share by which the rotation frequency may be wrong.
    """
    low = np.minimum(frequency_hz[:, None], frequency_hz)
    both = np.abs(frequency_hz[:, None] - frequency_hz), 2 * low
    steps = np.stack((both[0], both[0] + both[1]))
    within = resolved_hz + doubt * steps
    by_chance = (4.0 / rotation_hz) * within
    worth = np.minimum(np.maximum(-np.log(by_chance), 0.0), MOST_NATS)
    nats = (worth * (_off_multiple(steps, rotation_hz) <= within)).max(axis=0)
    np.fill_diagonal(nats, 0.0)
    return nats


def _off_multiple(frequency_hz: np.ndarray, rotation_hz: float) -> np.ndarray:
    return np.abs(frequency_hz - rotation_hz * np.rint(frequency_hz / rotation_hz))

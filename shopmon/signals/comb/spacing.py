"""What the distances between strong lines say of the rotation: a cut that rings is a family of equal steps.

Chatter has lines at f_c + k f_tp and, where teeth differ, at f_c + k f_rot (Insperger, Stépán, Bayly, Mann,
J. Sound Vib. 262, 2003, 333-345): wherever f_c lies, their differences are multiples of the rotation. Where
ringing drowns the spindle comb, that is what is left of the rotation in the sound, and it is exact.
"""

from functools import lru_cache

import numpy as np

MOST_LINES = 8
LEAST_DB, RISEN_DB = 13.0, 8.0
NOTHING_DB, FULL_DB = 9.0, 25.0
OFF_WINDOWS, OFF_SHARE = 0.3, 3e-4
PARTS, OVERTONE_HZ, LOWEST_PITCH_HZ = np.array([[1], [2], [3]]), 1.0, 60.0
MOST_STEPS, NEAR_TURNS, MOST_TURNS = 6, 8, 16
TURN_WORTH, FAR_WORTH = 0.4, 0.5
MOST_SUPPORT = 2.0


def strongest(frequency_hz: np.ndarray, height_db: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the few strongest of the lines that stand out far enough, and their heights.

    Parameters
    ----------
    frequency_hz, height_db
        Shape ``(lines,)``.
    """
    strong = (height_db > LEAST_DB).nonzero()[0]
    strong = strong[(-height_db[strong]).argsort(kind="stable")[:MOST_LINES]]
    return frequency_hz[strong], height_db[strong]


def differences(frequency_hz: np.ndarray, height_db: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the distance of every two lines and its worth.

    The worths of tall lines that are all relatives add up to their number less one; low ones count less. Two
    lines that are multiples of their distance, or of a half or third of it, are worth nothing: voices, music
    and the comb itself are such.

    Parameters
    ----------
    frequency_hz, height_db
        At least two, shape ``(lines,)``.

    Returns
    -------
    tuple
        Distances in Hz and worths, shape ``(pairs,)``.
    """
    first, second = _pairs(frequency_hz.size)
    weight = np.minimum((height_db - NOTHING_DB) / (FULL_DB - NOTHING_DB), 1.0)
    worth = weight[first] * weight[second] * (2.0 / np.add.reduce(weight))
    apart_hz = np.abs(frequency_hz[first] - frequency_hz[second])
    multiple = frequency_hz[first] / apart_hz * PARTS
    off_hz = np.abs(multiple - np.rint(multiple)) * apart_hz / PARTS
    overtones = (off_hz < OVERTONE_HZ) & ((PARTS == 1) | (apart_hz / PARTS > LOWEST_PITCH_HZ))
    return apart_hz, np.where(overtones.any(axis=0), 0.0, worth)


@lru_cache(maxsize=2 * MOST_LINES)
def _pairs(count: int) -> tuple[np.ndarray, np.ndarray]:
    return np.triu_indices(count, 1)


def spacing_support(
    candidates_hz: np.ndarray,
    flutes: int | None,
    frequency_hz: np.ndarray,
    height_db: np.ndarray,
    window_s: float,
) -> np.ndarray:
    """Return for each candidate how many pairs of lines agree that it is the rotation; 0 to `MOST_SUPPORT`.

    Parameters
    ----------
    candidates_hz
        Rotation frequencies, shape ``(candidates,)``.
    flutes
        Where known, steps of tooth passing count in full and others less.
    frequency_hz, height_db
        From `strongest`.
    window_s
        Length of the spectrum's window: how well a distance is known.
    """
    if frequency_hz.size < 2:
        return np.zeros(candidates_hz.size)
    apart_hz, worth = differences(frequency_hz, height_db)
    most = MOST_STEPS * flutes if flutes else MOST_TURNS
    use = (worth > 0) & (apart_hz < (most + 0.5) * candidates_hz.max())
    if not use.any():
        return np.zeros(candidates_hz.size)
    apart_hz, worth = apart_hz[use], worth[use].astype(np.float32)
    turns = (apart_hz[:, None] / candidates_hz).astype(np.float32)
    steps = np.rint(turns)
    off = turns - steps
    off *= candidates_hz.astype(np.float32)
    off /= (OFF_WINDOWS / window_s + OFF_SHARE * apart_hz[:, None]).astype(np.float32)
    off *= off
    agrees = np.maximum(np.subtract(1, off, out=off), 0, out=off)
    agrees *= _worth_of_steps(flutes, most)[np.minimum(steps, most + 1).astype(np.intp)]
    return np.minimum((worth @ agrees).astype(float), MOST_SUPPORT)


@lru_cache(maxsize=16)
def _worth_of_steps(flutes: int | None, most: int) -> np.ndarray:
    """What a distance of so many turns is worth, up to one more than the most, shape ``(most + 2,)``."""
    steps = np.arange(most + 2)
    if flutes:
        worth = np.where(steps % flutes == 0, 1.0, TURN_WORTH * (steps <= MOST_STEPS))
    else:
        worth = np.where(steps <= NEAR_TURNS, 1.0, FAR_WORTH)
    return (worth * (steps > 0) * (steps <= most)).astype(np.float32)

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
    stepping = off_multiple(pair_steps(frequency_hz), rotation_hz) <= tolerance_hz
    return stepping[0] | stepping[1] | overtones(frequency_hz, tolerance_hz)


def overtones(frequency_hz: np.ndarray, tolerance_hz: float) -> np.ndarray:
    """Return which lines are a small multiple of which, or a small part, shape ``(lines, lines)``.

    Parameters
    ----------
    frequency_hz
        Shape ``(lines,)``.
    tolerance_hz
        How well differences are known.
    """
    one = frequency_hz[:, None]
    times = np.rint(one / frequency_hz)
    multiple = np.abs(one - times * frequency_hz) <= np.maximum(tolerance_hz, OVERTONE_SHARE * one)
    multiple &= times >= 2
    multiple &= times <= OVERTONES
    return multiple | multiple.T


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
    steps = pair_steps(frequency_hz)
    within = resolved_hz + doubt * steps
    worth = -np.log((4.0 / rotation_hz) * within)
    worth *= off_multiple(steps, rotation_hz) <= within
    nats = np.minimum(np.maximum(np.maximum(worth[0], worth[1]), 0.0), MOST_NATS)
    nats.reshape(-1)[:: frequency_hz.size + 1] = 0.0  # of a line with itself
    return nats


def pair_steps(frequency_hz: np.ndarray) -> np.ndarray:
    """Return distance and sum of every two lines, shape ``(2, lines, lines)``."""
    one = frequency_hz[:, None]
    steps = np.empty((2, frequency_hz.size, frequency_hz.size))
    np.abs(np.subtract(one, frequency_hz, out=steps[0]), out=steps[0])
    np.add(one, frequency_hz, out=steps[1])
    return steps


def off_multiple(frequency_hz: np.ndarray, rotation_hz: float | np.ndarray) -> np.ndarray:
    """Return how far frequencies are from the nearest multiple of another, shape as given."""
    return np.abs(frequency_hz - rotation_hz * np.rint(frequency_hz / rotation_hz))

"""Whether a line is one, or the crest of a hump: voices and motors glide, and hiss has crests of its own.

What glides within a window is smeared over many bins, and of any crowd of crests some lie in steps of the
rotation, the more the slower that is. Chatter stands alone: between its relatives there is next to nothing.
"""

import numpy as np

from shopmon.listening.chatter.family import member_worth
from shopmon.listening.chatter.kinship import off_multiple
from shopmon.listening.chatter.strays import Track
from shopmon.listening.scene import Scene

# within a rotation to either side, at least so many bins; a line with its skirts takes so many to either side
LEAST_BINS, TAKEN_BINS = 6, 3.5
CROWDED = 0.35
LOW_ORDERS = 20.0


def in_crowd(tracks: list[Track], scene: Scene) -> np.ndarray:
    """Return which lines have about as much beside them as relatives would be, shape ``(tracks,)``.

    Parameters
    ----------
    tracks
        The lines.
    scene
        The spectrum.
    """
    return crowd(np.array([track.frequency_hz for track in tracks]), scene) > CROWDED


def crowd(frequency_hz: np.ndarray, scene: Scene) -> np.ndarray:
    """Return how far those bins within a rotation of each line stand out that nothing known takes, 0 to 1.

    Parameters
    ----------
    frequency_hz
        The lines, shape ``(lines,)``.
    scene
        The spectrum.
    """
    rotation_hz, bin_hz = scene.comb.rotation_hz, scene.window.bin_hz
    reach = max(LEAST_BINS, round(rotation_hz / bin_hz))
    bins = np.rint(frequency_hz / bin_hz).astype(np.intp)[:, None] + np.arange(-reach, reach + 1)
    free = (bins >= 1) & (bins < scene.raised_db.size)
    bins *= free
    at_hz, line_hz = bins * bin_hz, frequency_hz[:, None]
    taken_hz = TAKEN_BINS * bin_hz
    free &= off_multiple(at_hz, rotation_hz) > taken_hz
    free &= off_multiple(at_hz - line_hz, rotation_hz) > taken_hz
    # only low families come back from zero and fall between
    low = line_hz < LOW_ORDERS * rotation_hz
    if low.any():
        free &= ~low | (off_multiple(at_hz + line_hz, rotation_hz) > taken_hz)
    counts = np.count_nonzero(free, axis=1)
    return (member_worth(bins, scene) * free).sum(axis=1) / np.maximum(counts, 1)

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
    return np.array([crowd(track.frequency_hz, scene) > CROWDED for track in tracks], dtype=bool)


def crowd(frequency_hz: float, scene: Scene) -> float:
    """Return how far those bins within a rotation of a line stand out that nothing known takes, from 0 to 1.

    Parameters
    ----------
    frequency_hz
        The line.
    scene
        The spectrum.
    """
    rotation_hz, bin_hz = scene.comb.rotation_hz, scene.window.bin_hz
    middle, reach = round(frequency_hz / bin_hz), max(LEAST_BINS, round(rotation_hz / bin_hz))
    bins = np.arange(max(1, middle - reach), min(scene.raised_db.size, middle + reach + 1))
    at_hz = bins * bin_hz
    # only low families come back from zero and fall between
    families = (frequency_hz, -frequency_hz) if frequency_hz < LOW_ORDERS * rotation_hz else (frequency_hz,)
    taken_hz = np.array((0.0, *families))[:, None]
    free = (off_multiple(at_hz - taken_hz, rotation_hz) > TAKEN_BINS * bin_hz).all(axis=0)
    return float(member_worth(bins[free], scene).mean()) if free.any() else 0.0

"""The relatives of a chatter line: lines at its distance from every tooth-passing multiple."""

import numpy as np

from shopmon.listening.scene import Scene

STEPS = np.array([-3, -2, -1, 1, 2, 3])
WEIGHTS = np.array([0.35, 0.7, 1.0, 1.0, 0.7, 0.35])
MEMBER_DB = 6.0
FULL_DB = 14.0
LOWEST_HZ = 20.0


def family_support(frequencies_hz: np.ndarray, scene: Scene) -> np.ndarray:
    """How many relatives of each line stand out of floor and background, weighted, from 0 to about 4.

    Looked for at the spacing of tooth passing (of the rotation where the flutes are not known) and of the
    rotation: runout gives every line sidebands there. The result has the shape ``(2, lines)``.

    Parameters
    ----------
    frequencies_hz
        The lines, shape ``(lines,)``.
    scene
        The spectrum.
    """
    rotation = scene.comb.rotation_hz
    spacings = np.array([rotation * (scene.flutes or 1), rotation])
    places = frequencies_hz[:, None, None] + spacings[:, None] * STEPS
    bins = np.rint(np.abs(places) / scene.window.bin_hz).astype(np.intp)
    valid = (bins > LOWEST_HZ / scene.window.bin_hz) & (bins < 0.42 * scene.window.size)
    bins[~valid] = 1
    height = scene.raised_db[bins]
    if scene.compared:
        over = height + scene.view.floor_db[bins] - scene.background.around_db[bins]
        height = np.minimum(height, over)
    worth = np.minimum(np.maximum((height - MEMBER_DB) / (FULL_DB - MEMBER_DB), 0.0), 1.0)
    return ((worth * valid) @ WEIGHTS).T

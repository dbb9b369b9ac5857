"""The relatives of a chatter line: lines at its distance from every tooth-passing multiple."""

import numpy as np

from shopmon.listening.scene import Scene

STEPS = np.array([-3, -2, -1, 1, 2, 3])
WEIGHTS = np.array([0.35, 0.7, 1.0, 1.0, 0.7, 0.35])
MEMBER_DB = 6.0
FULL_DB = 14.0
LOWEST_HZ = 20.0
MANY_FLUTES = np.arange(1, 8)


def family_support(frequencies_hz: np.ndarray, scene: Scene) -> np.ndarray:
    """How many relatives of each line stand out of floor and background, weighted, from 0 to about 4.

    Looked for at the spacing of tooth passing (the best of one to seven teeth where the flutes are not known)
    and of the rotation: runout gives every line sidebands there. The result has the shape ``(2, lines)``.

    Parameters
    ----------
    frequencies_hz
        The lines, shape ``(lines,)``.
    scene
        The spectrum.
    """
    rotation = scene.comb.rotation_hz
    teeth = np.array([scene.flutes]) if scene.flutes else MANY_FLUTES
    spacings = rotation * np.append(teeth, 1)
    places = frequencies_hz[:, None, None] + spacings[:, None] * STEPS
    bins = np.rint(np.abs(places) / scene.window.bin_hz).astype(np.intp)
    valid = (bins > LOWEST_HZ / scene.window.bin_hz) & (bins < 0.42 * scene.window.size)
    bins[~valid] = 1
    height = scene.raised_db[bins]
    if scene.compared:
        over = height + scene.view.floor_db[bins] - scene.background.around_db[bins]
        height = np.minimum(height, over)
    worth = np.minimum(np.maximum((height - MEMBER_DB) / (FULL_DB - MEMBER_DB), 0.0), 1.0)
    support = (worth * valid) @ WEIGHTS
    return np.stack((support[:, :-1].max(axis=1), support[:, -1]))

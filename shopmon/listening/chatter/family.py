"""The relatives of a chatter line: lines at its distance from every tooth-passing multiple."""

from functools import lru_cache

import numpy as np

from shopmon.listening.scene import Scene

STEPS = np.array([-3, -2, -1, 1, 2, 3])
WEIGHTS = np.array([0.35, 0.7, 1.0, 1.0, 0.7, 0.35])
MEMBER_DB = 6.0
FULL_DB = 14.0
LOWEST_HZ, HIGHEST_SHARE = 20.0, 0.42
MANY_FLUTES = tuple(range(1, 8))


def family_support(frequencies_hz: np.ndarray, scene: Scene) -> tuple[np.ndarray, np.ndarray]:
    """How many relatives of each line stand out of floor and background, weighted, from 0 to about 4.

    Looked for at the spacing of tooth passing (the best of one to seven teeth where the flutes are not known)
    and of the rotation: runout gives every line sidebands there.

    Parameters
    ----------
    frequencies_hz
        The lines, shape ``(lines,)``.
    scene
        The spectrum.

    Returns
    -------
    teeth, rotation
        Support at either spacing, shape ``(lines,)``.
    """
    rotation = scene.comb.rotation_hz
    per_bin = 1 / scene.window.bin_hz
    steps = _steps(scene.flutes) * (rotation * per_bin)
    bins = np.rint(np.abs((frequencies_hz * per_bin)[:, None, None] + steps)).astype(np.intp)
    valid = bins > LOWEST_HZ * per_bin
    valid &= bins < HIGHEST_SHARE * scene.window.size
    bins *= valid
    support = (member_worth(bins, scene) * valid) @ WEIGHTS
    return support[:, :-1].max(axis=1), support[:, -1]


def member_worth(bins: np.ndarray, scene: Scene) -> np.ndarray:
    """Return how far bins stand out of floor and background, from 0 to 1, shape as given."""
    height = scene.raised_db[bins]
    if scene.compared:
        over = height + scene.view.floor_db[bins]
        over -= scene.background.around_db[bins]
        height = np.minimum(height, over)
    return np.minimum(np.maximum((height - MEMBER_DB) / (FULL_DB - MEMBER_DB), 0.0), 1.0)


@lru_cache(maxsize=64)
def _steps(flutes: int | None) -> np.ndarray:
    """Where relatives lie, in rotations: by tooth passing, and in the last row by the rotation."""
    teeth = (flutes,) if flutes else MANY_FLUTES
    return np.outer((*teeth, 1), STEPS)

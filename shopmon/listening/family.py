"""The relatives of a chatter line: lines at its distance from every tooth-passing multiple."""

import numpy as np

from shopmon.listening.background import Background
from shopmon.listening.comb_view import CombView
from shopmon.listening.front import Window

STEPS = np.array([-3, -2, -1, 1, 2, 3])
WEIGHTS = np.array([0.35, 0.7, 1.0, 1.0, 0.7, 0.35])
MEMBER_DB = 6.0
FULL_DB = 14.0


def family_support(
    frequency_hz: float,
    comb: CombView,
    flutes: int | None,
    raised_db: np.ndarray,
    floor_db: np.ndarray,
    background: Background,
    window: Window,
) -> float:
    """How many relatives of a line stand out of floor and background, weighted, from 0 to about 4.

    Where the number of flutes is not known, sidebands at the rotation are looked for instead.

    Parameters
    ----------
    frequency_hz
        The line.
    comb, flutes
        For the spacing.
    raised_db, floor_db
        Heights (best of three bins) above the floor, and the floor.
    background
        What was there before.
    window
        The spectrum's window.
    """
    spacings = {comb.rotation_hz * (flutes or 1), comb.rotation_hz}
    return max(
        _members(frequency_hz + STEPS * spacing, raised_db, floor_db, background, window)
        for spacing in spacings
    )


def _members(places_hz, raised_db, floor_db, background: Background, window: Window) -> float:
    bins = np.rint(np.abs(places_hz) / window.bin_hz).astype(np.intp)
    valid = (bins > 20 / window.bin_hz) & (bins < 0.42 * window.size)
    bins = np.where(valid, bins, 1)
    height = raised_db[bins]
    if background.spectrum_db.size == raised_db.size:
        height = np.minimum(height, raised_db[bins] + floor_db[bins] - background.around_db[bins])
    worth = np.minimum(np.maximum((height - MEMBER_DB) / (FULL_DB - MEMBER_DB), 0.0), 1.0)
    return float(np.sum(np.where(valid, WEIGHTS * worth, 0.0)))

"""The spindle comb as one spectrum shows it: level and floor at every multiple of the rotation."""

from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

import numpy as np

from shopmon.listening.intake.front import View, Window
from shopmon.signals.comb.search import LINE_CAP_DB
from shopmon.signals.levels import power_db
from shopmon.signals.spectra import far_skirt_db

ORDERS = 40
HIGHEST_HZ = 5000.0
VISIBLE_DB = 7.0
WITHIN = 1.7  # of a window's width: the line itself
PLACES = np.array([[0.0], [-0.5], [-0.38], [0.38]])  # the line, and places between it and its neighbours
LEAST_HEARD = 0.25


@dataclass(frozen=True, kw_only=True, eq=False)
class CombView:
    """Lines of the comb in one spectrum.

    Attributes
    ----------
    rotation_hz
        Rotation frequency.
    bins
        Bin of each order's line, shape ``(orders,)``.
    lines_db, floor_db
        Level of each line (best of three bins) and of the floor there.
    window_s, bin_hz
        Of the spectrum.
    contrast_db
        How much higher than halfway between them the lines stand, capped and weighted to the low orders.
    """

    rotation_hz: float
    bins: np.ndarray
    lines_db: np.ndarray
    floor_db: np.ndarray
    window_s: float
    bin_hz: float
    contrast_db: float

    @cached_property
    def between(self) -> np.ndarray:
        """Bins halfway between each line and the one before."""
        return np.maximum(np.rint(self.bins - 0.5 * self.rotation_hz / self.bin_hz).astype(np.intp), 1)

    @cached_property
    def strongest_db(self) -> float:
        """Level of the strongest line."""
        return float(self.lines_db.max())

    @cached_property
    def standing(self) -> np.ndarray:
        """Which lines stand out of the floor, shape ``(orders,)``."""
        return self.lines_db - self.floor_db > VISIBLE_DB

    @cached_property
    def told_db(self) -> np.ndarray:
        """Level of each line, NaN where it does not stand out."""
        return np.where(self.standing, self.lines_db, np.nan)

    @cached_property
    def visible(self) -> int:
        """Number of lines that stand out of the floor."""
        return int(np.count_nonzero(self.standing))

    @cached_property
    def power_db(self) -> float:
        """Level of all visible lines together."""
        return power_db(float((10 ** (self.lines_db[self.standing] / 10)).sum()))

    def heard_for(self, duration_s: float) -> "CombView":
        """The same lines, as broad as they are where they began within the window."""
        if duration_s >= self.window_s:
            return self
        return replace(self, window_s=min(self.window_s, max(duration_s, LEAST_HEARD * self.window_s)))

    def skirts_db(self, frequency_hz: np.ndarray, doubt: float) -> np.ndarray:
        """Return the level that the nearest comb line's skirt may reach; infinite within the line itself.

        Parameters
        ----------
        frequency_hz
            Where to look.
        doubt
            Share by which the rotation frequency may be wrong or moving within the window.
        """
        order = np.maximum(1, np.rint(frequency_hz / self.rotation_hz))
        away = np.abs(frequency_hz - order * self.rotation_hz)
        away -= doubt * frequency_hz
        away *= self.window_s
        index = np.minimum(order, self.lines_db.size).astype(np.intp) - 1
        skirt = self.lines_db[index] + far_skirt_db(np.maximum(away, WITHIN))
        skirt[away < WITHIN] = np.inf
        return skirt


def view_comb(view: View, window: Window, raised_db: np.ndarray, rotation_hz: float) -> CombView:
    """Read the comb of a rotation frequency from a view.

    Parameters
    ----------
    view, window
        The spectrum.
    raised_db
        ``peaks_near`` of the spectrum's height above the floor.
    rotation_hz
        Rotation frequency.
    """
    top = min(HIGHEST_HZ, (window.bins - 3) * window.bin_hz)
    places, weights, whole = _places(min(max(int(top / rotation_hz), 1), ORDERS))
    at = np.minimum(np.rint(places * (rotation_hz / window.bin_hz)), window.bins - 1).astype(np.intp)
    bins, heights = at[0], raised_db[at]
    floors = view.floor_db[bins]
    capped = np.minimum(heights, LINE_CAP_DB)
    off = np.add.reduce(capped[1:], axis=0) / (len(PLACES) - 1)
    return CombView(
        rotation_hz=rotation_hz,
        bins=bins,
        lines_db=(floors + heights[0]).astype(np.float64),
        floor_db=floors.astype(np.float64),
        window_s=window.duration_s,
        bin_hz=window.bin_hz,
        contrast_db=float((capped[0] - off) @ weights / whole),
    )


@lru_cache(maxsize=ORDERS)
def _places(count: int) -> tuple[np.ndarray, np.ndarray, float]:
    """Where to look, in rotations, ``(places, orders)``; what each order weighs, and what all weigh."""
    orders = np.arange(1.0, count + 1)
    return orders + PLACES, 1 / orders, float(np.sum(1 / orders))

"""Following the rotation frequency near a speed that is roughly known."""

import numpy as np

from shopmon.listening.front import Window
from shopmon.listening.state import Memory
from shopmon.signals.comb import CombGrid, comb_gain, smooth_path_step

REACH = 0.035
STEP = 5e-4
PRICE_DB = 6.0
DECAY = 0.9
MOVE_PRICE_DB = 0.35
MOVE_REACH = 3
HARMONICS = 32
HIGHEST_HZ = 5000.0


class SpeedTracker(Memory):
    """Comb likelihood over a grid of speeds, carried along smooth paths in time.

    The number on the display is a start, not a truth: slip, override and drift move the speed by up to 3 %.
    """

    kept = ("centre_hz", "flutes", "path", "rotation_hz", "slope", "jitter", "hops")

    def __init__(self):
        self.centre_hz: float | None = None
        self.flutes: int | None = None
        self.path = np.zeros(0, dtype=np.float32)
        self.rotation_hz: float | None = None
        self.slope = 0.0
        self.jitter = 0.0
        self.hops = 0
        self._grid: CombGrid | None = None
        self._grid_of: tuple | None = None

    def aim(self, centre_hz: float | None, flutes: int | None) -> None:
        """Follow the speed near `centre_hz` from now on, or none."""
        self.centre_hz = centre_hz
        self.flutes = flutes
        self.path = np.zeros(0, dtype=np.float32)
        self.rotation_hz = None
        self.slope = 0.0
        self.jitter = 0.0
        self.hops = 0

    def clear(self) -> None:
        """Forget the path, not where to look."""
        self.aim(self.centre_hz, self.flutes)

    def _aimed_grid(self, window: Window) -> CombGrid:
        wanted = (self.centre_hz, self.flutes, window.size, window.bin_hz)
        if self._grid_of != wanted:
            half = round(REACH / STEP)
            candidates = self.centre_hz * np.exp(STEP * np.arange(-half, half + 1))
            top = min(HIGHEST_HZ, (window.bins - 3) * window.bin_hz)
            self._grid = CombGrid(candidates, window.bin_hz, top, HARMONICS, self.flutes)
            self._grid_of = wanted
        return self._grid

    def follow(self, raised_db: np.ndarray, window: Window) -> float | None:
        """Take one spectrum and return the rotation frequency in Hz, None while nothing is aimed at.

        Parameters
        ----------
        raised_db
            ``peaks_near`` of the heights above the floor.
        window
            The spectrum's window.
        """
        if self.centre_hz is None:
            return None
        grid = self._aimed_grid(window)
        scores = grid(comb_gain(raised_db, PRICE_DB))
        if self.path.size != scores.size:
            self.path = np.zeros_like(scores)
        self.path = np.float32(DECAY) * smooth_path_step(self.path, MOVE_REACH, MOVE_PRICE_DB) + scores
        before, self.rotation_hz = self.rotation_hz, self._best(grid)
        if before is not None:
            change = self.rotation_hz / before - 1
            self.slope += 0.2 * (change - self.slope)
            self.jitter += 0.1 * (abs(change) - self.jitter)
        self.hops += 1
        return self.rotation_hz

    def _best(self, grid: CombGrid) -> float:
        """Centre of the plateau of best candidates: lines are read to a bin, so several score alike."""
        best = float(self.path.max())
        near = np.flatnonzero(self.path > best - 0.6)
        weights = self.path[near].astype(np.float64) - (best - 0.6)
        peak = int(np.argmax(self.path))
        close = np.abs(near - peak) <= 6
        return float(np.sum(grid.candidates_hz[near[close]] * weights[close]) / np.sum(weights[close]))

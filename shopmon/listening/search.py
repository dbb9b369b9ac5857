"""Finding the rotation frequency from nothing."""

import numpy as np

from shopmon.listening.front import Window
from shopmon.listening.state import Memory
from shopmon.signals.comb import CombGrid, comb_gain, peaks_near, smooth_path_step

WINDOW_S = 0.8
EVERY_HOPS = 4
STEP = 1e-3
# A small price lets every half-speed comb win, and a half-speed comb hides the chatter.
PRICE_DB = 7.0
FALLING = 0.5
DECAY = 0.8
HARMONICS = 40
HIGHEST_HZ = 4000.0
ROUNDS = 3
LEAST_SCORE = 0.8
RIVAL_SHARE = 0.75
# at 0.2 held for five looks: no false word on 90 simulated passes told the right speed
UNBELIEVED_SHARE = 0.2
RELATED = 0.012
RATIOS = (0.25, 1 / 3, 0.5, 2 / 3, 1.5, 2.0, 3.0, 4.0)


class SpeedSearch(Memory):
    """Scores all speeds between two bounds a few times a second until one stands out.

    Parameters
    ----------
    rate_hz
        Analysis rate.
    lowest_hz, highest_hz
        Bounds of the rotation frequency.
    """

    kept = ("path", "rounds", "best_hz", "agreed", "flutes")

    def __init__(self, rate_hz: float, lowest_hz: float, highest_hz: float):
        self.path = np.zeros(0, dtype=np.float32)
        self.rounds = 0
        self.best_hz: float | None = None
        self.agreed = 0
        self.flutes: int | None = None
        self._rate_hz = rate_hz
        self._bounds = (lowest_hz, min(highest_hz, rate_hz / 6))
        self._grid: CombGrid | None = None
        self._window: Window | None = None
        self._grid_flutes: int | None = None

    def clear(self, flutes: int | None) -> None:
        """Start again."""
        self.path = np.zeros(0, dtype=np.float32)
        self.rounds = self.agreed = 0
        self.best_hz = None
        self.flutes = flutes

    @property
    def window(self) -> Window:
        """The search's own, longer window."""
        if self._window is None:
            self._window = Window(self._rate_hz, WINDOW_S)
        return self._window

    def _prepared(self) -> CombGrid:
        if self._grid is None or self._grid_flutes != self.flutes:
            low, high = self._bounds
            count = max(2, int(np.log(high / low) / STEP))
            top = min(HIGHEST_HZ, (self.window.bins - 3) * self.window.bin_hz)
            candidates = low * np.exp(STEP * np.arange(count))
            self._grid = CombGrid(candidates, self.window.bin_hz, top, HARMONICS, self.flutes, FALLING)
            self._grid_flutes = self.flutes
        return self._grid

    def look(self, spectrum_db: np.ndarray) -> float | None:
        """Take a spectrum; return a rotation frequency once one has stood out for a while."""
        grid = self._prepared()
        height = spectrum_db - self.window.floor(spectrum_db)
        scores = grid(comb_gain(peaks_near(height), PRICE_DB))
        if self.path.size != scores.size:
            self.path = scores.copy()
        else:
            self.path = np.float32(DECAY) * smooth_path_step(self.path, 2, 0.5) + scores * np.float32(
                1 - DECAY
            )
        self.rounds += 1
        best = int(np.argmax(self.path))
        found = float(grid.candidates_hz[best])
        same = self.best_hz is not None and abs(found / self.best_hz - 1) < 0.004
        good = float(self.path[best]) > LEAST_SCORE
        self.agreed = self.agreed + 1 if same and good else 0
        self.best_hz = found
        return found if self.agreed >= ROUNDS else None

    def rivals_hz(self, chosen_hz: float) -> list[float]:
        """Other frequencies in a simple ratio to the chosen one that explain the sound almost as well."""
        if self._grid is None or not self.path.size or self.path.max() <= 0:
            return []
        low, high = self._bounds
        limit = RIVAL_SHARE * self._score_near(chosen_hz)
        tried = [chosen_hz * ratio for ratio in RATIOS if low <= chosen_hz * ratio <= high]
        return [hz for hz in tried if self._score_near(hz) > max(limit, LEAST_SCORE)]

    def contradicts(self, told_hz: float, found_hz: float) -> bool:
        """Whether the speed found makes the told one hard to believe; simple ratios do not count.

        Parameters
        ----------
        told_hz
            Rotation frequency as told and followed.
        found_hz
            What `look` has found.
        """
        ratio = found_hz / told_hz
        related = min(abs(ratio / simple - 1) for simple in (1.0, *RATIOS)) < RELATED
        return not related and self._score_near(told_hz) < UNBELIEVED_SHARE * self._score_near(found_hz)

    def _score_near(self, frequency_hz: float) -> float:
        index = round(np.log(frequency_hz / self._bounds[0]) / STEP)
        near = self.path[max(0, index - 6) : index + 7]
        return float(near.max()) if near.size else -99.0

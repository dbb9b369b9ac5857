"""The band levels of the last seconds, sub-frame by sub-frame, and the dating of contact from them."""

from dataclasses import dataclass
from functools import lru_cache
from math import ceil

import numpy as np

from shopmon.listening.background import Background
from shopmon.listening.engagement.edges import date_end, date_start
from shopmon.listening.intake.front import BANDS
from shopmon.listening.intake.hops import SUBFRAMES, Rates
from shopmon.listening.state import Memory

HISTORY = 240
WIDEST_TURN = 12
NEWEST = 36
RINGS_ON_S = 0.008


@lru_cache(maxsize=32)
def _running_mean(count: int) -> np.ndarray:
    """Matrix that takes the mean of `count` sub-frames for each of the newest, shape ``(5, count + 4)``."""
    width = count + SUBFRAMES - 1
    return (np.tri(SUBFRAMES, width, count - 1) - np.tri(SUBFRAMES, width, -1)) / count


@dataclass(frozen=True, eq=False)
class Rest:
    """What sounds on when a cut is over, as far as dating asks: mean and variance of the band levels."""

    bands_db: np.ndarray
    variance: np.ndarray

    @property
    def spread_db(self) -> np.ndarray:
        """Spread of the bands' levels."""
        return np.sqrt(self.variance)


class BandHistory(Memory):
    """Keeps the levels of the last 2.4 s.

    Parameters
    ----------
    rates
        The grid.
    """

    kept = ("levels_db", "times")

    def __init__(self, rates: Rates):
        self._rates = rates
        self._step = rates.subframe * rates.factor
        self.clear()

    def clear(self) -> None:
        """Forget all."""
        self.levels_db = np.full((HISTORY, BANDS), -200.0)
        self.times = 0

    def smooth(self, bands_db: np.ndarray, rotation_hz: float | None) -> np.ndarray:
        """Take in the sub-frames' levels; return them smoothed over a turn or two, shape ``(5, bands)``."""
        self.levels_db = np.concatenate((self.levels_db[SUBFRAMES:], bands_db))
        self.times = min(self.times + SUBFRAMES, HISTORY)
        turn = 1.5 / rotation_hz if rotation_hz else 0.03
        count = min(max(ceil(turn * self._rates.rate_hz / self._rates.subframe), 5), 30)
        count = min(count, self.times)
        power = 10.0 ** (self.levels_db[-(count + SUBFRAMES - 1) :] / 10)
        return 10 * np.log10(np.maximum(_running_mean(count) @ power, 1e-20))

    def recent(self) -> tuple[np.ndarray, np.ndarray]:
        """Return mean and variance of the band levels over the last 0.3 s, smoothed like everything else."""
        return self.before(HISTORY)

    def before(self, index: int) -> tuple[np.ndarray, np.ndarray]:
        """Return the same over the 0.3 s before a sub-frame."""
        power = 10.0 ** (self.levels_db[max(index, NEWEST) - NEWEST : max(index, NEWEST)] / 10)
        smooth = 10 * np.log10(
            np.maximum(np.stack([power[i : i + 6].mean(axis=0) for i in range(31)]), 1e-20)
        )
        return smooth.mean(axis=0), smooth.var(axis=0)

    def subframes(self, seconds: float) -> int:
        """Return a duration in sub-frames, rounded up."""
        return ceil(seconds * self._rates.rate_hz / self._rates.subframe)

    def smoothed_at(self, index: int, now: int) -> int:
        """Sample at which what a smoothed sub-frame shows came, less the delay of smoothing and window."""
        return max(0, now - int((HISTORY + 1.5 - index) * self._step))

    def index_of(self, sample: int, now: int) -> int:
        """Sub-frame that is centred on a sample."""
        return min(max(round(HISTORY - (now - sample) / self._step), 0), HISTORY - 1)

    def start(self, inside: int, now: int, background: Background, rotation_hz: float | None) -> int:
        """Sample of the first contact before a sub-frame that lies within the engagement."""
        found = date_start(
            self.levels_db,
            background.bands_db,
            background.spread_db,
            min(max(inside, 0), HISTORY - 2),
            self._turn(rotation_hz),
        )
        return self._centre(found, now)

    def end(self, inside: int, now: int, background: Background | Rest, rotation_hz: float | None) -> int:
        """Sample of the last contact after a sub-frame that lies within the engagement."""
        found = date_end(
            self.levels_db, background.bands_db, background.spread_db, max(inside, 0), self._turn(rotation_hz)
        )
        return max(0, self._centre(found, now) - int(RINGS_ON_S * self._rates.sample_rate_hz))

    def _centre(self, index: float, now: int) -> int:
        return max(0, now - round((HISTORY - index) * self._step))

    def _turn(self, rotation_hz: float | None) -> int:
        return min(self.subframes(1.0 / rotation_hz), WIDEST_TURN) if rotation_hz else 1

"""How well the lines of a spectrum fit combs of nearly the same spacing, by where exactly they lie."""

import numpy as np

from shopmon.signals.lines import REACH_BINS, LineMap

HARMONICS = 32
HIGHEST_HZ = 5000.0
PRICE_DB, CAP_DB = 6.0, 25.0
SPREAD_BINS, SPREAD_SHARE = 0.7, 3e-4
FLUTES_WEIGHT = 2.0


def bins_needed(bin_hz: float, bins: int) -> int:
    """Return how many of a spectrum's bins a `CombFit` reads, those of the lines nearest to them included."""
    return min(bins, int(HIGHEST_HZ / bin_hz) + REACH_BINS + 4)


class CombFit:
    """Fit of combs on a narrow grid of candidate rotation frequencies.

    A line counts by its height, capped, so far as it lies where the comb wants it; a wanted line that is
    missing costs a price. Low orders weigh most: they cannot be confused.

    Parameters
    ----------
    candidates_hz
        Shape ``(candidates,)``, ascending, within a factor of two.
    bin_hz
        Bin spacing of the spectra.
    bins
        Their number of bins.
    flutes
        Where known, multiples of tooth passing count double.
    spread_share
        Share of a line's frequency by which it may lie off, beside a part of a bin.
    """

    def __init__(
        self, candidates_hz, bin_hz: float, bins: int, flutes: int | None, spread_share: float = SPREAD_SHARE
    ):
        self.candidates_hz = np.asarray(candidates_hz, dtype=float)
        highest_hz = min(HIGHEST_HZ, (bins - 3) * bin_hz)
        orders = np.arange(1, int(np.clip(highest_hz / self.candidates_hz[-1], 1, HARMONICS)) + 1)
        self._place = (np.outer(self.candidates_hz, orders) / bin_hz).astype(np.float32)
        last = bins_needed(bin_hz, bins) - 1
        self._bins = np.minimum(np.rint(self._place).astype(np.intp), last)
        self._per_spread = 1 / (np.float32(SPREAD_BINS) + np.float32(spread_share) * self._place)
        middle_hz = self.candidates_hz[self.candidates_hz.size // 2] * orders
        plain = 1 / np.maximum(middle_hz, 60.0)
        weights = np.where(orders % flutes == 0, FLUTES_WEIGHT * plain, plain) if flutes else plain
        self._weights = (weights / plain.sum()).astype(np.float32)
        self._price = np.float32(PRICE_DB) * self._weights.sum()

    def __call__(self, lines: LineMap) -> np.ndarray:
        """Return the fit of each candidate in dB per line, weighted.

        Parameters
        ----------
        lines
            Of a spectrum's first `bins_needed` bins, at least.
        """
        off = lines.position[self._bins]
        off -= self._place
        off *= self._per_spread
        off *= off
        inside = np.maximum(np.subtract(1, off, out=off), 0, out=off)
        inside *= np.minimum(lines.height_db, CAP_DB)[self._bins]
        return inside @ self._weights - self._price

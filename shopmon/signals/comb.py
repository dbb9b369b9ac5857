"""How well a spectrum fits a comb: lines at all multiples of a rotation frequency."""

import numpy as np

LINE_CAP_DB = 20.0


def comb_gain(above_floor_db: np.ndarray, price_db: float) -> np.ndarray:
    """Turn heights above the floor into what a predicted line there is worth.

    Strong lines are capped, so that one stray line cannot buy a comb; a predicted line that is missing costs
    `price_db`.
    """
    return np.minimum(np.maximum(above_floor_db, 0.0), LINE_CAP_DB) - price_db


class CombGrid:
    """Comb likelihood of many candidate rotation frequencies at once.

    Each predicted line counts by a power of its frequency: accuracy is lost with the order of a line, and a
    spectral line counts the same whichever candidate claims it, so that half and double speeds do not win by
    the number of their lines.

    Parameters
    ----------
    candidates_hz
        Shape ``(candidates,)``, ascending.
    bin_hz
        Bin spacing of the spectra.
    highest_hz
        No line above this is looked at.
    harmonics
        No order above this is looked at.
    flutes
        Where known, multiples of tooth passing count double.
    falling
        Exponent of the weight's fall with frequency.
    """

    def __init__(
        self,
        candidates_hz,
        bin_hz: float,
        highest_hz: float,
        harmonics: int,
        flutes: int | None,
        falling: float = 1.0,
    ):
        self.candidates_hz = np.asarray(candidates_hz, dtype=float)
        counts = np.clip((highest_hz / self.candidates_hz).astype(int), 1, harmonics)
        orders = np.concatenate([np.arange(1, count + 1) for count in counts])
        lines_hz = np.repeat(self.candidates_hz, counts) * orders
        self._starts = np.concatenate(([0], np.cumsum(counts)[:-1]))
        self._bins = np.rint(lines_hz / bin_hz).astype(np.intp)
        plain = np.maximum(lines_hz, 60.0) ** -falling
        weights = plain
        if flutes:
            weights = np.where(orders % flutes == 0, 2 * weights, weights)
        total = np.add.reduceat(plain, self._starts)
        self._weights = weights.astype(np.float32)
        self._normal = (1.0 / np.median(total)).astype(np.float32)

    def __call__(self, gains: np.ndarray) -> np.ndarray:
        """Return the score of each candidate, in dB per line, weighted.

        Parameters
        ----------
        gains
            What a line at each bin is worth, shape ``(bins,)``, from `comb_gain`.
        """
        return np.add.reduceat(gains[self._bins] * self._weights, self._starts) * self._normal


def peaks_near(values: np.ndarray) -> np.ndarray:
    """Return for each bin the highest local maximum among it and its two neighbours, 0 where there is none.

    A strong line's skirt is no line: a comb that only touches skirts must not score.
    """
    peaks = np.zeros_like(values)
    inner = values[1:-1]
    np.multiply(inner, (inner >= values[:-2]) & (inner >= values[2:]), out=peaks[1:-1])
    out = peaks.copy()
    np.maximum(out[1:], peaks[:-1], out=out[1:])
    np.maximum(out[:-1], peaks[1:], out=out[:-1])
    return out


def smooth_path_step(previous: np.ndarray, reach: int, price_per_step: float) -> np.ndarray:
    """Carry accumulated scores one step on: each candidate may come from a near one, at a price.

    Parameters
    ----------
    previous
        Accumulated scores, shape ``(candidates,)``.
    reach
        How many candidates away a path may come from.
    price_per_step
        Price per candidate moved.
    """
    best = previous.copy()
    for distance in range(1, reach + 1):
        price = price_per_step * distance
        np.maximum(best[distance:], previous[:-distance] - price, out=best[distance:])
        np.maximum(best[:-distance], previous[distance:] - price, out=best[:-distance])
    return best

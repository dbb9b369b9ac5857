"""Which rotation frequencies a few lines speak for, over the whole range of speeds at once."""

from math import log

import numpy as np

from shopmon.signals.comb.spacing import differences

# about two per octave: within one, lines are known to much the same share of their frequency
EDGES_HZ = (60.0, 100.0, 160.0, 250.0, 400.0, 650.0, 1100.0, 2000.0)
HIGHEST_HZ = 4000.0
ORDERS = 24
STEP = 1e-3
PER_DB, CAP_DB = 0.21, 20.0
# log-likelihood ratios counted on simulated cuts: what a wanted line that is missing costs
MISSING, MISSING_TOOTH = -0.6, -0.78
SPREAD_HZ, SPREAD_SHARE = 0.7, 4e-4
SPACING_MOST = 1.2
SHORT = 11  # beyond, numpy's convolution takes many times longer


class CombVotes:
    """Every line votes for the rotation frequencies of which it may be a multiple.

    Voting is the same sum over predicted lines as asking each candidate for its lines, but its cost goes with
    the lines there are, a hundred, instead of all that might be.

    Parameters
    ----------
    lowest_hz, highest_hz
        Range of the rotation frequency.
    flutes
        Where known, a missing line of tooth passing costs more.
    """

    def __init__(self, lowest_hz: float, highest_hz: float, flutes: int | None):
        self._lowest_hz = lowest_hz
        count = max(2, int(np.log(highest_hz / lowest_hz) / STEP))
        self.candidates_hz = lowest_hz * np.exp(STEP * np.arange(count))
        orders = np.arange(1, ORDERS + 1)
        # one more, so that 0 is below the range
        self._steps = np.log(lowest_hz * orders) / STEP - 1
        tooth = orders % flutes == 0 if flutes else np.zeros(ORDERS, bool)
        self._missing = np.where(tooth, MISSING_TOOTH, MISSING)
        wanted_hz = np.outer(self.candidates_hz, orders)
        weights = np.where(wanted_hz < HIGHEST_HZ, _weight(wanted_hz), 0.0)
        self._normal = 1 / np.median(weights.sum(axis=1))
        self._nothing = weights @ self._missing
        edges = np.array((EDGES_HZ[0] / 2, *EDGES_HZ, HIGHEST_HZ))
        self._kernels = [_kernel(middle) for middle in np.sqrt(edges[1:] * edges[:-1])]

    def index(self, rotation_hz: float) -> int:
        """Return the index of the candidate nearest to a frequency, which may lie outside."""
        return round(log(rotation_hz / self._lowest_hz) / STEP)

    def __call__(self, frequency_hz: np.ndarray, height_db: np.ndarray, known: np.ndarray) -> np.ndarray:
        """Return each candidate's score: a log-likelihood ratio per line, weighted.

        Parameters
        ----------
        frequency_hz, height_db
            Of the lines, ascending, shape ``(lines,)``.
        known
            Lines that say nothing since something else is known to make them: where one hides a wanted line,
            that is not missing.
        """
        weight = _weight(frequency_hz)[:, None]
        gain = (PER_DB * np.minimum(height_db, CAP_DB))[:, None]
        votes = np.where(known[:, None], -self._missing, gain) * weight
        score = self._nothing.copy()
        self._cast(frequency_hz, votes, score)
        return (score * self._normal).astype(np.float32)

    def of_spacing(self, frequency_hz: np.ndarray, height_db: np.ndarray) -> np.ndarray:
        """Return how many pairs of lines agree with each candidate: ringing steps by multiples of it.

        Parameters
        ----------
        frequency_hz, height_db
            Of a few strong lines, shape ``(lines,)``.
        """
        score = np.zeros(self.candidates_hz.size)
        if frequency_hz.size < 2:
            return score.astype(np.float32)
        apart_hz, worth = differences(frequency_hz, height_db)
        order = apart_hz.argsort(kind="stable")
        order = order[worth[order] > 0]  # most pairs of a comb's own lines say nothing
        votes = np.repeat(worth[order, None], ORDERS, axis=1)
        self._cast(apart_hz[order], votes, score)
        return np.minimum(score, SPACING_MOST).astype(np.float32)

    def _cast(self, frequency_hz: np.ndarray, votes: np.ndarray, score: np.ndarray) -> None:
        """Add the votes of lines, ascending, for being any multiple."""
        places = np.rint((np.log(frequency_hz) / STEP)[:, None] - self._steps).astype(np.intp)
        count = self.candidates_hz.size
        # what votes for speeds out of range is counted beside it
        places = np.minimum(np.maximum(places, 0), count + 1)
        bounds = [0, *np.searchsorted(frequency_hz, (*EDGES_HZ, HIGHEST_HZ))]
        for start, end, kernel in zip(bounds, bounds[1:], self._kernels, strict=False):
            if end > start:
                score += _spread(places[start:end], votes[start:end], kernel, count)


def _weight(frequency_hz: np.ndarray) -> np.ndarray:
    return np.maximum(frequency_hz, 60.0) ** -0.5


def _spread(places: np.ndarray, votes: np.ndarray, kernel: np.ndarray, count: int) -> np.ndarray:
    """Sum of the votes, each spread over its neighbours; places from 1 to `count`, beside it uncounted."""
    if kernel.size <= SHORT:
        sums = np.bincount(places.ravel(), votes.ravel(), count + 2)[1:-1]
        return np.convolve(sums, kernel, "same") if kernel.size > 1 else sums
    # long kernels belong to the lowest bands, where lines are few
    inside = (places > 0) & (places <= count)
    spread = places[inside][:, None] + np.arange(kernel.size)
    weights = votes[inside][:, None] * kernel
    half = kernel.size // 2
    return np.bincount(spread.ravel(), weights.ravel(), count + kernel.size)[half + 1 : half + 1 + count]


def _kernel(frequency_hz: float) -> np.ndarray:
    """Spread of a vote over neighbouring candidates: how far off a line may lie."""
    half = (SPREAD_HZ / frequency_hz + SPREAD_SHARE) / STEP + 0.5
    steps = np.arange(-int(half), int(half) + 1)
    return 1 - (steps / (half + 0.01)) ** 2

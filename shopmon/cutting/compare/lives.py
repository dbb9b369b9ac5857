"""Two sides compared on how long their edges last, edges still in use among them."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from shopmon.cutting.compare.numbers import for_lives
from shopmon.cutting.compare.permutations import permutation_p
from shopmon.cutting.compare.result import CONFIDENCE, Comparison
from shopmon.cutting.life.lifetimes import CannotTell, Lifetime, arrays, usable
from shopmon.cutting.life.scaled import spread_of
from shopmon.cutting.life.weibull import weibull_lives

LEAST_ENDED = 3
WIDEST = 6.0  # logarithm of the largest ratio of lives that is looked at


def log_rank(a: Sequence[Lifetime], b: Sequence[Lifetime]) -> tuple[float, float]:
    """Return the log-rank statistic within strata (χ², one degree of freedom) and its p value for many.

    N. Mantel, Cancer Chemother. Rep. 50 (1966) 163.
    """
    from scipy import stats

    table = _Table(a, b)
    score, variance = table.score(), table.variance()
    chi_square = score**2 / variance if variance > 0 else 0.0
    return chi_square, float(stats.chi2.sf(chi_square, 1))


def compare_lives(
    a: Sequence[Lifetime], b: Sequence[Lifetime], confidence: float = CONFIDENCE
) -> Comparison | CannotTell:
    """Compare lives: how many times as long one of B lasts, within strata, and the log-rank test."""
    both = {life.stratum for life in usable(a)} & {life.stratum for life in usable(b)}
    if not both:
        return CannotTell(reason="The two were never used in the same material and operation.")
    left_out = {life.stratum for life in usable([*a, *b])} - both
    a, b = ([life for life in usable(side) if life.stratum in both] for side in (a, b))
    ended = sum(life.ended for life in a), sum(life.ended for life in b)
    if min(ended) < 1 or sum(ended) < LEAST_ENDED:
        return CannotTell(
            reason=f"Of the first {ended[0]} and of the second {ended[1]} came to their end; some of both "
            f"must, {LEAST_ENDED} at least together."
        )
    of_b = np.repeat([0.0, 1.0], [len(a), len(b)])[:, None]
    spread = spread_of([*a, *b], lambda logs: -of_b * logs, (-WIDEST, WIDEST))
    ratio = float(np.exp(spread.median))
    low, high = (None if each is None else float(np.exp(each)) for each in spread.bounds(confidence))
    table = _Table(a, b)
    scores = table.scores()
    scaled = [replace(life, cut_time_min=life.cut_time_min / ratio, chatter_min=0.0) for life in b]
    shape = weibull_lives([*a, *scaled]).fit().shape
    return Comparison(
        measure="ratio",
        effect=ratio,
        bounds=(low, high),
        confidence=confidence,
        p_value=permutation_p(table.side_b, table.strata, lambda shared: shared @ scores),
        units=ended,
        needed_each=for_lives(ratio, shape),
        strata=tuple(sorted(both, key=str)),
        left_out=tuple(sorted(left_out, key=str)),
    )


class _Table:
    """Both sides in one table, with the rows of each stratum."""

    def __init__(self, a: Sequence[Lifetime], b: Sequence[Lifetime]):
        lives = [*a, *b]
        self.minutes, self.ended = arrays(lives)
        self.side_b = np.repeat([False, True], [len(a), len(b)])
        names = list(dict.fromkeys(life.stratum for life in lives))
        self.strata = [
            np.array([row for row, life in enumerate(lives) if life.stratum == name]) for name in names
        ]

    def scores(self) -> np.ndarray:
        """Return what each edge adds: its end less the ends expected of it (they add up to 0 per stratum)."""
        scores = np.zeros(self.minutes.size)
        for rows in self.strata:
            minutes, ended = self.minutes[rows], self.ended[rows]
            times = np.unique(minutes[ended])
            hazard = np.array([np.sum(ended & (minutes == t)) / np.sum(minutes >= t) for t in times])
            expected = np.sum(hazard[None, :] * (times[None, :] <= minutes[:, None]), axis=1)
            scores[rows] = ended - expected
        return scores

    def score(self) -> float:
        """Return ends of B less those expected."""
        return float(self.scores()[self.side_b].sum())

    def variance(self) -> float:
        """Return the hypergeometric variance of `score`."""
        total = 0.0
        for rows in self.strata:
            minutes, ended, b = self.minutes[rows], self.ended[rows], self.side_b[rows]
            for t in np.unique(minutes[ended]):
                at_risk, gone = int(np.sum(minutes >= t)), int(np.sum(ended & (minutes == t)))
                of_b = int(np.sum(b & (minutes >= t)))
                if at_risk > 1:
                    share = of_b / at_risk
                    total += gone * share * (1 - share) * (at_risk - gone) / (at_risk - 1)
        return total

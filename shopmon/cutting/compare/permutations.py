"""Exact tests: how often chance alone, sharing the sides out anew within strata, does as much."""

from collections.abc import Callable, Sequence
from itertools import combinations, product
from math import comb, prod

import numpy as np

MOST_EXACT, DRAWS = 20_000, 5_000


def permutation_p(
    side_b: np.ndarray, strata: Sequence[np.ndarray], statistic: Callable[[np.ndarray], np.ndarray]
) -> float:
    """Return the two-sided p value of a statistic whose mean under chance is 0.

    Parameters
    ----------
    side_b
        Which are B, bool, ``(units,)``.
    strata
        Row numbers of each stratum; within it the sides are shared out anew.
    statistic
        Of many sharings at once: bool ``(sharings, units)`` to ``(sharings,)``.

    Notes
    -----
    All sharings where they are few enough, else 5000 drawn with a fixed seed (and the one that happened among
    them, so that no p value is 0).
    """
    counts = [comb(rows.size, int(side_b[rows].sum())) for rows in strata]
    if prod(counts) <= MOST_EXACT:
        shared = _all(side_b, strata)
    else:
        shared = np.vstack([side_b[None, :], _drawn(side_b, strata)])
    seen = abs(float(statistic(side_b[None, :])[0]))
    return float(np.mean(np.abs(statistic(shared)) >= seen * (1 - 1e-9) - 1e-12))


def _all(side_b: np.ndarray, strata: Sequence[np.ndarray]) -> np.ndarray:
    choices = [list(combinations(rows.tolist(), int(side_b[rows].sum()))) for rows in strata]
    shared = np.zeros((prod(len(each) for each in choices), side_b.size), dtype=bool)
    for number, chosen in enumerate(product(*choices)):
        shared[number, [row for rows in chosen for row in rows]] = True
    return shared


def _drawn(side_b: np.ndarray, strata: Sequence[np.ndarray]) -> np.ndarray:
    rng = np.random.default_rng(1)
    shared = np.zeros((DRAWS, side_b.size), dtype=bool)
    for rows in strata:
        shared[:, rows] = rng.permuted(np.tile(side_b[rows], (DRAWS, 1)), axis=1)
    return shared

"""How many are needed: power calculations for three kinds of comparison, five in a hundred two-sided."""

from math import ceil, log

ALPHA, POWER = 0.05, 0.8
MOST = 400  # of each; more than any small shop will cut


def _quantiles() -> float:
    from scipy.special import ndtri

    return float(ndtri(1 - ALPHA / 2) + ndtri(POWER))


def for_means(difference: float, spread: float) -> int | None:
    """Return how many of each show a difference of means, by the power of Student's test for two samples.

    Parameters
    ----------
    difference, spread
        Of means, and the standard deviation within each, in the same unit.

    Returns
    -------
    int or None
        None where more than `MOST` are needed.
    """
    from scipy import stats

    if difference == 0:
        return None
    shift = abs(difference) / spread if spread > 0 else 1e3
    for each in range(2, MOST + 1):
        free = 2 * each - 2
        limit = stats.t.ppf(1 - ALPHA / 2, free)
        if stats.nct.sf(limit, free, min(shift * (each / 2) ** 0.5, 1e3)) >= POWER:
            return each
    return None


def for_ranks(chance: float) -> int | None:
    """Return how many of each show that one of B ranks above one of A with a chance other than a half.

    G. E. Noether, J. Am. Stat. Assoc. 82 (1987) 645: N = (zα + zβ)²/(12 c (1−c) (p − ½)²), here c = ½.
    """
    away = abs(chance - 0.5)
    each = ceil(_quantiles() ** 2 / (6 * away**2)) if away > 0 else MOST + 1
    return each if each <= MOST else None


def for_lives(ratio: float, shape: float) -> int | None:
    """Return how many of each must come to their end to show that lives differ by a ratio.

    D. A. Schoenfeld, Biometrika 68 (1981) 316: the number of ends in all is 4 (zα + zβ)²/(log hazard ratio)²;
    Weibull lives that differ by a ratio have hazards that differ by its power β.
    """
    hazard = abs(shape * log(ratio)) if ratio > 0 else 0.0
    each = ceil(2 * _quantiles() ** 2 / hazard**2) if hazard > 0 else MOST + 1
    return max(each, 2) if each <= MOST else None

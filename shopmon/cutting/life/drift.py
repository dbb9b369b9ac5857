"""Whether a tool's cutting sounds as it did in its first minutes: "changed", never "worn".

Each cut gives three numbers out of its spindle comb, taken at a matched speed, depth and material. Their
weighted moving averages (EWMA; S. W. Roberts, Technometrics 1 (1959) 239) are held against the first cuts.
With so few cuts to learn from, the textbook's limits would call change far too often; here they are widened
for the number of first cuts, so that of tools that do not change one in twenty is called at any time within
two hundred cuts.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from shopmon.cutting.life.lifetimes import CannotTell
from shopmon.cutting.nouns import require, require_flutes

LEAST_FIRST, SMOOTHING = 6, 0.2
FALSE_CALLS, WITHIN_CUTS = 0.05, 200
DRAWS = 4000
LEAST_PAIRS = 5
# how far the limits are away, in standard errors, by the number of first cuts: what `drawn_limit` gives
# (more first cuts than the last of these are taken for as many)
LIMITS = {
    6: 10.37, 7: 9.13, 8: 8.3, 9: 7.62, 10: 7.21, 11: 6.88, 12: 6.64, 13: 6.33,
    14: 6.04, 15: 5.95, 16: 5.89, 17: 5.74, 18: 5.67, 19: 5.5, 20: 5.52,
}  # fmt: skip
LEAST_SPREAD_DB = 0.5  # no level of a sound in a shop comes back more exactly than that (own judgement)
NAMES = ("level of tooth passing", "evenness of the teeth", "share of high lines")


@dataclass(frozen=True, kw_only=True)
class Drift:
    """What a tool's sound has done since its first cuts.

    Attributes
    ----------
    since
        Number of the cut (from 0) since which it has been beyond a limit, and what was there first; None
        where it is within now.
    first_db, spread_db
        Mean of the first cuts and how they scatter from cut to cut, ``(3,)``, in the order of `NAMES`.
    moved_db
        Averages less those of the first cuts, ``(cuts, 3)``.
    limits_db
        Beyond which a change is called, ``(cuts, 3)``; infinite for the first cuts.
    """

    since: int | None
    what: str | None
    first_db: np.ndarray
    spread_db: np.ndarray
    moved_db: np.ndarray
    limits_db: np.ndarray
    first_cuts: int

    @property
    def changed(self) -> bool:
        """Whether it is beyond a limit now."""
        return self.since is not None

    @property
    def distance(self) -> np.ndarray:
        """How far each cut was away, the limit of its time being 1, ``(cuts,)``; 0 for the first cuts."""
        return np.max(np.abs(self.moved_db) / self.limits_db, axis=1)


def signature(lines_db: np.ndarray, flutes: int) -> np.ndarray:
    """Return the three numbers of one cut, dB.

    Parameters
    ----------
    lines_db
        Mean level of each multiple of the rotation in the steady, quiet part of the cut, ``(orders,)``; NaN
        where a line did not stand out.
    flutes
        Multiples of it are tooth passing.

    Returns
    -------
    ndarray
        Power of tooth passing and its multiples; power of all other lines against it (0 dB for teeth that
        are quite unlike, very low for even ones); power of the upper half of the lines against the lower.
    """
    require_flutes(flutes)
    power = np.nan_to_num(10 ** (np.asarray(lines_db, dtype=float) / 10))
    require(power.ndim == 1 and power.size > flutes, "There are too few lines.", "Give one level per order.")
    orders = np.arange(1, power.size + 1)
    teeth, upper = orders % flutes == 0, orders > power.size // 2
    parts = [power[teeth], power[~teeth], power[upper], power[~upper]]
    sums = [10 * np.log10(max(float(part.sum()), 1e-15)) for part in parts]
    return np.array([sums[0], sums[1] - sums[0], sums[2] - sums[3]])


def watch(signatures: np.ndarray, first_cuts: int) -> Drift | CannotTell:
    """Hold a tool's later cuts against its first.

    Parameters
    ----------
    signatures
        Of its cuts in order, ``(cuts, 3)``, all at a matched speed, depth and material.
    first_cuts
        How many of them make up its first minutes.
    """
    values = np.asarray(signatures, dtype=float)
    require(values.ndim == 2 and values.shape[1] == len(NAMES), "Each cut has three numbers.")
    require(bool(np.isfinite(values).all()), "A cut has no numbers.", "Leave it out.")
    if first_cuts < LEAST_FIRST or len(values) <= first_cuts:
        return CannotTell(reason=f"{LEAST_FIRST} first cuts and one after them are needed.")
    centre, spread = values[:first_cuts].mean(axis=0), values[:first_cuts].std(axis=0, ddof=1)
    spread = np.maximum(spread, LEAST_SPREAD_DB)
    moved = np.zeros(values.shape)
    for cut in range(first_cuts, len(values)):
        moved[cut] = moved[cut - 1] + SMOOTHING * (values[cut] - centre - moved[cut - 1])
    later = np.arange(1, len(values) - first_cuts + 1)
    limits = np.full(values.shape, np.inf)
    limits[first_cuts:] = LIMITS[min(first_cuts, max(LIMITS))] * spread * _scatter(later)[:, None]
    beyond = np.abs(moved) > limits
    away = beyond.any(axis=1)
    cut = int(np.flatnonzero(~away)[-1]) + 1 if away[-1] else None
    what = None if cut is None else NAMES[int(np.argmax(np.abs(moved[cut]) / limits[cut]))]
    return Drift(
        since=cut, what=what, first_db=centre, spread_db=spread, moved_db=moved, limits_db=limits,
        first_cuts=first_cuts,
    )  # fmt: skip


def _scatter(later: np.ndarray) -> np.ndarray:
    """Return the standard error of the average after so many cuts, in that of one cut."""
    return np.sqrt(SMOOTHING / (2 - SMOOTHING) * (1 - (1 - SMOOTHING) ** (2 * later)))


def drawn_limit(first_cuts: int) -> float:
    """Draw how many standard errors the limits must be away, from tools that do not change.

    Centre and spread are estimated from the first cuts in the draw as in `watch`; the seed is fixed. It takes
    a second, so `LIMITS` holds what it gives.
    """
    rng = np.random.default_rng(first_cuts)
    values = rng.standard_normal((DRAWS, first_cuts, len(NAMES)))
    centre, spread = values.mean(axis=1), values.std(axis=1, ddof=1)
    moved, worst = np.zeros_like(centre), np.zeros(DRAWS)
    for number in range(1, WITHIN_CUTS + 1):
        moved = moved + SMOOTHING * (rng.standard_normal(centre.shape) - centre - moved)
        away = np.abs(moved) / (spread * _scatter(np.array(number)))
        worst = np.maximum(worst, away.max(axis=1))
    return float(np.quantile(worst, 1 - FALSE_CALLS))


@dataclass(frozen=True, kw_only=True)
class WearRelation:
    """How a change of sound went with the flank wear that was measured.

    Attributes
    ----------
    correlation, bounds
        Of ranks, −1 to 1, with its 90 % bounds.
    readings
        How many pairs.
    """

    correlation: float
    bounds: tuple[float, float]
    readings: int


def wear_relation(moved_db: Sequence[float], VB_mm: Sequence[float]) -> WearRelation | CannotTell:
    """Correlate how far the sound had moved with flank wear read at the same times.

    Spearman's rank correlation; bounds by Fisher's transformation with the variance of D. G. Bonett, T. A.
    Wright (Psychometrika 65 (2000) 23), (1 + r²/2)/(n − 3).
    """
    from scipy import stats

    moved, wear = np.abs(np.asarray(moved_db, dtype=float)), np.asarray(VB_mm, dtype=float)
    require(moved.shape == wear.shape and moved.ndim == 1, "There must be one reading for each.")
    if moved.size < LEAST_PAIRS or np.ptp(moved) == 0 or np.ptp(wear) == 0:
        return CannotTell(reason=f"{LEAST_PAIRS} different wear readings at least are needed.")
    found = float(stats.spearmanr(moved, wear).statistic)
    inner = float(np.clip(found, -0.999999, 0.999999))
    half = float(stats.norm.ppf(0.95)) * np.sqrt((1 + inner**2 / 2) / (moved.size - 3))
    low, high = np.tanh(np.arctanh(inner) + np.array([-half, half]))
    return WearRelation(correlation=found, bounds=(float(low), float(high)), readings=moved.size)

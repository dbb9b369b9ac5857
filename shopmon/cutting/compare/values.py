"""Two sides compared on a value of each: roughness, an ordered grade, or a share of chatter."""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from math import isfinite

import numpy as np

from shopmon.cutting.compare.numbers import for_means, for_ranks
from shopmon.cutting.compare.permutations import permutation_p
from shopmon.cutting.compare.result import CONFIDENCE, Comparison
from shopmon.cutting.life.lifetimes import CannotTell
from shopmon.cutting.nouns import require

LEAST_UNITS = 2  # below, not even an interval


@dataclass(frozen=True, kw_only=True)
class Value:
    """One value.

    Attributes
    ----------
    side
        ``A`` or ``B``.
    unit
        What it is one of. Where kinds are compared, the tool: ten parts by one tool tell of that tool and
        count once. Where two tools are compared, the part.
    stratum
        What it is compared within, such as material and operation.
    """

    side: str
    value: float
    unit: Hashable
    stratum: Hashable = None

    def __post_init__(self):
        require(self.side in ("A", "B"), f"A side is A or B, not {self.side!r}.")
        require(isfinite(self.value), f"{self.value!r} is no number.")


@dataclass(frozen=True)
class _Table:
    """The means of units: values, which are B, and the rows of each stratum that both sides were in."""

    values: np.ndarray
    side_b: np.ndarray
    strata: list[np.ndarray]
    names: tuple[Hashable, ...]
    left_out: tuple[Hashable, ...]


def compare_ratio(values: Sequence[Value], confidence: float = CONFIDENCE) -> Comparison | CannotTell:
    """Compare values above 0, such as Ra: the ratio of geometric means, B over A, within strata.

    The interval is Student's on logarithms with one spread for all; the test is van Elteren's on ranks.
    """
    from scipy import stats

    require(all(each.value > 0 for each in values), "A ratio needs values above 0.")
    table = _table(values, np.log)
    if isinstance(table, CannotTell):
        return table
    weights, differences, squares, free = [], [], 0.0, 0
    for rows in table.strata:
        b = table.side_b[rows]
        own = table.values[rows]
        weights.append(b.sum() * (~b).sum() / b.size)
        differences.append(own[b].mean() - own[~b].mean())
        squares += float(np.sum((own[b] - own[b].mean()) ** 2) + np.sum((own[~b] - own[~b].mean()) ** 2))
        free += b.size - 2
    if free < 1:
        return CannotTell(reason="There is one of each only: their scatter is not known.")
    difference = float(np.average(differences, weights=weights))
    spread = (squares / free) ** 0.5
    half = float(stats.t.ppf((1 + confidence) / 2, free)) * spread / sum(weights) ** 0.5
    return _comparison(
        table,
        measure="ratio",
        effect=float(np.exp(difference)),
        bounds=(float(np.exp(difference - half)), float(np.exp(difference + half))),
        confidence=confidence,
        needed_each=for_means(difference, spread),
    )


def compare_order(values: Sequence[Value], confidence: float = CONFIDENCE) -> Comparison | CannotTell:
    """Compare values that are only ordered, such as grades: the chance that one of B is above one of A.

    Ties count half. The interval solves for the chance at which its standard error of Hanley and McNeil would
    just reach what was seen (R. G. Newcombe, Stat. Med. 25, 2006, 559, method 5; recalled), strata
    weighted as in van Elteren's test.
    """
    table = _table(values, lambda each: each)
    if isinstance(table, CannotTell):
        return table
    if table.side_b.size - 2 * len(table.strata) < 1:
        return CannotTell(reason="There is one of each only: their scatter is not known.")
    weights, chances, sizes = [], [], []
    for rows in table.strata:
        b = table.side_b[rows]
        above = np.sign(table.values[rows][b][:, None] - table.values[rows][~b][None, :])
        chances.append((1 + above.mean()) / 2)
        sizes.append((int(b.sum()), int((~b).sum())))
        weights.append(above.size / (b.size + 1))
    share = np.array(weights) / sum(weights)
    chance = float(share @ np.array(chances))
    return _comparison(
        table,
        measure="chance",
        effect=chance,
        bounds=_bounds_of_chance(chance, share, sizes, confidence),
        confidence=confidence,
        needed_each=for_ranks(chance),
    )


def _bounds_of_chance(chance: float, share: np.ndarray, sizes, confidence: float) -> tuple[float, float]:
    from scipy.special import ndtri

    tried = np.linspace(0, 1, 2001)
    variance = np.zeros(tried.size)
    for weight, (first, second) in zip(share, sizes, strict=True):
        pairs = (first + second) / 2 - 1
        more = pairs * ((1 - tried) / (2 - tried) + tried / (1 + tried))
        variance += weight**2 * tried * (1 - tried) * (1 + more) / (first * second)
    within = np.abs(tried - chance) <= ndtri((1 + confidence) / 2) * np.sqrt(variance) + 1e-12
    return float(tried[within].min()), float(tried[within].max())


def _table(values: Sequence[Value], scale) -> _Table | CannotTell:
    """Average per unit and stratum, and keep the strata that both sides were in."""
    found: dict[tuple, list[float]] = {}
    for each in values:
        found.setdefault((each.stratum, each.side, each.unit), []).append(each.value)
    names = list(dict.fromkeys(key[0] for key in found))
    both = [name for name in names if {key[1] for key in found if key[0] == name} == {"A", "B"}]
    if not both:
        return CannotTell(reason="The two were never used in the same material and operation.")
    keys = [key for key in found if key[0] in both]
    units = {side: {key[2] for key in keys if key[1] == side} for side in "AB"}
    if min(map(len, units.values())) < LEAST_UNITS:
        return CannotTell(reason=f"At least {LEAST_UNITS} of each are needed, better twice as many.")
    return _Table(
        values=np.array([np.mean(scale(np.array(found[key], dtype=float))) for key in keys]),
        side_b=np.array([key[1] == "B" for key in keys]),
        strata=[np.array([row for row, key in enumerate(keys) if key[0] == name]) for name in both],
        names=tuple(both),
        left_out=tuple(name for name in names if name not in both),
    )


def _weighted_ranks(table: _Table) -> np.ndarray:
    """Return ranks within strata, weighted as by P. H. van Elteren, Bull. Inst. Int. Stat. 37 (1960) 351."""
    from scipy import stats

    ranks = np.zeros(table.values.size)
    for rows in table.strata:
        own = stats.rankdata(table.values[rows])
        ranks[rows] = (own - own.mean()) / (rows.size + 1)
    return ranks


def _comparison(table: _Table, **found) -> Comparison:
    ranks = _weighted_ranks(table)
    return Comparison(
        p_value=permutation_p(table.side_b, table.strata, lambda shared: shared @ ranks),
        units=(int((~table.side_b).sum()), int(table.side_b.sum())),
        strata=table.names,
        left_out=table.left_out,
        **found,
    )

"""What the register's edges say of tool life: per kind and material, and for each tool in use."""

import weakref
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from math import pi

from shopmon.cutting.life.chatter_weight import ChatterWeight, chatter_weight, equivalent_min
from shopmon.cutting.life.lifetimes import CannotTell, Lifetime
from shopmon.cutting.life.survival import SurvivalCurve, incidence, survival_curve
from shopmon.cutting.life.taylor import TaylorFit, taylor_fit
from shopmon.cutting.life.wear import WearForecast, wear_forecast
from shopmon.cutting.life.weibull import LEAST_ENDED, Fit, Remaining, WeibullLives, weibull_lives
from shopmon.records.tools.reading import RegisterReading
from shopmon.records.tools.rows import EdgeLife, Kind, Tool, WearReading

MOSTLY = 0.8  # of its time in one material: an edge of that material
SEVERAL = "several materials"
SOON_MIN = 15.0  # a warning so many minutes in the cut ahead


@dataclass(frozen=True, kw_only=True)
class EdgeRecord:
    """An edge with its life as the statistics take it; the stratum of the life is its material."""

    edge: EdgeLife
    life: Lifetime

    @property
    def material(self) -> str | None:
        """The material it cut mostly, `SEVERAL`, or None where nobody said."""
        return self.life.stratum


@dataclass(frozen=True, kw_only=True)
class Outlook:
    """How much longer the present edge of a tool is likely to cut.

    Attributes
    ----------
    remaining
        Or why it cannot be told.
    longest_min
        The longest life that it rests on, ended or not.
    rests_on
        The kind and material of those edges.
    chatter_counts
        How many quiet minutes one in chatter counted for; 1 unless the data say otherwise.
    """

    remaining: Remaining | CannotTell
    longest_min: float
    rests_on: str
    chatter_counts: float = 1.0

    @property
    def soon(self) -> bool:
        """Whether the edge may well end within the next minutes in the cut."""
        return isinstance(self.remaining, Remaining) and self.remaining.lower_min < SOON_MIN


@dataclass(frozen=True, kw_only=True)
class KindLife:
    """What is known of the lives of one kind in one material.

    Attributes
    ----------
    new
        How long a new edge is likely to last.
    ended_by
        Share of edges that ended by each cause at the longest time seen; the causes compete.
    """

    type_id: str
    label: str
    material: str | None
    records: tuple[EdgeRecord, ...]
    curve: SurvivalCurve | CannotTell
    fit: Fit | CannotTell
    new: Remaining | CannotTell
    taylor: TaylorFit | CannotTell
    chatter: ChatterWeight | CannotTell
    ended_by: dict[str, float]


def edge_records(lives: Sequence[EdgeLife], kinds: Sequence[Kind]) -> list[EdgeRecord]:
    """Return the edges that have cut and whose type is known."""
    diameters = {kind.id: kind.type.DC for kind in kinds}
    return [
        EdgeRecord(edge=each, life=_lifetime(each, each.edge.DC or diameters.get(each.type_id)))
        for each in lives
        if each.type_id is not None and any(totals.cut_time_s > 0 for totals in each.by_material.values())
    ]


def _lifetime(each: EdgeLife, diameter_mm: float | None) -> Lifetime:
    totals = each.by_material.values()
    cut_s, chatter_s = sum(part.cut_time_s for part in totals), sum(part.chatter_s for part in totals)
    turns, known_s = sum(part.turns for part in totals), sum(part.turns_known_s for part in totals)
    told = diameter_mm and known_s >= MOSTLY * cut_s and turns > 0
    most = max(each.by_material, key=lambda material: each.by_material[material].cut_time_s)
    mostly = each.by_material[most].cut_time_s >= MOSTLY * cut_s
    ended = each.retirement is not None and each.retirement.worn
    return Lifetime(
        cut_time_min=cut_s / 60,
        cause=each.retirement.reason if ended else None,
        chatter_min=min(chatter_s, cut_s) / 60,
        speed_m_min=pi * diameter_mm / 1000 * 60 * turns / known_s if told else None,
        stratum=most if mostly else SEVERAL,
        label=each.label,
    )


class ToolLives:
    """The lives in a register, read once.

    Parameters
    ----------
    register
        Where the tools are.
    """

    def __init__(self, register: RegisterReading):
        self._kinds = {kind.id: kind for kind in register.kinds()}
        self.records = edge_records(register.lives(), list(self._kinds.values()))
        self._by_kind: dict[str, list[EdgeRecord]] = defaultdict(list)
        for record in self.records:
            self._by_kind[record.edge.type_id].append(record)

    @cached_property
    def outlooks(self) -> dict[str, Outlook]:
        """The outlook of every tool in use that has cut, by its id."""
        found: dict[str, Outlook] = {}
        for type_id, records in self._by_kind.items():
            newest = {record.edge.tool_id: record for record in records}
            in_use = [record for record in newest.values() if record.edge.retirement is None]
            weight = self._chatter_counts(records)
            for material in {record.material for record in in_use}:
                asked = [record for record in in_use if record.material == material]
                found |= self._outlooks_in(type_id, material, asked, weight)
        return found

    def _outlooks_in(
        self, type_id: str, material: str | None, asked: list[EdgeRecord], weight: float
    ) -> dict[str, Outlook]:
        of_kind = self._by_kind[type_id]
        own = [record for record in of_kind if record.material == material]
        enough = sum(record.life.ended for record in own) >= LEAST_ENDED
        group = own if enough else of_kind
        known = weibull_lives([_weighed(record.life, weight) for record in group])
        where = f" in {material}" if enough and material else "" if enough else ", all materials together"
        answer = {
            "longest_min": max(record.life.cut_time_min for record in group),
            "rests_on": f"{self.label(type_id)}{where}",
            "chatter_counts": weight,
        }
        if not isinstance(known, WeibullLives):
            return {record.edge.tool_id: Outlook(remaining=known, **answer) for record in asked}
        left = known.remaining_of([equivalent_min(record.life, weight) for record in asked])
        return {
            record.edge.tool_id: Outlook(remaining=_in_minutes(each, record.life, weight), **answer)
            for record, each in zip(asked, left, strict=True)
        }

    def _chatter_counts(self, records: list[EdgeRecord]) -> float:
        found = chatter_weight([record.life for record in records])
        return found.weight if isinstance(found, ChatterWeight) else 1.0

    def label(self, type_id: str) -> str:
        """Return the shop's name for a type."""
        kind = self._kinds.get(type_id)
        return kind.label if kind else "an unknown type"

    def kinds(self) -> list[tuple[str, str, str | None, int, int]]:
        """Return type, its label, material, edges that ended and edges in all; the best known first."""
        counts: dict[tuple, list[int]] = defaultdict(lambda: [0, 0])
        for record in self.records:
            count = counts[record.edge.type_id, record.material]
            count[0] += record.life.ended
            count[1] += 1
        rows = [(key[0], self.label(key[0]), key[1], *count) for key, count in counts.items()]
        return sorted(rows, key=lambda row: (-row[3], -row[4], row[1], row[2] or ""))

    def of(
        self, type_id: str, material: str | None = None, *, any_material: bool = False
    ) -> list[EdgeRecord]:
        """Return the edges of a type, of one material or of any."""
        return [
            record for record in self._by_kind.get(type_id, []) if any_material or record.material == material
        ]

    def kind_life(self, type_id: str, material: str | None) -> KindLife:
        """Return what is known of one kind in one material."""
        records = self.of(type_id, material)
        lives = [record.life for record in records]
        known = weibull_lives(lives)
        ready = isinstance(known, WeibullLives)
        return KindLife(
            type_id=type_id,
            label=self.label(type_id),
            material=material,
            records=tuple(records),
            curve=survival_curve(lives),
            fit=known.fit() if ready else known,
            new=known.remaining(0) if ready else known,
            taylor=taylor_fit(lives),
            chatter=chatter_weight(lives),
            ended_by={cause: float(share[-1]) for cause, (_, share) in incidence(lives).items()},
        )


_read: "weakref.WeakKeyDictionary[RegisterReading, tuple[tuple, ToolLives]]" = weakref.WeakKeyDictionary()


def tool_lives(register: RegisterReading) -> ToolLives:
    """Return the lives in a register; they are read anew only when something has changed in it."""
    version = register.version()  # before the rest: what is written meanwhile is read again next time
    known = _read.get(register)
    if known is None or known[0] != version:
        known = _read[register] = (version, ToolLives(register))
    return known[1]


def _weighed(life: Lifetime, weight: float) -> Lifetime:
    return replace(life, cut_time_min=equivalent_min(life, weight), chatter_min=0.0)


def _in_minutes(remaining: Remaining, life: Lifetime, weight: float) -> Remaining:
    """Turn quiet minutes back into minutes in the cut, chatter going on as it was."""
    each = 1 + (weight - 1) * life.chatter_share
    return replace(
        remaining,
        age_min=life.cut_time_min,
        **{name: getattr(remaining, name) / each for name in ("lower_min", "median_min", "upper_min")},
    )


def wear_of(
    register: RegisterReading, tool: Tool, of_tool: Sequence[WearReading]
) -> WearForecast | CannotTell | None:
    """Carry the wear readings of a tool's present edge on to the person's limit.

    Parameters
    ----------
    register
        Holds the limits.
    tool, of_tool
        The tool, and all of its readings, oldest first.

    Returns
    -------
    WearForecast, CannotTell or None
        None where there is no limit or no reading.
    """
    readings = [reading for reading in of_tool if reading.edge_id == tool.edge.id]
    if not readings:
        return None
    spread = readings[-1].spread  # the mean of the teeth and the worst place are two measures
    same = [reading for reading in readings if reading.spread == spread]
    limit_mm = register.wear_limit_mm(tool.type_id, readings[-1].operation)
    if limit_mm is None:
        return None
    return wear_forecast(
        [reading.cut_time_s / 60 for reading in same], [reading.VB_mm for reading in same], limit_mm
    )

"""What a tool's cutting sounds like now against its first minutes, at a matched speed, depth and material.

Cuts are matched by what was said of them and by the speed that was heard. The verdict rests on the newest
conditions of which there are enough cuts; it is "changed", "as it was" or "cannot tell", never "worn".
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from shopmon.cutting.life.drift import (
    LEAST_FIRST,
    NAMES,
    Drift,
    WearRelation,
    signature,
    watch,
    wear_relation,
)
from shopmon.cutting.life.lifetimes import CannotTell
from shopmon.records.cuts.heard import MATCHED, HeardCut
from shopmon.records.tools.reading import RegisterReading
from shopmon.records.tools.rows import Tool

FIRST_MIN = 10.0  # the first minutes in the cut
SAME_SPEED = 0.02
FIRST_KEPT, NEWEST_KEPT = 200, 400  # of the cuts alike of one tool
KIN = 10  # tools of the kind whose wear readings are looked at, newest first
CHANGED, AS_IT_WAS, CANNOT_TELL = "changed since its first minutes", "as it was", "cannot tell"
CAUTION = "That may be wear, or anything else that changed: the microphone, the vice, the coolant, the part."


@dataclass(frozen=True, kw_only=True)
class MatchedCut:
    """A cut whose sound can be compared: the edge's minutes in the cut before it and after, and its comb."""

    cut: HeardCut
    from_min: float
    until_min: float


@dataclass(frozen=True, kw_only=True)
class WearPoint:
    """Flank wear as it was read, the edge's minutes in the cut by then, and how far the sound had moved.

    ``away`` is 1 at the control limit; None where the sound of that time cannot be compared.
    """

    VB_mm: float
    at_min: float
    away: float | None


@dataclass(frozen=True, kw_only=True)
class Condition:
    """What the sound says of the present edge of a tool.

    Attributes
    ----------
    drift
        Or why it cannot be told.
    cuts
        Those it rests on, oldest first, all alike.
    readings
        Flank wear of this edge.
    relation
        Of sound and wear over all edges of the kind; why there is none; None where no wear was read.
    """

    drift: Drift | CannotTell
    cuts: tuple[MatchedCut, ...] = ()
    readings: tuple[WearPoint, ...] = ()
    relation: WearRelation | CannotTell | None = None

    @property
    def verdict(self) -> str:
        """One of the three."""
        if isinstance(self.drift, CannotTell):
            return CANNOT_TELL
        return CHANGED if self.drift.changed else AS_IT_WAS

    @property
    def sentences(self) -> tuple[str, ...]:
        """Say what was found, and what it rests on, in millimetres."""
        return self.said(lambda VB_mm: f"{VB_mm:g} mm")

    def said(self, wear_words: Callable[[float], str]) -> tuple[str, ...]:
        """Say the same with flank wear in the words of the shop."""
        wear = self._wear_words(wear_words)
        if isinstance(self.drift, CannotTell):
            return (f"{CANNOT_TELL.capitalize()}: {self.drift.reason}", *wear)
        first = self.cuts[: self.drift.first_cuts]
        later = len(self.cuts) - len(first)
        began = f"{first[0].from_min:.0f} to {first[-1].until_min:.0f} min in the cut"
        rests = f"{_cuts(later)} later, held against the first {len(first)} like them ({began})."
        if not self.drift.changed:
            passed = bool((self.drift.distance > 1).any())
            once = " For a while it was not." if passed else ""
            return (f"As it was.{once}", f"From {rests}", *wear)
        since = self.cuts[self.drift.since]
        return (
            f"Changed since its first minutes: the {self.drift.what}, from {since.from_min:.0f} min "
            "in the cut on.",
            f"From {rests} {CAUTION}",
            *wear,
        )

    def _wear_words(self, words: Callable[[float], str]) -> list[str]:
        said = [
            f"When flank wear was read as {words(point.VB_mm)}, after {point.at_min:.0f} min in the cut, "
            f"the sound {'had changed' if point.away > 1 else 'was as in the first minutes'}."
            for point in [point for point in self.readings if point.away is not None][-1:]
        ]
        if isinstance(self.relation, WearRelation):
            low, high = self.relation.bounds
            how = (
                "the more wear was measured, the further the sound had moved"
                if low > 0
                else "no relation between measured wear and sound can be seen"
                if high > 0
                else "the more wear was measured, the less the sound had moved"
            )
            said.append(
                f"In {self.relation.readings} wear readings of this kind {how} (rank correlation "
                f"{self.relation.correlation:.2f}, {low:.2f} to {high:.2f} nine times in ten)."
            )
        elif isinstance(self.relation, CannotTell):
            said.append(f"How sound and measured wear go together cannot be told: {self.relation.reason}")
        return said


def condition_of(register: RegisterReading, tool: Tool) -> Condition | None:
    """Return what the sound says of a tool's present edge.

    Parameters
    ----------
    register
        Tells the cuts and the wear readings.
    tool
        As it stands, with its totals.

    Returns
    -------
    Condition or None
        None for what is no end mill, or has not cut.
    """
    if not tool.is_end_mill or not tool.edge_totals.cuts:
        return None
    found = _edge_condition(register, tool)
    if isinstance(found.drift, CannotTell) or not found.readings:
        return found
    points = [*found.readings, *_of_kin(register, tool)]
    pairs = [(point.away, point.VB_mm) for point in points if point.away is not None]
    related = wear_relation([away for away, _ in pairs], [wear for _, wear in pairs])
    return replace(found, relation=related)


def _of_kin(register: RegisterReading, tool: Tool) -> list[WearPoint]:
    """Return wear and sound of the other end mills of the kind."""
    if tool.type_id is None:
        return []
    worn = {row["tool_id"] for row in register.rows("wear_readings")} - {tool.id}
    alike = [other for other in register.tools(totals=False) if other.type_id == tool.type_id]
    kin = [other for other in alike if other.id in worn][-KIN:]
    return [point for other in kin for point in _edge_condition(register, other).readings]


def _edge_condition(register: RegisterReading, tool: Tool) -> Condition:
    """Look at one edge alone."""
    cuts = _aged(register.heard_cuts(tool.id), tool)
    groups = _groups(cuts)
    known = [(group, watched) for group in groups if isinstance(watched := _watched(group, tool), Drift)]
    if not known:
        return Condition(drift=_why_not(cuts, groups, tool))
    group, drift = max(known, key=lambda each: each[0][-1].cut.sequence)
    rows = register.rows("wear_readings", tool_id=tool.id)
    return Condition(drift=drift, cuts=tuple(group), readings=_wear_points(rows, tool, cuts, group, drift))


def _wear_points(rows, tool: Tool, cuts, group, drift: Drift) -> tuple[WearPoint, ...]:
    """Put beside each wear reading of the present edge how far the sound had moved by then."""
    found = []
    for row in rows:
        if not tool.edge.from_sequence <= row["sequence"] < tool.edge.until_sequence:
            continue
        minutes = max((each.until_min for each in cuts if each.cut.sequence < row["sequence"]), default=0.0)
        heard = sum(each.cut.sequence < row["sequence"] for each in group)
        away = float(drift.distance[heard - 1]) if heard > drift.first_cuts else None
        found.append(WearPoint(VB_mm=row["VB_mm"], at_min=minutes, away=away))
    return tuple(found)


def _aged(cuts: Sequence[HeardCut], tool: Tool) -> list[MatchedCut]:
    """Return the cuts of the present edge, each with the minutes it had cut by then."""
    found, minutes = [], 0.0
    for cut in cuts:
        if tool.edge.from_sequence <= cut.sequence < tool.edge.until_sequence:
            before, minutes = minutes, minutes + cut.cut_time_s / 60
            found.append(MatchedCut(cut=cut, from_min=before, until_min=minutes))
    return found


def matched_by(cut: HeardCut) -> tuple | None:
    """Return what must agree between this cut and others; None where too little was said of it."""
    depths = cut.condition("ap_mm") is not None and (
        cut.condition("ae_mm") is not None or cut.condition("milling") == "slot"
    )
    job = cut.condition("part") is not None and cut.condition("operation") is not None
    placed = depths or job or cut.condition("program_section") is not None
    return cut.conditions if placed and cut.condition("material") is not None else None


def _groups(cuts: Sequence[MatchedCut]) -> list[list[MatchedCut]]:
    """Sort the cuts that were heard by what was said of them and by the speed that was heard."""
    groups: dict[tuple, list[list[MatchedCut]]] = {}
    for each in cuts:
        key = matched_by(each.cut)
        if each.cut.sound is None or key is None:
            continue
        speeds = groups.setdefault(key, [])
        rpm = each.cut.sound.rpm
        own = next((g for g in speeds if abs(rpm / g[0].cut.sound.rpm - 1) <= SAME_SPEED), None)
        if own is None:
            speeds.append([each])
        else:
            own.append(each)
    return [_shortened(group) for speeds in groups.values() for group in speeds]


def _shortened(group: list[MatchedCut]) -> list[MatchedCut]:
    return group if len(group) <= FIRST_KEPT + NEWEST_KEPT else group[:FIRST_KEPT] + group[-NEWEST_KEPT:]


def _watched(group: Sequence[MatchedCut], tool: Tool) -> Drift | CannotTell:
    flutes = tool.teeth or group[0].cut.sound.flutes
    orders = min(len(each.cut.sound.lines_db) for each in group)
    if not flutes or orders <= flutes:
        return CannotTell(reason="the number of flutes is not known.")
    lines = [[np.nan if x is None else x for x in each.cut.sound.lines_db[:orders]] for each in group]
    return watch(np.array([signature(np.array(one), flutes) for one in lines]), first_cuts(group))


def first_cuts(group: Sequence[MatchedCut]) -> int:
    """Return how many cuts of a group make up its first minutes."""
    spent = np.cumsum([each.cut.cut_time_s / 60 for each in group])
    return int(np.clip(np.count_nonzero(spent <= FIRST_MIN + 1e-6), LEAST_FIRST, FIRST_KEPT))


def _why_not(cuts: Sequence[MatchedCut], groups: Sequence[list], tool: Tool) -> CannotTell:
    heard = [each for each in cuts if each.cut.sound is not None]
    if not heard:
        reason = "none of its cuts was steady and quiet for long enough to be listened to."
    elif not groups:
        reason = (
            "nobody said in what and how deep it cut. Say the material, and the depths or the part and "
            "operation, on Now."
        )
    elif not (tool.teeth or heard[0].cut.sound.flutes):
        reason = "its number of flutes is not known."
    else:
        most = max(len(group) for group in groups)
        reason = (
            f"{LEAST_FIRST} cuts alike in speed, depth and material and one after them are needed; so far "
            f"there {'is' if most == 1 else 'are'} {most}."
        )
    return CannotTell(reason=reason)


def condition_as_data(found: Condition | None) -> dict[str, Any] | None:
    """Return it as it stands in ``shopmon.mills/1`` under ``sound``."""
    if found is None:
        return None
    data: dict[str, Any] = {"verdict": found.verdict, "sentences": list(found.sentences)}
    if isinstance(found.drift, CannotTell):
        return {**data, "measures": [], "conditions": None}
    drift, newest = found.drift, found.cuts[-1].cut
    data["conditions"] = {"rpm": newest.sound.rpm} | {
        name: value
        for name, value in zip(MATCHED, newest.conditions, strict=True)
        if value is not None and name not in ("source_id", "sample_rate_hz", "channels")
    }
    since = None if drift.since is None else found.cuts[drift.since]
    return {
        **data,
        "cuts": len(found.cuts),
        "first_cuts": drift.first_cuts,
        "first_min": [round(found.cuts[0].from_min, 2), round(found.cuts[drift.first_cuts - 1].until_min, 2)],
        "changed_from_min": None if since is None else round(since.from_min, 2),
        "changed_cut_id": None if since is None else since.cut.cut_id,
        "measures": [
            {
                "what": name,
                "first_db": round(float(drift.first_db[at]), 2),
                "spread_db": round(float(drift.spread_db[at]), 2),
                "moved_db": round(float(drift.moved_db[-1, at]), 2),
                "limit_db": round(float(drift.limits_db[-1, at]), 2),
            }
            for at, name in enumerate(NAMES)
        ],
        "wear": _relation_as_data(found.relation),
    }


def _relation_as_data(relation: WearRelation | CannotTell | None) -> dict[str, Any] | None:
    if not isinstance(relation, WearRelation):
        return None
    return {
        "rank_correlation": round(relation.correlation, 3),
        "bounds": [round(bound, 3) for bound in relation.bounds],
        "readings": relation.readings,
    }


def _cuts(count: int) -> str:
    return "1 cut" if count == 1 else f"{count} cuts"

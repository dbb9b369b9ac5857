"""Which tool a cut is credited to, and what totals are added up from: cuts, judgements and corrections.

No total is ever stored. A cut's context says which tool was in the spindle; a correction of the cut says
otherwise afterwards; a judgement may say that it was no cut at all, or that it did not chatter. The newest
word counts, whatever it is about, and every total follows because it is added up anew.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache

import sqlalchemy as sa

from shopmon.records.tables import contexts, corrections, cuts, judgements, streams
from shopmon.records.tools.tables import tool_edges, tool_retirements

NOT_A_CUT, A_CUT = "not a cut", "a cut"
NO_CHATTER, CHATTER = "no chatter", "chatter"
TAKEN_BACK = "taken back"
CREDITED_BY = (
    *("end_mill_id", "end_mill", "material", "operation", "part"),
    *("feed_mm_min", "ap_mm", "ae_mm", "nominal_rpm"),
)


@dataclass(frozen=True, kw_only=True)
class Totals:
    """What some cuts add up to.

    Attributes
    ----------
    cut_time_s, chatter_s
        Time in metal, and how much of it in chatter.
    cuts, entries
        Number of cuts, and how often a tooth met metal anew.
    distance_mm, distance_known_s
        Feed travel in metal, and the cut time of the cuts of which the feed is known.
    volume_mm3, volume_known_s
        Metal removed, and the cut time of the cuts of which feed and both depths are known.
    turns, turns_known_s
        Turns of the spindle in metal, at the speed that was told, and the cut time of those cuts.
    """

    cut_time_s: float = 0.0
    chatter_s: float = 0.0
    cuts: int = 0
    entries: int = 0
    distance_mm: float = 0.0
    distance_known_s: float = 0.0
    volume_mm3: float = 0.0
    volume_known_s: float = 0.0
    turns: float = 0.0
    turns_known_s: float = 0.0
    first_sequence: int | None = None
    last_sequence: int | None = None

    @property
    def chatter_share(self) -> float | None:
        """Chatter over cut time; None where nothing was cut."""
        return self.chatter_s / self.cut_time_s if self.cut_time_s else None

    @property
    def mean_rpm(self) -> float | None:
        """Spindle speed, averaged over the time in metal; None where none was told."""
        return 60 * self.turns / self.turns_known_s if self.turns_known_s else None


NOTHING = Totals()


def newest_corrections(
    table_name: str, fields: tuple[str, ...], among: sa.Select | sa.CompoundSelect | None = None
) -> sa.Subquery:
    """Select, per row of a table, what was said last of each field: ``field`` and ``field_said`` (0 or 1).

    Parameters
    ----------
    among
        Selects the ids of the only rows that matter; None for all.
    """
    # SQLite takes the other columns from the row that holds the maximum (its documentation of SELECT, 3.4)
    newest = (
        sa.select(
            corrections.c.row_id,
            corrections.c.field,
            sa.func.json_extract(sa.type_coerce(corrections.c.value, sa.Text), "$").label("value"),
            sa.func.max(corrections.c.sequence).label("sequence"),
        )
        .where(corrections.c.table_name == table_name, corrections.c.field.in_(fields))
        .where(sa.true() if among is None else corrections.c.row_id.in_(among))
        .group_by(corrections.c.row_id, corrections.c.field)
        .subquery()
    )
    columns = [newest.c.row_id]
    for name in fields:
        columns.append(sa.func.max(sa.case((newest.c.field == name, newest.c.value))).label(name))
        columns.append(sa.func.max(sa.case((newest.c.field == name, 1), else_=0)).label(f"{name}_said"))
    return sa.select(*columns).group_by(newest.c.row_id).subquery(f"said_of_{table_name}")


def taken_back() -> sa.ScalarSelect:
    """Select the ids of judgements that somebody took back."""
    of = sa.func.json_extract(sa.type_coerce(judgements.c.data, sa.Text), "$.of")
    return sa.select(of).where(judgements.c.verdict == TAKEN_BACK, of.is_not(None)).scalar_subquery()


def last_judgement(name: str, *verdicts: str) -> sa.Subquery:
    """Select, per cut, the last of some verdicts that was not taken back: ``cut_id``, ``verdict``."""
    return (
        sa.select(judgements.c.cut_id, judgements.c.verdict, sa.func.max(judgements.c.sequence))
        .where(judgements.c.verdict.in_(verdicts), judgements.c.id.not_in(taken_back()))
        .group_by(judgements.c.cut_id)
        .subquery(name)
    )


@cache
def edge_spans() -> sa.Subquery:
    """Select the edges with the part of the log in which each was the tool's: from, and until (exclusive)."""
    said = newest_corrections("tool_edges", ("from_sequence",))
    begins = sa.func.coalesce(said.c.from_sequence, tool_edges.c.from_sequence)
    begun = (
        sa.select(tool_edges.c.id, tool_edges.c.tool_id, tool_edges.c.sequence, begins.label("from_sequence"))
        .outerjoin(said, said.c.row_id == tool_edges.c.id)
        .subquery()
    )
    order = {"partition_by": begun.c.tool_id, "order_by": (begun.c.from_sequence, begun.c.sequence)}
    return sa.select(
        begun.c.id,
        begun.c.tool_id,
        begun.c.from_sequence,
        sa.func.row_number().over(**order).label("number"),
        sa.func.lead(begun.c.from_sequence, 1, 2**62).over(**order).label("until_sequence"),
    ).subquery("edge_spans")


@cache
def retirements() -> sa.Subquery:
    """Select the retirement that stands of each edge: ``edge_id``, ``sequence``."""
    said = newest_corrections("tool_retirements", ("withdrawn",))
    withdrawn = sa.func.coalesce(said.c.withdrawn, tool_retirements.c.withdrawn)
    return (
        sa.select(tool_retirements.c.edge_id, sa.func.max(tool_retirements.c.sequence).label("sequence"))
        .outerjoin(said, said.c.row_id == tool_retirements.c.id)
        .where(withdrawn == sa.false())
        .group_by(tool_retirements.c.edge_id)
        .subquery("retired")
    )


def perhaps_of(tool_id: str | sa.BindParameter) -> sa.CompoundSelect:
    """Select the ids of all cuts that were ever said to be of a tool, by their context or by a correction."""
    value = sa.func.json_extract(sa.type_coerce(corrections.c.value, sa.Text), "$")
    said = sa.select(cuts.c.id).join(contexts, contexts.c.id == cuts.c.context_id)
    set_right = sa.select(corrections.c.row_id).where(
        corrections.c.table_name == "cuts", corrections.c.field == "end_mill_id", value == tool_id
    )
    return said.where(contexts.c.end_mill_id == tool_id).union(set_right)


@cache
def credited_cuts(*, one: bool = False) -> sa.Subquery:
    """Select the cuts that count, one row each: whose it is, what was cut, and what is added up.

    Parameters
    ----------
    one
        Only cuts that may be of the tool that is given as the parameter ``tool_id`` when it is executed.

    Returns
    -------
    Subquery
        ``cut_id, sequence, tool_id, said_label, material, operation, part, feed_mm_min, ap_mm, ae_mm,
        nominal_rpm, cut_time_s, chatter_s, entries``.
    """
    among = perhaps_of(sa.bindparam("tool_id", type_=sa.Text)) if one else None
    said = newest_corrections("cuts", CREDITED_BY, among)
    counted = last_judgement("counted", NOT_A_CUT, A_CUT)
    rang = last_judgement("rang", NO_CHATTER, CHATTER)
    value = {
        name: sa.case((said.c[f"{name}_said"] == 1, said.c[name]), else_=contexts.c[name])
        for name in CREDITED_BY
    }
    quiet = sa.func.coalesce(rang.c.verdict == NO_CHATTER, sa.false())
    return (
        sa.select(
            cuts.c.id.label("cut_id"),
            cuts.c.sequence,
            value["end_mill_id"].label("tool_id"),
            value["end_mill"].label("said_label"),
            *(value[name].label(name) for name in CREDITED_BY[2:]),
            (cuts.c.engaged_samples / streams.c.sample_rate_hz).label("cut_time_s"),
            sa.case((quiet, 0.0), else_=cuts.c.chatter_samples / streams.c.sample_rate_hz).label("chatter_s"),
            cuts.c.entries,
        )
        .join(streams, streams.c.id == cuts.c.stream_id)
        .outerjoin(contexts, contexts.c.id == cuts.c.context_id)
        .outerjoin(said, said.c.row_id == cuts.c.id)
        .outerjoin(counted, counted.c.cut_id == cuts.c.id)
        .outerjoin(rang, rang.c.cut_id == cuts.c.id)
        .where(sa.func.coalesce(counted.c.verdict, A_CUT) != NOT_A_CUT)
        .where(sa.true() if among is None else cuts.c.id.in_(among))
        .subquery("credited")
    )


def figures(of: sa.Subquery) -> dict[str, sa.ColumnElement]:
    """Return what is added up of each row of `credited_cuts`, by its name in `Totals`."""
    distance = of.c.feed_mm_min / 60 * of.c.cut_time_s
    volume = distance * of.c.ap_mm * of.c.ae_mm
    turns = of.c.nominal_rpm / 60 * of.c.cut_time_s
    return {
        "cut_time_s": of.c.cut_time_s,
        "chatter_s": of.c.chatter_s,
        "entries": of.c.entries,
        "distance_mm": distance,
        "distance_known_s": sa.case((distance.is_not(None), of.c.cut_time_s)),
        "volume_mm3": volume,
        "volume_known_s": sa.case((volume.is_not(None), of.c.cut_time_s)),
        "turns": turns,
        "turns_known_s": sa.case((turns.is_not(None), of.c.cut_time_s)),
    }


def sums(of: sa.Subquery) -> list[sa.Label]:
    """Return the columns of a select that make up `Totals`, added up over rows of `credited_cuts`."""
    return [
        *(sa.func.coalesce(sa.func.sum(column), 0).label(name) for name, column in figures(of).items()),
        sa.func.count().label("cuts"),
        sa.func.min(of.c.sequence).label("first_sequence"),
        sa.func.max(of.c.sequence).label("last_sequence"),
    ]


def each(of: sa.Subquery) -> list[sa.Label]:
    """Return the same columns for one cut at a time."""
    return [
        *(sa.func.coalesce(column, 0).label(name) for name, column in figures(of).items()),
        sa.literal(1).label("cuts"),
        of.c.sequence.label("first_sequence"),
        of.c.sequence.label("last_sequence"),
    ]


def totals_of(row: sa.Row) -> Totals:
    """Make `Totals` of a row that was selected with `sums`."""
    return Totals(**{name: getattr(row, name) for name in Totals.__dataclass_fields__})


def added(parts: Iterable[Totals]) -> Totals:
    """Add totals up."""
    parts = [part for part in parts if part.cuts]
    ends = {
        "first_sequence": min((part.first_sequence for part in parts), default=None),
        "last_sequence": max((part.last_sequence for part in parts), default=None),
    }
    names = [name for name in Totals.__dataclass_fields__ if name not in ends]
    return Totals(**{name: sum(getattr(part, name) for part in parts) for name in names}, **ends)

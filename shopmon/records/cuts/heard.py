"""The cuts of one tool in the order in which they were made, with how each sounded while it was steady."""

from dataclasses import dataclass

import sqlalchemy as sa

from shopmon.records.cuts.credit import credited_cuts
from shopmon.records.tables import contexts, cuts, steady_sounds, streams

MATCHED = (
    *("source_id", "sample_rate_hz", "channels", "material", "operation", "part", "program_section"),
    *("ap_mm", "ae_mm", "feed_mm_min", "milling", "coolant", "holder", "stickout_mm"),
)


@dataclass(frozen=True, kw_only=True)
class SteadySound:
    """The comb of the longest steady, quiet part of a cut: speed, seconds, flutes as said, levels in dB."""

    rpm: float
    duration_s: float
    flutes: int | None
    lines_db: tuple[float | None, ...]


@dataclass(frozen=True, kw_only=True)
class HeardCut:
    """One cut of a tool.

    Attributes
    ----------
    conditions
        What must agree before its sound is compared with another's, in the order of `MATCHED`.
    sound
        None where no part of it was steady and quiet for long enough.
    """

    cut_id: str
    sequence: int
    cut_time_s: float
    conditions: tuple
    sound: SteadySound | None

    def condition(self, name: str):
        """Return one of the conditions."""
        return self.conditions[MATCHED.index(name)]


def heard_cuts(connection: sa.Connection, tool_id: str) -> list[HeardCut]:
    """Return every cut that is credited to a tool, as set right since, oldest first."""
    cut = credited_cuts(one=True)
    told = cut.c.keys()
    columns = {
        "source_id": streams.c.source_id,
        "sample_rate_hz": streams.c.sample_rate_hz,
        "channels": streams.c.channels,
        **{name: cut.c[name] if name in told else contexts.c[name] for name in MATCHED[3:]},
    }
    query = (
        sa.select(cut.c.cut_id, cut.c.sequence, cut.c.cut_time_s)
        .add_columns(*(column.label(name) for name, column in columns.items()))
        .join(cuts, cuts.c.id == cut.c.cut_id)
        .join(streams, streams.c.id == cuts.c.stream_id)
        .outerjoin(contexts, contexts.c.id == cuts.c.context_id)
        .where(cut.c.tool_id == sa.bindparam("tool_id"))
        .order_by(cut.c.sequence)
    )
    sounds = _sounds(connection, cut, tool_id)
    return [
        HeardCut(
            cut_id=row.cut_id,
            sequence=row.sequence,
            cut_time_s=row.cut_time_s,
            conditions=tuple(getattr(row, name) for name in MATCHED),
            sound=sounds.get(row.cut_id),
        )
        for row in connection.execute(query, {"tool_id": tool_id})
    ]


def _sounds(connection: sa.Connection, cut: sa.Subquery, tool_id: str) -> dict[str, SteadySound]:
    heard = steady_sounds.c
    query = (
        sa.select(heard.cut_id, heard.rpm, heard.duration_s, heard.flutes, heard.lines_db)
        .join(cut, cut.c.cut_id == heard.cut_id)
        .where(cut.c.tool_id == sa.bindparam("tool_id"))
        .order_by(heard.duration_s)
    )
    return {
        row.cut_id: SteadySound(
            rpm=row.rpm, duration_s=row.duration_s, flutes=row.flutes, lines_db=tuple(row.lines_db)
        )
        for row in connection.execute(query, {"tool_id": tool_id})
    }

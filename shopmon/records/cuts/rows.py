"""The shape in which cuts leave the database: seconds from their audio's start, wall time where known."""

import sqlalchemy as sa

from shopmon.records.boot_clock import wall_offsets
from shopmon.records.cuts.credit import newest_corrections
from shopmon.records.tables import CONTEXT_VALUES, contexts, corrections, cuts, recordings, streams
from shopmon.records.tools.tables import tools


def context_values(row: dict) -> dict:
    """Return the known values of a context row."""
    known = {name: row[name] for name in CONTEXT_VALUES if row[name] is not None}
    return {**known, **(row["other"] or {})}


def recording_columns() -> list[sa.Label]:
    """Return what is selected of a recording and its stream, beside a row that lies in it."""
    return [
        recordings.c.first_sample.label("recording_first"),
        recordings.c.end_sample.label("recording_end"),
        recordings.c.state.label("recording_state"),
        recordings.c.gaps.label("gaps"),
        recordings.c.sample_rate_hz.label("recording_rate"),
        streams.c.sample_rate_hz,
        streams.c.source_id,
    ]


def cut_query() -> sa.Select:
    """Select cuts with their recording, stream and context."""
    values = [contexts.c[name].label(f"context_{name}") for name in (*CONTEXT_VALUES, "other", "origins")]
    return (
        sa.select(cuts, *recording_columns(), *values)
        .outerjoin(recordings, recordings.c.id == cuts.c.recording_id)
        .outerjoin(contexts, contexts.c.id == cuts.c.context_id)
        .outerjoin(streams, streams.c.id == cuts.c.stream_id)
    )


def labels() -> sa.Subquery:
    """Select the tools with the label that each has now."""
    said = newest_corrections("tools", ("label",))
    label = sa.func.coalesce(said.c.label, tools.c.label).label("label")
    return sa.select(tools.c.id, label).outerjoin(said, said.c.row_id == tools.c.id).subquery("labels")


def corrected(connection: sa.Connection, found: list[dict]) -> list[dict]:
    """Set the contexts of cuts right by what was said afterwards, and give tools the label they have now.

    A value that was set right has the origin ``corrected``.
    """
    by_id = {cut["id"]: cut for cut in found}
    query = sa.select(corrections.c.row_id, corrections.c.field, corrections.c.value).where(
        corrections.c.table_name == "cuts", corrections.c.row_id.in_(by_id)
    )
    for cut_id, field, value in connection.execute(query.order_by(corrections.c.sequence)):
        cut = by_id[cut_id]
        cut["context"].pop(field, None)
        if value is not None:
            cut["context"][field] = value
        cut["origins"] = {**cut["origins"], field: "corrected"}
    wanted = {cut["context"].get("end_mill_id") for cut in found} - {None}
    label = labels()
    known = dict(connection.execute(sa.select(label.c.id, label.c.label).where(label.c.id.in_(wanted))).all())
    for cut in found:
        tool_id = cut["context"].get("end_mill_id")
        if tool_id in known:
            cut["context"]["end_mill"] = known[tool_id]
        elif cut["origins"].get("end_mill_id") == "corrected":
            cut["context"].pop("end_mill", None)
    return found


def as_cut(row: sa.Row, offsets: dict[str, float], analysis: sa.Row | None) -> dict:
    """Return a cut; times ending in ``_s`` count from the first sample of its recording."""
    rate = row.sample_rate_hz or row.recording_rate or 1.0
    first = row.first_sample if row.recording_first is None else row.recording_first

    def seconds(sample: int) -> float:
        return (sample - first) / rate

    chatter = [_with_seconds(span, seconds) for span in row.chatter]
    context = {name: getattr(row, f"context_{name}") for name in (*CONTEXT_VALUES, "other", "origins")}
    return {
        "id": row.id,
        "sequence": row.sequence,
        "stream_id": row.stream_id,
        "source_id": row.source_id,
        "recording_id": row.recording_id,
        "sample_rate_hz": rate,
        "first_sample": row.first_sample,
        "end_sample": row.end_sample,
        "recording_first_sample": first,
        "started_at": wall_s(row.boot_id, row.start_monotonic_s, offsets),
        "ended": row.ended,
        "recovered": row.recovered,
        "keep": row.keep,
        "start_s": seconds(row.first_sample),
        "end_s": seconds(row.end_sample),
        "duration_s": (row.end_sample - row.first_sample) / rate,
        "engaged": [[seconds(start), seconds(end)] for start, end in row.engaged],
        "cut_time_s": sum(end - start for start, end in row.engaged) / rate,
        "chatter": chatter,
        "chatter_time_s": sum(span.get("end_s", 0) - span.get("start_s", 0) for span in chatter),
        "context": context_values(context),
        "origins": context["origins"] or {},
        "analysis": analysis.result if analysis else None,
        "engine_version": analysis.engine_version if analysis else None,
        "has_audio": row.recording_state == "filed",
        "audio_pending": row.recording_state in ("open", "closing"),
        "audio_removed": row.recording_state == "removed",
        "gaps": [[start / rate, end / rate] for start, end in row.gaps or []],
    }


def cut_sums(engaged: list, chatter: list[dict]) -> dict[str, int]:
    """Return the columns of a cut that totals are added up from, in samples of its stream.

    Parameters
    ----------
    engaged
        ``[[first, end], …]`` in samples.
    chatter
        Spans with ``start_sample`` and ``end_sample``.

    Examples
    --------
    >>> cut_sums([[0, 10], [20, 25]], [{"start_sample": 21, "end_sample": 24}])
    {'engaged_samples': 15, 'chatter_samples': 3, 'entries': 2}
    """
    ringing = [(span.get("start_sample"), span.get("end_sample")) for span in chatter]
    return {
        "engaged_samples": sum(end - first for first, end in engaged),
        "chatter_samples": sum(end - first for first, end in ringing if None not in (first, end)),
        "entries": len(engaged),
    }


def _with_seconds(span: dict, seconds) -> dict:
    times = {
        f"{name.removesuffix('_sample')}_s": seconds(value)
        for name, value in span.items()
        if name.endswith("_sample") and value is not None
    }
    return {**span, **times}


def wall_s(boot_id: str, monotonic_s: float, offsets: dict[str, float]) -> float | None:
    """Return wall time in seconds since 1970, None where that boot saw no trusted clock."""
    offset_s = offsets.get(boot_id)
    return None if offset_s is None else monotonic_s + offset_s


def dated(connection: sa.Connection, rows) -> list[dict]:
    """Return rows as dicts with their wall time as ``t``."""
    found = [dict(row._mapping) for row in rows]
    if found and "boot_id" in found[0]:
        offsets = wall_offsets(connection)
        for row in found:
            row["t"] = wall_s(row["boot_id"], row["monotonic_s"], offsets)
    return found

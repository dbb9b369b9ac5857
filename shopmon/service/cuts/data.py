"""Cuts as data for other programs: one line of a table each, and one cut with everything known of it."""

import csv
import io
import math
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from typing import Any

from shopmon.errors import RecordingError
from shopmon.service.cuts.told import cut_for_pages
from shopmon.service.speeds.tool_and_job import standing

CUTS_SCHEMA, CUT_SCHEMA = "shopmon.cuts/1", "shopmon.cut/1"
CONTEXT = (
    "end_mill", "end_mill_id", "tool_assembly", "holder", "stickout_mm", "diameter_mm", "flutes",
    "nominal_rpm", "ap_mm", "ae_mm", "feed_mm_min", "milling", "coolant", "material", "part", "operation",
    "program_section", "machine",
)  # fmt: skip
COLUMNS = (
    "id", "started_at", "verdict", "unsure", "said", "cut_time_s", "duration_s", "engagements", "chatter_s",
    "chatter_events", "loudest_hz", "loudest_db_re_fs", "severity", "rpm", *CONTEXT, "keep", "sound",
    "recovered", "engine_version", "notes",
)  # fmt: skip
ANALYSIS = ("id", "t", "original", "engine_version", "settings_hash", "result")
FIGURES = ("t_s", "rpm", "level_db", "comb_db", "stray_db", "state", "engaged")
FORMULA = ("=", "+", "-", "@", "\t", "\r")
PAGE = 200


def cut_line(cut: dict[str, Any]) -> dict[str, Any]:
    """Return a cut as one line of a table.

    Parameters
    ----------
    cut
        As from `cut_for_pages`; ``judgements`` where they are known.

    Returns
    -------
    dict
        The keys are `COLUMNS`; None where something is not known. ``started_at`` is ISO 8601 in UTC.
    """
    worst = max(cut["chatter"], key=lambda span: span.get("level_db") or -math.inf, default={})
    said = standing(cut.get("judgements") or [])
    context = cut["context"]
    return {
        "id": cut["id"],
        "started_at": _iso(cut["started_at"]),
        "verdict": ("chatter" if cut["chatter"] else "quiet") if cut["ended"] else "open",
        "unsure": cut["unsure"],
        "said": "; ".join(row["verdict"] for row in said) or None,
        "cut_time_s": _rounded(cut["cut_time_s"]),
        "duration_s": _rounded(cut["duration_s"]),
        "engagements": len(cut["engaged"]),
        "chatter_s": _rounded(cut["chatter_time_s"]),
        "chatter_events": len(cut["chatter"]),
        "loudest_hz": _rounded(worst.get("frequency_hz"), 1),
        "loudest_db_re_fs": _rounded(worst.get("level_db"), 1),
        "severity": worst.get("severity"),
        "rpm": _rounded(cut["rpm"], 1),
        **{name: context.get(name) for name in CONTEXT},
        "keep": cut["keep"],
        "sound": bool(cut["audio"]),
        "recovered": cut["recovered"],
        "engine_version": cut["engine_version"],
        "notes": " | ".join(row["note"] for row in said if row["note"]) or None,
    }


def every_cut(log, filters: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """Yield every cut that passes the filters, newest first, as the pages have it, a page at a time.

    Parameters
    ----------
    log
        Anything with `Reader.cuts` and `LearningRows.said_of`.
    filters
        Of `Reader.cuts`.
    """
    before = None
    while True:
        rows = log.cuts(limit=PAGE, before_sequence=before, **filters)
        for row in rows:
            yield {**cut_for_pages(row), "judgements": log.said_of(row["id"])}
        if len(rows) < PAGE:
            return
        before = rows[-1]["sequence"]


def one_cut(log, cut_id: str) -> dict[str, Any] | None:
    """Return everything known of a cut as ``shopmon.cut/1``; None where there is none."""
    row = log.cut(cut_id)
    if row is None:
        return None
    return {
        "schema": CUT_SCHEMA,
        **{name: value for name, value in cut_for_pages(row, log.events(limit=500, cut_id=cut_id)).items()
           if name not in ("audio", "features", "has_audio", "advice_waits")},
        "line": cut_line({**cut_for_pages(row), "judgements": row["judgements"]}),
        "analyses": [{name: each[name] for name in ANALYSIS} for each in log.analyses(cut_id)],
        "judgements": row["judgements"],
        "corrections": row["corrections"],
        "figures": figures_as_data(safely(log, cut_id)),
    }  # fmt: skip


def safely(log, cut_id: str) -> dict[str, Any] | None:
    """Return the figures per frame; None where there are none, or where their file is damaged."""
    try:
        return log.features(cut_id)
    except (OSError, RecordingError):
        return None


def figures_as_data(figures: dict[str, Any] | None) -> dict[str, list] | None:
    """Return figures per frame as lists; unknown values are None."""
    if figures is None:
        return None
    return {name: [_plain(value) for value in figures[name].tolist()] for name in FIGURES}


def lines_as_csv(lines: Iterable[dict[str, Any]]) -> Iterator[str]:
    """Yield a table of cuts as CSV, a line at a time."""
    yield from _csv(COLUMNS, (tuple(line.values()) for line in lines))


def figures_as_csv(figures: dict[str, Any]) -> Iterator[str]:
    """Yield figures per frame as CSV."""
    columns = [figures[name].tolist() for name in FIGURES]
    names = ("t_s", "rpm", "level_db_re_fs", "comb_db_re_fs", "stray_db_re_fs", "state", "engaged")
    yield from _csv(names, zip(*columns, strict=True))


def _csv(header: tuple[str, ...], rows: Iterable[tuple]) -> Iterator[str]:
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(header)
    for row in rows:
        writer.writerow([_cell(value) for value in row])
        if out.tell() > 2**16:
            yield out.getvalue()
            out.seek(0)
            out.truncate()
    yield out.getvalue()


def _cell(value: Any) -> Any:
    """Write a cell; text that a spreadsheet would take for a formula begins with an apostrophe."""
    value = _plain(value)
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.10g}"
    if isinstance(value, str) and value.startswith(FORMULA):
        return f"'{value}"
    return value


def _plain(value: Any) -> Any:
    return None if isinstance(value, float) and not math.isfinite(value) else value


def _rounded(value: float | None, digits: int = 3) -> float | None:
    return None if value is None or not math.isfinite(value) else round(value, digits)


def _iso(wall_s: float | None) -> str | None:
    return None if wall_s is None else datetime.fromtimestamp(wall_s, UTC).isoformat(timespec="seconds")

"""Writes a report as one page of its own: style, pictures and figures are in it, and no script."""

from functools import lru_cache
from pathlib import Path
from typing import Any
from unicodedata import category

from jinja2 import Environment, FileSystemLoader
from shopmon.dashboards.cuts import facts
from shopmon.dashboards.look.measures import size
from shopmon.dashboards.look.words import FILTERS, GLOBALS, grouped
from shopmon.dashboards.report.drawing import lanes_of, spectrum_of

from shopmon.records.cuts.credit import CHATTER, NO_CHATTER, NOT_A_CUT
from shopmon.service.cuts.judging import word_of
from shopmon.service.reporting.sheets import CutSheet, PartSheet

FOLDER = Path(__file__).parent
PAPERS = {"a4": "A4", "letter": "letter"}
TEXT_LIMIT = 4000
MOST_EVENTS = 60
POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; media-src data:"
ACTIONS = {
    "less-depth": "Less depth",
    "less-stickout": "Less stickout",
    "other-tool": "Another tool",
    "none": "Leave the cut as it is",
}
ANSWERS = {"tried better": "better", "tried same": "the same", "tried worse": "worse"}


@lru_cache(maxsize=1)
def environment() -> Environment:
    """Return what the templates are rendered with; everything typed by a person is escaped."""
    made = Environment(
        loader=FileSystemLoader(FOLDER.parent), autoescape=True, trim_blocks=True, lstrip_blocks=True
    )
    made.filters.update(FILTERS, told=told)
    made.globals.update(
        GLOBALS,
        verdict=facts.verdict,
        seconds=facts.clock_and_tenths,
        size=size,
        advice=advice_words,
        loudest=loudest,
    )
    made.globals.update(style=(FOLDER / "report.css").read_text(encoding="utf-8"), policy=POLICY)
    return made


def cut_page(sheet: CutSheet, *, machine: str = "", units: str = "metric", paper: str = "") -> str:
    """Return the report on a cut as HTML.

    Parameters
    ----------
    machine
        Its name, where it has one.
    units
        ``metric`` or ``inch``.
    paper
        ``a4``, ``letter``, or empty: the paper that the printer has.
    """
    return (
        environment()
        .get_template("report/cut.html")
        .render(
            sheet=sheet,
            machine=machine,
            units=units,
            paper=PAPERS.get(paper, ""),
            **cut_parts(sheet, units),
        )
    )


def cut_parts(sheet: CutSheet, units: str) -> dict[str, Any]:
    """Return figures and tables of one cut, as the templates take them."""
    cut = sheet.cut
    return {
        "cut": cut,
        "facts": facts.facts(cut),
        "context": facts.context_rows(cut["context"], units),
        "figure": lanes_of(cut, sheet.figures),
        "spectrum": sheet.spectrum and spectrum_of(sheet.spectrum, cut["rpm"], cut["context"].get("flutes")),
        "events": loudest_events(cut["chatter"]),
        "more_events": max(0, len(cut["chatter"]) - MOST_EVENTS),
        "advised": advised(cut["advice"]),
        "tried": [tried_words(row) for row in sheet.tried],
    }


def loudest_events(events: list[dict[str, Any]], most: int = MOST_EVENTS) -> list[dict[str, Any]]:
    """Return the loudest chatter events of many, in the order of time."""
    loud = sorted(range(len(events)), key=lambda at: -(events[at]["level_db"] or -999.0))[:most]
    return [events[at] for at in sorted(loud)]


def part_page(sheet: PartSheet, *, machine: str = "", units: str = "metric", paper: str = "") -> str:
    """Return the report on a part as HTML; see `cut_page`."""
    drawn = [{"sheet": each, **cut_parts(each, units)} for each in sheet.drawn]
    return (
        environment()
        .get_template("report/part.html")
        .render(
            sheet=sheet,
            machine=machine,
            units=units,
            paper=PAPERS.get(paper, ""),
            totals=totals(sheet.cuts),
            groups=by_tool(sheet.cuts),
            drawn=drawn,
            notes=[(cut, row) for cut in sheet.cuts for row in cut["judgements"] if row["note"]],
        )
    )


def totals(cuts: list[dict[str, Any]]) -> dict[str, Any]:
    """Add up cuts, each as the person called it where somebody said."""
    told_of = [(cut, word_of(cut.get("judgements") or [])) for cut in cuts]
    counted = [(cut, word) for cut, word in told_of if word != NOT_A_CUT]
    ringing = [cut for cut, word in counted if word != NO_CHATTER]
    return {
        "cuts": len(counted),
        "cut_time_s": sum(cut["cut_time_s"] for cut, _ in counted),
        "chatter_s": sum(cut["chatter_time_s"] for cut in ringing),
        "rang": sum(bool(cut["chatter"]) for cut in ringing)
        + sum(word == CHATTER and not cut["chatter"] for cut, word in counted),
    }


def by_tool(cuts: list[dict[str, Any]]) -> list[tuple[str, str, dict[str, Any]]]:
    """Add up cuts per tool and operation, in the order in which they first occur."""
    groups: dict[tuple[str, str], list[dict]] = {}
    for cut in cuts:
        context = cut["context"]
        groups.setdefault((context.get("end_mill") or "–", context.get("operation") or "–"), []).append(cut)
    return [(tool, operation, totals(each)) for (tool, operation), each in groups.items()]


def told(text: str | None, limit: int = TEXT_LIMIT) -> str:
    r"""Return what somebody typed, without what would turn or hide a line, and cut where it has no end.

    Examples
    --------
    >>> told("fine\u202egnp.exe"), told("ab" * 10, 4)
    ('finegnp.exe', 'abab … (cut here; 16 more characters are in the log)')
    """
    text = text or ""
    shown = "".join(letter for letter in text[:limit] if letter == "\n" or category(letter)[0] != "C")
    over = len(text) - limit
    return shown if over <= 0 else f"{shown} … (cut here; {over} more characters are in the log)"


def advice_words(entry: dict[str, Any]) -> str:
    """Say in one line what was advised."""
    chance = entry.get("probability_quiet")
    sure = f", {100 * chance:.0f}\u00a0% likely to be quiet" if chance is not None else ""
    if entry.get("action") != "speed":
        return ACTIONS.get(entry.get("action"), "Something else") + sure
    override = entry.get("override_percent")
    words = f"Program {grouped(entry.get('command_rpm'), 5)}\u00a0rpm"
    return words + (f" (override {override:.0f}\u00a0%)" if override else "") + sure


def advised(entries: list[dict[str, Any]]) -> list[dict[str, str]]:
    """Return advice in words, the best first; what is said of several is said once."""
    found, said = [], set()
    for entry in entries:
        told_now = [text for text in (entry.get("reason"), entry.get("caution")) if text and text not in said]
        said.update(told_now)
        found.append({"what": advice_words(entry), "why": " ".join(told_now)})
    return found


def loudest(cut: dict[str, Any]) -> dict[str, Any]:
    """Return the chatter event with the highest level; empty where nothing rang."""
    return max(cut["chatter"], key=lambda span: span["level_db"] or -999.0, default={})


def tried_words(row: dict[str, Any]) -> dict[str, Any]:
    """Say what was tried after advice, and how it went."""
    data = row.get("data") or {}
    what = ACTIONS.get(data.get("action"), "")
    if data.get("action") in (None, "speed") and data.get("rpm"):
        what = f"{grouped(data['rpm'], 5)}\u00a0rpm"
    return {"what": what or "What was advised", "answer": ANSWERS.get(row["verdict"], ""), "t": row.get("t")}

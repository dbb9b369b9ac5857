"""What the pages say about a cut: verdict, figures, context in plain words, stretches of its timeline."""

from dataclasses import dataclass
from typing import Any

from shopmon.dashboards.look.measures import feed, size
from shopmon.dashboards.look.words import clock, decibels, grouped, tenths

from shopmon.records.cuts.credit import CHATTER, NO_CHATTER, NOT_A_CUT
from shopmon.service.cuts.judging import word_of

LENGTHS = {"stickout_mm": "Stickout", "ap_mm": "Axial depth ap", "ae_mm": "Radial depth ae"}
LOWEST_DB = -999.0
SIGNS = {
    "chatter": {"word": "Chatter", "shape": "chatter"},
    "quiet": {"word": "Quiet", "shape": "cutting"},
}
OVERRULED = "you said so; the monitor heard "
HEARD = {"chatter": "chatter", "quiet": "a quiet cut"}
CONTEXT = {
    "end_mill": "End mill",
    "tool_assembly": "Tool assembly",
    "holder": "Holder",
    "stickout_mm": "Stickout",
    "flutes": "Flutes",
    "nominal_rpm": "Speed told",
    "ap_mm": "Axial depth ap",
    "ae_mm": "Radial depth ae",
    "feed_mm_min": "Table feed vf",
    "milling": "Milling",
    "coolant": "Coolant",
    "material": "Material",
    "part": "Part",
    "operation": "Operation",
    "program_section": "Program section",
    "machine": "Machine",
}


@dataclass(frozen=True)
class Stretch:
    """A piece of the timeline and what it is."""

    kind: str
    start_s: float
    end_s: float
    text: str


def with_words(monitor: Any, cuts: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Put beside each cut of a list what people said of it."""
    said = monitor.judging.said_of([cut["id"] for cut in cuts])
    return [{**cut, "judgements": said[cut["id"]]} for cut in cuts]


def verdict(cut: dict[str, Any]) -> dict[str, str]:
    """Return word and shape of a cut, and in ``note`` who says so where a person said what it was.

    The person's word stands before the monitor's; what that heard is told beside it.

    Parameters
    ----------
    cut
        As the monitor tells it; ``judgements`` as far as they are known.
    """
    if not cut["ended"]:
        return {"word": "Going on", "shape": "spinning", "note": ""}
    heard = "chatter" if cut["chatter"] else "quiet"
    said = word_of(cut.get("judgements") or [])
    if said == NOT_A_CUT:
        return {"word": "No cut", "shape": "stopped", "note": OVERRULED + HEARD[heard]}
    called = {CHATTER: "chatter", NO_CHATTER: "quiet"}.get(said, heard)
    note = ""
    if said:
        note = "you said so, too" if called == heard else OVERRULED + HEARD[heard]
    return {**SIGNS[called], "note": note}


def facts(cut: dict[str, Any]) -> list[tuple[str, str]]:
    """Return name and value of the figures of a cut."""
    share = cut["chatter_time_s"] / cut["cut_time_s"] if cut["cut_time_s"] else 0.0
    ringing = f"{tenths(cut['chatter_time_s'])}, {share:.0%} of the cut time"
    rows = [
        ("Cut time", clock_and_tenths(cut["cut_time_s"])),
        ("From start to end", clock_and_tenths(cut["duration_s"])),
        ("Engagements", grouped(len(cut["engaged"]))),
        ("Spindle speed", speed_words(cut)),
        ("Chatter", ringing if cut["chatter"] else "none"),
    ]
    if cut["chatter"]:
        worst = max(cut["chatter"], key=lambda span: span["level_db"] or LOWEST_DB)
        rows.append(("Loudest at", tone_words(worst)))
    return rows


def loudest_hz(cut: dict[str, Any]) -> float | None:
    """Return the pitch of the loudest chatter of a cut, None where nothing rang."""
    worst = max(cut["chatter"], key=lambda span: span["level_db"] or LOWEST_DB, default={})
    return worst.get("frequency_hz")


def speed_words(cut: dict[str, Any]) -> str:
    """Say the true spindle speed; it is settled when the cut has ended."""
    if cut["rpm"]:
        return f"{grouped(cut['rpm'])}\u00a0rpm"
    return "not heard" if cut["ended"] else "follows at the end"


def tone_words(span: dict[str, Any]) -> str:
    """Say frequency, level and severity of a chatter event."""
    return f"{grouped(span['frequency_hz'])}\u00a0Hz, {decibels(span['level_db'])}, {span['severity']}"


def mark_words(mark: dict[str, Any]) -> str:
    """Say that a moment was marked, and with which note."""
    return f"Marked: {mark['note']}" if mark["note"] else "Marked"


def clock_and_tenths(seconds: float | None) -> str:
    r"""Write a short time with a decimal, a long one as a clock does.

    Examples
    --------
    >>> clock_and_tenths(8.25), clock_and_tenths(125.0)
    ('8.2\xa0s', '2:05')
    """
    return clock(seconds) if seconds is not None and seconds >= 60 else tenths(seconds)


def context_rows(context: dict[str, Any], units: str) -> list[tuple[str, str]]:
    """Return name and value of what is known of tool, speed and part, in the shop's units."""
    known = ((label, name, context.get(name)) for name, label in CONTEXT.items())
    return [(label, context_value(name, value, units)) for label, name, value in known if value is not None]


def context_value(name: str, value: Any, units: str) -> str:
    r"""Write one value of the context.

    Examples
    --------
    >>> context_value("ap_mm", 1.5, "metric"), context_value("ap_mm", 1.5, "inch")
    ('1.5\xa0mm', '0.059\xa0in')
    """
    if name in LENGTHS:
        return size(value, units)
    if name == "feed_mm_min":
        return feed(value, units)
    if name == "nominal_rpm":
        return f"{grouped(value, 6)}\u00a0rpm"
    return str(value)


def stretches(cut: dict[str, Any]) -> list[Stretch]:
    """Return engagements, chatter and marks in the order in which they began."""
    found = [Stretch("engaged", start, end, "In metal") for start, end in cut["engaged"]]
    for span in cut["chatter"]:
        found.append(Stretch("chatter", span["start_s"], span["end_s"], f"Chatter, {tone_words(span)}"))
    for mark in cut["marks"]:
        found.append(Stretch("mark", mark["t_s"], mark["t_s"], mark_words(mark)))
    return sorted(found, key=lambda each: (each.start_s, each.kind))

"""What a person said of a cut, and the tones of it that may be called background."""

from typing import Any

from shopmon.listening.preferences import RejectedTone
from shopmon.service.context import tool_words
from shopmon.service.cuts.judging import VERDICTS
from shopmon.service.speeds.tool_and_job import standing

WORDS = {
    "chatter": "It was chatter",
    "no chatter": "It was no chatter",
    "not a cut": "It was no cut",
    "a cut": "It was a cut",
    "note": "Note",
}
EARLIER_PER_HOUR = 0.5
APART, MOST_RELATIVES = 0.01, 6


def relatives(cut: dict[str, Any], frequency_hz: float, turn_hz: float | None) -> list[float]:
    """Return the other tones of a cut that lie in steps of the rotation from one of them."""
    if not turn_hz:
        return []
    tone = RejectedTone(frequency_hz=frequency_hz, family=True)
    heard = [span.get("frequency_hz") for span in (*cut["chatter"], *(cut.get("stray") or []))]
    found: list[float] = []
    for hz in sorted(hz for hz in heard if hz and abs(hz - frequency_hz) > APART * frequency_hz):
        if tone.is_related(hz, turn_hz) and all(abs(hz - other) > APART * other for other in found):
            found.append(hz)
    return found[:MOST_RELATIVES]


def facts(monitor: Any, cut: dict[str, Any]) -> dict[str, Any]:
    """Return ``said`` (what stands, newest first), ``tones`` that rang with their families, and ``tool``."""
    said = [row for row in standing(cut.get("judgements") or []) if row["verdict"] in VERDICTS]
    turn_hz = cut["rpm"] / 60 if cut.get("rpm") else None
    tones, seen = [], []
    for span in sorted(cut["chatter"], key=lambda span: -(span.get("level_db") or -999)):
        hz = span.get("frequency_hz")
        if hz and all(abs(hz - other) > 5 for other in seen):
            seen.append(hz)
            order = round(hz / turn_hz, 3) if turn_hz else None
            family = relatives(cut, hz, turn_hz)
            tones.append({"frequency_hz": round(hz, 1), "order": order, "family": family})
    return {
        "said": said[::-1],
        "words": WORDS,
        "tones": tones[:5],
        "tool": tool_words(cut.get("context") or {}),
        "careful": monitor.wishes.false_alarms_per_hour,
        "earlier": max(EARLIER_PER_HOUR, monitor.wishes.false_alarms_per_hour),
    }

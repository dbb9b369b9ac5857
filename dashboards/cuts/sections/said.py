"""What a person said of a cut, and the tones of it that may be called background."""

from typing import Any

from shopmon.service.judging import VERDICTS
from shopmon.service.tool_and_job import standing

WORDS = {
    "chatter": "It was chatter",
    "no chatter": "It was no chatter",
    "not a cut": "It was no cut",
    "a cut": "It was a cut",
    "note": "Note",
}
EARLIER_PER_HOUR = 0.5


def facts(monitor: Any, cut: dict[str, Any]) -> dict[str, Any]:
    """Return ``said`` (what stands, the newest first), ``tones`` that rang, ``words``, ``heard_again``."""
    said = [row for row in standing(cut.get("judgements") or []) if row["verdict"] in VERDICTS]
    turn_hz = cut["rpm"] / 60 if cut.get("rpm") else None
    tones, seen = [], []
    for span in sorted(cut["chatter"], key=lambda span: -(span.get("level_db") or -999)):
        hz = span.get("frequency_hz")
        if hz and all(abs(hz - other) > 5 for other in seen):
            seen.append(hz)
            tones.append({"frequency_hz": round(hz, 1), "order": round(hz / turn_hz, 3) if turn_hz else None})
    return {
        "said": said[::-1],
        "words": WORDS,
        "tones": tones[:5],
        "careful": monitor.wishes.false_alarms_per_hour,
        "earlier": max(EARLIER_PER_HOUR, monitor.wishes.false_alarms_per_hour),
    }

"""The places in a recording that carry a name: engagements, chatter and marked moments of its cut."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

TEXT_LIMIT = 200


@dataclass(frozen=True, kw_only=True)
class CueLabel:
    """A stretch of a recording with a name, in seconds from its first sample; a moment where both agree."""

    start_s: float
    end_s: float
    text: str


def cue_labels(cut: dict[str, Any]) -> list[CueLabel]:
    """Return the labels of a cut in the order in which they begin.

    Parameters
    ----------
    cut
        As `cut_for_pages` gives it.
    """
    found = [
        CueLabel(start_s=start, end_s=end, text=f"in metal {number}")
        for number, (start, end) in enumerate(cut["engaged"], 1)
    ]
    for span in cut["chatter"]:
        text = "chatter"
        if span["frequency_hz"] is not None and span["level_db"] is not None:
            text = f"chatter {span['frequency_hz']:.0f} Hz, {span['level_db']:.0f} dB, {span['severity']}"
        found.append(CueLabel(start_s=span["start_s"], end_s=span["end_s"], text=text))
    for mark in cut["marks"]:
        if mark["t_s"] is not None:
            text = f"marked: {mark['note']}" if mark["note"] else "marked"
            found.append(CueLabel(start_s=mark["t_s"], end_s=mark["t_s"], text=one_line(text)))
    return sorted(found, key=lambda label: (label.start_s, label.end_s))


def one_line(text: str) -> str:
    r"""Return a text as one line without control characters, cut where it has no end.

    Examples
    --------
    >>> one_line("at the\twall\nhere")
    'at the wall here'
    """
    plain = "".join(letter if letter.isprintable() else " " for letter in text[: 2 * TEXT_LIMIT])
    return " ".join(plain.split())[:TEXT_LIMIT]


def as_label_track(labels: Iterable[CueLabel]) -> str:
    """Return labels as lines of start, end and text with tabs between: what sound editors read as labels."""
    return "".join(f"{each.start_s:.6f}\t{each.end_s:.6f}\t{each.text}\n" for each in labels)

"""What a person says of a cut afterwards: it rang, it did not, it was none; and what was said is taken back.

Nothing is changed: each word is a row of its own, the newest counts, and totals and learning follow.
"""

import math
from collections.abc import Iterable
from typing import Any, Protocol
from unicodedata import category

from shopmon.errors import SettingError
from shopmon.records.cuts.credit import A_CUT, CHATTER, NO_CHATTER, NOT_A_CUT, TAKEN_BACK
from shopmon.service.speeds.tool_and_job import standing

NOTE = "note"
VERDICTS = (CHATTER, NO_CHATTER, NOT_A_CUT, A_CUT, NOTE)
LONGEST_NOTE = 10_000
LARGEST = 1e12
FIELDS = {"start_s": "The beginning", "end_s": "The end", "frequency_hz": "The tone"}
SLACK_S = 15.0  # a mark may lie in the sound before and after the cut


def word_of(judgements: Iterable[dict[str, Any]]) -> str | None:
    """Return what a person says that a cut was, as it stands; None where nobody said.

    Parameters
    ----------
    judgements
        All rows of the cut in their order, those that were taken back among them.

    Examples
    --------
    >>> rows = [{"id": "a", "verdict": "chatter", "data": None}, {"id": "b", "verdict": "note", "data": None}]
    >>> word_of(rows), word_of([*rows, {"id": "c", "verdict": "taken back", "data": {"of": "a"}}])
    ('chatter', None)
    """
    verdicts = [row["verdict"] for row in standing(list(judgements))][::-1]
    if next((word for word in verdicts if word in (NOT_A_CUT, A_CUT)), A_CUT) == NOT_A_CUT:
        return NOT_A_CUT
    return next((word for word in verdicts if word in (CHATTER, NO_CHATTER)), None)


class Log(Protocol):
    """Where cuts are found and words are kept: an archive."""

    def cut(self, cut_id: str) -> dict[str, Any] | None:
        """Return one cut with its ``judgements``."""

    def said_of_cuts(self, cut_ids: list[str]) -> dict[str, list[dict]]:
        """Return what people said of each of some cuts, in order."""

    def add_judgement(self, cut_id: str, verdict: str, note: str = "", data: dict | None = None) -> str:
        """Keep a word."""

    def flush(self, *, filing: bool = True) -> None:
        """Return once it is on the disk."""


class Judging:
    """Keeps what a person says of cuts.

    Parameters
    ----------
    log
        Where cuts are found and words are kept.
    news
        Called with the context of a cut of which something was said.
    """

    def __init__(self, log: Log, news=lambda context: None):
        self._log, self._news = log, news

    def say(self, cut_id: str, verdict: Any, note: Any = "", **span: Any) -> str:
        """Keep a verdict on a cut, or a note; return the id of the row.

        Parameters
        ----------
        verdict
            One of `VERDICTS`.
        note
            In the person's words.
        span
            Where it rang, for ``chatter`` only: ``start_s``, ``end_s`` in its sound, ``frequency_hz``.

        Raises
        ------
        SettingError
            There is no such cut, or it cannot be.
        """
        if verdict not in VERDICTS:
            known = ", ".join(VERDICTS)
            raise SettingError(f"A cut cannot be called {str(verdict)[:40]!r}.", f"Use one of: {known}.")
        if not isinstance(note, str):
            raise SettingError("The note is no text.", "Write what is to be remembered.")
        if len(note) > LONGEST_NOTE:
            raise SettingError(f"A note has at most {LONGEST_NOTE} characters.", "Shorten it.")
        note = _readable(note)
        if verdict == NOTE and not note.strip():
            raise SettingError("The note is empty.", "Write what is to be remembered.")
        cut = self._found(cut_id)
        row = self._log.add_judgement(cut_id, verdict, note.strip(), _span(cut, verdict, span))
        self._log.flush(filing=False)
        self._news(cut["context"])
        return row

    def said_of(self, cut_ids: list[str]) -> dict[str, list[dict[str, Any]]]:
        """Return the rows of each of some cuts, in order; empty where nobody said anything."""
        return self._log.said_of_cuts(cut_ids)

    def take_back(self, cut_id: str, judgement_id: str) -> None:
        """Let something that was said no longer count; it stays in the history.

        Raises
        ------
        SettingError
            Nothing of that id stands.
        """
        cut = self._found(cut_id)
        if all(row["id"] != judgement_id for row in standing(cut["judgements"])):
            raise SettingError("That does not stand of this cut (any more).", "Reload the page.")
        self._log.add_judgement(cut_id, TAKEN_BACK, data={"of": judgement_id})
        self._log.flush(filing=False)
        self._news(cut["context"])

    def _found(self, cut_id: str) -> dict[str, Any]:
        cut = self._log.cut(cut_id)
        if cut is None:
            raise SettingError("There is no cut with this id.", "Look at the list under Cuts.")
        return cut


def _readable(note: str) -> str:
    """Leave out what nobody sees and what turns or hides a line: control and format characters."""
    return "".join(letter for letter in note if letter in "\n\t" or category(letter)[0] != "C")


def _is_number(value: Any) -> bool:
    # a whole number may have more digits than a float can hold
    return (
        isinstance(value, int | float)
        and not isinstance(value, bool)
        and abs(value) < LARGEST
        and not math.isnan(value)
    )


def _shown(value: Any) -> str:
    return repr(value)[:40] if not isinstance(value, int) else "so large"


def _span(cut: dict[str, Any], verdict: str, span: dict[str, Any]) -> dict[str, float] | None:
    said = {name: value for name, value in span.items() if value is not None}
    if not said:
        return None
    if verdict != CHATTER:
        raise SettingError("Only chatter has a place and a tone.", "Leave them out.")
    start_s, end_s = said.get("start_s"), said.get("end_s")
    if (start_s is None) != (end_s is None):
        raise SettingError("From when to when did it ring?", "Give both, or neither.")
    for name, value in said.items():
        if not _is_number(value):
            raise SettingError(f"{FIELDS[name]} cannot be {_shown(value)}.", "Enter a number.")
    low_s, high_s = max(0.0, cut["start_s"] - SLACK_S), cut["end_s"] + SLACK_S
    if start_s is not None and not low_s <= start_s < end_s <= high_s:
        raise SettingError(
            f"From {start_s:g} to {end_s:g} s is not within this cut.",
            f"It lies from {cut['start_s']:.1f} to {cut['end_s']:.1f} s in its sound.",
        )
    frequency_hz = said.get("frequency_hz")
    if frequency_hz is not None and not 10 <= frequency_hz <= 100_000:
        raise SettingError(f"A tone of {frequency_hz:g} Hz cannot be.", "Give 10 to 100,000 Hz.")
    return {name: float(value) for name, value in said.items()}

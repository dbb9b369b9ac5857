"""What the page *Speeds* may ask and say: advice from past cuts, what if, advice on one chatter, answers.

Nothing here computes on the asker's thread: an answer that is not ready says that it is being thought about.
"""

import contextlib
import threading
from collections.abc import Callable, Hashable, Mapping
from math import isclose
from typing import Any

from shopmon.cutting.advising.learned import SpeedSheet, carried, chance, speed_sheet
from shopmon.cutting.advising.learning import PastCut, learn
from shopmon.cutting.advising.one_line import advise
from shopmon.errors import SettingError, ShopmonError
from shopmon.records.archive import Archive
from shopmon.service.context import checked_context, facts_of
from shopmon.service.settings import Machine
from shopmon.service.speeds.beliefs import Beliefs, Known
from shopmon.service.speeds.chatter_events import ChatterEvents
from shopmon.service.speeds.question import asked_for, question_of, tone_of
from shopmon.service.speeds.tool_and_job import TRIED, TRIED_TAKEN_BACK, key_of, prior_from, standing
from shopmon.service.speeds.wall import wall_as_data
from shopmon.service.tap.prior import with_measured_modes
from shopmon.service.thinking import Failed, Thinker

SAME = 0.003  # an inch field is rounded; less of a change is none
WHAT_IF = ("ap_mm", "ae_mm", "stickout_mm", "flutes")
MOST_SHOWN = 20
ANSWERS = {"better": TRIED[0], "same": TRIED[1], "worse": TRIED[2]}


class SpeedsDesk:
    """Answers questions about speeds.

    Parameters
    ----------
    archive
        The log.
    machine
        Its limits and its name.
    context
        Tells what is in the spindle and what is cut now.
    live
        Tells the state now, as in ``GET /api/state``.
    """

    def __init__(
        self,
        archive: Archive,
        machine: Machine,
        context: Callable[[], dict],
        live: Callable[[], dict],
    ):
        self._archive, self._machine = archive, machine
        self._context, self._live = context, live
        self._beliefs = Beliefs(archive)
        self._events = ChatterEvents(archive, live, context)
        self._thinker = Thinker()
        self._at_once = Thinker(waiting=4)  # what is asked while it rings waits for no map
        self._lock = threading.Lock()
        self._version = 0
        self._shown: dict[tuple, dict] = {}

    def close(self) -> None:
        """End the thinking; what is thought about is lost and can be asked again."""
        self._at_once.close()
        self._thinker.close()

    def wait(self, timeout_s: float = 60.0) -> bool:
        """Return True once nothing is thought about any more."""
        return self._at_once.wait(timeout_s) and self._thinker.wait(timeout_s)

    def later(self, key: Hashable, work: Callable[[], Any]) -> None:
        """Have something else worked out on the same slow lane."""
        self._thinker.do(key, work)

    # what past cuts say

    def sheet(self, what_if: Mapping[str, Any] | None = None) -> dict[str, Any]:
        """Return what is known of the tool in the spindle, or of a change of it.

        Parameters
        ----------
        what_if
            Values to put in place of those that hold, of `WHAT_IF`.

        Returns
        -------
        dict
            ``status`` is ``asks`` (with what is missing in ``asks``), ``thinking`` (with the last answer, if
            any), ``ready`` or ``failed``; ``context`` is what it is about.

        Raises
        ------
        SettingError
            A value that cannot be.
        """
        changes = self._changes(what_if or {})
        base = self._context()
        told = {**base, **changes}
        asks = asked_for(told, self._machine, self._live())
        answer = {"what_if": changes, "context": told, "asks": asks, "result": None, "error": None}
        if any(ask["needed"] for ask in asks):
            return {**answer, "status": "asks"}
        question = question_of(told, self._machine, self._live())
        key = (key_of(base), question, tuple(sorted(changes.items())))
        found = self._thinker.ask(
            ("sheet", self._version, *key),
            lambda: self._think(base, told, changes, question),
        )
        if isinstance(found, Failed):
            return {**answer, "status": "failed", "error": {"text": found.text, "hint": found.hint}}
        status = "thinking" if found is None else "ready"
        return {**answer, "status": status, "result": self._held(key, found)}

    def _think(self, base: dict, told: dict, changes: dict, question) -> dict[str, Any]:
        known = self._beliefs.now(base)
        belief, before = known.belief, None
        if changes:
            # what was measured of the tool as it is goes along with the change
            changed = {**with_measured_modes(self._archive, base), **changes}
            belief = carried(known.belief, known.prior, prior_from(changed))
            as_it_is = question_of(base, self._machine, self._live(), required=False)
            if as_it_is is not None and as_it_is.ap_mm and as_it_is.present_rpm:
                sheet = speed_sheet(known.belief, as_it_is)
                before = chance(sheet.found, as_it_is.present_rpm, as_it_is.ap_mm)
        sheet = speed_sheet(belief, question)
        return {**sheet_as_data(sheet, known, before), "wall": wall_as_data(sheet, told)}

    def _changes(self, what_if: Mapping[str, Any]) -> dict[str, Any]:
        unknown = sorted(set(what_if) - set(WHAT_IF))
        if unknown:
            raise SettingError(f"'{unknown[0][:40]}' is no what-if.", f"Known: {', '.join(WHAT_IF)}.")
        given = {name: value for name, value in what_if.items() if value is not None}
        checked = checked_context(given) if given else {}
        now = self._context()
        same = {name for name, value in checked.items() if isclose(value, now.get(name) or 0.0, rel_tol=SAME)}
        return {name: value for name, value in checked.items() if name not in same}

    # one chatter

    def event(self, event_id: str) -> dict[str, Any] | None:
        """Return advice on one chatter event, open or past; None when there is no such event.

        Returns
        -------
        dict
            ``event``, ``advice`` and ``learned`` (each None while it is thought about), ``status`` and the
            ``answers`` that were given to it.
        """
        event = self._events.find(event_id)
        if event is None:
            return None
        facts = facts_of(self._named(event["context"]), self._machine)
        tone, limits = tone_of(event, facts), facts.limits

        def think() -> list[dict]:
            earlier = self._beliefs.tones(event["context"], before=event["cut_id"])
            return [_plain(each) for each in advise(tone, limits, earlier)]

        # what is advised of one moment stays as it is, whatever is learned later
        advice = self._at_once.ask((event_id, tone, limits), think)
        learned = self._learned_for(event)
        failed = next((each for each in (advice, learned) if isinstance(each, Failed)), None)
        waits = advice is None or learned is None
        return {
            "event": event,
            "advice": self._held(("advice", event_id), advice),
            "learned": self._held(("learned", event_id), learned),
            "answers": self._answers(event),
            "status": "failed" if failed else "thinking" if waits else "ready",
            "error": {"text": failed.text, "hint": failed.hint} if failed else None,
        }

    def _held(self, key: tuple, found: Any) -> Any:
        """The answer, or while it is thought about anew the one before: nothing jumps under a finger."""
        if isinstance(found, Failed):
            return None
        with self._lock:
            if found is not None:
                self._shown = {**dict(list(self._shown.items())[-MOST_SHOWN:]), key: found}
            return found or self._shown.get(key)

    def _learned_for(self, event: dict):
        """What the past cuts of the tool say at the depth that rang, that ringing counted in."""
        question = question_of(event["context"], self._machine, event, required=False)
        if question is None:
            return {"cards": [], "learned": 0}
        asked = ("event", event["id"], self._version, question, event["open"], event["frequency_hz"])
        return self._thinker.ask(asked, lambda: self._think_of(event, question), urgent=True)

    def _think_of(self, event: dict, question) -> dict[str, Any]:
        known = self._beliefs.now(event["context"])
        belief = known.belief
        if event["open"]:
            belief = learn(
                belief,
                PastCut(
                    rpm=question.present_rpm, flutes=question.flutes, chattered=True,
                    milling=question.milling, ae_mm=question.ae_mm, diameter_mm=question.diameter_mm,
                    ap_mm=question.ap_mm, chatter_hz=event["frequency_hz"],
                ),
            )  # fmt: skip
        sheet = speed_sheet(belief, question)
        wanted = ("same-depth", "most-metal") if question.ap_mm else ("most-metal",)
        cards = {card.aim: _plain(card) for card in sheet.cards}
        return {"cards": [cards[aim] for aim in wanted if aim in cards], "learned": known.learned}

    def tried(self, event_id: str, answer: str, advised: Mapping[str, Any]) -> dict[str, Any]:
        """Keep how it went to do what was advised on a chatter; the learning follows.

        Parameters
        ----------
        event_id
            The chatter.
        answer
            ``better``, ``same`` or ``worse``.
        advised
            What was tried: ``action``, ``rpm``, and ``ap_mm`` where the advice named a depth.

        Raises
        ------
        SettingError
            There is no such event, or the answer is none of the three.
        """
        event = self._events.find(event_id)
        if event is None or event["cut_id"] is None:
            raise SettingError("There is no cut with this chatter.", "Look at the list under Cuts.")
        if answer not in ANSWERS:
            raise SettingError(f"The answer cannot be {answer!r}.", f"Use one of: {', '.join(ANSWERS)}.")
        data = {**advised, "event_id": event_id, "event_rpm": event["rpm"]}
        row_id = self._archive.add_judgement(event["cut_id"], ANSWERS[answer], data=data)
        self._archive.flush(filing=False)
        self.news(event["context"])
        return {"id": row_id, "answer": answer, **data}

    def take_back(self, event_id: str, answer_id: str) -> None:
        """Take an answer back; what was learned from it goes with it.

        Raises
        ------
        SettingError
            There is no such answer.
        """
        event = self._events.find(event_id)
        if event is None or all(answer["id"] != answer_id for answer in self._answers(event)):
            raise SettingError("There is no such answer to take back.", "Open the page again.")
        self._archive.add_judgement(event["cut_id"], TRIED_TAKEN_BACK, data={"of": answer_id})
        self._archive.flush(filing=False)
        self.news(event["context"])

    def _answers(self, event: dict) -> list[dict]:
        if event["cut_id"] is None:
            return []
        words = {verdict: answer for answer, verdict in ANSWERS.items()}
        return [
            {**(row["data"] or {}), "id": row["id"], "answer": words[row["verdict"]]}
            for row in standing(self._archive.said_of(event["cut_id"]))
            if row["verdict"] in words and (row["data"] or {}).get("event_id") == event["id"]
        ]

    # news

    def news(self, context: Mapping[str, Any] | None = None) -> None:
        """Something was logged or said of a tool: learn from it as soon as there is time."""
        context = dict(context or self._context())
        with self._lock:
            self._version += 1
        self._thinker.do(("learn", key_of(context)), lambda: self._learn(context))

    def _learn(self, context: dict[str, Any]) -> None:
        self._beliefs.now(context)
        with contextlib.suppress(ShopmonError):
            self.sheet()  # so that the page finds it ready

    def _named(self, context: Mapping[str, Any]) -> dict[str, Any]:
        return {name: value for name, value in context.items() if value is not None}


def sheet_as_data(sheet: SpeedSheet, known: Known, before: float | None = None) -> dict[str, Any]:
    """Return a sheet as plain data.

    Parameters
    ----------
    sheet, known
        What the belief says, and what it comes from.
    before
        Probability that the cut as it is stays quiet, beside a what-if.
    """
    asked, found = sheet.question, sheet.found
    doubtful = len(known.belief.doubtful_cuts)
    return {
        "schema": "shopmon.speed-sheet/1",
        "learned": known.learned,
        "doubtful": doubtful,
        "bounds_rpm": list(asked.bounds_rpm),
        "present_rpm": asked.present_rpm,
        "ap_mm": asked.ap_mm,
        "frequency_hz": [round(hz, 1) for hz in sheet.frequency_hz],
        "map": {
            "rpm": found.rpm.round(1).tolist(),
            "ap_mm": found.ap_mm.round(4).tolist(),
            "probability_quiet": found.probability.round(3).tolist(),
            "band_mm": sheet.band_mm.round(4).tolist(),
        },
        "cards": {card.aim: _plain(card) for card in sheet.cards},
        "surest": _plain(sheet.surest) if sheet.surest else None,
        "now": _plain(sheet.now) if sheet.now else None,
        "before": None if before is None else round(before, 2),
        "trial": _plain(sheet.trial),
        "trials": [_trial_as_data(trial) for trial in known.trials],
    }


def _trial_as_data(trial) -> dict[str, Any]:
    names = ("cut_id", "place", "started_at", "rpm", "ap_mm", "ae_mm", "milling", "verdict", "chatter_hz",
             "said_by", "why_not")  # fmt: skip
    return {**{name: getattr(trial, name) for name in names}, "counts": trial.learned is not None}


def _plain(card) -> dict[str, Any]:
    return {name: getattr(card, name) for name in card.__dataclass_fields__}

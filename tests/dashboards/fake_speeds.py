"""A stand-in for the desk of speeds: invented lobes, no learning; the test says what is known and thought."""

import numpy as np

from shopmon.errors import SettingError
from shopmon.service.context import checked_context

EVENT = "00000000-0000-0000-0000-00000000e001"
CUT = "00000000-0000-0000-0000-000000000002"
CAUTION = "Feed first, then speed (common practice, no source)."


def card(aim: str, rpm: float, ap_mm: float, quiet: float, override: float | None = None) -> dict:
    """One card; all of it invented."""
    return {
        "aim": aim, "rpm": rpm, "command_rpm": round(rpm * 1.017, 1), "ap_mm": ap_mm,
        "override_percent": override, "feed_factor": round(rpm / 11_800, 3),
        "feed_mm_min": round(1800 * rpm / 11_800, 1), "cutting_speed_m_per_min": round(rpm * 0.0314, 1),
        "lobe": 2, "probability_quiet": quiet, "reason": f"Invented for {aim}.", "caution": CAUTION,
    }  # fmt: skip


def trial(number: int, verdict: str, rpm: float, ap_mm: float | None, **more) -> dict:
    """One past cut."""
    return {
        "cut_id": f"00000000-0000-0000-0000-{number:012d}", "place": 0, "started_at": None, "rpm": rpm,
        "ap_mm": ap_mm, "ae_mm": 2.5, "milling": "climb", "verdict": verdict,
        "chatter_hz": 1432.6 if verdict == "chatter" else None, "said_by": "monitor", "why_not": "",
        "counts": verdict != "uncertain", **more,
    }  # fmt: skip


TRIALS = [
    trial(1, "quiet", 9000.0, 1.0),
    trial(2, "chatter", 11_800.0, 2.0),
    trial(3, "uncertain", 13_000.0, 1.4, why_not="the monitor was not sure"),
    trial(4, "chatter", 10_400.0, None),
    trial(5, "quiet", 14_200.0, 1.6, said_by="person"),
]


WALL = {
    "height_mm": 12.0, "rpm": 17_100.0, "feed_marks_um": 0.08, "feed_marks_one_tooth_um": 0.72,
    "plans": [
        {"passes": 1, "ap_mm": 12.0, "left_um": 41.2, "taper_um": 22.0, "step_um": 0.0, "peak_n": 120.0,
         "probability_quiet": 0.31},
        {"passes": 2, "ap_mm": 6.0, "left_um": 18.4, "taper_um": 6.1, "step_um": 5.2, "peak_n": 61.0,
         "probability_quiet": 0.88},
    ],
}  # fmt: skip


class FakeSpeeds:
    """The methods of `SpeedsDesk` over invented data.

    Attributes
    ----------
    status, asks
        What the sheet says of itself.
    """

    def __init__(self, context, state):
        self._context, self._state = context, state
        self.status = "ready"
        self.asks: list[dict] = []
        self.event_status = "ready"
        self.trials = list(TRIALS)
        self.answers: list[dict] = []
        self.asked: list[dict] = []

    def sheet(self, what_if=None) -> dict:
        now = self._context()
        changes = {n: v for n, v in (checked_context(what_if) if what_if else {}).items() if v != now.get(n)}
        self.asked.append(changes)
        context = {**now, **changes}
        waits = self.status in ("thinking", "asks")
        return {
            "status": self.status, "what_if": changes, "context": context, "asks": self.asks, "error": None,
            "result": None if waits else self._result(context, bool(changes)),
        }  # fmt: skip

    def _result(self, context: dict, changed: bool) -> dict:
        rpm, depths = np.linspace(5900, 17_700, 40), np.geomspace(0.05, 20, 60)
        limit = 0.7 + 2.4 * np.abs(np.sin(np.pi * 60 * 1432.6 / (3 * rpm))) ** 4 * (rpm / 17_700) ** 2
        quiet = 1 / (1 + (depths / limit[:, None]) ** 6)
        return {
            "schema": "shopmon.speed-sheet/1", "learned": 4, "doubtful": 0, "bounds_rpm": [5900, 17_700],
            "present_rpm": 11_800.0, "ap_mm": context.get("ap_mm"), "frequency_hz": [1380.0, 1410.0, 1460.0],
            "map": {
                "rpm": rpm.tolist(), "ap_mm": depths.tolist(), "probability_quiet": quiet.tolist(),
                "band_mm": [(0.75 * limit).tolist(), limit.tolist(), (1.4 * limit).tolist()],
            },
            "cards": {
                "most-metal": card("most-metal", 14_160.0, 1.579, 0.91, 120.0),
                "surest": card("surest", 14_160.0, 0.8, 0.98, 120.0),
                "finish": card("finish", 17_100.0, 0.6, 0.9),
                "same-depth": card("same-depth", 14_160.0, 2.0, 0.62, 120.0),
            },
            "surest": None, "now": card("now", 11_800.0, 2.0, 0.21), "before": 0.35 if changed else None,
            "trial": card("trial", 14_700.0, 2.6, 0.55), "trials": self.trials, "wall": WALL,
        }  # fmt: skip

    def event(self, event_id: str) -> dict | None:
        if event_id != EVENT:
            return None
        ringing = self._state()["chatter"]
        waits = self.event_status == "thinking"
        speed = {
            "action": "speed", "rpm": 14_326.0, "command_rpm": 14_570.0, "override_percent": 120.0,
            "feed_factor": 1.2, "lobe": 2, "probability_quiet": 0.55, "reason": "Two waves fit there.",
            "caution": "Never above the speed marked on tool, holder or machine.",
        }  # fmt: skip
        less = {
            **speed, "action": "less-depth", "rpm": None, "command_rpm": None, "override_percent": None,
            "reason": "Less depth quietens any speed.", "caution": "",
        }  # fmt: skip
        return {
            "event": {
                "id": EVENT, "open": bool(ringing), "cut_id": CUT, "t": None,
                "frequency_hz": 1432.6, "rpm": 11_800.0, "severity": "clear", "context": self._context(),
            },
            "advice": None if waits else [speed, less],
            "learned": None
            if waits
            else {"cards": [card("same-depth", 13_570.0, 1.5, 0.7, 115.0)], "learned": 4},
            "answers": list(self.answers), "status": self.event_status, "error": None,
        }  # fmt: skip

    def tried(self, event_id: str, answer: str, advised: dict) -> dict:
        if answer not in ("better", "same", "worse"):
            raise SettingError(f"The answer cannot be {answer!r}.", "Use one of: better, same, worse.")
        self.answers.append({**advised, "id": f"a{len(self.answers)}", "answer": answer})
        return self.answers[-1]

    def take_back(self, event_id: str, answer_id: str) -> None:
        if all(answer["id"] != answer_id for answer in self.answers):
            raise SettingError("There is no such answer to take back.", "Open the page again.")
        self.answers = [answer for answer in self.answers if answer["id"] != answer_id]

    def close(self) -> None:
        pass

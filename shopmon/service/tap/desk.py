"""The guided tap test: taken from the running source, answered hit by hit, kept for the tool assembly.

Blocks come from the engine's thread and are only queued there; judging them is done on a thread of the test.
"""

import queue
import threading
import time
from collections.abc import Callable, Mapping
from typing import Any

from shopmon.capture.source import SourceFormat
from shopmon.errors import SettingError
from shopmon.service.block_queue import block_queue, offer
from shopmon.service.tap.judging import CAUTIONS, TapSettings
from shopmon.service.tap.prior import assembly_key, assembly_values, measured
from shopmon.service.tap.session import TapChannels, TapSession
from shopmon.signals.block import Block, sound_columns

GRAVITY = 9.80665
UNITS = {"m/s2": 1.0, "g": GRAVITY}
TURNS = ("spinning", "air-cut", "cutting", "chatter")
LONGEST_S = 900.0
OFF = {"status": "off", "good": 0, "wanted": 5, "said": "", "hits": [], "error": None}


class TapDesk:
    """Runs one tap test at a time.

    Parameters
    ----------
    rows
        Keeps tests.
    context
        Tells what is in the spindle.
    live
        Tells the state now, as in ``GET /api/state``.
    source
        Tells what the running source delivers; None while nothing comes.
    set_context
        Takes over a change of context.
    news
        Hears that something is known of the tool in a context.
    calibration
        Tells what full scale means, as ``shopmon.calibration/1``; None where nobody calibrated it.
    """

    def __init__(
        self,
        rows,
        context: Callable[[], dict],
        live: Callable[[], dict],
        source: Callable[[], SourceFormat | None],
        set_context: Callable[[Mapping[str, Any], str], Any],
        news: Callable[[dict], None],
        calibration: Callable[[], dict | None] = lambda: None,
    ):
        self._rows, self._context, self._live, self._source = rows, context, live, source
        self._set_context, self._news, self._calibration = set_context, news, calibration
        self._lock = threading.Lock()
        self._session: TapSession | None = None
        self._queue: queue.Queue[Block] = block_queue()
        self._told_of: dict[str, Any] = {}
        self._kept: str | None = None

    # the engine's thread

    def take(self, block: Block) -> None:
        """Queue a block while a test runs; a full queue drops it, which the test sees as a gap."""
        if self._session is not None and self._session.status not in ("done", "failed"):
            offer(self._queue, block)

    # the pages

    def state(self) -> dict[str, Any]:
        """Return where the test stands, with its result once there is one."""
        with self._lock:
            session = self._session
        if session is None:
            return {**OFF, "result": None, "curves": None, "kept": None}
        return {
            **session.as_dict(),
            "result": session.result,
            "curves": session.curves,
            "kept": self._kept,
            "context": self._told_of,
        }

    def channels(self) -> list[dict[str, Any]]:
        """Return what the running source delivers, channel by channel."""
        form = self._source()
        if form is None:
            return []
        return [
            {"number": number, "kind": channel.kind, "full_scale_g": self._full_scale_g(number)}
            for number, channel in enumerate(
                (form.channels[each] for each in sound_columns(form.channels)), 1
            )
        ]

    def _full_scale_g(self, number: int) -> float | None:
        known = (self._calibration() or {}).get("channels", [])
        found = next((each for each in known if each["channel"] == number and each["unit"] == "g"), None)
        return found["per_full_scale"] if found else None

    def start(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """Begin a test; the one before is given up.

        Parameters
        ----------
        asked
            ``safe`` (the cautions were followed), ``axis``, ``hits``, ``record_s``, ``lowest_hz``,
            ``highest_hz``, ``response`` and ``force`` (channels, from 1), ``response_full_scale`` with
            ``response_unit`` (needless where the sensor is calibrated), ``force_full_scale`` (N).

        Raises
        ------
        SettingError
            The cautions were not followed, the spindle is heard to turn, or a value cannot be.
        """
        if asked.get("safe") is not True:
            raise SettingError(
                "Say first that the spindle is stopped and disabled.", "Press the emergency stop, then begin."
            )
        now = self._live()
        if now.get("state") in TURNS and not now.get("unsure"):
            raise SettingError(
                "The monitor hears the spindle turn.", "Stop it, press the emergency stop, then begin."
            )
        if self._source() is None:
            raise SettingError("No input: nothing would be heard.", "Plug the sensor in, then begin.")
        if not asked.get("response_full_scale"):
            known_g = self._full_scale_g(int(_number(asked, "response", 1)))
            asked = {**asked, "response_full_scale": known_g, "response_unit": "g"}
        session = TapSession(_settings(asked), _channels(asked), int(_number(asked, "hits", 5)))
        self.stop()
        with self._lock:
            self._queue = block_queue()
            self._told_of, self._kept, self._session = assembly_values(self._context()), None, session
            threading.Thread(
                target=self._work, args=(session, self._queue), name="tap-test", daemon=True
            ).start()
        return self.state()

    def finish(self) -> dict[str, Any]:
        """Judge the good hits there are."""
        with self._lock:
            session = self._session
        if session is None:
            raise SettingError("No tap test is running.", "Begin one.")
        session.finish()
        return self.state()

    def stop(self) -> dict[str, Any]:
        """Give the test up; nothing is kept."""
        with self._lock:
            self._session = None
        return self.state()

    def keep(self, note: str = "") -> dict[str, Any]:
        """Keep the result for the tool assembly that was in the spindle when the test began."""
        with self._lock:
            session = self._session
        if session is None or session.result is None:
            raise SettingError("There is no result to keep.", "Finish the test first.")
        if self._kept is None:
            result = session.result
            self._kept = self._rows.add_tap_test(
                {
                    "key": assembly_key(self._told_of),
                    "context": {name: value for name, value in self._told_of.items() if value is not None},
                    "axis": result["axis"],
                    "with_force": result["with_force"],
                    "result": result,
                    "curves": session.curves,
                    "note": str(note)[:1000],
                }
            )
            self._follow(self._told_of, result["with_force"])
        return self.state()

    # what is kept

    def tests(self, here: bool = False, limit: int = 100) -> list[dict[str, Any]]:
        """Return the tests that are kept, newest first; `here` only of the tool in the spindle."""
        return self._rows.tap_tests(assembly_key(self._context()) if here else None, limit)

    def in_use(self) -> dict[str, dict]:
        """Return the test of each axis that the advice for the tool in the spindle begins from."""
        return measured(self._rows, self._context())

    def set_used(self, test_id: str, used: bool) -> None:
        """Let a test count, or no longer.

        Raises
        ------
        SettingError
            There is no such test.
        """
        row = next((row for row in self._rows.tap_tests(limit=1000) if row["id"] == test_id), None)
        if row is None:
            raise SettingError("There is no such tap test.", "Open the page again.")
        self._rows.set_used("tap_tests", test_id, used)
        self._follow(row["context"], row["with_force"])

    def _follow(self, context: Mapping[str, Any], with_force: bool) -> None:
        """Let the advice begin from what was measured, in place of modes that were typed.

        A test without a force knows less than they do, and leaves them.
        """
        now = self._context()
        if assembly_key(now) != assembly_key(context):
            return
        if with_force and now.get("measured_modes"):
            self._set_context({"measured_modes": None}, "touched")
        self._news({name: value for name, value in self._context().items() if value is not None})

    def _work(self, session: TapSession, blocks: queue.Queue) -> None:
        ends = time.monotonic() + LONGEST_S
        while self._session is session and session.status not in ("done", "failed"):
            if time.monotonic() > ends:
                self.stop()
                return
            try:
                block = blocks.get(timeout=0.5)
            except queue.Empty:
                continue
            session.take(block)


def cautions() -> tuple[str, ...]:
    """Return what must be read before the first hit."""
    return CAUTIONS


def _settings(asked: Mapping[str, Any]) -> TapSettings:
    return TapSettings(
        lowest_hz=_number(asked, "lowest_hz", 300.0),
        highest_hz=_number(asked, "highest_hz", 5000.0),
        record_s=_number(asked, "record_s", 0.5),
        axis=asked.get("axis") or "x",
    )


def _channels(asked: Mapping[str, Any]) -> TapChannels:
    force = asked.get("force")
    response = int(_number(asked, "response", 1)) - 1
    if force in (None, ""):
        return TapChannels(response=response)
    unit = asked.get("response_unit") or "m/s2"
    if unit not in UNITS:
        raise SettingError(f"{unit!r} is no unit of acceleration here.", f"Use one of: {', '.join(UNITS)}.")
    if not (asked.get("force_full_scale") and asked.get("response_full_scale")):
        raise SettingError(
            "Without what full scale means there are no newtons and no stiffness.",
            "Type both sensors' full scale, or choose no hammer with a force sensor.",
        )
    return TapChannels(
        response=response,
        force=int(_number(asked, "force", 1)) - 1,
        response_full_scale=_number(asked, "response_full_scale", 1.0) * UNITS[unit],
        force_full_scale=_number(asked, "force_full_scale", 1.0),
    )


def _number(asked: Mapping[str, Any], name: str, usual: float) -> float:
    value = asked.get(name)
    if value in (None, ""):
        return float(usual)
    try:
        if isinstance(value, bool):
            raise TypeError
        return float(value)
    except (TypeError, ValueError):
        raise SettingError(f"{name} cannot be {str(value)[:40]!r}.", "Type a number.") from None

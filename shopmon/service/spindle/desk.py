"""The guided spindle check: speed by speed from the running source, kept, compared with those before."""

import queue
import threading
import time
from collections.abc import Callable, Mapping
from math import isfinite
from typing import Any

from shopmon.capture.source import SourceFormat
from shopmon.errors import SettingError
from shopmon.service.block_queue import block_queue, offer
from shopmon.service.settings import Machine
from shopmon.service.spindle.balance import TrialWeight, balance_of
from shopmon.service.spindle.one_run import CAUTIONS, tones_from_text
from shopmon.service.spindle.session import CheckPlan, SpindleSession
from shopmon.service.spindle.trend import trends
from shopmon.signals.block import Block, sound_columns

WEEK_S, DAY_S = 6.5 * 86_400.0, 86_400.0
QUIET_S = 5.0  # a sensor that gives nothing for so long is away
LIMITS, BEARING = "spindle limits", "spindle bearing"
OFF = {
    "status": "off",
    "said": "",
    "steps": [],
    "run_up": False,
    "next_rpm": None,
    "left_s": None,
    "error": None,
}


class SpindleDesk:
    """Runs one check at a time.

    Parameters
    ----------
    rows
        Keeps checks and values.
    machine
        Its name and its highest speed.
    source
        Tells what the running source delivers; None while nothing comes.
    calibration
        Tells what full scale means, as ``shopmon.calibration/1`` with its time ``t``; None where nobody
        calibrated it.
    """

    def __init__(
        self,
        rows,
        machine: Machine,
        source: Callable[[], SourceFormat | None],
        calibration: Callable[[], dict | None],
        clock: Callable[[], float] = time.time,
    ):
        self._rows, self._machine, self._source = rows, machine, source
        self._calibration, self._clock = calibration, clock
        self._lock = threading.Lock()
        self._session: SpindleSession | None = None
        self._queue: queue.Queue[Block] = block_queue()
        self._facts: dict[str, Any] = {}

    # the engine's thread

    def take(self, block: Block) -> None:
        """Queue a block while a run is recorded; a full queue drops it, which the run sees as a gap."""
        session = self._session
        if session is not None and session.status == "recording":
            offer(self._queue, block)

    # the pages

    def state(self) -> dict[str, Any]:
        """Return where the check stands."""
        with self._lock:
            session = self._session
        if session is None:
            return {**OFF, "wants_run_up": False, "plan": [], "used_s": 0.0}
        error = session.error
        return {
            "status": session.status,
            "said": session.said,
            "steps": [step["stated_rpm"] for step in session.steps],
            "run_up": session.run_up is not None,
            "wants_run_up": session.wants_run_up,
            "next_rpm": session.next_rpm,
            "plan": list(session.plan.speeds_rpm),
            "left_s": session.left_s(),
            "used_s": session.used_s,
            "error": {"text": error.text, "hint": error.hint} if error else None,
        }

    def start(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """Begin a check; the one before is given up.

        Parameters
        ----------
        asked
            ``safe`` (the cautions were followed), ``speeds`` (text or list, rpm), ``run_up`` (bool),
            ``temperature_c``, ``running_min``, ``warmed_up``, ``bearing``, ``channel`` (from 1), ``again``
            (less than a week after the last).

        Raises
        ------
        SettingError
            The cautions were not followed, it is too early, or a value cannot be.
        """
        if asked.get("safe") is not True:
            raise SettingError(
                "Say first that no cutter is in the spindle and the guards are shut.", "Then begin."
            )
        if (
            (last := self.days_since_last()) is not None
            and last < WEEK_S / DAY_S
            and asked.get("again") is not True
        ):
            raise SettingError(
                f"The last check was {last:.0f} days ago: once a week is enough.",
                "Say that you want it all the same, if something happened.",
            )
        form = self._source()
        if form is None:
            raise SettingError("No input: nothing would be heard.", "Plug the sensor in, then begin.")
        plan, column = self._plan(asked, form)
        self.stop()
        with self._lock:
            self._facts = {
                "machine": self._machine.name,
                "sensor": {"source": form.source_id, "channel": column + 1, "unit": plan.unit},
                "temperature_c": _number(asked, "temperature_c", -20.0, 80.0),
                "running_min": _number(asked, "running_min", 0.0, 10_000.0),
                "warmed_up": asked.get("warmed_up") is True,
            }
            self._session, self._queue = SpindleSession(plan), block_queue()
        if asked.get("bearing"):
            self._rows.set_value(BEARING, str(asked["bearing"]).strip(), "touched")
            self._rows.flush(filing=False)
        return self.state()

    def _plan(self, asked: Mapping[str, Any], form: SourceFormat) -> tuple[CheckPlan, int]:
        speeds = speeds_from(asked.get("speeds"))
        if speeds[-1] > self._machine.max_rpm:
            raise SettingError(
                f"{speeds[-1]:.0f} rpm is above the machine's {self._machine.max_rpm:.0f} rpm.",
                "Leave it out, or set max_rpm of the machine in the settings.",
            )
        column = int(_number(asked, "channel", 1, 64) or 1) - 1
        if column >= len(sound_columns(form.channels)):
            raise SettingError(f"There is no channel {column + 1}.", "Choose another.")
        meaning = next(
            (c for c in (self._calibration() or {}).get("channels", []) if c["channel"] == column + 1), None
        )
        scale = {"per_full_scale": meaning["per_full_scale"], "unit": meaning["unit"]} if meaning else {}
        if meaning:
            known = self._calibration() or {}
            scale["calibration"] = {"method": known.get("method"), "t": known.get("t")}
        text = str(asked.get("bearing") or "").strip()
        wants = asked.get("run_up") is True and speeds[-1] >= 1.3 * speeds[0]
        plan = CheckPlan(
            speeds_rpm=speeds,
            run_up_rpm=(speeds[0], speeds[-1]) if wants else None,
            channel=column,
            tones=tones_from_text(text) if text else None,
            **scale,
        )
        return plan, column

    def begin_run(self) -> dict[str, Any]:
        """Record the next run: the spindle turns as it was asked."""
        session = self._running()
        with self._lock:
            self._queue = block_queue()
            session.begin()
            work = threading.Thread(
                target=self._work, args=(session, self._queue), name="spindle-check", daemon=True
            )
        work.start()
        return self.state()

    def end_run(self) -> dict[str, Any]:
        """End the run-up: the highest speed is reached."""
        self._running().end()
        return self.state()

    def finish(self, note: str = "") -> dict[str, Any]:
        """Keep the check as far as it got; return it with its id.

        Raises
        ------
        SettingError
            No check is running, or a run is being recorded.
        """
        session = self._running()
        if session.status in ("recording", "judging"):
            raise SettingError("A run is being recorded.", "Wait until it is over.")
        result = session.result()
        row_id = self._rows.add_spindle_check({**self._facts, "result": result, "note": str(note)[:1000]})
        self.stop()
        return {"id": row_id, "result": result}

    def stop(self) -> dict[str, Any]:
        """Give the check up; nothing is kept."""
        with self._lock:
            self._session, self._queue = None, block_queue()
        return self.state()

    def _running(self) -> SpindleSession:
        with self._lock:
            if self._session is None:
                raise SettingError("No check is running.", "Begin one.")
            return self._session

    def _work(self, session: SpindleSession, blocks: queue.Queue) -> None:
        # the queue is looked at last: what is left of this run must not get into the next one
        while session.status == "recording" and self._queue is blocks:
            try:
                session.take(blocks.get(timeout=QUIET_S))
            except queue.Empty:
                session.lost()

    # what is kept

    def checks(self, limit: int = 200) -> list[dict[str, Any]]:
        """Return the checks of this machine, newest first."""
        return self._rows.spindle_checks(self._machine.name, limit)

    def trends(self) -> list[dict[str, Any]]:
        """Return the newest check beside those before it."""
        return trends(self.checks(), self.limits())

    def phased(self) -> list[dict[str, Any]]:
        """Return the kept steady runs that have a phase, newest first: ``run``, ``t``, ``rpm``, ``note``."""
        return [
            {"run": f"{row['id']}@{step['stated_rpm']:g}", "t": row["t"], "rpm": step["stated_rpm"],
             "note": row["note"]}
            for row in self.checks(100) for step in row["result"]["steps"] if step.get("once")
        ]  # fmt: skip

    def balance(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """Calculate the balance from kept runs; the run with the trial weight is set aside from the trend.

        Parameters
        ----------
        asked
            ``before``, ``with_trial``, ``after`` (runs as `phased` tells them, the last may be empty),
            ``mass_g``, ``radius_mm``, ``angle_deg`` of the trial weight, ``turning_kg``.

        Raises
        ------
        SettingError, RecordingError
            A value that cannot be, runs that do not belong together, or a weight that changed nothing.
        """
        before, with_trial, after = (
            self._run(asked.get(name), name) for name in ("before", "with_trial", "after")
        )
        if before is None or with_trial is None:
            raise SettingError(
                "Two runs are needed: without and with the trial weight.",
                "Choose both. Each is a check at one speed, with a tachometer.",
            )
        if len({row["id"] for row, _ in (before, with_trial)}) < 2:
            raise SettingError("Both are the same run.", "Choose the check with the trial weight.")
        rows = [each for each in (before, with_trial, after) if each]
        if any(row["sensor"] != before[0]["sensor"] for row, _ in rows):
            raise SettingError("The runs were made by different sensors.", "Take one for all of them.")
        mass, radius = (_number(asked, name, 1e-4, 1000.0) for name in ("mass_g", "radius_mm"))
        if mass is None or radius is None:
            raise SettingError("The trial weight's mass or radius is missing.", "Weigh it, and measure.")
        trial = TrialWeight(
            mass_g=mass, radius_mm=radius, angle_deg=_number(asked, "angle_deg", -360.0, 360.0) or 0.0
        )
        result = balance_of(
            before[1], with_trial[1], trial, after=after[1] if after else None,
            mass_kg=_number(asked, "turning_kg", 1e-3, 10_000.0),
        )  # fmt: skip
        self._rows.set_used("spindle_checks", with_trial[0]["id"], False)
        return result

    def _run(self, named: Any, what: str) -> tuple[dict, dict] | None:
        """Find a run by its check's id and its speed."""
        if named in (None, ""):
            return None
        check_id, _, rpm = str(named).rpartition("@")
        for row in self.checks(1000):
            for step in row["result"]["steps"]:
                if row["id"] == check_id and f"{step['stated_rpm']:g}" == rpm:
                    return row, step
        raise SettingError(f"There is no run {str(named)[:60]!r} ({what}).", "Open the page again.")

    def days_since_last(self) -> float | None:
        """Return how many days ago the newest check was; None without one, or without a clock."""
        newest = next((row for row in self.checks(5) if row["used"]), None)
        if newest is None or newest["t"] is None:
            return None
        return max(0.0, (self._clock() - newest["t"]) / DAY_S)

    def set_used(self, check_id: str, used: bool) -> None:
        """Let a check count, or no longer.

        Raises
        ------
        SettingError
            There is no such check.
        """
        if all(row["id"] != check_id for row in self.checks(1000)):
            raise SettingError("There is no such check.", "Open the page again.")
        self._rows.set_used("spindle_checks", check_id, used)

    def limits(self) -> dict[str, float]:
        """Return the person's own limits: ``velocity`` in mm/s, ``acceleration`` in g."""
        return self._rows.value(LIMITS) or {}

    def set_limits(self, asked: Mapping[str, Any]) -> dict[str, float]:
        """Keep limits; an empty one takes it away."""
        found = {name: _number(asked, name, 1e-4, 1e4) for name in ("velocity", "acceleration")}
        self._rows.set_value(LIMITS, {name: each for name, each in found.items() if each}, "touched")
        self._rows.flush(filing=False)
        return self.limits()

    def bearing(self) -> str:
        """Return the bearing as it was typed last."""
        return self._rows.value(BEARING) or ""

    def source_format(self) -> SourceFormat | None:
        """Return what the running source delivers; None while nothing comes."""
        return self._source()

    def machine(self) -> Machine:
        """Return the machine's limits."""
        return self._machine


def dated_calibration(sensors) -> dict[str, Any] | None:
    """Return the calibration that holds now with its time ``t``; None where nothing is calibrated.

    Parameters
    ----------
    sensors
        A `SensorsDesk`.
    """
    found = sensors.calibration()
    if found is None:
        return None
    made = next((row for row in sensors.history() if row["channels"] == found["channels"]), {})
    return {**found, "t": made.get("t")}


def cautions() -> tuple[str, ...]:
    """Return what must be read before the spindle is started."""
    return CAUTIONS


def speeds_from(given: Any) -> tuple[float, ...]:
    """Return steady speeds in rpm, rising, from a list or a text.

    Raises
    ------
    SettingError
        They are no numbers, or none was given.
    """
    words = str(given or "").replace(",", " ").split() if not isinstance(given, list) else given
    try:
        speeds = sorted({float(word) for word in words})
    except (TypeError, ValueError):
        raise SettingError(
            "The speeds are no numbers.", "Write them in rpm, such as 3000 6000 12000."
        ) from None
    if not speeds or not all(isfinite(speed) for speed in speeds):
        raise SettingError("No speed was given.", "Write them in rpm, such as 3000 6000 12000.")
    return tuple(speeds)


def _number(asked: Mapping[str, Any], name: str, least: float, most: float) -> float | None:
    value = asked.get(name)
    if value in (None, ""):
        return None
    try:
        number = float("nan") if isinstance(value, bool) else float(value)
    except (TypeError, ValueError):
        number = float("nan")
    if not least <= number <= most:
        raise SettingError(
            f"{name} cannot be {str(value)[:40]!r}.", f"Give a number from {least:g} to {most:g}."
        )
    return number

"""A guided check of the idle spindle as it happens: steady runs at chosen speeds, then a slow run-up."""

from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np

from shopmon.errors import RecordingError, SettingError, ShopmonError
from shopmon.service.measured_signal import MeasuredSignal
from shopmon.service.spindle.one_run import CAUTIONS, balance_unknown, check_spindle
from shopmon.service.spindle.tach import track_of
from shopmon.signals.block import Block
from shopmon.signals.levels import full_scale_runs
from shopmon.signals.sensors.tachometer import edge_places
from shopmon.signals.spindle.bearing_tones import BearingTones
from shopmon.signals.spindle.resonances import find_resonances, speeds_to_avoid
from shopmon.signals.spindle.run_up import RunUp, follow_speed, run_up

SCHEMA = "shopmon.spindle-check/1"
SETTLE_S, STEADY_S = 2.0, 8.0
LONGEST_RUN_UP_S, LONGEST_S = 120.0, 300.0
MOST_STEPS = 8
FLUTES = (2, 3, 4)
MAP_FLOOR_DB = 50.0


@dataclass(frozen=True, kw_only=True)
class CheckPlan:
    """What is to be run.

    Attributes
    ----------
    speeds_rpm
        Of the steady runs, rising.
    run_up_rpm
        Lowest and highest speed of the run-up; None without one.
    channel
        Column of the sensor among those that are heard, from 0.
    per_full_scale, unit
        What full scale means; 1 and ``FS`` where the sensor is not calibrated.
    tones
        Of the bearing, as far as known.
    flutes
        For which tools speeds are named that meet a resonance.
    calibration
        How the sensor was calibrated (``method``) and when (``t``); None where it was not.
    """

    speeds_rpm: tuple[float, ...]
    run_up_rpm: tuple[float, float] | None = None
    channel: int = 0
    per_full_scale: float = 1.0
    unit: str = "FS"
    tones: BearingTones | None = None
    flutes: tuple[int, ...] = FLUTES
    calibration: dict[str, Any] | None = None

    def __post_init__(self):
        speeds = self.speeds_rpm
        good = speeds and all(60 <= rpm <= 200_000 for rpm in speeds) and list(speeds) == sorted(set(speeds))
        if not good or len(speeds) > MOST_STEPS:
            raise SettingError(
                f"Give 1 to {MOST_STEPS} speeds that rise, in rpm.", "Such as 3000, 6000, 12000."
            )
        if self.run_up_rpm and not 60 <= self.run_up_rpm[0] * 1.3 <= self.run_up_rpm[1] <= 200_000:
            raise SettingError("A run-up goes at least 1.3 times as high as it began.", "Check both speeds.")


class SpindleSession:
    """Takes blocks while one run is recorded, and judges it.

    Parameters
    ----------
    plan
        What is to be run.
    """

    def __init__(self, plan: CheckPlan):
        self.plan = plan
        self.status = "ready"
        self.said = self._asked_next([])
        self.steps: list[dict[str, Any]] = []
        self.run_up: dict[str, Any] | None = None
        self.error: ShopmonError | None = None
        self.used_s = 0.0
        self.format: dict[str, Any] = {}
        self._kind = "steady"
        self._parts: list[np.ndarray] = []
        self._pulses: list[np.ndarray] = []  # of a tachometer, where there is one
        self._taken = 0
        self._next: tuple[str, int] | None = None
        self._rate = 0.0
        self._ending = False

    @property
    def next_rpm(self) -> float | None:
        """The speed of the next steady run; None once all are done."""
        done = len(self.steps)
        return self.plan.speeds_rpm[done] if done < len(self.plan.speeds_rpm) else None

    @property
    def wants_run_up(self) -> bool:
        """Whether the run-up is still to come."""
        return self.next_rpm is None and self.plan.run_up_rpm is not None and self.run_up is None

    def _asked_next(self, done: list) -> str:
        if len(done) < len(self.plan.speeds_rpm):
            return f"Set {self.plan.speeds_rpm[len(done)]:.0f} rpm, no cut, and touch when it turns."
        return ""

    def begin(self) -> None:
        """Begin the next run: the spindle turns at the speed that was asked.

        Raises
        ------
        SettingError
            A run is going on, nothing is left to run, or five minutes are used up.
        """
        if self.status not in ("ready", "failed"):
            raise SettingError("A run is being recorded.", "Wait until it is over.")
        if self.next_rpm is None and not self.wants_run_up:
            raise SettingError("Every run of this check is done.", "Finish the check.")
        if self.used_s >= LONGEST_S:
            raise SettingError("This check has used its five minutes.", "Finish it; the next one in a week.")
        self._kind = "run-up" if self.wants_run_up else "steady"
        self.error, self._parts, self._next, self._ending = None, [], None, False
        self._pulses, self._taken = [], 0
        steady = self._kind == "steady"
        self.said = "Hold it there." if steady else "Now raise the speed slowly, about a minute."
        self.status = "recording"  # last: blocks come from another thread

    def end(self) -> None:
        """End the run with the next block: the highest speed is reached. Callable from any thread."""
        self._ending = True

    def lost(self) -> None:
        """Hear that nothing comes any more: the run is to be done again, those before it stay."""
        if self.status == "recording":
            self._fail(
                RecordingError("Nothing comes from the sensor any more.", "Plug it in, then run it again.")
            )

    def left_s(self) -> float | None:
        """Return how long the run still takes at most; None while none is recorded."""
        if self.status != "recording":
            return None
        whole = SETTLE_S + STEADY_S if self._kind == "steady" else LONGEST_RUN_UP_S
        return max(0.0, whole - self._recorded_s())

    def take(self, block: Block) -> None:
        """Take a block while a run is recorded."""
        if self.status != "recording":
            return
        if self.plan.channel >= len(block.sound_columns):
            self._fail(SettingError(f"There is no channel {self.plan.channel + 1}.", "Choose another."))
            return
        if self._next is not None and self._next != (block.stream_id, block.first_sample):
            self._fail(RecordingError("Samples were lost in this run.", "Run it again."))
            return
        self._next, self._rate = (block.stream_id, block.end_sample), block.sample_rate_hz
        self.format = {"source": block.source_id, "sample_rate_hz": block.sample_rate_hz}
        if block.tach_codes is not None:
            self._pulses.append(edge_places(block.tach_codes, self._taken))
        self._taken += block.frames
        self._parts.append(block.samples()[:, self.plan.channel])
        self.used_s += block.frames / block.sample_rate_hz
        if self._ending or self.left_s() == 0.0:
            self._judge()

    def _recorded_s(self) -> float:
        return sum(part.size for part in self._parts) / self._rate if self._rate else 0.0

    def _fail(self, error: ShopmonError) -> None:
        self.status, self.error, self.said = "failed", error, f"{error.text} {error.hint}"

    def _judge(self) -> None:
        self.status = "judging"
        try:
            if not self._parts:
                raise RecordingError("Nothing was recorded.", "Look at the sensor, then run it again.")
            samples = np.concatenate(self._parts)
            clipped = full_scale_runs(samples) / samples.size
            signal = MeasuredSignal(
                samples.astype(float) * self.plan.per_full_scale, self._rate, self.plan.unit, clipped
            )
            if self._kind == "steady":
                self._judge_steady(signal)
            else:
                signal = replace(signal, pulses=np.concatenate(self._pulses) if self._pulses else None)
                self.run_up = run_up_result(signal, *self.plan.run_up_rpm, self.plan.flutes)
        except ShopmonError as exc:
            self._fail(exc)
            return
        self.status, self._parts = "ready", []
        if self.next_rpm is not None:
            self.said = self._asked_next(self.steps)
        elif self.wants_run_up:
            low, high = self.plan.run_up_rpm
            self.said = (
                f"Set {low:.0f} rpm; touch, then raise it slowly to {high:.0f} rpm, and touch when there."
            )
        else:
            self.said = "Stop the spindle. The check is done."

    def _judge_steady(self, signal: MeasuredSignal) -> None:
        begin = int(SETTLE_S * signal.sample_rate_hz)
        pulses = np.concatenate(self._pulses) if self._pulses else None
        steady = MeasuredSignal(
            signal.samples[begin:],
            signal.sample_rate_hz,
            signal.unit,
            signal.clipped_fraction,
            None if pulses is None else pulses[pulses >= begin] - begin,
        )
        step = check_spindle(steady, self.next_rpm, self.plan.tones)
        self.steps.append(
            {name: value for name, value in step.items() if name not in ("cautions", "balance")}
        )

    def result(self) -> dict[str, Any]:
        """Return the check so far, ``shopmon.spindle-check/1``.

        Raises
        ------
        RecordingError
            No run was recorded yet.
        """
        if not self.steps and self.run_up is None:
            raise RecordingError("No run was recorded yet.", "Run the first speed.")
        return {
            "schema": SCHEMA,
            "unit": self.plan.unit,
            "calibration": self.plan.calibration,
            "steps": self.steps,
            "run_up": self.run_up,
            "balance": balance_unknown([step["once"] for step in self.steps]),
            "used_s": round(self.used_s, 1),
            "cautions": list(CAUTIONS),
        }


def run_up_result(
    signal: MeasuredSignal, low_rpm: float, high_rpm: float, flutes: tuple[int, ...] = FLUTES
) -> dict[str, Any]:
    """Judge a run-up; return plain data: speeds, resonances, speeds to keep tooth passing from, and the map.

    Raises
    ------
    RecordingError, SettingError
        The speed cannot be followed, or cannot be.
    """
    track, notices = None, []
    if signal.pulses is not None:
        track, notices = track_of(
            signal.pulses, signal.samples.size, signal.sample_rate_hz, low_rpm, high_rpm
        )
    followed_by = "tachometer" if track else "sound"
    track = track or follow_speed(signal.samples, signal.sample_rate_hz, low_rpm, high_rpm)
    run = run_up(signal.samples, signal.sample_rate_hz, track)
    found = find_resonances(run)
    reached = 60 * float(track.rotation_hz.min()), 60 * float(track.rotation_hz.max())
    avoid = [each for count in flutes for each in speeds_to_avoid(found, count, *reached)]
    return {
        "stated_rpm": [low_rpm, high_rpm],
        "reached_rpm": [round(value, 1) for value in reached],
        "speed_from": followed_by,
        "notices": notices,
        "duration_s": round(signal.samples.size / signal.sample_rate_hz, 1),
        "resonances": [{**asdict(mode), "orders": list(mode.orders)} for mode in found],
        "avoid": [asdict(each) for each in avoid],
        "map": _map(run),
    }


def _map(run: RunUp) -> dict[str, Any]:
    """Return the map of speed and frequency, few bytes: whole dB below its highest."""
    level = np.maximum(run.map_db - run.map_db.max(), -MAP_FLOOR_DB)
    rows, columns = (max(1, size // most) for size, most in zip(level.shape, (60, 160), strict=True))
    level = level[: level.shape[0] // rows * rows, : level.shape[1] // columns * columns]
    small = level.reshape(level.shape[0] // rows, rows, -1, columns).max(axis=(1, 3))
    return {
        "rpm": [float(run.map_rpm[0]), float(run.map_rpm[-1])],
        "hz": [0.0, float(run.map_hz[level.shape[1] - 1])],
        "level_db": np.rint(small).astype(int).tolist(),
    }

"""From the listener's frames to steps of half a second: engaged, standing, and spindle speed by runs."""

from math import log
from statistics import median

from shopmon.listening.events import Frame, State
from shopmon.listening.following.model import STEP_S, Step

SURE_RPM = 0.5
NEW_RUN_LN = 0.02
CONFIRMED_BY = 2  # steps in a row


class StepMaker:
    """Gathers frames into steps.

    Parameters
    ----------
    sample_rate_hz
        Of the stream.
    first_sample
        Where the first step begins.
    """

    def __init__(self, sample_rate_hz: float, first_sample: int = 0):
        self._runs = RunMaker()
        self._samples = sample_rate_hz * STEP_S
        self._first = first_sample
        self._count = 0
        self._frames: list[Frame] = []

    @property
    def start_sample(self) -> int:
        """Where step 0 begins."""
        return self._first

    def take(self, frame: Frame) -> list[Step]:
        """Take a frame; return the steps that are complete now, several after a gap in the sound."""
        steps = []
        while frame.sample > self._first + (self._count + 1) * self._samples:
            steps.append(self._finish())
        self._frames.append(frame)
        return steps

    def _finish(self) -> Step:
        frames, self._frames = self._frames, []
        self._count += 1
        if not frames:
            return self._runs.step(0.0, None, None)
        engaged = sum(frame.engaged for frame in frames) / len(frames)
        silent = sum(frame.state == State.NO_INPUT for frame in frames)
        standing = sum(frame.state == State.STOPPED for frame in frames)
        doubtful = sum(frame.unsure for frame in frames)
        stopped = None if 2 * max(silent, doubtful) > len(frames) else 2 * standing > len(frames)
        heard = [frame.rpm for frame in frames if frame.rpm and frame.rpm_confidence >= SURE_RPM]
        return self._runs.step(engaged, stopped, median(heard) if 2 * len(heard) >= len(frames) else None)


class RunMaker:
    """Tells runs of the spindle apart: from a standstill, or from one speed to another."""

    def __init__(self):
        self._rpm: float | None = None
        self._other: list[float] = []

    def step(self, engaged: float, stopped: bool | None, rpm: float | None) -> Step:
        """Return the step with the speed of its run, and whether the run begins with it."""
        if stopped:
            self._rpm, self._other = None, []
            return Step(engaged, True, None, False)
        if rpm is None:
            return Step(engaged, stopped, self._rpm, False)
        if self._rpm is not None and abs(log(rpm / self._rpm)) <= NEW_RUN_LN:
            self._other = []
            return Step(engaged, stopped, self._rpm, False)
        # a speed must be heard twice: while the spindle ramps, or for a moment, it is anything
        alike = [other for other in self._other if abs(log(rpm / other)) <= NEW_RUN_LN]
        self._other = [*alike, rpm]
        if len(self._other) < CONFIRMED_BY:
            return Step(engaged, stopped, self._rpm, False)
        self._rpm, self._other = rpm, []
        return Step(engaged, stopped, rpm, True)

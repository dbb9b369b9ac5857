"""From the listener's frames to steps of half a second: engaged, standing, and spindle speed by runs."""

from collections import deque
from math import log
from statistics import median

from shopmon.listening.events import Frame, State
from shopmon.listening.following.model import STEP_S, Step

SURE_RPM = 0.5
NEW_RUN_LN = 0.02
CONFIRMED_BY = 2  # steps in a row
LATE_S = 2.0  # a tooth is heard to have left the metal up to a second afterwards
CUTS_KEPT = 4


class StepMaker:
    """Gathers frames into steps, late enough for the listener to have dated first and last contact.

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
        self._late = sample_rate_hz * LATE_S
        self._first = first_sample
        self._count = 0
        self._frames: deque[Frame] = deque()
        self._cuts: dict[int, tuple[tuple[int, int], ...]] = {}

    @property
    def start_sample(self) -> int:
        """Where step 0 begins."""
        return self._first

    def take(self, frame: Frame) -> list[Step]:
        """Take a frame; return the steps that are settled now, several after a gap in the sound."""
        self._frames.append(frame)
        if frame.cut:
            self._cuts[frame.cut.number] = frame.cut.engaged
            self._cuts.pop(frame.cut.number - CUTS_KEPT, None)
        steps = []
        while frame.sample > self._first + (self._count + 1) * self._samples + self._late:
            steps.append(self._finish())
        return steps

    def rest(self) -> list[Step]:
        """Return the steps that are left where the stream has ended."""
        steps = []
        while self._frames:
            steps.append(self._finish())
        return steps

    def _finish(self) -> Step:
        start = self._first + self._count * self._samples
        self._count += 1
        frames = []
        while self._frames and self._frames[0].sample <= start + self._samples:
            frames.append(self._frames.popleft())
        engaged = self._engaged(start, start + self._samples)
        if not frames:
            return self._runs.step(engaged, None, None)
        silent = sum(frame.state == State.NO_INPUT for frame in frames)
        standing = sum(frame.state == State.STOPPED for frame in frames)
        doubtful = sum(frame.unsure for frame in frames)
        stopped = None if 2 * max(silent, doubtful) > len(frames) else 2 * standing > len(frames)
        heard = [frame.rpm for frame in frames if frame.rpm and frame.rpm_confidence >= SURE_RPM]
        return self._runs.step(engaged, stopped, median(heard) if 2 * len(heard) >= len(frames) else None)

    def _engaged(self, start: float, end: float) -> float:
        spans = (span for cut in self._cuts.values() for span in cut)
        together = sum(max(0.0, min(last, end) - max(first, start)) for first, last in spans)
        return min(together / self._samples, 1.0)


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

"""One run of following: frames and cuts of the listener in, the present section and credits out."""

from collections.abc import Sequence
from dataclasses import dataclass

from shopmon.listening.events import Frame
from shopmon.listening.following.credit import Credit, credits_of, in_words
from shopmon.listening.following.model import STEP_S, ProgramModel, Step
from shopmon.listening.following.observing import StepMaker
from shopmon.listening.following.tracker import Tracker

SETTLED_AFTER_S, SETTLED_AT_LAST_S = 60.0, 900.0


@dataclass(frozen=True)
class Place:
    """Where the program seems to be: the most probable section, and how sure that is.

    ``tool_probability`` is of its tool: sections of one tool count together.
    """

    section: int
    probability: float
    tool_probability: float

    @property
    def words(self) -> str:
        """How sure, in words."""
        return in_words(self.probability)


@dataclass(frozen=True)
class Waiting:
    """A cut whose tool is not settled: its engagements in s from the first step."""

    cut_id: str
    engaged_s: tuple[tuple[float, float], ...]

    @property
    def start_s(self) -> float:
        """When a tooth first met metal."""
        return self.engaged_s[0][0]

    @property
    def end_s(self) -> float:
        """When the last tooth left it."""
        return self.engaged_s[-1][1]


class ProgramRun:
    """Follows a program over the streams of a day.

    `frame` and `cut_ended` belong to one thread, `settle` may run on another.

    Parameters
    ----------
    model
        Of the program.
    """

    def __init__(self, model: ProgramModel):
        self.model = model
        self._tracker = Tracker(model)
        self._waiting: tuple[Waiting, ...] = ()
        self._maker: StepMaker | None = None
        self._first_step = 0
        self._rate_hz = 1.0
        self._stopped_step = 0

    def stream_started(self, sample_rate_hz: float) -> None:
        """Hear that samples are counted anew."""
        if self._maker is not None:
            self._take(self._maker.rest())
        self._maker = None
        self._rate_hz = sample_rate_hz

    def frame(self, frame: Frame) -> bool:
        """Take a frame; return whether the belief has changed by it."""
        if self._maker is None:
            self._maker = StepMaker(self._rate_hz, frame.sample)
            self._first_step = self._tracker.count
        steps = self._maker.take(frame)
        self._take(steps)
        return bool(steps)

    def _take(self, steps: Sequence[Step]) -> None:
        for step in steps:
            self._tracker.take(step)
            if step.stopped:
                self._stopped_step = self._tracker.count

    def cut_ended(self, cut_id: str, engaged: Sequence[tuple[int, int]]) -> None:
        """Take a cut, its engagements in samples of the present stream."""
        if self._maker is None or not engaged:
            return
        start = self._maker.start_sample
        spans = tuple(
            tuple(max(0.0, self._first_step * STEP_S + (sample - start) / self._rate_hz) for sample in span)
            for span in engaged
        )
        self._waiting = (*self._waiting, Waiting(cut_id, spans))

    def put(self, section: int) -> None:
        """Hear from a macro that a section begins; cuts that still waited are left as they were."""
        self._waiting = ()
        self._tracker.put(section)

    def place(self) -> Place | None:
        """Return the present section; None while something else is more probable."""
        sections = self._tracker.sections()
        best = int(sections.argmax())
        if sections[best] < 1 - sections.sum():
            return None
        tool = self.model.tools[best]
        of_tool = sum(
            float(share) for share, other in zip(sections, self.model.tools, strict=True) if other == tool
        )
        return Place(best, float(sections[best]), min(of_tool, 1.0))

    def due(self, *, all_of_them: bool = False) -> tuple[Waiting, ...]:
        """Return the cuts of which enough has been heard afterwards to settle them."""
        now_s = self._tracker.count * STEP_S
        stopped_s = self._stopped_step * STEP_S

        def is_due(cut: Waiting) -> bool:
            past = now_s - cut.end_s
            return past > SETTLED_AT_LAST_S or (past > SETTLED_AFTER_S and stopped_s > cut.end_s)

        return tuple(cut for cut in self._waiting if all_of_them or is_due(cut))

    def settle(self, cuts: Sequence[Waiting]) -> list[tuple[str, list[Credit]]]:
        """Say whose each cut was; takes some milliseconds for each second of sound since the first."""
        if not cuts:
            return []
        first = max(int(min(cut.start_s for cut in cuts) / STEP_S), self._tracker.forgotten)
        rows = self._tracker.smoothed(first)
        offset = first * STEP_S
        return [
            (
                cut.cut_id,
                credits_of(
                    [(max(a - offset, 0.0), max(b - offset, 0.0)) for a, b in cut.engaged_s],
                    rows,
                    self.model,
                ),
            )
            for cut in cuts
        ]

    def settled(self, cuts: Sequence[Waiting]) -> None:
        """Forget cuts that were settled, and what was heard before the ones that were not."""
        gone = {cut.cut_id for cut in cuts}
        self._waiting = tuple(cut for cut in self._waiting if cut.cut_id not in gone)
        before_s = min((cut.start_s for cut in self._waiting), default=self._tracker.count * STEP_S)
        self._tracker.forget(int(before_s / STEP_S) - 1)

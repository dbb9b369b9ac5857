"""Sections of a program: what is done with one tool at one spindle speed."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Literal

from shopmon.cutting.program.moves import Event, Move
from shopmon.cutting.program.timing import MachineMotion, Timer

SpanKind = Literal["feed", "rapid", "dwell", "stop"]
MOST_SPANS = 100_000


@dataclass(frozen=True)
class Span:
    """A stretch of one kind within a section, s."""

    kind: SpanKind
    seconds: float


@dataclass(frozen=True, kw_only=True)
class Section:
    """One tool at one spindle speed.

    Attributes
    ----------
    tool
        Its number in the program; None where the program names none.
    rpm
        Spindle speed; 0 where the spindle was stopped, None where nobody can know it.
    start_line, end_line
        Lines of the main program, from 1.
    feed_s, rapid_s, dwell_s
        Times; a tool change and a stop count nothing.
    feed_length_mm
        Way of the tool point at feed.
    stops
        How often the program waits for the person.
    note
        The comment at the tool change.
    spans
        Feed, rapids and waits in their order, neighbours of one kind as one.
    """

    tool: int | None
    rpm: float | None
    start_line: int
    end_line: int
    feed_s: float
    rapid_s: float
    dwell_s: float
    feed_length_mm: float
    stops: int
    note: str
    spans: tuple[Span, ...]


@dataclass
class _Draft:
    tool: int | None
    rpm: float | None
    start_line: int | None = None
    note: str = ""
    seconds: dict[str, float] = field(default_factory=lambda: dict.fromkeys(("feed", "rapid", "dwell"), 0.0))
    feed_length_mm: float = 0.0
    stops: int = 0
    spans: list[list] = field(default_factory=list)
    cuts: bool = False

    def add(self, kind: SpanKind, seconds: float) -> None:
        """Add time of one kind, joined to the span before it where that is of the same kind."""
        if kind in self.seconds:
            self.seconds[kind] += seconds
        if self.spans and (self.spans[-1][0] == kind or len(self.spans) >= MOST_SPANS):
            self.spans[-1][1] += seconds
        else:
            self.spans.append([kind, seconds])


class Sections:
    """Gathers moves and events into sections.

    Parameters
    ----------
    machine
        How it moves.
    """

    def __init__(self, machine: MachineMotion):
        self._timer = Timer(machine)
        self._draft = _Draft(None, None)
        self._done: list[_Draft] = []
        self._end_line = 1

    def gather(self, steps: Iterable[Move | Event]) -> list[Section]:
        """Return the sections that cut; what is done between two of them counts to the later one."""
        for step in steps:
            if isinstance(step, Move):
                if self._draft.start_line is None:
                    self._draft.start_line = step.line
                self._take(self._timer.take(step))
            else:
                self._take(self._timer.stop())
                self._event(step)
        self._close(self._draft)
        return list(self._finished())

    def _take(self, timed: Iterator[tuple[Move, float]]) -> None:
        draft = self._draft
        for move, seconds in timed:
            draft.add("feed" if move.feed else "rapid", seconds)
            if move.feed:
                draft.cuts = draft.cuts or seconds > 0
                draft.feed_length_mm += move.length_mm

    def _event(self, event: Event) -> None:
        draft = self._draft
        if event.kind == "tool":
            self._close(draft)
            self._draft = _Draft(event.value, draft.rpm, event.line, event.note)
        elif event.kind == "spindle":
            self._spindle(event)
        elif event.kind == "end":
            self._end_line = event.line
        else:
            draft.stops += event.kind == "stop"
            draft.add(event.kind, event.value or 0.0)

    def _spindle(self, event: Event) -> None:
        draft = self._draft
        if not draft.cuts:
            draft.rpm = event.value
            if draft.start_line is None:
                draft.start_line = event.line
        elif event.value and event.value != draft.rpm:
            self._close(draft)
            self._draft = _Draft(draft.tool, event.value, event.line, draft.note)

    def _close(self, draft: _Draft) -> None:
        self._done.append(draft)

    def _finished(self) -> Iterator[Section]:
        cutting = [draft for draft in self._done if draft.cuts]
        if not cutting:
            return
        _carry_over(self._done)
        starts = [draft.start_line for draft in cutting[1:]]
        ends = [*(start - 1 for start in starts), self._end_line]
        for draft, end in zip(cutting, ends, strict=True):
            yield Section(
                tool=draft.tool,
                rpm=draft.rpm,
                start_line=draft.start_line,
                end_line=max(end, draft.start_line),
                feed_s=draft.seconds["feed"],
                rapid_s=draft.seconds["rapid"],
                dwell_s=draft.seconds["dwell"],
                feed_length_mm=draft.feed_length_mm,
                stops=draft.stops,
                note=draft.note,
                spans=tuple(Span(kind, seconds) for kind, seconds in draft.spans),
            )


def _carry_over(drafts: list[_Draft]) -> None:
    """Count what does not cut to the next section that does, or to the last one."""
    last = [draft for draft in drafts if draft.cuts][-1]
    carried: list[_Draft] = []
    for draft in drafts:
        if not draft.cuts:
            carried.append(draft)
            continue
        for other in carried:
            _merge(draft, other, before=True)
        carried = []
    for other in carried:
        _merge(last, other, before=False)


def _merge(draft: _Draft, other: _Draft, before: bool) -> None:
    for kind, seconds in other.seconds.items():
        draft.seconds[kind] += seconds
    draft.stops += other.stops
    draft.spans[:] = [*other.spans, *draft.spans] if before else [*draft.spans, *other.spans]

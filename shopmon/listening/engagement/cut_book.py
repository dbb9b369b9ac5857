"""Engagements grouped into cuts: gaps shorter than the limit stay within one cut."""

from shopmon.listening.events import CutEnded, CutSpan, CutStarted, Event
from shopmon.listening.state import Memory


class CutBook(Memory):
    """Keeps the open cut.

    Parameters
    ----------
    gap_samples
        Engagements closer than this belong to one cut.
    """

    kept = ("number", "engaged", "touching", "floor_sample")

    def __init__(self, gap_samples: int):
        self._gap = gap_samples
        self.number = 0
        self.engaged: list[list[int]] = []
        self.touching = False
        self.floor_sample = 0

    def span(self, now: int) -> CutSpan | None:
        """Return the open cut as it stands at a sample, None when there is none."""
        if not self.engaged:
            return None
        if self.touching:
            self.engaged[-1][1] = max(self.engaged[-1][1], now)
        spans = tuple((start, end) for start, end in self.engaged)
        return CutSpan(number=self.number, start_sample=spans[0][0], end_sample=spans[-1][1], engaged=spans)

    def touch(self, start: int, now: int) -> list[Event]:
        """A tooth met metal at `start`, which became certain at `now`."""
        start = max(start, self.floor_sample)
        events: list[Event] = []
        if self.engaged and start - self.engaged[-1][1] >= self._gap:
            events += self.close(now)
        fresh = not self.engaged
        self.engaged.append([start, max(start, now)])
        self.touching = True
        return [*events, CutStarted(sample=now, cut=self.span(now))] if fresh else events

    def leave(self, end: int) -> None:
        """The tooth left the metal at `end`."""
        if self.touching:
            self.engaged[-1][1] = max(end, self.engaged[-1][0] + 1)
            self.floor_sample = self.engaged[-1][1]
            self.touching = False

    def tick(self, now: int) -> list[Event]:
        """Close the cut when its gap has become too long."""
        if self.engaged and not self.touching and now - self.engaged[-1][1] >= self._gap:
            return self.close(now)
        return []

    def close(self, now: int) -> list[Event]:
        """End the open cut, if any."""
        cut = self.span(now)
        if cut is None:
            return []
        self.floor_sample = max(self.floor_sample, cut.end_sample)
        self.number += 1
        self.engaged = []
        self.touching = False
        return [CutEnded(sample=now, cut=cut)]

    def restart(self, sample: int) -> None:
        """Nothing may be dated before `sample` any more."""
        self.floor_sample = sample

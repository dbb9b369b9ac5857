"""What all live sources have in common: they do what is due in turns, and say once that a device has gone."""

import threading
from abc import ABC, abstractmethod
from collections.abc import Callable, Iterator
from typing import Protocol

from shopmon.capture.source import SourceNotice
from shopmon.signals.block import Block

TURN_S = 0.05
RETURN_HINT = "It is picked up again by itself when it returns: see its plug and its cable."


class Waitable(Protocol):
    """Something that wakes who waits for it when there is news."""

    def wait(self, timeout_s: float) -> object:
        """Wait until something comes, or for a while."""


class PolledSource(ABC):
    """A source whose device may come and go while it is asked turn by turn.

    Parameters
    ----------
    source_id, name
        Name of the source in the log, and what to call the device.
    clock
        Monotonic seconds; given by tests.
    """

    turn_s = TURN_S

    def __init__(self, source_id: str, name: str, clock: Callable[[], float]):
        self.source_id, self.name = source_id, name
        self._clock = clock
        self._closed = self._was_here = self._told_lost = False

    @abstractmethod
    def turn(self, now_s: float) -> Iterator[Block | SourceNotice]:
        """Do what is due at this moment and yield what came of it; never waits.

        Parameters
        ----------
        now_s
            Monotonic time.
        """

    def blocks(self, stop: threading.Event) -> Iterator[Block | SourceNotice]:
        """Yield blocks and notices until `stop` is set; the device may come and go meanwhile."""
        while not (stop.is_set() or self._closed):
            yield from self.turn(self._clock())
            (self._news() or stop).wait(self.turn_s)

    def _news(self) -> Waitable | None:
        """What wakes the source before its turn is over, None where nothing does."""
        return None

    def _here(self, device: str, described: str) -> SourceNotice:
        """Say that the device is there, or there again."""
        code, verb = (
            ("device-returned", "Listening again") if self._was_here else ("device-opened", "Listening")
        )
        self._was_here, self._told_lost = True, False
        return SourceNotice(code=code, text=f"{verb} to {device}: {described}.")

    def _lost(self, text: str, hint: str = RETURN_HINT) -> Iterator[SourceNotice]:
        """Say that the device is not there, once until it is."""
        if not self._told_lost:
            self._told_lost = True
            yield SourceNotice(code="device-lost", text=text, hint=hint or RETURN_HINT)

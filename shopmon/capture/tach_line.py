"""A tachometer on a GPIO line of the Pi, as a source of nothing but pulses.

The kernel stamps each edge, so that it does not matter when Python hears of it. The pulses stand in a column
of a slow stream, which the aligner puts beside what is listened to. Has not run on a Pi.
"""

import threading
import time
import uuid
from collections import deque
from collections.abc import Callable, Iterator
from typing import Protocol

import numpy as np

from shopmon.capture.source import SourceFormat, SourceNotice
from shopmon.errors import DeviceError
from shopmon.signals.block import Block, Channel
from shopmon.signals.sensors.tachometer import edge_codes

RATE_HZ, BLOCK_S, LATE_S = 8000.0, 0.1, 0.03
HINT = "Give the number of the line as the Pi counts them (BCM), and see that nothing else uses it."


class Line(Protocol):
    """An input line that stamps its edges."""

    def close(self) -> None:
        """Let it go."""


def open_line(pin: int, told: Callable[[int], None]) -> Line:
    """Watch a line with lgpio; `told` hears the kernel's stamp of each falling edge, in ns.

    Raises
    ------
    DeviceError
        There is no lgpio, or the line cannot be had.
    """
    try:
        import lgpio
    except ImportError:
        hint = "Run .venv/bin/pip install -e '.[lamp]'."
        raise DeviceError("The package lgpio is not installed.", hint) from None
    try:
        return _LgpioLine(lgpio, pin, told)
    except lgpio.error as exc:
        raise DeviceError(f"Line {pin} cannot be watched: {exc}.", HINT) from None


class _LgpioLine:
    def __init__(self, lgpio, pin: int, told: Callable[[int], None]):
        self._lgpio = lgpio
        self._chip = lgpio.gpiochip_open(0)
        try:
            lgpio.gpio_claim_alert(self._chip, pin, lgpio.FALLING_EDGE, lgpio.SET_PULL_UP)
            self._call = lgpio.callback(
                self._chip, pin, lgpio.FALLING_EDGE, lambda chip, line, level, stamp_ns: told(stamp_ns)
            )
        except BaseException:
            lgpio.gpiochip_close(self._chip)
            raise

    def close(self) -> None:
        """Let the line go."""
        self._call.cancel()
        self._lgpio.gpiochip_close(self._chip)


class TachLineSource:
    """Pulses of a GPIO line, to run beside another source.

    Parameters
    ----------
    pin
        Number of the line.
    source_id
        Name of the source in the log.
    watch, clock
        Replaced by tests.
    """

    def __init__(
        self,
        pin: int,
        *,
        source_id: str = "tachometer",
        watch: Callable[[int, Callable[[int], None]], Line] = open_line,
        clock: Callable[[], float] = time.monotonic,
    ):
        self.source_id = source_id
        self.name = f"tachometer on line {pin}"
        self._pin, self._watch, self._clock = pin, watch, clock
        self._edges: deque[tuple[float, float]] = deque(maxlen=4096)
        self._line: Line | None = None
        self._ahead_s: float | None = None

    @property
    def format(self) -> SourceFormat:
        """What is delivered: one column of pulses."""
        return SourceFormat(
            source_id=self.source_id,
            name=self.name,
            sample_rate_hz=RATE_HZ,
            channels=(Channel(kind="tachometer"),),
            code_format="int16",
        )

    def blocks(self, stop: threading.Event) -> Iterator[Block | SourceNotice]:
        """Yield a block of pulses ten times a second until `stop` is set."""
        try:
            self._line = self._watch(self._pin, self._told)
        except DeviceError as exc:
            yield SourceNotice(code="device-lost", text=exc.text, hint=exc.hint)
            stop.wait()
            return
        yield SourceNotice(code="device-opened", text=f"Listening to the {self.name}.")
        begun_s, stream_id, number = self._clock(), str(uuid.uuid4()), 0
        frames = round(BLOCK_S * RATE_HZ)
        while not stop.is_set():
            end_s = begun_s + (number + 1) * BLOCK_S
            # edges are told a little late: look back once they have had time to come
            if stop.wait(max(0.0, end_s + LATE_S - self._clock())):
                return
            places = [(edge_s - begun_s) * RATE_HZ - number * frames for edge_s in self._until(end_s)]
            yield Block(
                codes=edge_codes(places, frames, "int16")[:, None],
                code_format="int16",
                sample_rate_hz=RATE_HZ,
                first_sample=number * frames,
                source_id=self.source_id,
                stream_id=stream_id,
                channels=self.format.channels,
            )
            number += 1

    def close(self) -> None:
        """Let the line go; calling it twice is harmless."""
        line, self._line = self._line, None
        if line:
            line.close()

    def _told(self, stamp_ns: int) -> None:
        """Take an edge; called by a thread of the library."""
        self._edges.append((stamp_ns * 1e-9, self._clock()))

    def _until(self, end_s: float) -> np.ndarray:
        """Take the edges before a time of our clock, which need not be the kernel's of the stamps."""
        waiting = list(self._edges)
        if not waiting:
            return np.zeros(0)
        stamps, arrived = np.array(waiting).T
        # whoever was told soonest tells the difference of the two clocks
        ahead_s = float((arrived - stamps).min())
        self._ahead_s = ahead_s if self._ahead_s is None else min(self._ahead_s, ahead_s)
        due = stamps[stamps + self._ahead_s < end_s] + self._ahead_s
        for _ in range(due.size):
            self._edges.popleft()
        return due

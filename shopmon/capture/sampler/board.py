"""A sampler board on a serial port that may be unplugged, restart, or talk nonsense at any time.

Threads: one only fetches bytes into a queue, so that nothing waits long enough for the board's own ring to
fill; the engine's thread cuts them into frames and blocks. The port is opened and closed in threads that can
be left behind.
"""

import threading
import time
from collections import deque
from collections.abc import Callable, Iterator
from typing import Protocol

from shopmon.capture.background import BackgroundCall
from shopmon.capture.polled import PolledSource
from shopmon.capture.sampler.assembly import SENSORS, Assembly, believable
from shopmon.capture.sampler.frames import FrameCutter
from shopmon.capture.sampler.ports import find_port, list_ports
from shopmon.capture.source import SourceFormat, SourceNotice
from shopmon.capture.watch import Tally
from shopmon.errors import DeviceError
from shopmon.signals.block import Block

RETRY_S, FETCH_S = 1.0, 0.012
SILENT_S = 2.0
STALLED_S = 10.0
CLOSE_S = 1.0
QUEUE_BYTES = 4_000_000  # 12 s of the fastest board and more


class Port(Protocol):
    """An open serial port."""

    def read(self) -> bytes:
        """Return what has come, b"" when there is nothing; raise OSError when the port is gone."""

    def close(self) -> None:
        """Let it go."""


class SerialPortReader:
    """A port opened by pyserial.

    Parameters
    ----------
    wanted
        Path, serial number or part of the name.

    Raises
    ------
    DeviceError
        It is not there, is in use, or may not be opened.
    """

    def __init__(self, wanted: str):
        import serial

        path = find_port(list_ports(), wanted)
        try:
            # a board on USB heeds no baud rate, but sends only where somebody says that he listens (DTR)
            self._port = serial.Serial(path, baudrate=921_600, timeout=0, exclusive=True)
        except (OSError, ValueError) as exc:
            hint = "See whether another program has it; on Linux this user must belong to the group dialout."
            raise DeviceError(f"The port {path} cannot be opened: {exc}.", hint) from None
        self._waiting = lambda: self._port.in_waiting

    def read(self) -> bytes:
        """Return what has come; raises OSError when the port is gone."""
        return self._port.read(max(1, self._waiting()))

    def close(self) -> None:
        """Let the port go."""
        self._port.close()


class Fetcher:
    """Fetches bytes in a thread of its own until the port is gone or it is told to stop.

    Parameters
    ----------
    port
        Where from.
    clock
        Monotonic seconds.
    """

    def __init__(self, port: Port, clock: Callable[[], float] = time.monotonic):
        self._port = port
        self._clock = clock
        self._queue: deque[tuple[float, bytes]] = deque()
        self._queued = 0
        self.overflowed = 0
        self.gone: str | None = None
        self._stop = threading.Event()
        self._news = threading.Event()
        self._thread = threading.Thread(target=self._run, name="board", daemon=True)
        self._thread.start()

    def wait(self, timeout_s: float) -> None:
        """Wait until something comes, or for a while."""
        self._news.wait(timeout_s)
        self._news.clear()

    def take(self) -> tuple[bytes, float | None]:
        """Return what has come since the last time, and when the newest of it came."""
        parts, at_s = [], None
        while self._queue:
            at_s, part = self._queue.popleft()
            self._queued -= len(part)
            parts.append(part)
        return b"".join(parts), at_s

    def close(self) -> None:
        """Stop fetching and let the port go."""
        self._stop.set()
        self._thread.join(CLOSE_S)
        self._port.close()

    def _run(self) -> None:
        while not self._stop.is_set():
            try:
                part = self._port.read()
            except (OSError, TypeError, AttributeError) as exc:
                # pyserial raises whatever its half-closed port happens to meet
                self.gone = str(exc)
                self._news.set()
                return
            if not part:
                self._stop.wait(FETCH_S)
                continue
            if self._queued > QUEUE_BYTES:
                self.overflowed += len(part)
                continue
            self._queue.append((self._clock(), part))
            self._queued += len(part)
            self._news.set()
            # let some more gather: waking for every packet costs more than all the rest
            self._stop.wait(FETCH_S)


class BoardSource(PolledSource):
    """Vibration from a sampler board on a serial port.

    A board that is not there is no error: the source says so, waits, and takes it when it appears.

    Parameters
    ----------
    port
        Path, serial number or part of the name of a serial port.
    source_id
        Name of the source in the log.
    open_port, clock
        Replaced by tests.
    """

    sensor = "accelerometer"

    def __init__(
        self,
        port: str,
        *,
        source_id: str = "board",
        open_port: Callable[[str], Port] = SerialPortReader,
        clock: Callable[[], float] = time.monotonic,
    ):
        super().__init__(source_id, f"sampler board {port}", clock)
        self._wanted, self._open_port = port, open_port
        self._call: BackgroundCall | None = None
        self._call_since_s = 0.0
        self._retry_at_s = float("-inf")
        self._fetcher: Fetcher | None = None
        self._cutter = FrameCutter()
        self._assembly = Assembly(source_id, self.name)
        self._garbage, self._overflow = Tally(), Tally()
        self._refused = self._overflowed = 0
        self._heard_at_s = 0.0
        self._told_stalled = self._told_silent = False
        self._delivers = False

    @property
    def format(self) -> SourceFormat | None:
        """What is being delivered, None while the board is away."""
        return self._assembly.format if self._delivers else None

    @property
    def full_scales_g(self) -> tuple[float, ...] | None:
        """What full scale of each axis means by what the board says, None while it is away."""
        frame = self._assembly.newest
        return (frame.range_g,) * frame.codes.shape[1] if frame and self._delivers else None

    @property
    def stated_part(self) -> str | None:
        """Which sensor the board says that it has, None where it does not say or is away."""
        frame = self._assembly.newest
        return SENSORS.get(frame.sensor_id) if frame and self._delivers else None

    @property
    def temperature_c(self) -> float | None:
        """Temperature of the sensor, None where it has no thermometer or cannot be believed."""
        frame = self._assembly.newest
        known = frame is not None and self._delivers and believable(frame.temperature_c)
        return frame.temperature_c if known else None

    def _news(self) -> Fetcher | None:
        return self._fetcher

    def turn(self, now_s: float) -> Iterator[Block | SourceNotice]:
        """Do what is due at this moment and yield what came of it; never waits.

        Parameters
        ----------
        now_s
            Monotonic time.
        """
        if self._fetcher:
            yield from self._listen(self._fetcher, now_s)
        elif self._call:
            yield from self._look_at_call(self._call, now_s)
        elif now_s >= self._retry_at_s:
            self._call = BackgroundCall(lambda: self._open_port(self._wanted), "board-open")
            self._call_since_s, self._told_stalled = now_s, False

    def close(self) -> None:
        """Let the board go; calling it twice is harmless."""
        self._closed = True
        fetcher, call = self._fetcher, self._call
        self._fetcher = self._call = None
        if fetcher:
            BackgroundCall(fetcher.close, "board-close").wait(2 * CLOSE_S)
        if call:
            call.abandon(lambda port: port.close())

    def _look_at_call(self, call: BackgroundCall, now_s: float) -> Iterator[SourceNotice]:
        if not call.done:
            if now_s - self._call_since_s > STALLED_S and not self._told_stalled:
                self._told_stalled = True
                text = f"The {self.name} has not answered for {STALLED_S:g} s."
                yield SourceNotice(code="device-stalled", text=text, hint="Unplug it and plug it in again.")
            return
        self._call = None
        self._retry_at_s = now_s + RETRY_S
        try:
            port = call.result()
        except DeviceError as exc:
            yield from self._lost(exc.text, exc.hint)
            return
        self._fetcher = Fetcher(port, self._clock)
        self._cutter = FrameCutter()
        self._assembly.forget()
        self._refused = self._overflowed = 0
        self._heard_at_s, self._told_silent = now_s, False

    def _listen(self, fetcher: Fetcher, now_s: float) -> Iterator[Block | SourceNotice]:
        gone = fetcher.gone
        data, _ = fetcher.take()
        if frames := self._cutter.feed(data) if data else []:
            self._heard_at_s = now_s
            yield from self._deliver(frames)
        yield from self._trouble(fetcher, now_s)
        if gone is not None:
            self._fetcher = None
            self._delivers = False
            BackgroundCall(fetcher.close, "board-close")
            self._retry_at_s = now_s + RETRY_S
            yield from self._lost(f"The {self.name} is gone.")
        elif now_s - self._heard_at_s > SILENT_S and not self._told_silent:
            yield from self._fell_silent()

    def _deliver(self, frames) -> Iterator[Block | SourceNotice]:
        first = not self._delivers
        self._delivers, self._told_silent, self._told_lost = True, False, False
        for item in self._assembly.take(frames):
            if first and isinstance(item, Block):
                first = False
                yield self._here(f"the {self.name}", _described(self._assembly.format))
            yield item

    def _fell_silent(self) -> Iterator[SourceNotice]:
        """The port is there and nothing sound comes through it: the stream is over, the port stays open."""
        self._told_silent = True
        self._delivers = False
        self._assembly.forget()
        what = "nothing that can be read" if self._cutter.refused else "nothing"
        hint = (
            "Right after plugging in it takes ten seconds. Then see whether its program runs, and whether "
            "this is the right port (shopmon devices)."
        )
        if self._cutter.foreign:
            what = "frames of another version, which are not understood here"
            hint = (
                "Copy the program of this version onto it: firmware_notes/sampler_board.md, 'Putting it on'."
            )
        yield from self._lost(f"The {self.name} sends {what}.", hint)

    def _trouble(self, fetcher: Fetcher, now_s: float) -> Iterator[SourceNotice]:
        refused = self._cutter.refused + self._assembly.refused
        self._garbage.add(refused - self._refused)
        self._refused = refused
        self._overflow.add(fetcher.overflowed - self._overflowed)
        self._overflowed = fetcher.overflowed
        yield from self._assembly.release(now_s)
        if pieces := self._garbage.release(now_s):
            yield SourceNotice(
                code="line-garbled",
                text=f"{pieces} pieces of the board's stream were damaged and left out.",
                hint="See the USB cable and its plug; keep it away from the cable of the spindle drive.",
            )
        if lost := self._overflow.release(now_s):
            yield SourceNotice(
                code="consumer-slow",
                text=f"The computer was too busy: {lost} bytes of the board's stream were lost.",
                hint="See what else runs on it, and whether it is too hot.",
            )


def _described(form: SourceFormat) -> str:
    axes = sum(channel.kind == "accelerometer" for channel in form.channels)
    tach = ", with a tachometer" if axes < len(form.channels) else ""
    words = f"{axes} axes" if axes > 1 else "1 axis"
    return f"{form.sample_rate_hz:g} Hz, {words}, {form.code_format}{tach}"

"""A microphone that may be unplugged, stall, or come back at any time.

Threads: PortAudio's own calls `Intake.callback`, which only copies into the ring. Everything that may block
(listing, opening, closing) runs in a background thread that can be left behind. The engine's thread runs
`MicrophoneSource.blocks`, which never waits for any of them longer than a twentieth of a second. When the
ring is full the newest sound is dropped, and the source says how much.
"""

import time
from collections.abc import Callable, Iterator
from typing import Protocol

from shopmon.capture import portaudio
from shopmon.capture.background import BackgroundCall
from shopmon.capture.inputs import InputDevice
from shopmon.capture.polled import PolledSource
from shopmon.capture.portaudio import InputRequest, OpenInput
from shopmon.capture.source import SourceFormat, SourceNotice
from shopmon.capture.stream_reader import StreamReader
from shopmon.errors import DeviceError
from shopmon.signals.block import Block, CodeFormat

RETRY_S = 1.0
STALLED_S = 10.0
CLOSE_S = 2.0


class Driver(Protocol):
    """What opens streams; PortAudio, or a script in tests."""

    def load(self) -> None:
        """Raise DeviceError when sound cannot work at all."""

    def start_opening(self, request: InputRequest) -> BackgroundCall:
        """Begin to open; the result is an `OpenInput`, or a DeviceError is raised from it."""

    def start_closing(self, stream: OpenInput) -> BackgroundCall:
        """Begin to close."""

    def leave_behind(self) -> None:
        """Do not wait at exit for what cannot be closed."""


class PortAudioDriver:
    """Opens and closes PortAudio streams in background threads."""

    def load(self) -> None:
        """See whether there is PortAudio and whether it answers."""
        portaudio.answered(portaudio.load)

    def start_opening(self, request: InputRequest) -> BackgroundCall:
        """Begin to list the devices and to open one."""
        return BackgroundCall(lambda: portaudio.open_input(request), "portaudio-open")

    def start_closing(self, stream: OpenInput) -> BackgroundCall:
        """Begin to close; blocks for ever in its own thread where the driver hangs."""
        return BackgroundCall(stream.close, "portaudio-close")

    def leave_behind(self) -> None:
        """Do not wait at exit for what cannot be closed."""
        portaudio.leave_behind()


class MicrophoneSource(PolledSource):
    """Sound from a device of the computer.

    A device that is not there is no error: the source says so, waits, and takes it when it appears. Once a
    device was chosen by number or by default, that very device is waited for, not the next one in the list.

    Parameters
    ----------
    device
        Number, name or part of the name of a sound input; None takes the system's default.
    sample_rate_hz, channels, code_format
        What to ask for; None asks for 48 kHz (else 44.1 kHz, else what the device prefers), for one channel,
        and for the converter's own format (else int16).
    sensor
        ``"microphone"`` or ``"accelerometer"``.
    source_id
        Name of the source in the log.
    driver, clock
        Replaced by tests.

    Raises
    ------
    DeviceError
        There is no PortAudio.
    """

    def __init__(
        self,
        device: str | int | None = None,
        *,
        sample_rate_hz: float | None = None,
        channels: int | None = None,
        code_format: CodeFormat | None = None,
        sensor: str = "microphone",
        source_id: str = "mic",
        driver: Driver | None = None,
        clock: Callable[[], float] = time.monotonic,
    ):
        super().__init__(source_id, "microphone" if device is None else f"microphone {device}", clock)
        self._request = InputRequest(
            device=device, sample_rate_hz=sample_rate_hz, channels=channels, code_format=code_format
        )
        self._asked = self._request
        self.sensor = sensor
        self._driver = driver or PortAudioDriver()
        self._call: BackgroundCall | None = None
        self._call_since_s = 0.0
        self._closing = False
        self._retry_at_s = float("-inf")
        self._reader: StreamReader | None = None
        self._told_stalled = False
        self._driver.load()

    @property
    def format(self) -> SourceFormat | None:
        """What is being delivered, None while the device is away."""
        return self._reader.format if self._reader and self._reader.delivers else None

    def _news(self) -> StreamReader | None:
        return self._reader

    def turn(self, now_s: float) -> Iterator[Block | SourceNotice]:
        """Do what is due at this moment and yield what came of it; never waits.

        Parameters
        ----------
        now_s
            Monotonic time.
        """
        if self._reader:
            yield from self._listen(self._reader, now_s)
        elif self._call:
            yield from self._look_at_call(self._call, now_s)
        elif now_s >= self._retry_at_s:
            self._begin(self._driver.start_opening(self._request), now_s, closing=False)

    def close(self) -> None:
        """Release the device, or leave it behind if it does not let go; calling it twice is harmless."""
        self._closed = True
        call, reader = self._call, self._reader
        self._call = self._reader = None
        if reader:
            call = self._driver.start_closing(reader.stream)
        elif call and not self._closing:
            call.abandon(self._driver.start_closing)
        if call and not call.wait(CLOSE_S):
            self._driver.leave_behind()

    def _begin(self, call: BackgroundCall, now_s: float, *, closing: bool) -> None:
        self._call, self._call_since_s, self._closing, self._told_stalled = call, now_s, closing, False

    def _listen(self, reader: StreamReader, now_s: float) -> Iterator[Block | SourceNotice]:
        delivered = reader.delivers
        for item in reader.read(now_s):
            if reader.delivers and not delivered:
                delivered = True
                yield self._opened_notice(reader.stream)
            yield item
        if reader.is_lost(now_s) and self._reader is reader:
            self._reader = None
            self._begin(self._driver.start_closing(reader.stream), now_s, closing=True)
            yield from self._lost(reader.loss_text())

    def _look_at_call(self, call: BackgroundCall, now_s: float) -> Iterator[SourceNotice]:
        if not call.done:
            yield from self._stalled(now_s)
            return
        self._call = None
        self._retry_at_s = now_s if self._closing else now_s + RETRY_S
        if self._closing:
            return
        try:
            stream = call.result()
        except DeviceError as exc:
            yield from self._lost(exc.text, exc.hint)
            return
        self._reader = StreamReader(stream, self.source_id, self.sensor)

    def _opened_notice(self, stream: OpenInput) -> SourceNotice:
        self.name = stream.device.name
        if not isinstance(self._asked.device, str):
            self._request = _pinned(self._request, stream.device)
        return self._here(self.name, _described(stream, self._asked))

    def _stalled(self, now_s: float) -> Iterator[SourceNotice]:
        if self._told_stalled or now_s - self._call_since_s < STALLED_S:
            return
        self._told_stalled = True
        what = "let go of the lost device" if self._closing else "opened the device"
        yield SourceNotice(
            code="device-stalled",
            text=f"The sound system has not {what} for {STALLED_S:g} s and may never do so.",
            hint="Unplug the device and plug it in again; if that does not help, restart the monitor.",
        )


def _pinned(request: InputRequest, device: InputDevice) -> InputRequest:
    return InputRequest(
        device=f"{device.lasting_name}, {device.host_api}",
        sample_rate_hz=request.sample_rate_hz,
        channels=request.channels,
        code_format=request.code_format,
    )


def _described(stream: OpenInput, asked: InputRequest) -> str:
    words = f"{stream.channels} channel" + ("s" if stream.channels > 1 else "")
    text = f"{stream.sample_rate_hz:g} Hz, {words}, {stream.code_format}"
    wishes = []
    if asked.sample_rate_hz and abs(asked.sample_rate_hz - stream.sample_rate_hz) > 1:
        wishes.append(f"{asked.sample_rate_hz:g} Hz")
    if asked.code_format not in (None, stream.code_format):
        wishes.append(asked.code_format)
    return f"{text} ({' and '.join(wishes)} was asked for)" if wishes else text

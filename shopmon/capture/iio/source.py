"""An accelerometer that the kernel drives, read through its buffer in ``/dev``."""

import os
import time
import uuid
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np

from shopmon.capture.iio.device import (
    DEV,
    SYSFS,
    Buffer,
    IioDevice,
    find_accelerometer,
    switch_off,
    switch_on,
)
from shopmon.capture.iio.layout import missing_before, plain_mounting
from shopmon.capture.polled import PolledSource
from shopmon.capture.quality import ClipCounter, ConstantWatch
from shopmon.capture.sampler.assembly import LOWEST_RATE_HZ, absurd_range
from shopmon.capture.source import SourceFormat, SourceNotice
from shopmon.capture.watch import Tally
from shopmon.errors import DeviceError
from shopmon.signals.block import Block, Channel, CodeFormat, Quality

RETRY_S, SILENT_S = 1.0, 2.0
MEASURE_S = 2.0
BELIEVED, ABSURD = 0.002, 0.15


class IioReader:
    """One switched-on buffer: bytes in, blocks out. The engine's thread uses it alone.

    Parameters
    ----------
    device, buffer
        The device and what its samples mean.
    end
        File descriptor of its buffer, which does not block.
    source_id
        Name of the source in the log.
    """

    def __init__(self, device: IioDevice, buffer: Buffer, end: int, source_id: str):
        self.device, self.buffer, self.end = device, buffer, end
        self._source_id = source_id
        self._rest = b""
        self._stream_id = str(uuid.uuid4())
        self._position = 0
        self._first_stamp: int | None = None
        self._last_stamp: float | None = None
        self._early: list[bytes] = []
        self._early_scans = 0
        self.lost = Tally()
        self.format: SourceFormat | None = None
        self.remarks: list[SourceNotice] = []
        self._turned = _turned(buffer)

    def read(self) -> Iterator[Block | SourceNotice]:
        """Yield what has come.

        Raises
        ------
        OSError
            The device is gone.
        """
        raw = self._rest
        while piece := self._piece():
            raw += piece
            if len(raw) > 1 << 20:
                break
        size = self.buffer.layout.scan_bytes
        whole = len(raw) // size * size
        self._rest = raw[whole:]
        if whole:
            yield from self._take(raw[:whole])

    def _piece(self) -> bytes:
        try:
            return os.read(self.end, 1 << 16)
        except BlockingIOError:
            return b""

    def _take(self, raw: bytes) -> Iterator[Block | SourceNotice]:
        """Measure the rate by the first seconds' timestamps, then hand on everything."""
        if self.format is not None:
            yield from self._deliver(raw)
            return
        self._early.append(raw)
        self._early_scans += len(raw) // self.buffer.layout.scan_bytes
        if self.buffer.stamped and self._early_scans < MEASURE_S * self.buffer.rate_hz:
            return
        raw, self._early = b"".join(self._early), []
        self._open(self._stamps(raw))
        yield from self._deliver(raw)

    def _open(self, stamps_s: np.ndarray | None) -> None:
        told = rate = self.buffer.rate_hz
        if stamps_s is not None and stamps_s.size > 2:
            measured = 1.0 / float(np.median(np.diff(stamps_s)[:: max(1, stamps_s.size // 5000)]))
            longer = (stamps_s.size - 1) / (stamps_s[-1] - stamps_s[0])
            measured = longer if abs(longer / measured - 1) < BELIEVED else measured
            if abs(measured / told - 1) > ABSURD:
                text = f"The driver says {told:g} Hz, but the samples come at {measured:.0f} Hz."
                hint = "The measured rate is used. See the sensor's settings."
                self.remarks.append(SourceNotice(code="rate-wrong", text=text, hint=hint))
            if abs(measured / told - 1) > BELIEVED:
                rate = measured
        if absurd := absurd_range(self.buffer.full_scales_g):
            self.remarks.append(absurd)
        code_format: CodeFormat = _format_for(self.buffer.bits)
        axes = len(self.buffer.axes)
        self.format = SourceFormat(
            source_id=self._source_id,
            name=self.device.name,
            sample_rate_hz=float(round(rate)),
            channels=(Channel(kind="accelerometer"),) * axes,
            code_format=code_format,
        )
        self._period_s = 1.0 / rate
        self._clips = ClipCounter(code_format, axes, self.buffer.bits)
        self._constant = ConstantWatch(self.format.sample_rate_hz, axes)

    def _stamps(self, raw: bytes) -> np.ndarray | None:
        if not self.buffer.stamped:
            return None
        stamps = self.buffer.layout.values(raw, "in_timestamp")[:, 0]
        # nanoseconds since 1970 do not fit into a float: count from the first
        if self._first_stamp is None:
            self._first_stamp = int(stamps[0])
        return (stamps - self._first_stamp) * 1e-9

    def _deliver(self, raw: bytes) -> Iterator[Block | SourceNotice]:
        codes = self._codes(raw)
        stamps_s = self._stamps(raw)
        cuts = []
        if stamps_s is not None:
            before = self._last_stamp if self._last_stamp is not None else stamps_s[0] - self._period_s
            missing = missing_before(np.concatenate([[before], stamps_s]), self._period_s)
            cuts = [(int(at), int(missing[at])) for at in np.flatnonzero(missing)]
            self._last_stamp = float(stamps_s[-1])
        for begin, end, gap in _between(cuts, len(codes)):
            if end > begin:
                yield from self._block(codes[begin:end], gap)

    def _block(self, codes: np.ndarray, gap: int) -> Iterator[Block | SourceNotice]:
        if gap:
            self._position += gap
            self._clips.restart()
            self.lost.add(gap)
        yield Block(
            codes=codes,
            code_format=self.format.code_format,
            sample_rate_hz=self.format.sample_rate_hz,
            first_sample=self._position,
            source_id=self._source_id,
            stream_id=self._stream_id,
            channels=self.format.channels,
            quality=Quality(clipped=self._clips.count(codes), gap=gap),
        )
        self._position += len(codes)
        yield from self._constant.feed(codes)

    def _codes(self, raw: bytes) -> np.ndarray:
        """The samples, shifted up so that full scale of the format is full scale of the sensor."""
        columns = [self.buffer.layout.values(raw, axis)[:, 0] for axis in self.buffer.axes]
        codes = np.stack([columns[axis] * sign for axis, sign in self._turned], axis=1)
        width = {"int16": 16, "int24": 24, "int32": 32}[_format_for(self.buffer.bits)]
        top = 2 ** (width - 1)
        codes = np.clip(codes << (width - self.buffer.bits), -top, top - 1)
        return codes.astype(np.int16 if width == 16 else np.int32)


def _between(cuts: list[tuple[int, int]], frames: int) -> Iterator[tuple[int, int, int]]:
    begin, gap = 0, 0
    for at, missing in cuts:
        yield begin, at, gap
        begin, gap = at, missing
    yield begin, frames, gap


def _format_for(bits: int) -> CodeFormat:
    return "int16" if bits <= 16 else "int24" if bits <= 24 else "int32"


def _turned(buffer: Buffer) -> tuple[tuple[int, int], ...]:
    """Which axis, with which sign, each delivered axis is: the mount matrix where that is all it says."""
    mounting = plain_mounting(buffer.mount_matrix) if buffer.mount_matrix is not None else None
    if mounting is None or len(buffer.axes) < 3:
        return tuple((axis, 1) for axis in range(len(buffer.axes)))
    return mounting


class IioSource(PolledSource):
    """Vibration from an accelerometer that the kernel drives.

    A sensor that is not there is no error: the source says so, waits, and takes it when it appears.

    Parameters
    ----------
    device
        Name of the device or a part of it; None where there is only one.
    source_id
        Name of the source in the log.
    sysfs, dev, clock
        Replaced by tests.
    """

    sensor = "accelerometer"
    turn_s = 0.02

    def __init__(
        self,
        device: str | None = None,
        *,
        source_id: str = "iio",
        sysfs: Path = SYSFS,
        dev: Path = DEV,
        clock: Callable[[], float] = time.monotonic,
    ):
        super().__init__(source_id, f"accelerometer {device}" if device else "accelerometer", clock)
        self._wanted, self._sysfs, self._dev = device, sysfs, dev
        self._reader: IioReader | None = None
        self._retry_at_s = float("-inf")
        self._heard_at_s = 0.0
        self._told_open = False

    @property
    def format(self) -> SourceFormat | None:
        """What is being delivered, None while the sensor is away."""
        return self._reader.format if self._reader else None

    @property
    def full_scales_g(self) -> tuple[float, ...] | None:
        """What full scale of each axis means by the driver, None while the sensor is away."""
        return self._reader.buffer.full_scales_g if self._reader else None

    @property
    def stated_part(self) -> str | None:
        """Which sensor the driver says that it is, None while it is away."""
        return self._reader.device.name if self._reader else None

    def turn(self, now_s: float) -> Iterator[Block | SourceNotice]:
        """Do what is due at this moment and yield what came of it; never waits.

        Parameters
        ----------
        now_s
            Monotonic time.
        """
        try:
            if self._reader is None:
                if now_s < self._retry_at_s:
                    return
                self._open(now_s)
            yield from self._listen(self._reader, now_s)
        except DeviceError as exc:
            yield from self._give_up(now_s, exc.text, exc.hint)
        except OSError:
            yield from self._give_up(now_s, f"The {self.name} is gone.", "")

    def close(self) -> None:
        """Switch the buffer off and let it go; calling it twice is harmless."""
        self._closed = True
        self._let_go()

    def _let_go(self) -> None:
        reader, self._reader = self._reader, None
        if reader:
            os.close(reader.end)
            switch_off(reader.device)

    def _open(self, now_s: float) -> None:
        device = find_accelerometer(self._wanted, self._sysfs)
        buffer = switch_on(device)
        if buffer.rate_hz < LOWEST_RATE_HZ:
            switch_off(device)
            hint = "Write a higher one into its in_accel_sampling_frequency; chatter needs several thousand."
            raise DeviceError(f"{device.name} samples at {buffer.rate_hz:g} Hz, too slow to listen to.", hint)
        path = self._dev / device.folder.name
        try:
            end = os.open(path, os.O_RDONLY | os.O_NONBLOCK)
        except OSError as exc:
            switch_off(device)
            hint = "Another program may have it, or the right to read it is lacking: a udev rule gives it."
            raise DeviceError(f"{path} cannot be opened: {exc.strerror}.", hint) from None
        self.name = device.name
        self._reader = IioReader(device, buffer, end, self.source_id)
        self._heard_at_s, self._told_open = now_s, False

    def _listen(self, reader: IioReader, now_s: float) -> Iterator[Block | SourceNotice]:
        for item in reader.read():
            if not self._told_open:
                self._told_open = True
                yield self._opened(reader)
                yield from reader.remarks
            self._heard_at_s = now_s
            yield item
        if lost := reader.lost.release(now_s):
            yield SourceNotice(
                code="input-overflow",
                text=f"By its timestamps {lost} samples of the {self.name} are missing.",
                hint="The computer did not fetch them in time: see what else runs on it.",
            )
        waits_s = SILENT_S + (0.0 if self._told_open else MEASURE_S)
        if now_s - self._heard_at_s > waits_s:
            hint = "Some drivers need a trigger: its name belongs into trigger/current_trigger of the device."
            yield from self._give_up(now_s, f"The {self.name} delivers nothing.", hint)

    def _opened(self, reader: IioReader) -> SourceNotice:
        form, buffer = reader.format, reader.buffer
        text = f"{form.sample_rate_hz:g} Hz, {len(buffer.axes)} axes, {buffer.bits} bits"
        matrix = buffer.mount_matrix
        if matrix is not None and plain_mounting(matrix) is None:
            text += "; its mount matrix turns by odd angles and is left out"
        return self._here(self.name, text)

    def _give_up(self, now_s: float, text: str, hint: str) -> Iterator[SourceNotice]:
        self._let_go()
        self._retry_at_s = now_s + RETRY_S
        yield from self._lost(text, hint)

"""From frames of the sampler board to blocks: what follows what, what is missing, when a stream begins."""

import uuid
from collections.abc import Iterator

import numpy as np

from shopmon.capture.quality import ClipCounter, ConstantWatch
from shopmon.capture.sampler.frames import BoardFrame
from shopmon.capture.source import SourceFormat, SourceNotice
from shopmon.capture.watch import Tally
from shopmon.signals.block import Block, Channel, Quality
from shopmon.signals.sensors.tachometer import edge_codes

LONGEST_GAP_S = 3600.0
LOWEST_RATE_HZ, HIGHEST_RATE_HZ = 1000.0, 1_000_000.0  # what the listener takes
LEAST_RANGE_G, MOST_RANGE_G = 0.5, 1000.0
COLDEST_C, HOTTEST_C = -40.0, 125.0  # that such parts are made for
SENSORS = {1: "ADXL345", 2: "ADXL355", 3: "LIS3DH", 4: "IIS3DWB", 5: "ADXL1002"}
OWN_SENSORS_FROM = 128
SURE_OF_RESTART = 8  # frames of before in a row: the board did begin anew, with its old number
_DROPPED_HINT = "The computer did not fetch the samples in time: see what else runs on it."
_LINE_HINT = "See the USB cable and its plug; keep it away from the cable of the spindle drive."


class Assembly:
    """Joins frames to blocks of one stream after another; reads no clock and no port.

    Parameters
    ----------
    source_id, name
        What the blocks say of themselves.

    Attributes
    ----------
    format
        What is being delivered, None before the first frame.
    refused
        Duplicate and late frames that were left out.
    """

    def __init__(self, source_id: str, name: str):
        self._source_id = source_id
        self.name = name
        self.format: SourceFormat | None = None
        self.newest: BoardFrame | None = None
        self.refused = 0
        self._stream_id = ""
        self._origin = 0
        self._gap = 0
        self._unfit_session: int | None = None
        self._odd_temperature = False
        self._late: tuple[BoardFrame, int] | None = None
        self._dropped, self._lost = Tally(), Tally()

    def take(self, frames: list[BoardFrame]) -> Iterator[Block | SourceNotice]:
        """Yield the blocks in these frames, as few as can be, and what is to be said about them.

        Parameters
        ----------
        frames
            In the order in which they came.
        """
        waiting: list[BoardFrame] = []
        for frame in frames:
            if not LOWEST_RATE_HZ <= frame.sample_rate_hz <= HIGHEST_RATE_HZ:
                yield from self._unfit(frame)
                continue
            last = self.newest
            if last is not None and frame.stream_key == last.stream_key and not _goes_on(last, frame):
                self.refused += 1
                if not self._is_restart(frame):
                    continue
            self._late = None
            joins = bool(waiting) and _follows(last, frame)
            if waiting and not joins:
                yield from self._block(waiting)
                waiting = []
            if not waiting:
                yield from self._begin(last, frame)
            self.newest = frame
            waiting.append(frame)
            if not (believable(frame.temperature_c) or self._odd_temperature):
                self._odd_temperature = True
                yield _odd_temperature(frame.temperature_c)
        if waiting:
            yield from self._block(waiting)

    def release(self, now_s: float) -> Iterator[SourceNotice]:
        """Say what was lost since it was last said; at most now and then."""
        rate = self.newest.sample_rate_hz if self.newest else 1.0
        if dropped := self._dropped.release(now_s):
            yield SourceNotice(
                code="board-dropped",
                text=f"The board had to drop {dropped} samples ({dropped / rate:.3f} s).",
                hint=_DROPPED_HINT,
            )
        if lost := self._lost.release(now_s):
            yield SourceNotice(
                code="line-lost",
                text=f"{lost} samples ({lost / rate:.3f} s) were damaged or lost on the way from the board.",
                hint=_LINE_HINT,
            )

    def forget(self) -> None:
        """Begin a new stream with the next frame: the port was closed in between."""
        self.newest = None
        self.format = None

    def _unfit(self, frame: BoardFrame) -> Iterator[SourceNotice]:
        if frame.session != self._unfit_session:
            self._unfit_session = frame.session
            yield SourceNotice(
                code="rate-unfit",
                text=f"The board samples at {frame.sample_rate_hz:g} Hz, which cannot be listened to.",
                hint=f"Set its sensor to a rate from {LOWEST_RATE_HZ:g} to {HIGHEST_RATE_HZ:g} Hz.",
            )

    def _is_restart(self, frame: BoardFrame) -> bool:
        follows = self._late is not None and _follows(self._late[0], frame)
        self._late = (frame, self._late[1] + 1 if follows else 1)
        return self._late[1] >= SURE_OF_RESTART

    def _begin(self, last: BoardFrame | None, frame: BoardFrame) -> Iterator[SourceNotice]:
        """Prepare for a block that begins with this frame: a new stream, or the old one after a gap."""
        self._gap = 0
        same = last is not None and frame.stream_key == last.stream_key and _goes_on(last, frame)
        gap = frame.first_sample - last.end_sample if same else 0
        if same and gap <= LONGEST_GAP_S * frame.sample_rate_hz:
            self._gap = gap
            dropped = min(gap, frame.dropped - last.dropped)
            self._dropped.add(dropped)
            self._lost.add(gap - dropped)
            return
        if last is not None:
            yield _restarted(last, frame)
        self._start(frame)
        if absurd := absurd_range((frame.range_g,)):
            yield absurd
        if 0 < frame.sensor_id < OWN_SENSORS_FROM and frame.sensor_id not in SENSORS:
            yield SourceNotice(
                code="sensor-unknown",
                text=f"The board says that its sensor is of kind {frame.sensor_id}, which is not known here.",
                hint="Say on the page Sensors which part it is, and calibrate it by gravity.",
            )

    def _start(self, frame: BoardFrame) -> None:
        self._stream_id, self._origin = str(uuid.uuid4()), frame.first_sample
        self._odd_temperature = False
        channels = (Channel(kind="accelerometer"),) * frame.codes.shape[1]
        if frame.tach_connected:
            channels += (Channel(kind="tachometer"),)
        code_format = "int16" if frame.sample_bytes == 2 else "int24"
        self.format = SourceFormat(
            source_id=self._source_id,
            name=self.name,
            # recordings hold whole hertz; half of one is less than the quartz of the board is sure of
            sample_rate_hz=float(round(frame.sample_rate_hz)),
            channels=channels,
            code_format=code_format,
        )
        self._clips = ClipCounter(code_format, frame.codes.shape[1])
        self._constant = ConstantWatch(frame.sample_rate_hz, frame.codes.shape[1])

    def _block(self, frames: list[BoardFrame]) -> Iterator[Block | SourceNotice]:
        first = frames[0]
        sound = np.concatenate([frame.codes for frame in frames]) if len(frames) > 1 else first.codes
        if self._gap:
            self._clips.restart()
        codes = sound
        if first.tach_connected:
            begin = first.first_sample
            edges = [each.first_sample - begin + edge for each in frames for edge in each.edges]
            codes = np.column_stack([sound, edge_codes(edges, len(sound), self.format.code_format)])
        yield Block(
            codes=codes,
            code_format=self.format.code_format,
            sample_rate_hz=self.format.sample_rate_hz,
            first_sample=first.first_sample - self._origin,
            source_id=self._source_id,
            stream_id=self._stream_id,
            channels=self.format.channels,
            quality=Quality(clipped=self._clips.count(sound), gap=self._gap),
        )
        yield from self._constant.feed(sound)


def believable(temperature_c: float | None) -> bool:
    """Tell whether a sensor can be as warm as it says; one that says nothing can."""
    return temperature_c is None or COLDEST_C <= temperature_c <= HOTTEST_C


def _odd_temperature(temperature_c: float) -> SourceNotice:
    return SourceNotice(
        code="temperature-absurd",
        text=f"The sensor says that it is at {temperature_c:.0f} °C, which cannot be; its samples are taken.",
        hint="See its wiring: the samples may be wrong, too. Turn it over to check (page Sensors).",
    )


def absurd_range(full_scales_g: tuple[float, ...]) -> SourceNotice | None:
    """Return what is to be said of a range that no accelerometer for machines has."""
    wrong = [value for value in full_scales_g if not LEAST_RANGE_G <= value <= MOST_RANGE_G]
    if not wrong:
        return None
    return SourceNotice(
        code="range-absurd",
        text=f"The sensor says that its range is ±{wrong[0]:g} g, which cannot be.",
        hint="Its scale is set wrong. Calibrate it by gravity on the page Sensors, or mend its program.",
    )


def _follows(last: BoardFrame, frame: BoardFrame) -> bool:
    return frame.stream_key == last.stream_key and frame.first_sample == last.end_sample


def _goes_on(last: BoardFrame, frame: BoardFrame) -> bool:
    """Whether a frame of the same session comes after the last one in every count."""
    return (
        0 < (frame.sequence - last.sequence) & 0xFFFFFFFF < 1 << 31
        and frame.first_sample >= last.end_sample
        and frame.dropped >= last.dropped
    )


def _changed(last: BoardFrame, frame: BoardFrame) -> str:
    """What is another now: rate, range, sensor, number of axes."""
    before, after = (
        {
            "sample rate": f"{each.sample_rate_hz:g} Hz",
            "range": f"±{each.range_g:g} g",
            "sensor": SENSORS.get(each.sensor_id, f"kind {each.sensor_id}"),
            "axes": f"{each.codes.shape[1]}",
        }
        for each in (last, frame)
    )
    parts = [f"{name} from {before[name]} to {after[name]}" for name in before if before[name] != after[name]]
    return ", and its ".join(parts)


def _restarted(last: BoardFrame, frame: BoardFrame) -> SourceNotice:
    if changed := _changed(last, frame):
        text = f"The board has changed its {changed}."
    elif frame.session == last.session:
        text = "The stream of the board makes a jump of which the length is not known."
    else:
        text = "The board has started anew; how much is missing in between is not known."
    return SourceNotice(
        code="board-restarted",
        text=text,
        hint="A new recording begins here. If it happens by itself, see the board's supply and its cable.",
    )

"""The reader's side of one running stream: blocks out of the ring, their quality, signs of life."""

import uuid
from collections.abc import Iterator

from shopmon.capture.codes import unpack
from shopmon.capture.portaudio import BLOCK_FRAMES, OpenInput, block_frames
from shopmon.capture.quality import ClipCounter, ConstantWatch
from shopmon.capture.ring import Taken
from shopmon.capture.source import SourceFormat, SourceNotice
from shopmon.capture.watch import LatenessWatch, Tally, Watchdog
from shopmon.signals.block import Block, Channel, Quality

FIRST_CALLBACK_S = 5.0  # a sound server can take two seconds to begin
_LOSS_HINT = "See what else runs on the computer; a shorter USB cable or another socket may help."


class StreamReader:
    """Reads one running stream: its blocks, their quality, and whether it still lives.

    Parameters
    ----------
    stream
        The stream.
    source_id
        Name of the source in the log.
    sensor
        What kind of sensor it is.
    """

    def __init__(self, stream: OpenInput, source_id: str, sensor: str):
        self.stream = stream
        self.format = SourceFormat(
            source_id=source_id,
            name=stream.device.name,
            sample_rate_hz=stream.sample_rate_hz,
            channels=(Channel(kind=sensor),) * stream.channels,
            code_format=stream.code_format,
        )
        self.delivers = False
        self._stream_id = str(uuid.uuid4())
        self._intake = stream.intake
        self._rate = rate = stream.sample_rate_hz
        self._clips = ClipCounter(stream.code_format, stream.channels)
        self._constant = ConstantWatch(rate, stream.channels)
        self._lateness = LatenessWatch(rate)
        self._watchdog = Watchdog(max(1.0, 10 * block_frames(rate) / rate), FIRST_CALLBACK_S)
        self._overflows = 0
        self._overflow_tally, self._lost_tally = Tally(), Tally()

    def wait(self, timeout_s: float) -> None:
        """Wait until the callback delivers, or for a while."""
        self._intake.ring.wait(timeout_s)

    def read(self, now_s: float) -> Iterator[Block | SourceNotice]:
        """Yield the blocks that wait now and what is to be said about them."""
        waiting = self._intake.ring.waiting_frames
        while waiting > 0 and (taken := self._intake.ring.take(BLOCK_FRAMES)):
            self.delivers = True
            block = self._block(taken)
            waiting -= block.frames
            yield block
            yield from self._constant.feed(block.codes)
        yield from self._notices(now_s)

    def is_lost(self, now_s: float) -> bool:
        """Tell whether nothing more will come."""
        ended = self._intake.finished and not self._intake.ring.waiting_frames
        return ended or self._watchdog.is_lost(now_s, self._intake.callbacks)

    def loss_text(self) -> str:
        """Say how the stream was lost."""
        name = self.stream.device.name
        return f"{name} has stopped delivering sound." if self.delivers else f"{name} delivers no sound."

    def _block(self, taken: Taken) -> Block:
        if taken.lost:
            self._clips.restart()
            self._lost_tally.add(taken.lost)
        codes = unpack(taken.raw, self.format.code_format, self.stream.channels)
        overflows = self._intake.overflows
        new_overflows, self._overflows = overflows - self._overflows, overflows
        self._overflow_tally.add(new_overflows)
        return Block(
            codes=codes,
            code_format=self.format.code_format,
            sample_rate_hz=self.format.sample_rate_hz,
            first_sample=taken.first_sample,
            source_id=self.format.source_id,
            stream_id=self._stream_id,
            channels=self.format.channels,
            quality=Quality(overflow=new_overflows, clipped=self._clips.count(codes), gap=taken.lost),
        )

    def _notices(self, now_s: float) -> Iterator[SourceNotice]:
        if lost := self._lost_tally.release(now_s):
            yield SourceNotice(
                code="consumer-slow",
                text=f"The computer was too busy: {lost / self._rate:.2f} s of sound was lost.",
                hint="See what else runs on it, and whether it is too hot.",
            )
        if overflows := self._overflow_tally.release(now_s):
            yield SourceNotice(
                code="input-overflow",
                text=f"The sound system reported lost sound {overflows} times.",
                hint=_LOSS_HINT,
            )
        if missing := self._missing_s():
            yield SourceNotice(
                code="input-late",
                text=f"By the clock {missing:.2f} s of sound is missing, and nothing reported it as lost.",
                hint=_LOSS_HINT,
            )

    def _missing_s(self) -> float:
        intake = self._intake
        if not intake.callbacks:
            return 0.0
        return self._lateness.missing_s(intake.last_callback_s, intake.ring.offered_frames)

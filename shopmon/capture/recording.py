"""A recording as a source: the file's own codes, at once or at the speed of its sample clock."""

import threading
import time
import uuid
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from shopmon.capture.audio_file import AudioFile, seconds
from shopmon.capture.pacing import Pacer
from shopmon.capture.quality import ClipCounter, ConstantWatch
from shopmon.capture.source import SourceFormat, SourceNotice
from shopmon.signals.block import Block, Channel, Quality

_BULK_CODES = 65_536
_BLOCKS_PER_S = 47


class RecordingSource:
    """Plays a sound file once.

    Parameters
    ----------
    path
        WAV, FLAC, Ogg or anything else libsndfile reads, also RF64 and files cut short.
    real_time
        Pace the blocks by the monotonic clock; otherwise they come as fast as they can be read.
    sensor
        What the recording was made with.
    channels
        What each channel was made with, where that is known; goes before `sensor`.
    source_id
        Name of the source in the log; the file's name when not given.
    clock
        Monotonic seconds; given by tests.

    Raises
    ------
    RecordingError
        There is no such file, it may not be read, it is not sound, or it holds no samples.
    """

    def __init__(
        self,
        path: str | Path,
        real_time: bool = True,
        *,
        sensor: str = "microphone",
        channels: Sequence[Channel] = (),
        source_id: str | None = None,
        clock: Callable[[], float] = time.monotonic,
    ):
        self._audio = AudioFile(path)
        self._real_time = real_time
        self.source_id = source_id or self._audio.path.name
        self.name = f"recording {self._audio.path.name}"
        self._format = SourceFormat(
            source_id=self.source_id,
            name=self.name,
            sample_rate_hz=self._audio.sample_rate_hz,
            channels=_channels(self._audio.channels, sensor, channels),
            code_format=self._audio.code_format,
        )
        self._clock = clock

    @property
    def format(self) -> SourceFormat:
        """What the file holds."""
        return self._format

    @property
    def declared_frames(self) -> int | None:
        """How many frames the file claims to hold, None when it does not say."""
        return self._audio.declared_frames

    def blocks(self, stop: threading.Event) -> Iterator[Block | SourceNotice]:
        """Yield the file's blocks from its beginning, then a ``recording-ended`` notice.

        A file that lacks its end gives what can be read, then a ``recording-truncated`` notice.

        Raises
        ------
        RecordingError
            A sample is not a finite number: no analysis is possible.
        """
        self._audio.rewind()
        yield SourceNotice(code="device-opened", text=f"Playing {self.name}: {_describe(self._format)}.")
        player = Player(self._format, self._audio, clock=self._clock if self._real_time else None)
        yield from player.play(stop)
        if stop.is_set():
            return
        if self._audio.cut_short:
            yield self._truncated_notice(player.position)
        yield SourceNotice(code="recording-ended", text=f"The {self.name} has ended.")

    def close(self) -> None:
        """Close the file; calling it twice is harmless."""
        self._audio.close()

    def _truncated_notice(self, frames: int) -> SourceNotice:
        read = seconds(frames, self._format.sample_rate_hz)
        declared = self._audio.declared_frames
        of = f" of {seconds(declared, self._format.sample_rate_hz)}" if declared and declared > frames else ""
        return SourceNotice(
            code="recording-truncated",
            text=f"The {self.name} was cut short or damaged: {read}{of} could be read.",
            hint="What could be read is complete up to there; copy the file again if it came from elsewhere.",
        )


class Player:
    """Turns a sound file into the blocks of one stream, the sample count running on from play to play.

    Parameters
    ----------
    source_format
        What the blocks say of themselves.
    audio
        The file.
    clock
        Monotonic seconds to pace by; None plays as fast as the file can be read.
    """

    def __init__(self, source_format: SourceFormat, audio: AudioFile, clock: Callable[[], float] | None):
        self._format = source_format
        self._audio = audio
        channels = audio.channels
        self._pacer = Pacer(audio.sample_rate_hz, clock) if clock else None
        paced, bulk = round(audio.sample_rate_hz / _BLOCKS_PER_S), _BULK_CODES // channels
        self._block_frames = max(1, paced if clock else bulk)
        self._clips = ClipCounter(audio.code_format, channels, audio.bits, audio.open_ended)
        self._constant = ConstantWatch(audio.sample_rate_hz, channels)
        self._stream_id = str(uuid.uuid4())
        self.position = 0

    def play(self, stop: threading.Event) -> Iterator[Block | SourceNotice]:
        """Yield the file once, from where it stands to its end or until `stop` is set."""
        while not stop.is_set():
            codes = self._audio.read(self._block_frames)
            end = self.position + len(codes)
            if not len(codes) or (self._pacer and not self._pacer.wait(end, stop)):
                return
            yield Block(
                codes=codes,
                code_format=self._format.code_format,
                sample_rate_hz=self._format.sample_rate_hz,
                first_sample=self.position,
                source_id=self._format.source_id,
                stream_id=self._stream_id,
                channels=self._format.channels,
                quality=Quality(clipped=self._clips.count(codes)),
            )
            self.position = end
            yield from self._constant.feed(codes)


def _channels(count: int, sensor: str, known: Sequence[Channel]) -> tuple[Channel, ...]:
    return tuple(known) if len(known) == count else (Channel(kind=sensor),) * count


def _describe(source_format: SourceFormat) -> str:
    channels = len(source_format.channels)
    words = f"{channels} channel" + ("s" if channels > 1 else "")
    return f"{source_format.sample_rate_hz:g} Hz, {words}, {source_format.code_format}"

"""Streams whose every sample follows from its index, so that a recording can be checked by itself."""

from pathlib import Path

import numpy as np
import soundfile

from shopmon.records.archive import Archive, FeatureRow, StreamInfo
from shopmon.signals.block import Block, Channel

BITS = {"int16": 16, "int24": 24, "int32": 32}
KIND = {"int16": np.int16, "int24": np.int32, "int32": np.int32, "float32": np.float32}


def codes_between(first: int, end: int, info: StreamInfo) -> np.ndarray:
    """Return the codes of samples `first` to `end`, shape ``(frames, channels)``; full range, both signs."""
    index = np.arange(first, end, dtype=np.int64)[:, None] + 977 * np.arange(info.channels)
    mixed = (index * 2654435761) % 2**32
    if info.code_format == "float32":
        return (mixed / 2**31 - 1).astype(np.float32)
    bits = BITS[info.code_format]
    return ((mixed >> (32 - bits)) - 2 ** (bits - 1)).astype(KIND[info.code_format])


def stream(
    rate_hz: float = 1000.0, channels: int = 1, code_format="int16", stream_id: str = "stream"
) -> StreamInfo:
    """Return a stream; slow by default, so that minutes of it are quickly made."""
    return StreamInfo(
        source_id="source",
        stream_id=stream_id,
        name="Synthetic",
        sample_rate_hz=rate_hz,
        channels=channels,
        code_format=code_format,
        settings={"cut_gap_s": 3.0},
    )


def block_between(first: int, end: int, info: StreamInfo) -> Block:
    """Return one block of the stream."""
    return Block(
        codes=codes_between(first, end, info),
        code_format=info.code_format,
        sample_rate_hz=info.sample_rate_hz,
        first_sample=first,
        source_id=info.source_id,
        stream_id=info.stream_id,
        channels=(Channel(),) * info.channels,
    )


class Feed:
    """Feeds a synthetic stream to an archive, with snapshots every 5 s and features ten times a second."""

    def __init__(self, archive: Archive, info: StreamInfo | None = None):
        self.archive, self.info = archive, info or stream()
        self.position = 0
        self.engaged = False
        self._next_snapshot = 0
        archive.start_stream(self.info)

    def to(self, seconds: float) -> None:
        """Go on until that second of the stream."""
        step = self.info.frames(0.1)
        while self.position < self.info.frames(seconds):
            if self.position >= self._next_snapshot:
                self.snapshot()
            end = min(self.position + step, self.info.frames(seconds))
            self.archive.append(block_between(self.position, end, self.info))
            self.position = end
            self.archive.append_features(self.info.stream_id, feature(end, self.engaged))

    def snapshot(self) -> None:
        """Keep a state that says where it belongs."""
        self._next_snapshot = self.position + self.info.frames(5.0)
        state = {"schema": "shopmon.listener-state/1", "here": self.position}
        self.archive.snapshot(self.info.stream_id, self.position, state, {"flutes": 3})

    def skip_to(self, seconds: float) -> None:
        """Lose everything until that second."""
        self.position = self.info.frames(seconds)

    def cut(self, cut_id: str, start_s: float, end_s: float) -> None:
        """Start a cut in the past and end it where the stream then is."""
        first, end = self.info.frames(start_s), self.info.frames(end_s)
        self.archive.start_cut(cut_id, self.info.stream_id, first, {})
        self.to(end_s)
        self.archive.end_cut(cut_id, end, [(first, end)], [], {"state": "cutting"}, "0", "hash")


def feature(end_sample: int, engaged: bool = False) -> FeatureRow:
    """Return the figures of one frame."""
    return FeatureRow(
        end_sample=end_sample,
        rpm=12_000.0 if engaged else None,
        level_db=-30.0,
        comb_db=-40.0,
        stray_db=None,
        state="cutting" if engaged else "spinning",
        engaged=engaged,
    )


def read_codes(path: Path, info: StreamInfo) -> np.ndarray:
    """Return the codes in a recording, shape ``(frames, channels)``."""
    if info.code_format == "float32":
        return soundfile.read(path, dtype="float32", always_2d=True)[0]
    wide = soundfile.read(path, dtype="int32", always_2d=True)[0]
    return (wide >> (32 - BITS[info.code_format])).astype(KIND[info.code_format])


def audio_span(archive: Archive, cut_id: str) -> tuple[int, int]:
    """Return first and end sample of a cut's recording, after checking every sample outside its gaps."""
    cut = archive.cut(cut_id)
    info = stream(cut["sample_rate_hz"], stream_id=cut["stream_id"])
    found = read_codes(archive.audio_path(cut_id), info)
    first = cut["recording_first_sample"]
    expected = codes_between(first, first + len(found), info).copy()
    for start_s, end_s in cut["gaps"]:
        expected[info.frames(start_s) : info.frames(end_s)] = 0
    np.testing.assert_array_equal(found, expected)
    return first, first + len(found)

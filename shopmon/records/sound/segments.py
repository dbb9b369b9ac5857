"""The rolling buffer's audio: short WAV files that survive the death of whoever writes them.

A segment is named by the stream's sample it begins with and has no gap inside. Its length is what its size
says, so a header that was never finished does no harm. While written it ends in ``.part.wav``, then in
``.wav``.
"""

import os
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from shopmon.records.folder import sync
from shopmon.records.sound.stream_info import SAMPLE_BYTES, StreamInfo

HEADER_BYTES = 44
READ_FRAMES = 65_536
UNKNOWN = 0xFFFFFFFF


@dataclass(frozen=True)
class Segment:
    """A stretch of audio on disk, samples ``first`` to ``end`` (exclusive) of its stream."""

    path: Path
    first: int
    end: int

    @property
    def bytes(self) -> int:
        """Size of the file, roughly: without the header's 44."""
        try:
            return self.path.stat().st_size
        except FileNotFoundError:
            return 0


def segments_in(folder: Path, info: StreamInfo) -> list[Segment]:
    """List the segments of `folder` in order, whether their writer finished or was killed."""
    found = {}
    for listed in folder.glob("*.wav"):
        path, size = _size(listed)
        first = int(path.name.split(".")[0])
        frames = max(0, size - HEADER_BYTES) // info.frame_bytes
        if frames:
            found[first] = Segment(path, first, first + frames)
    return [found[first] for first in sorted(found)]


def _size(path: Path) -> tuple[Path, int]:
    # the writer may finish, and so rename, the segment between the listing and this
    for candidate in (path, path.with_name(path.name.replace(".part.wav", ".wav"))):
        try:
            return candidate, candidate.stat().st_size
        except FileNotFoundError:
            continue
    return path, 0


def read_segment(segment: Segment, info: StreamInfo, first: int, end: int) -> Iterator[np.ndarray]:
    """Yield the codes from stream sample `first` to `end`, in pieces of at most 65,536 frames."""
    with open(segment.path, "rb") as file:
        file.seek(HEADER_BYTES + (first - segment.first) * info.frame_bytes)
        left = end - first
        while left > 0:
            raw = file.read(min(left, READ_FRAMES) * info.frame_bytes)
            codes = info.decode(raw[: len(raw) - len(raw) % info.frame_bytes])
            if not len(codes):
                raise EOFError(f"{segment.path.name} ends {left} frames early")
            yield codes
            left -= len(codes)


class SegmentWriter:
    """Writes the segments of one stream; used by the writer thread alone.

    Parameters
    ----------
    folder
        The stream's own folder.
    info
        The stream.
    segment_frames
        Length after which a new segment begins.
    """

    def __init__(self, folder: Path, info: StreamInfo, segment_frames: int):
        self.folder, self.info, self.segment_frames = folder, info, segment_frames
        self.closed: list[Segment] = []
        self._file: int | None = None
        self._path: Path | None = None
        self._first = self._end = 0
        self._dirty = False

    @property
    def open_segment(self) -> Segment | None:
        """The segment that is being written."""
        return None if self._file is None else Segment(self._path, self._first, self._end)

    @property
    def first_available(self) -> int | None:
        """The oldest sample on disk."""
        if self.closed:
            return self.closed[0].first
        return None if self._file is None else self._first

    def write(self, raw: bytes, first_sample: int) -> None:
        """Append encoded frames; a jump in `first_sample` or a full segment begins a new one.

        Raises
        ------
        OSError
            The disk is full or gone. What was written stays readable, and the next call begins a new segment.
        """
        if self._file is not None and (
            first_sample != self._end or self._end - self._first >= self.segment_frames
        ):
            self.rotate()
        try:
            if self._file is None:
                self._begin(first_sample)
            _write_all(self._file, raw)
        except OSError:
            self._abandon()
            raise
        self._end += len(raw) // self.info.frame_bytes
        self._dirty = True

    def sync(self) -> None:
        """Force what was written onto the disk."""
        if self._file is not None and self._dirty:
            os.fdatasync(self._file)
            self._dirty = False

    def rotate(self) -> None:
        """Finish the open segment, so that the next write begins a new one."""
        if self._file is None:
            return
        try:
            os.pwrite(self._file, _header(self.info, self._end - self._first), 0)
            os.fdatasync(self._file)
        finally:
            self._abandon()

    def evict(self, before: int, needed) -> int:
        """Delete closed segments that end at or before `before`, unless ``needed(segment)``; count bytes."""
        freed = 0
        for segment in list(self.closed):
            if segment.end <= before and not needed(segment):
                freed += segment.bytes
                segment.path.unlink(missing_ok=True)
                self.closed.remove(segment)
        return freed

    def _begin(self, first_sample: int) -> None:
        self._path = self.folder / f"{first_sample:015d}.part.wav"
        self._first = self._end = first_sample
        self._file = os.open(self._path, os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_CLOEXEC, 0o644)
        _write_all(self._file, _header(self.info, None))
        sync(self.folder)

    def _abandon(self) -> None:
        # also after a failed write: the file's size tells what of it can be read
        if self._file is None:
            return
        frames = max(0, os.fstat(self._file).st_size - HEADER_BYTES) // self.info.frame_bytes
        os.close(self._file)
        self._file = None
        if not frames:
            self._path.unlink(missing_ok=True)
            return
        final = self._path.with_name(self._path.name.replace(".part.wav", ".wav"))
        os.rename(self._path, final)
        self.closed.append(Segment(final, self._first, self._first + frames))


def _write_all(file: int, raw: bytes) -> None:
    view = memoryview(raw)
    while view:
        view = view[os.write(file, view) :]


def _header(info: StreamInfo, frames: int | None) -> bytes:
    # unknown length is written as the greatest, as streams do: other programs then read to the end
    size = UNKNOWN if frames is None else min(frames * info.frame_bytes, UNKNOWN - 36)
    rate = round(info.sample_rate_hz)
    bits = 8 * SAMPLE_BYTES[info.code_format]
    tag = 3 if info.code_format == "float32" else 1
    form = struct.pack("<HHIIHH", tag, info.channels, rate, rate * info.frame_bytes, info.frame_bytes, bits)
    whole = struct.pack("<I", min(size + 36, UNKNOWN))
    return b"RIFF" + whole + b"WAVEfmt " + struct.pack("<I", 16) + form + b"data" + struct.pack("<I", size)

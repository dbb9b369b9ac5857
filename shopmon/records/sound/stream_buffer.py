"""The rolling buffer of one stream on disk: audio, features and listener states side by side."""

import json
from bisect import bisect_right
from dataclasses import dataclass
from pathlib import Path

from shopmon.records.database import to_json
from shopmon.records.folder import sync
from shopmon.records.sound.chunks import ChunkLog
from shopmon.records.sound.features import SUFFIX as FEATURES
from shopmon.records.sound.segments import Segment, SegmentWriter
from shopmon.records.sound.stream_info import StreamInfo

STATES = ".states.jsonl"
SEGMENT_S = 30.0
SHORT_SEGMENT_S = 10.0  # where little is kept, it goes away in small steps
CHUNK_S = 60.0
SNAPSHOT_REACH_S = 30.0  # an older snapshot would make a recording begin too early


@dataclass(frozen=True)
class Beginning:
    """Where a recording begins, with the listener's state there (None where none was kept) and the setup."""

    sample: int
    state: dict | None = None
    setup: dict | None = None


class StreamBuffer:
    """Owns the files of one stream; used by the writer thread alone.

    Parameters
    ----------
    folder
        Made here; its own for each stream.
    info
        The stream.
    keep_audio
        False where only figures may be written: then no audio and no listener states are.
    buffer_s
        How much is to be held; decides how long the segments are.
    """

    def __init__(self, folder: Path, info: StreamInfo, *, keep_audio: bool, buffer_s: float):
        folder.mkdir(parents=True, exist_ok=True)
        info.save(folder / "stream.json")
        sync(folder.parent)
        self.folder, self.info, self.keep_audio = folder, info, keep_audio
        segment_s = SEGMENT_S if buffer_s >= 4 * SEGMENT_S else SHORT_SEGMENT_S
        self.audio = SegmentWriter(folder, info, info.frames(segment_s))
        self.features = ChunkLog(folder, FEATURES, info.frames(CHUNK_S))
        self.states = ChunkLog(folder, STATES, info.frames(CHUNK_S))
        self.position: int | None = None
        self._snapshots: list[tuple[int, Path, int]] = []

    def advance(self, first_sample: int, frames: int, raw: bytes) -> tuple[int, bytes]:
        """Move on to the end of a block; return what of it is new, in case it overlaps what was there."""
        known = min(max(0, (self.position or 0) - first_sample), frames)
        self.position = max(self.position or 0, first_sample + frames)
        return first_sample + known, raw[known * self.info.frame_bytes :]

    def add_snapshot(self, sample: int, state: dict, setup: dict) -> None:
        """Keep a listener state that belongs right before `sample`."""
        line = to_json({"sample": sample, "state": state, "setup": setup}).encode() + b"\n"
        path, place = self.states.append(line, sample)
        self._snapshots.append((sample, path, place))

    def beginning(self, wanted: int) -> Beginning:
        """Choose where a recording begins that must hold `wanted`: at a snapshot, at or before it."""
        oldest = self.audio.first_available
        wanted = max(wanted, 0 if oldest is None else oldest)
        index = bisect_right(self._snapshots, wanted, key=lambda snapshot: snapshot[0]) - 1
        if index < 0:
            return Beginning(wanted)
        sample, path, place = self._snapshots[index]
        if sample < (oldest or 0) or wanted - sample > self.info.frames(SNAPSHOT_REACH_S):
            return Beginning(wanted)
        return _read_snapshot(path, place) or Beginning(wanted)

    def sync(self) -> None:
        """Force everything onto the disk."""
        for part in (self.audio, self.features, self.states):
            part.sync()

    def evict(self, before: int, needed) -> None:
        """Delete what ends before `before` unless ``needed(segment)``."""
        self.audio.evict(before, needed)
        held = Segment(self.folder, 0, max(0, before))
        if not needed(held):
            self.features.evict(before)
            self.states.evict(before)
            while self._snapshots and self._snapshots[0][0] < before:
                self._snapshots.pop(0)

    def close(self) -> None:
        """Finish all files; calling it twice is harmless."""
        self.audio.rotate()
        self.features.close()
        self.states.close()


def _read_snapshot(path: Path, place: int) -> Beginning | None:
    try:
        with open(path, "rb") as file:
            file.seek(place)
            stored = json.loads(file.readline())
    except (OSError, ValueError):
        return None
    return Beginning(stored["sample"], stored["state"], stored["setup"])

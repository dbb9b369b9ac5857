"""Decides which stretches of the streams become recordings, and which of the rolling buffer may go.

Everything here runs in the writer thread. A cut's recording reaches from 10 s before its back-dated start
(from the listener's snapshot at or before that) to 3 s after its end. It is closed once no further cut can
overlap it, then filed in another thread; its segments stay until that has succeeded and is in the database.
"""

import logging
import shutil
import uuid
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import sqlalchemy as sa

from shopmon.records.folder import DataFolder
from shopmon.records.ledger import Ledger
from shopmon.records.sound.filing import Filed, FilingJob, audio_path, sidecar_path, write_sidecar
from shopmon.records.sound.segments import Segment
from shopmon.records.sound.space import AudioGate
from shopmon.records.sound.stream_buffer import Beginning, StreamBuffer
from shopmon.records.sound.stream_info import StreamInfo
from shopmon.records.stamps import Stamps
from shopmon.records.tables import listener_states, recordings, streams

log = logging.getLogger(__name__)
BEFORE_S = 10.0
AFTER_S = 3.0
BACKDATING_S = 5.0  # a cut may be announced this long after its start and still share a recording
LEAST_BUFFER_S = 30.0  # margin before a cut, the way back to a snapshot, and back-dating, with some to spare
LONGEST_SHARED_S = 3600.0  # a single cut may be longer; a chain of them ends here
REFILE_S = 10.0
STATE_ROW_EVERY_S = 30.0


@dataclass
class Recording:
    """One that is not filed yet. ``end`` is None while a cut is open in it."""

    id: str
    info: StreamInfo
    folder: Path
    begin: int
    end: int | None = None
    closing: bool = False
    open_cuts: set[str] = field(default_factory=set)
    file_again_at_s: float = 0.0

    def overlaps(self, first: int, end: int) -> bool:
        """Whether it needs samples between `first` and `end`."""
        return self.begin < end and (self.end is None or first < self.end or bool(self.open_cuts))


@dataclass
class OldBuffer:
    """What an ended stream left behind, until it is as old as the rolling buffer may be."""

    folder: Path
    info: StreamInfo
    until_s: float

    def beginning(self, wanted: int) -> Beginning:
        """Tell where a recording begins that must hold `wanted`: there, for no states are looked up here."""
        return Beginning(wanted)


class Recorder:
    """See the module's text.

    Parameters
    ----------
    data, ledger, stamps, gate
        Where things go and whether they may.
    buffer_s, keep_audio
        As given to the archive.
    """

    def __init__(
        self,
        data: DataFolder,
        ledger: Ledger,
        stamps: Stamps,
        gate: AudioGate,
        *,
        buffer_s: float,
        keep_audio: bool,
    ):
        self._data, self._ledger, self._stamps, self._gate = data, ledger, stamps, gate
        self.buffer_s, self.keep_audio = buffer_s, keep_audio
        self.buffers: dict[str, StreamBuffer] = {}
        self.old: list[OldBuffer] = []
        self.unfiled: dict[str, Recording] = {}
        self.due: list[Recording] = []
        self.lost_s = 0.0
        self.features_lost = 0
        self.sizes_changed = True
        self._newest: dict[str, Recording] = {}
        self._of_cut: dict[str, Recording] = {}
        self._not_begun: dict[str, StreamInfo] = {}
        self._state_rows: dict[str, int] = {}

    # streams

    def start_stream(self, info: StreamInfo) -> None:
        """Begin the buffer of a new stream; where the disk will not have it now, a little later."""
        folder = self._data.buffer / str(uuid.uuid4())
        try:
            buffer = StreamBuffer(folder, info, keep_audio=self.keep_audio, buffer_s=self.buffer_s)
        except OSError as exc:
            self._gate.failed(exc, self.now_s())
            shutil.rmtree(folder, ignore_errors=True)
            self._not_begun[info.stream_id] = info
            return
        self._not_begun.pop(info.stream_id, None)
        self.buffers[info.stream_id] = buffer
        self.sizes_changed = True

    def end_stream(self, stream_id: str) -> None:
        """Close what can be closed; a cut that is still open waits for its end, or for recovery."""
        self._not_begun.pop(stream_id, None)
        buffer = self.buffers.pop(stream_id, None)
        if buffer is None:
            return
        self._try(buffer.close)
        update = sa.update(streams).where(streams.c.id == stream_id).values(end_sample=buffer.position or 0)
        self._ledger.write(update)
        self.old.append(OldBuffer(buffer.folder, buffer.info, self.now_s() + self.buffer_s))
        for recording in self._on(buffer.folder):
            if not recording.open_cuts and not recording.closing:
                self._close(recording, buffer.position or 0)
        self._newest.pop(stream_id, None)

    def append(self, stream_id: str, first_sample: int, frames: int, raw: bytes) -> None:
        """Write a block, if audio may be written."""
        buffer = self.buffers.get(stream_id)
        if buffer is None:
            self._lose(self._not_begun.get(stream_id), len(raw))
            return
        first_sample, raw = buffer.advance(first_sample, frames, raw)
        if not self.keep_audio or not raw:
            return
        if self._gate.stop is None:
            try:
                buffer.audio.write(raw, first_sample)
                return
            except OSError as exc:
                self._gate.failed(exc, self.now_s())
        self._lose(buffer.info, len(raw))

    def append_features(self, stream_id: str, end_sample: int, raw: bytes) -> None:
        """Write one feature record."""
        buffer = self.buffers.get(stream_id)
        if buffer is None or not self._try(lambda: buffer.features.append(raw, end_sample)):
            self.features_lost += 1

    def snapshot(self, stream_id: str, sample: int, state: dict, setup: dict) -> None:
        """Keep a listener state; now and then also in the database, for the next start."""
        buffer = self.buffers.get(stream_id)
        if buffer is None:
            return
        if self.keep_audio and self._gate.stop is None:
            self._try(lambda: buffer.add_snapshot(sample, state, setup))
        due = self._state_rows.get(stream_id)
        if due is None or sample >= due:
            self._state_rows[stream_id] = sample + buffer.info.frames(STATE_ROW_EVERY_S)
            self._store_state(buffer.info, sample, state)

    # cuts and kept stretches

    def start_cut(self, cut_id: str, stream_id: str, start_sample: int) -> str | None:
        """Find or begin the recording that the cut lies in; return its id."""
        buffer = self.buffers.get(stream_id)
        if buffer is None:
            return None
        wanted = start_sample - buffer.info.frames(BEFORE_S)
        recording = self._newest.get(stream_id)
        if recording is None or not self._can_share(recording, wanted):
            recording = self._begin(buffer, wanted)
            self._newest[stream_id] = recording
        recording.open_cuts.add(cut_id)
        self._of_cut[cut_id] = recording
        return recording.id

    def end_cut(self, cut_id: str, end_sample: int) -> None:
        """Let the recording end after the margin, unless another cut holds it open."""
        recording = self._of_cut.pop(cut_id, None)
        if recording is None:
            return
        recording.open_cuts.discard(cut_id)
        recording.end = max(recording.end or 0, end_sample + recording.info.frames(AFTER_S))
        buffer = self.buffers.get(recording.info.stream_id)
        if buffer is None and not recording.open_cuts:
            self._close(recording, recording.end)

    def keep_last(self, stream_id: str, seconds: float) -> tuple[str, int, int] | None:
        """File the last `seconds` of a stream as a recording of its own; return id, first and end sample."""
        buffer = self.buffers.get(stream_id)
        if buffer is None or not buffer.position:
            return None
        end = buffer.position
        first = max(0, end - buffer.info.frames(seconds))
        recording = self._begin(buffer, first)
        recording.end = end
        self._close(recording, end)
        return recording.id, max(first, recording.begin), end

    def keep_between(self, stream_id: str, first: int, end: int) -> str | None:
        """File a part of what a stream, running or ended, has in its buffer; return the recording's id."""
        ended = (old for old in self.old if old.info.stream_id == stream_id)
        buffer = self.buffers.get(stream_id) or next(ended, None)
        if buffer is None:
            return None
        recording = self._begin(buffer, first)
        recording.end = end
        self._close(recording, end)
        return recording.id

    # filing

    def filed(self, recording_id: str, filed: Filed) -> None:
        """Note what a recording has become; its segments are free to go."""
        self.unfiled.pop(recording_id, None)
        self.sizes_changed = True
        values = {
            "state": "filed" if filed.path else "figures-only",
            "path": self._data.relative(filed.path) if filed.path else None,
            "features_path": self._data.relative(filed.features_path) if filed.features_path else None,
            "audio_bytes": filed.audio_bytes,
            "first_sample": filed.first_sample,
            "end_sample": filed.end_sample,
            "gaps": filed.gaps,
        }
        self._ledger.write(sa.update(recordings).where(recordings.c.id == recording_id).values(values))

    def not_filed(self, recording_id: str) -> None:
        """Try again later."""
        if recording := self.unfiled.get(recording_id):
            recording.file_again_at_s = self.now_s() + REFILE_S

    def job(self, recording: Recording) -> FilingJob:
        """Describe what is to be filed."""
        return FilingJob(
            recording_id=recording.id,
            folder=recording.folder,
            info=recording.info,
            first_sample=recording.begin,
            end_sample=recording.end,
            keep_audio=self.keep_audio,
        )

    def take_over(self, recording: Recording) -> None:
        """File a recording that an earlier run left behind."""
        self.unfiled[recording.id] = recording
        self.due.append(recording)

    # once a second

    def sizes_have_changed(self) -> None:
        """Have the budget looked at soon, not only every few seconds."""
        self.sizes_changed = True

    def now_s(self) -> float:
        """Return the monotonic time of this boot."""
        return self._stamps.clock.now_s()

    def tick(self) -> None:
        """Force audio onto the disk, close what is over, delete what is too old."""
        now_s = self.now_s()
        for info in list(self._not_begun.values()) if self._gate.stop is None else ():
            self.start_stream(info)
        for buffer in self.buffers.values():
            self._try(buffer.sync)
            for recording in self._on(buffer.folder):
                if self._is_over(recording, buffer):
                    self._close(recording, buffer.position)
            keep_frames = buffer.info.frames(max(self.buffer_s, LEAST_BUFFER_S))
            buffer.evict((buffer.position or 0) - keep_frames, self._needed_in(buffer.folder))
        for recording in self.unfiled.values():
            if recording.closing and 0 < recording.file_again_at_s <= now_s:
                recording.file_again_at_s = 0.0
                self.due.append(recording)
        self._evict_old(now_s)

    def close(self) -> None:
        """End all streams."""
        for stream_id in list(self.buffers):
            self.end_stream(stream_id)

    def buffered_bytes(self) -> int:
        """Return what the rolling buffer of the running streams takes once it is full, before packing."""
        seconds = max(self.buffer_s, LEAST_BUFFER_S)
        return int(self.bytes_per_s() * seconds)

    def bytes_per_s(self) -> float:
        """Return what a second of the running streams takes, before packing."""
        return sum(buffer.info.bytes_per_s for buffer in self.buffers.values()) if self.keep_audio else 0.0

    def _can_share(self, recording: Recording, wanted: int) -> bool:
        if recording.closing or recording.begin > max(0, wanted):
            return False
        if wanted - recording.begin > recording.info.frames(LONGEST_SHARED_S) and not recording.open_cuts:
            return False
        return bool(recording.open_cuts) or wanted <= recording.end

    def _begin(self, buffer: StreamBuffer | OldBuffer, wanted: int) -> Recording:
        beginning = buffer.beginning(wanted)
        recording = Recording(str(uuid.uuid4()), buffer.info, buffer.folder, beginning.sample)
        self.unfiled[recording.id] = recording
        info = buffer.info
        row = {
            **self._stamps.new(recording.id),
            "stream_id": info.stream_id,
            "source_id": info.source_id,
            "first_sample": recording.begin,
            "end_sample": None,
            "sample_rate_hz": info.sample_rate_hz,
            "channels": info.channels,
            "code_format": info.code_format,
            "state": "open",
        }
        self._ledger.insert(recordings, row)
        if self.keep_audio and beginning.state is not None:
            content = {"first_sample": recording.begin, "state": beginning.state, "setup": beginning.setup}
            path = sidecar_path(audio_path(self._data, recording.id, info))
            self._try(lambda: write_sidecar(path, content))
        return recording

    def _is_over(self, recording: Recording, buffer: StreamBuffer) -> bool:
        if recording.closing or recording.open_cuts or recording.end is None:
            return False
        wait = buffer.info.frames(BEFORE_S + BACKDATING_S)
        too_long = recording.end - recording.begin > buffer.info.frames(LONGEST_SHARED_S)
        return (buffer.position or 0) >= recording.end + (0 if too_long else wait)

    def _close(self, recording: Recording, position: int) -> None:
        recording.end = min(position, recording.end) if recording.end else position
        recording.closing = True
        buffer = self.buffers.get(recording.info.stream_id)
        if buffer is not None:
            self._try(buffer.audio.rotate)
        if self._newest.get(recording.info.stream_id) is recording:
            del self._newest[recording.info.stream_id]
        update = sa.update(recordings).where(recordings.c.id == recording.id)
        self._ledger.write(update.values(state="closing", end_sample=recording.end))
        self.due.append(recording)

    def _on(self, folder: Path) -> list[Recording]:
        return [recording for recording in self.unfiled.values() if recording.folder == folder]

    def _needed_in(self, folder: Path) -> Callable[[Segment], bool]:
        waiting = self._on(folder)
        return lambda segment: any(recording.overlaps(segment.first, segment.end) for recording in waiting)

    def _evict_old(self, now_s: float) -> None:
        for old in list(self.old):
            if now_s >= old.until_s and not self._on(old.folder):
                shutil.rmtree(old.folder, ignore_errors=True)
                self.old.remove(old)

    def _store_state(self, info: StreamInfo, sample: int, state: dict) -> None:
        row = {
            **self._stamps.new(),
            "source_id": info.source_id,
            "stream_id": info.stream_id,
            "sample": sample,
            "state": state,
        }
        statement = sa.insert(listener_states).prefix_with("OR REPLACE")
        self._ledger.write(statement, row, durable=False, key=("listener-state", info.source_id))

    def _lose(self, info: StreamInfo | None, size: int) -> None:
        self.lost_s += size / info.bytes_per_s if info else 0.0

    def _try(self, action: Callable) -> bool:
        try:
            action()
        except OSError as exc:
            self._gate.failed(exc, self.now_s())
            return False
        return True

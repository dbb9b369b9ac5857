"""The archive: everything that is kept, behind one door.

Methods that write return at once and may be called from any thread: they queue work for one writer thread
(see writer.py for the threads and work_queue.py for what happens when the queue is full). Methods that read
use connections of their own and see what has been committed, usually a few milliseconds after it was written.
"""

import threading
from collections.abc import Sequence
from pathlib import Path

import sqlalchemy as sa

from shopmon import __version__
from shopmon.errors import SettingError, StoreError
from shopmon.records.boot_clock import BootClock
from shopmon.records.carrying.unpacking import undo_half_an_import
from shopmon.records.check_rows import CheckRows
from shopmon.records.cuts.learning import LearningRows
from shopmon.records.cuts.rows import cut_sums
from shopmon.records.database import open_database, open_reader, unusable
from shopmon.records.folder import DataFolder
from shopmon.records.ledger import Ledger
from shopmon.records.photo_rows import PhotoRows
from shopmon.records.photos import Photos
from shopmon.records.programs import Programs
from shopmon.records.reading import Reader
from shopmon.records.recovery import Recovered, recover
from shopmon.records.row_writing import RowWriting, checked_text
from shopmon.records.sound.features import FeatureRow
from shopmon.records.sound.filing import Filed, FilingJob, file_recording
from shopmon.records.sound.recorder import Recorder
from shopmon.records.sound.space import AudioGate, RecordingStatus, Retention, reserve_for
from shopmon.records.sound.stream_info import StreamInfo
from shopmon.records.stamps import Stamps
from shopmon.records.tables import (
    analyses,
    boots,
    cuts,
    events,
    kept_spans,
    steady_sounds,
    streams,
)
from shopmon.records.tools.register import Register, Rows
from shopmon.records.work_queue import WorkQueue
from shopmon.records.writer import Filer, Writer
from shopmon.signals.block import Block

__all__ = ["Archive", "FeatureRow", "RecordingStatus", "StreamInfo"]
WAIT_S = 120.0
PERSON_WAITS_S = 10.0


class Archive(RowWriting, LearningRows, CheckRows, Reader, PhotoRows):
    """Everything that is kept; made by `open`.

    Attributes
    ----------
    recovered
        Ids of the cuts that an earlier run left open and that are now closed.
    register
        The tools.
    programs
        The NC programs that were loaded.
    photo_files
        Photographs of cuts.
    pictures
        Folder for pictures of recordings.
    """

    def __init__(self, data: DataFolder, engine: sa.Engine, parts: "_Parts", recovered: Recovered):
        super().__init__(open_reader(data.database), data)
        self._write_engine = engine
        self._stamps, self._ledger, self._recorder = parts.stamps, parts.ledger, parts.recorder
        self._writer, self._works, self._retention = parts.writer, parts.works, parts.retention
        self._lock = threading.Lock()
        self._streams: dict[str, tuple[StreamInfo, int]] = {}
        self._context = self.latest_context_row()
        self._closed = False
        self.register = Register(self._stamps, self._write_together, self._connect, Photos(data))
        self.photo_files = Photos(data)
        self.programs = Programs(self, data)
        self.pictures = data.pictures
        self.recovered = recovered.cut_ids
        self._filer = Filer(self._make, self._made)
        self._writer.filer = self._filer
        self._recorder.old.extend(recovered.old)
        for recording in recovered.recordings:
            self._recorder.take_over(recording)
        self._filer.start()
        self._writer.start()
        self._note_boot()

    @classmethod
    def open(
        cls,
        data_dir: Path,
        *,
        budget_bytes: int,
        buffer_s: float = 600,
        keep_audio: bool = True,
        reserve_bytes: int | None = None,
    ) -> "Archive":
        """Open the archive in a folder: migrate, recover what a killed run left, and begin to write.

        Parameters
        ----------
        data_dir
            Made where it does not exist.
        budget_bytes
            For audio, the rolling buffer included.
        buffer_s
            Length of the rolling buffer; 0 keeps only what the margin before a cut needs.
        keep_audio
            False writes figures only: no audio ever reaches the disk.
        reserve_bytes
            Free space that counts as full; None for 200 MB, or 2 % of a larger disk.

        Raises
        ------
        StoreError
            The folder or its database cannot be used, or another process uses it.
        SettingError
            A number that cannot be.
        """
        if budget_bytes < 0 or not 0 <= buffer_s < float("inf"):
            raise SettingError(
                f"A budget of {budget_bytes} bytes with a buffer of {buffer_s} s cannot be.",
                "Give 0 or more.",
            )
        data = DataFolder(data_dir)
        engine = None
        try:
            undo_half_an_import(data)
            engine = open_database(data.database, data.backups)
            clock = BootClock.this_boot()
            recovered = recover(engine, data, now_s=clock.now_s(), buffer_s=buffer_s, keep_audio=keep_audio)
            gate = AudioGate(reserve_for(data.root) if reserve_bytes is None else reserve_bytes)
            parts = _Parts(data, engine, clock, gate, budget_bytes, buffer_s, keep_audio)
            return cls(data, engine, parts, recovered)
        except sa.exc.DatabaseError as exc:
            _let_go(data, engine)
            raise unusable(data.database, data.backups, exc) from exc
        except BaseException:
            _let_go(data, engine)
            raise

    # streams

    def start_stream(self, info: StreamInfo) -> None:
        """Begin a stream; its samples count from 0 or wherever its first block begins."""
        row = {
            **self._stamps.new(info.stream_id),
            "source_id": info.source_id,
            "name": info.name,
            "sample_rate_hz": info.sample_rate_hz,
            "channels": info.channels,
            "code_format": info.code_format,
            "settings": info.settings,
        }
        with self._lock:
            self._streams[info.stream_id] = (info, 0)
        # a source that keeps its stream's id over a restart replaces the row, with the same facts
        statement = sa.insert(streams).prefix_with("OR REPLACE")
        self._works.make_room(info.bytes_per_s)
        self._put(lambda: (self._ledger.write(statement, row), self._recorder.start_stream(info)))

    def end_stream(self, stream_id: str) -> None:
        """End a stream: what can be filed is filed."""
        with self._lock:
            self._streams.pop(stream_id, None)
        self._put(lambda: self._recorder.end_stream(stream_id))

    def append(self, block: Block) -> None:
        """Take the samples of one block; never waits. What cannot be taken is counted in the status.

        Raises
        ------
        StoreError
            Its stream was not started.
        ValueError
            Its samples are not in the form the stream was started with.
        """
        info = self._info(block.stream_id)
        if block.code_format != info.code_format:
            raise ValueError(f"a block of {block.code_format} in a stream of {info.code_format}")
        raw = info.encode(block.codes) if self._recorder.keep_audio else b""
        with self._lock:
            self._streams[block.stream_id] = (info, block.end_sample)
        self._works.put_audio(
            lambda: self._recorder.append(block.stream_id, block.first_sample, block.frames, raw),
            len(raw),
            block.frames / info.sample_rate_hz,
        )

    def append_features(self, stream_id: str, row: FeatureRow) -> None:
        """Take the figures of one frame."""
        raw = row.pack()
        self._works.put_feature(lambda: self._recorder.append_features(stream_id, row.end_sample, raw))

    def snapshot(self, stream_id: str, sample: int, listener_state: dict, context: dict) -> None:
        """Keep the listener's state right before `sample`: recordings begin at such samples."""
        self._works.put_feature(lambda: self._recorder.snapshot(stream_id, sample, listener_state, context))

    # cuts

    def start_cut(self, cut_id: str, stream_id: str, start_sample: int, context: dict) -> None:
        """Begin a cut at its back-dated start, in the context that holds (a plain dict of known values)."""
        info, position = self._position(stream_id)
        row = {
            **self._stamps.new(cut_id),
            "stream_id": stream_id,
            "context_id": self._context_id(context, stream_id, start_sample),
            "first_sample": start_sample,
            "end_sample": start_sample,
            "engaged": [],
            "chatter": [],
            "ended": False,
            "recovered": False,
            "keep": False,
        }
        ago_s = max(0, position - start_sample) / info.sample_rate_hz
        row["start_monotonic_s"] = row["monotonic_s"] - ago_s

        def run() -> None:
            recording_id = self._recorder.start_cut(cut_id, stream_id, start_sample)
            self._ledger.insert(cuts, {**row, "recording_id": recording_id})

        self._put(run)

    def start_beside(
        self, beside_id: str, cut_id: str, stream_id: str, start_sample: int, cut_sample: int
    ) -> None:
        """Begin the recording of another source of a cut, and keep where it belongs to the cut's.

        Parameters
        ----------
        beside_id
            Names the pair until `end_beside`.
        cut_id
            The cut.
        stream_id, start_sample
            Where the cut begins in the stream of the other source.
        cut_sample
            Where it begins in its own.
        """
        row = {**self._stamps.new(beside_id), "kind": "recorded-beside", "stream_id": stream_id}

        def run() -> None:
            recording_id = self._recorder.start_cut(beside_id, stream_id, start_sample)
            data = {"recording_id": recording_id, "sample": start_sample, "cut_sample": cut_sample}
            self._ledger.insert(events, {**row, "sample": start_sample, "cut_id": cut_id, "data": data})

        self._put(run)

    def end_beside(self, beside_id: str, end_sample: int) -> None:
        """End the recording of another source, like `end_cut` without a cut of its own."""
        self._put(lambda: self._recorder.end_cut(beside_id, end_sample))

    def update_cut(self, cut_id: str, end_sample: int, engaged: Sequence, chatter: list[dict]) -> None:
        """Checkpoint an open cut: where a crash would leave it."""
        values = {"end_sample": end_sample, **_heard(engaged, chatter)}
        key = ("checkpoint", cut_id)
        self._put(lambda: self._change_cut(cut_id, values, key), key)

    def end_cut(
        self,
        cut_id: str,
        end_sample: int,
        engaged: Sequence,
        chatter: list[dict],
        analysis: dict,
        engine_version: str,
        settings_hash: str,
    ) -> str:
        """End a cut and keep its original analysis; return the analysis' id."""
        heard_rpm = (analysis.get("spindle") or {}).get("rpm")
        values = {"end_sample": end_sample, **_heard(engaged, chatter), "heard_rpm": heard_rpm, "ended": True}
        row = self._analysis_row(cut_id, analysis, engine_version, settings_hash, original=True)
        sounds = self._sound_rows(cut_id, analysis)

        def run() -> None:
            self._change_cut(cut_id, values)
            self._ledger.insert(analyses, row)
            for sound in sounds:
                self._ledger.insert(steady_sounds, sound)
            self._recorder.end_cut(cut_id, end_sample)

        self._put(run)
        return row["id"]

    def keep_last(self, stream_id: str, seconds: float, keep_id: str, note: str = "") -> None:
        """Make a kept recording of the last `seconds` of the rolling buffer, as far as they are there.

        Raises
        ------
        SettingError
            `seconds` is not a positive number, or audio is not kept at all.
        StoreError
            The stream is not running.
        """
        if not 0 < seconds < float("inf"):
            raise SettingError(f"{seconds!r} seconds cannot be kept.", "Give a number above 0.")
        if not self._recorder.keep_audio:
            raise SettingError(
                "Audio is not kept on this monitor.", "Change the setting that keeps figures without audio."
            )
        info = self._info(stream_id)
        stamp, note = self._stamps.new(keep_id), checked_text(note)

        def run() -> None:
            kept = self._recorder.keep_last(stream_id, seconds)
            if kept is None:
                return
            recording_id, first, end = kept
            row = {"stream_id": stream_id, "recording_id": recording_id, "note": note, "keep": True}
            row |= {"first_sample": first, "end_sample": end}
            row["start_monotonic_s"] = stamp["monotonic_s"] - (end - first) / info.sample_rate_hz
            self._ledger.insert(kept_spans, {**stamp, **row})

        self._put(run)

    def keep_around(self, stream_id: str, sample: int, first: int, end: int, keep_id: str) -> None:
        """Make a recording of a part of the rolling buffer about a sample, as far as it is still there.

        It goes again like the sound of a cut when the disk needs room.

        Raises
        ------
        SettingError
            Nothing of it is there any more, or not the sample itself.
        """
        held = self.buffered(stream_id)
        first, end = (0, 0) if held is None else (max(first, held[0]), min(end, held[1]))
        if end <= first or sample < first:
            raise SettingError(
                "The sound around this moment is not there any more.",
                "Open a mark within the minutes that the rolling recording holds.",
            )
        stamp = self._stamps.new(keep_id)

        def run() -> None:
            recording_id = self._recorder.keep_between(stream_id, first, end)
            if recording_id is None:
                return
            row = {"stream_id": stream_id, "recording_id": recording_id, "note": "", "keep": False}
            row |= {"first_sample": first, "end_sample": end, "start_monotonic_s": stamp["monotonic_s"]}
            self._ledger.insert(kept_spans, {**stamp, **row})

        self._put(run)

    # how things stand

    def discard_sound(self, cut_id: str) -> None:
        """Remove the audio that a cut lies in; rows and figures stay, and so does what is marked keep."""
        self._put(lambda: self._retention.discard(cut_id))

    def status(self) -> RecordingStatus:
        """Say whether audio is kept and for how long there is room; at most about a second old."""
        return self._writer.status

    def flush(self, *, filing: bool = True, timeout_s: float = WAIT_S) -> None:
        """Wait until everything written so far is on disk and, with `filing`, what is closed has been filed.

        Raises
        ------
        StoreError
            It was not in time, because the disk is full or failing.
        """
        self._barrier(timeout_s)
        if filing:
            if not self._filer.wait_idle(timeout_s):
                raise StoreError("Recordings could not be filed in time.", "Check the disk.")
            self._barrier(timeout_s)

    def close(self) -> None:
        """Write and file everything, and let go of the folder; calling it twice is harmless."""
        with self._lock:
            if self._closed:
                return
            self._closed = True
        self._works.put_row(self._recorder.close)
        done = threading.Event()
        self._works.put_row(lambda: self._writer.at_barrier(done))
        done.wait(10.0)  # a full disk must not keep the program from ending; the next start goes on from here
        self._filer.wait_idle(WAIT_S)
        self._works.close()
        self._writer.join()
        self._filer.close()
        self._ledger.close()
        self._engine.dispose()
        self._write_engine.dispose()
        self._data.unlock()

    # how

    def _put(self, run, key=None) -> None:
        self._works.put_row(run, key)

    def _write_together(self, rows: Rows) -> None:
        self._put(lambda: [self._ledger.insert(table, row) for table, row in rows])
        self.flush(filing=False, timeout_s=PERSON_WAITS_S)

    def _change_cut(self, cut_id: str, values: dict, key: tuple | None = None) -> None:
        self._ledger.write(sa.update(cuts).where(cuts.c.id == cut_id).values(values), key=key)

    def _info(self, stream_id: str) -> StreamInfo:
        return self._position(stream_id)[0]

    def _position(self, stream_id: str) -> tuple[StreamInfo, int]:
        with self._lock:
            found = self._streams.get(stream_id)
        if found is None:
            raise StoreError(f"The stream {stream_id!r} is not running.", "Start it first.")
        return found

    def _barrier(self, timeout_s: float) -> None:
        done = threading.Event()
        try:
            self._works.put_row(lambda: self._writer.at_barrier(done))
        except StoreError:
            return  # closed, and so flushed
        if not done.wait(timeout_s):
            raise StoreError("What was written is not on the disk yet.", "Check the disk's free space.")

    def _make(self, job: FilingJob) -> Filed:
        return file_recording(job, self._data, self.setup_changes)

    def _made(self, recording_id: str, filed: Filed | None) -> None:
        def run() -> None:
            if filed is None:
                self._recorder.not_filed(recording_id)
            else:
                self._recorder.filed(recording_id, filed)

        try:
            self._put(run)
        except StoreError:
            return  # closed meanwhile: the next start finds it filed

    def _note_boot(self) -> None:
        stamp = self._stamps.new(self._stamps.clock.boot_id)
        statement = sa.insert(boots).prefix_with("OR IGNORE")
        self._put(lambda: self._ledger.write(statement, {**stamp, "program_version": __version__}))


class _Parts:
    """What the writer thread works with, put together."""

    def __init__(self, data, engine, clock, gate, budget_bytes, buffer_s, keep_audio):
        self.works = WorkQueue()
        with engine.connect() as connection:
            self.stamps = Stamps.of(connection, clock)
        self.ledger = Ledger(engine)
        self.recorder = Recorder(
            data, self.ledger, self.stamps, gate, buffer_s=buffer_s, keep_audio=keep_audio
        )
        self.retention = Retention(self.ledger, data, budget_bytes)
        self.writer = Writer(self.works, self.ledger, self.recorder, gate, self.retention, data)


def _let_go(data: DataFolder, engine: sa.Engine | None) -> None:
    if engine is not None:
        engine.dispose()
    data.unlock()


def _heard(engaged: Sequence, chatter: list[dict]) -> dict:
    spans = [[int(start), int(end)] for start, end in engaged]
    return {"engaged": spans, "chatter": list(chatter), **cut_sums(spans, chatter)}

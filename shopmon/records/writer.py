"""The threads of the archive.

* *writer*: the only one that changes the database and the rolling buffer. Takes works from the queue in
order,
  commits their rows together, and once a second forces audio onto the disk and keeps house.
* *filer*: turns closed recordings into files, which takes seconds for a long one and must not hold up the
  writer; tells the writer what has become of them.
"""

import logging
import queue
import threading
from collections.abc import Callable

from shopmon.errors import StoreError
from shopmon.records.ledger import Ledger
from shopmon.records.sound.filing import Filed, FilingJob
from shopmon.records.sound.recorder import Recorder
from shopmon.records.sound.space import AudioGate, RecordingStatus, Retention, folder_bytes
from shopmon.records.work_queue import WorkQueue

log = logging.getLogger(__name__)
TICK_S = 1.0
RETENTION_EVERY_S = 10.0
NO_AUDIO_WANTED = "Figures are kept without audio, as the settings say."


class Filer:
    """Files recordings one after the other in a thread of its own.

    Parameters
    ----------
    make
        Does the work; raises StoreError or OSError when it could not.
    done
        Told from the filer's thread: the recording's id, and what became of it or None when it failed.
    """

    def __init__(self, make: Callable[[FilingJob], Filed], done: Callable[[str, Filed | None], None]):
        self._make, self._done = make, done
        self._jobs: queue.SimpleQueue[FilingJob | None] = queue.SimpleQueue()
        self._outstanding = 0
        self._changed = threading.Condition()
        self._thread = threading.Thread(target=self._run, name="filer", daemon=True)
        self.trouble: str | None = None

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def submit(self, job: FilingJob) -> None:
        """Queue a recording."""
        with self._changed:
            self._outstanding += 1
        self._jobs.put(job)

    def wait_idle(self, timeout_s: float) -> bool:
        """Wait until nothing is queued or being made."""
        with self._changed:
            return self._changed.wait_for(lambda: not self._outstanding, timeout_s)

    @property
    def outstanding(self) -> int:
        """How many are queued or being made."""
        return self._outstanding

    def close(self) -> None:
        """Finish what is queued and end."""
        self._jobs.put(None)
        if self._thread.is_alive():
            self._thread.join()

    def _run(self) -> None:
        while (job := self._jobs.get()) is not None:
            filed = None
            try:
                filed = self._make(job)
                self.trouble = None
            except (StoreError, OSError, EOFError) as exc:
                log.warning("A recording could not be filed now and will be tried again: %s", exc)
                self.trouble = str(exc)
            except Exception:
                # the segments stay; a defect here must not end the filing of others
                log.exception("A recording could not be filed")
                self.trouble = "A recording could not be filed; the log says why."
            self._done(job.recording_id, filed)
            with self._changed:
                self._outstanding -= 1
                self._changed.notify_all()


class Writer:
    """Runs the queue; see the module's text."""

    def __init__(
        self,
        works: WorkQueue,
        ledger: Ledger,
        recorder: Recorder,
        gate: AudioGate,
        retention: Retention,
        data,
    ):
        self._works, self._ledger, self._recorder = works, ledger, recorder
        self._gate, self._retention, self._data = gate, retention, data
        self.filer: Filer | None = None
        self.status: RecordingStatus | None = None
        self.faults = 0
        self._barriers: list[threading.Event] = []
        self._next_tick_s = 0.0
        self._next_retention_s = 0.0
        self._thread = threading.Thread(target=self._run, name="archive-writer", daemon=True)

    def start(self) -> None:
        """Begin."""
        self.look()
        self._thread.start()

    def join(self) -> None:
        """Wait for the end, after the queue was closed."""
        if self._thread.is_alive():
            self._thread.join()

    def at_barrier(self, event: threading.Event) -> None:
        """Set `event` once everything before is committed, on disk and looked after; called as a work."""
        self._barriers.append(event)

    def look(self) -> None:
        """Measure the space, enforce the budget, and say how things stand."""
        free = self._free_bytes()
        now_s = self._recorder.now_s()
        if now_s >= self._next_retention_s or self._recorder.sizes_changed:
            self._recorder.sizes_changed = False
            self._next_retention_s = now_s + RETENTION_EVERY_S
            self._retention.enforce(self._recorder.buffered_bytes(), self._recorder.bytes_per_s())
        if self._recorder.keep_audio:
            self._gate.look(free, self._retention.over_budget, now_s)
        else:
            self._gate.stop = None
        self._works.hold(len(self._ledger))
        self.status = self._status(free)

    def _run(self) -> None:
        while True:
            works = self._works.take(max(0.0, self._next_tick_s - self._recorder.now_s()))
            for work in works:
                self._do(work.run)
            self._commit()
            if self._barriers or self._recorder.now_s() >= self._next_tick_s:
                self._next_tick_s = self._recorder.now_s() + TICK_S
                self._do(self._recorder.tick)
                self._do(self.look)
                if self._commit():
                    self._release_barriers()
            if self._works.closed and not len(self._works):
                break
        self._release_barriers()

    def _do(self, action: Callable[[], None]) -> None:
        try:
            action()
        except Exception:
            # one thing that cannot be kept must not end the keeping of everything else
            log.exception("Something could not be kept")
            self.faults += 1

    def _commit(self) -> bool:
        if not self._ledger.commit():
            return False
        # only now: the filer reads the context changes from the database
        for recording in self._recorder.due:
            self.filer.submit(self._recorder.job(recording))
        self._recorder.due.clear()
        return True

    def _release_barriers(self) -> None:
        for event in self._barriers:
            event.set()
        self._barriers.clear()

    def _free_bytes(self) -> int:
        try:
            return self._data.free_bytes()
        except OSError:
            return 0

    def _status(self, free: int) -> RecordingStatus:
        stopped, hint = None, ""
        if self._gate.stop is not None:
            stopped, hint = self._gate.stop.text, self._gate.stop.hint
        elif self._ledger.trouble:
            stopped = f"The cut log cannot be written ({self._ledger.trouble})."
            hint = "It is held in memory and written as soon as it can be; check the disk."
        elif self.filer is not None and self.filer.trouble:
            stopped = f"A recording could not be made from the buffer ({self.filer.trouble})"
            hint = "It is tried again; check the disk's free space."
        elif not self._recorder.keep_audio:
            hint = NO_AUDIO_WANTED
        per_hour = self._recorder.bytes_per_s() * self._retention.flac_ratio * 3600
        buffered = self._recorder.buffered_bytes()
        held = max(0, self._retention.budget_bytes - buffered)
        left = min(held - self._retention.filed_bytes, free - self._gate.reserve_bytes)
        return RecordingStatus(
            recording=self._recorder.keep_audio and self._gate.stop is None,
            stopped_because=stopped,
            hint=hint,
            bytes_used=self._retention.filed_bytes + folder_bytes(self._data.buffer),
            bytes_free=free,
            hours_left=max(0, left) / per_hour if per_hour else None,
            hours_held=held / per_hour if per_hour else None,
            budget_bytes=self._retention.budget_bytes,
            lost_s=self._recorder.lost_s + self._works.refused_audio_s,
            features_lost=self._works.refused_features + self._recorder.features_lost,
            rows_waiting=self._ledger.stuck_rows,
            rows_refused=self._ledger.refused_rows + self.faults,
            filing=len(self._recorder.unfiled),
        )

"""Disk space: whether audio may be written, what must go, and how many hours there are.

Audio stops when the free space falls under a reserve, when a write fails, or when the budget is taken up by
recordings that are marked keep; it goes on when there is room again. The reserve is what the database lives
on meanwhile. Only audio is ever removed, oldest first, and only to stay within the budget.
"""

import errno
import os
import shutil
from dataclasses import dataclass
from pathlib import Path

import sqlalchemy as sa

from shopmon.records.folder import DataFolder
from shopmon.records.ledger import Ledger
from shopmon.records.sound.filing import sidecar_path
from shopmon.records.sound.stream_info import SAMPLE_BYTES
from shopmon.records.tables import cuts, kept_spans, recordings

RESERVE_BYTES = 200 * 10**6
RESERVE_SHARE = 0.02
RESERVE_MOST_BYTES = 2 * 10**9
RESUME_FACTOR = 1.25  # free space over the reserve before audio goes on, so that it does not flutter
RETRY_S = 5.0
ROOM_S = 120.0  # must be free beside kept recordings, or a new one would go as soon as it is made
ROOM_SHARE = 0.1  # of the budget, where that is less
FLAC_RATIO = 0.7  # until recordings of this shop say better


@dataclass(frozen=True, kw_only=True)
class RecordingStatus:
    """How the keeping of audio stands.

    Attributes
    ----------
    recording
        Audio is written when there is any.
    stopped_because, hint
        Why not, in one sentence, and what to do; None and empty when all is well or audio is not wanted.
    bytes_used, budget_bytes
        Audio on disk, rolling buffer included, and the budget for it.
    bytes_free
        Free on the disk.
    hours_left
        Hours of recording, at the present rate, until the oldest audio has to go or audio stops; None before
        a stream has begun.
    hours_held
        Hours the whole budget holds at the present rate.
    lost_s
        Seconds of audio of the streams since the start that could not be kept: disk full, or too slow.
    features_lost
        Frames whose figures could not be kept, for the same reasons.
    rows_waiting, rows_refused
        Rows that wait for the database to be writable; rows it would not take (an error of the program).
    filing
        Recordings that are being turned into files.
    """

    recording: bool
    stopped_because: str | None
    hint: str
    bytes_used: int
    bytes_free: int
    hours_left: float | None
    hours_held: float | None
    budget_bytes: int
    lost_s: float
    features_lost: int
    rows_waiting: int
    rows_refused: int
    filing: int


@dataclass(frozen=True)
class Stop:
    """Why audio is not written."""

    text: str
    hint: str
    failed: bool = False


def reserve_for(folder: Path) -> int:
    """Return the free space that counts as full: 200 MB, or 2 % of a larger disk, at most 2 GB."""
    share = int(shutil.disk_usage(folder).total * RESERVE_SHARE)
    return max(RESERVE_BYTES, min(share, RESERVE_MOST_BYTES))


class AudioGate:
    """Decides whether audio may be written now."""

    def __init__(self, reserve_bytes: int):
        self.reserve_bytes = reserve_bytes
        self.stop: Stop | None = None
        self._retry_at_s = 0.0

    def failed(self, exc: OSError, now_s: float) -> None:
        """Stop because a write failed."""
        if exc.errno in (errno.ENOSPC, errno.EDQUOT):
            self.stop = Stop("Recording stopped: the disk is full.", _SPACE_HINT, failed=True)
        else:
            reason = exc.strerror or exc
            hint = (
                "Check the disk or card and its connection; recording goes on when it can be written again."
            )
            self.stop = Stop(f"Recording stopped: the disk cannot be written ({reason}).", hint, failed=True)
        self._retry_at_s = now_s + RETRY_S

    def look(self, free_bytes: int, over_budget: Stop | None, now_s: float) -> None:
        """Stop or go on, according to the space there is and what the budget says."""
        if over_budget:
            self.stop = over_budget
        elif free_bytes < self.reserve_bytes:
            megabytes = self.reserve_bytes / 1e6
            self.stop = Stop(f"Recording stopped: less than {megabytes:.0f} MB are free.", _SPACE_HINT)
        elif self.stop is not None and self._may_resume(free_bytes, now_s):
            self.stop = None

    def _may_resume(self, free_bytes: int, now_s: float) -> bool:
        waited = not self.stop.failed or now_s >= self._retry_at_s
        return waited and free_bytes >= self.reserve_bytes * RESUME_FACTOR


_SPACE_HINT = "Free some space, or lower the audio budget so that the oldest recordings make room."


_KEPT = sa.union(
    sa.select(cuts.c.recording_id).where(cuts.c.keep, cuts.c.recording_id.is_not(None)),
    sa.select(kept_spans.c.recording_id).where(kept_spans.c.keep, kept_spans.c.recording_id.is_not(None)),
)


class Retention:
    """Keeps the audio within its budget; used by the writer thread alone."""

    def __init__(self, ledger: Ledger, data: DataFolder, budget_bytes: int):
        self._ledger, self._data, self.budget_bytes = ledger, data, budget_bytes
        self.filed_bytes = 0
        self.over_budget: Stop | None = None
        self.flac_ratio = FLAC_RATIO

    def enforce(self, other_bytes: int, rate_bytes_per_s: float) -> None:
        """Remove the oldest audio until everything fits.

        Parameters
        ----------
        other_bytes
            What the rolling buffer takes, or will take once it is full.
        rate_bytes_per_s
            What a second of the present streams takes before packing.
        """
        if rate_bytes_per_s:
            self._learn_ratio()
        self.filed_bytes = self._bytes_of(recordings.c.state == "filed")
        if self.filed_bytes + other_bytes > self.budget_bytes:
            self._make_room(self.budget_bytes - other_bytes)
        self.over_budget = self._over_budget(other_bytes, rate_bytes_per_s)

    def discard(self, cut_id: str) -> None:
        """Remove the audio that a cut lies in, unless something in it is marked keep."""
        if not self._ledger.commit():  # what was marked a moment ago counts
            return
        of_cut = sa.select(cuts.c.recording_id).where(cuts.c.id == cut_id)
        filed = (recordings.c.state == "filed") & recordings.c.id.in_(of_cut) & ~recordings.c.id.in_(_KEPT)
        for row in self._ledger.read(sa.select(recordings).where(filed)):
            self._remove(row)

    def _bytes_of(self, which: sa.ColumnElement) -> int:
        return self._ledger.read(sa.select(sa.func.sum(recordings.c.audio_bytes)).where(which))[0][0] or 0

    def _make_room(self, most_bytes: int) -> None:
        removable = (recordings.c.state == "filed") & ~recordings.c.id.in_(_KEPT)
        for row in self._ledger.read(sa.select(recordings).where(removable).order_by(recordings.c.sequence)):
            if self.filed_bytes <= most_bytes:
                break
            self._remove(row)

    def _over_budget(self, other_bytes: int, rate_bytes_per_s: float) -> Stop | None:
        room_bytes = min(rate_bytes_per_s * ROOM_S, self.budget_bytes * ROOM_SHARE)
        if other_bytes > self.budget_bytes:
            text = (
                f"Recording stopped: the audio budget of {self.budget_bytes / 1e6:.0f} MB is less than the"
                f" {other_bytes / 1e6:.0f} MB of the rolling buffer."
            )
            return Stop(text, "Raise the budget, or shorten the buffer.")
        kept = self._bytes_of((recordings.c.state == "filed") & recordings.c.id.in_(_KEPT))
        if kept and kept + other_bytes + room_bytes > self.budget_bytes:
            return Stop(
                "Recording stopped: recordings marked keep fill the audio budget.",
                "Take the mark off some of them, or raise the budget.",
            )
        return None

    def _remove(self, row: sa.Row) -> None:
        audio = self._data.root / row.path
        audio.unlink(missing_ok=True)
        sidecar_path(audio).unlink(missing_ok=True)
        self._ledger.write(
            sa.update(recordings).where(recordings.c.id == row.id).values(state="removed", audio_bytes=0)
        )
        self.filed_bytes -= row.audio_bytes

    def _learn_ratio(self) -> None:
        query = sa.select(recordings).where(recordings.c.state == "filed")
        newest = self._ledger.read(query.order_by(recordings.c.sequence.desc()).limit(20))
        raw = sum(
            (row.end_sample - row.first_sample) * row.channels * SAMPLE_BYTES[row.code_format]
            for row in newest
        )
        if raw:
            self.flac_ratio = sum(row.audio_bytes for row in newest) / raw


def folder_bytes(folder: Path) -> int:
    """Return the size of everything below `folder`."""
    total = 0
    for root, _, files in os.walk(folder):
        for name in files:
            try:
                total += os.path.getsize(os.path.join(root, name))
            except OSError:
                continue  # deleted meanwhile
    return total

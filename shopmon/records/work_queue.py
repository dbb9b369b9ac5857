"""What waits for the writer thread, in the order it was asked for.

Bounded, in three ways. Audio: up to a number of bytes (some ten seconds and more); beyond it a block is
refused and counted as lost, as when the disk stalls for long. Features: up to a number of entries, then
refused and counted. Rows: never refused; beyond 20,000 (hours of a shop day) the caller waits until there is
room. A row with a key replaces a waiting row with the same key: only the newest checkpoint of a cut counts.
"""

import threading
from collections import deque
from collections.abc import Callable, Hashable
from dataclasses import dataclass
from typing import Literal

from shopmon.errors import StoreError

ROW_LIMIT = 20_000
FEATURE_LIMIT = 50_000
AUDIO_LIMIT_BYTES = 16 * 2**20
AUDIO_MOST_BYTES = 96 * 2**20
Kind = Literal["row", "feature", "audio"]


@dataclass
class Work:
    """One thing to do in the writer thread."""

    run: Callable[[], None]
    kind: Kind
    bytes: int = 0
    key: Hashable = None


class WorkQueue:
    """See the module's text."""

    def __init__(self):
        self.audio_limit_bytes = AUDIO_LIMIT_BYTES
        self.refused_audio_s = 0.0
        self.refused_features = 0
        self.held_rows = 0  # taken, but the database cannot be written yet
        self._works: deque[Work] = deque()
        self._keyed: dict[Hashable, Work] = {}
        self._waiting = {"row": 0, "feature": 0, "audio": 0}
        self._audio_bytes = 0
        self._closed = False
        self._changed = threading.Condition()

    def make_room(self, bytes_per_s: float) -> None:
        """Let ten seconds of one more stream wait."""
        self.audio_limit_bytes = max(self.audio_limit_bytes, min(AUDIO_MOST_BYTES, int(10 * bytes_per_s)))

    def put_row(self, run: Callable[[], None], key: Hashable = None) -> None:
        """Queue a row; waits for room where far too many are waiting.

        Raises
        ------
        StoreError
            The archive is closed.
        """
        with self._changed:
            self._refuse_when_closed()
            if key is not None and key in self._keyed:
                self._keyed[key].run = run
                return
            while self._waiting["row"] + self.held_rows >= ROW_LIMIT:
                self._changed.wait()
                self._refuse_when_closed()
            self._add(Work(run, "row", key=key))

    def put_audio(self, run: Callable[[], None], size: int, duration_s: float) -> None:
        """Queue a block of `size` bytes, or count it as refused when there is no room."""
        with self._changed:
            self._refuse_when_closed()
            if self._audio_bytes + size > self.audio_limit_bytes:
                self.refused_audio_s += duration_s
            else:
                self._add(Work(run, "audio", size))

    def put_feature(self, run: Callable[[], None]) -> None:
        """Queue a feature record or a listener state, or count it as refused when there is no room."""
        with self._changed:
            self._refuse_when_closed()
            if self._waiting["feature"] >= FEATURE_LIMIT:
                self.refused_features += 1
            else:
                self._add(Work(run, "feature"))

    def take(self, timeout_s: float) -> list[Work]:
        """Return everything that waits, after at most `timeout_s`; empty when there is nothing."""
        with self._changed:
            if not self._works and not self._closed:
                self._changed.wait(timeout_s)
            works = list(self._works)
            self._works.clear()
            self._keyed.clear()
            self._waiting = dict.fromkeys(self._waiting, 0)
            self._audio_bytes = 0
            self._changed.notify_all()
            return works

    def hold(self, rows: int) -> None:
        """Say how many rows were taken and still wait for the database."""
        with self._changed:
            self.held_rows = rows
            self._changed.notify_all()

    def close(self) -> None:
        """Take nothing more; what waits is still given out."""
        with self._changed:
            self._closed = True
            self._changed.notify_all()

    @property
    def closed(self) -> bool:
        """Whether nothing more is taken."""
        return self._closed

    def __len__(self) -> int:
        return len(self._works)

    def _add(self, work: Work) -> None:
        self._works.append(work)
        self._waiting[work.kind] += 1
        self._audio_bytes += work.bytes
        if work.key is not None:
            self._keyed[work.key] = work
        self._changed.notify_all()

    def _refuse_when_closed(self) -> None:
        if self._closed:
            raise StoreError("The archive is closed.", "Open it again to write to it.")

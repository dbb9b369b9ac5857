"""The ring between the audio callback and the engine.

One thread writes (PortAudio's callback), one thread reads. The writer copies into memory that was set aside
when the stream was opened and does nothing else: it takes no lock that the reader could hold, and it never
waits. The reader takes what is there. When the ring is full the newest data is dropped and counted, and the
place of every loss is kept, so that the sample count jumps exactly where sound is missing.

Both counters only ever grow, each is written by one thread alone, and the data is copied before the counter
that announces it.
"""

import threading
from dataclasses import dataclass

import numpy as np

MAX_GAPS = 64  # losses that can wait to be read; while the table is full the loss that is on goes on


@dataclass(frozen=True, eq=False)
class Taken:
    """Consecutive frames out of the ring.

    Attributes
    ----------
    raw
        The frames as the device delivered them, uint8 of shape ``(frames * frame_bytes,)``; a copy.
    first_sample
        Index of the first frame since the stream began, lost frames counted.
    lost
        Frames lost right before these.
    """

    raw: np.ndarray
    first_sample: int
    lost: int


class Ring:
    """A ring of frames of raw codes.

    Parameters
    ----------
    capacity_frames
        How many frames fit.
    frame_bytes
        Bytes of one frame: channels times bytes of one code.
    """

    def __init__(self, capacity_frames: int, frame_bytes: int):
        if capacity_frames < 1 or frame_bytes < 1:
            raise ValueError(f"a ring of {capacity_frames} frames of {frame_bytes} bytes holds nothing")
        self.capacity_frames = capacity_frames
        self.frame_bytes = frame_bytes
        self._store = np.empty(capacity_frames * frame_bytes, np.uint8)
        self._store.fill(0)  # touches every page now, not in the callback
        self._view = memoryview(self._store)
        self._written = 0
        self._read = 0
        self._losing = 0
        self._lost = 0
        self._gap_at = [0] * MAX_GAPS
        self._gap_frames = [0] * MAX_GAPS
        self._gaps_written = 0
        self._gaps_read = 0
        self._lost_read = 0
        self._wake = threading.Lock()
        self._wake.acquire()

    @property
    def offered_frames(self) -> int:
        """Frames that were written or lost so far."""
        return self._written + self._lost

    @property
    def lost_frames(self) -> int:
        """Frames lost so far because the ring was full, also those whose gap has not been read yet."""
        return self._lost

    @property
    def waiting_frames(self) -> int:
        """Frames that can be taken now."""
        return self._written - self._read

    def write(self, data) -> bool:
        """Copy whole frames in; called by the audio callback alone.

        Parameters
        ----------
        data
            Any contiguous buffer holding a whole number of frames.

        Returns
        -------
        bool
            False when there was no room and the frames were dropped and counted.
        """
        view = memoryview(data).cast("B")
        frames = view.nbytes // self.frame_bytes
        if not self._has_room(frames):
            self._losing += frames
            self._lost += frames
            return False
        if self._losing:
            self._note_gap()
        self._copy_in(view)
        self._written += frames
        if self._wake.locked():  # a binary semaphore: releasing never waits
            self._wake.release()
        return True

    def _has_room(self, frames: int) -> bool:
        if self._losing and self._gaps_written - self._gaps_read == MAX_GAPS:
            return False
        return frames <= self.capacity_frames - (self._written - self._read)

    def _note_gap(self) -> None:
        slot = self._gaps_written % MAX_GAPS
        self._gap_at[slot] = self._written
        self._gap_frames[slot] = self._losing
        self._losing = 0
        self._gaps_written += 1

    def _copy_in(self, view: memoryview) -> None:
        begin = self._written % self.capacity_frames * self.frame_bytes
        head = min(view.nbytes, len(self._view) - begin)
        self._view[begin : begin + head] = view[:head]
        if head < view.nbytes:
            self._view[: view.nbytes - head] = view[head:]

    def wait(self, timeout_s: float) -> None:
        """Wait until something was written or the time is over; called by the reader alone."""
        if not self.waiting_frames:
            self._wake.acquire(timeout=timeout_s)

    def take(self, max_frames: int) -> Taken | None:
        """Take up to `max_frames` frames, never across a loss; called by the reader alone.

        Returns
        -------
        Taken or None
            None when nothing waits.
        """
        available = self._written - self._read
        if not available:
            return None
        lost = self._pass_gap()
        frames = min(available, max_frames, self._frames_to_next_gap())
        taken = Taken(self._copy_out(frames), self._read + self._lost_read, lost)
        self._read += frames
        return taken

    def _pass_gap(self) -> int:
        slot = self._gaps_read % MAX_GAPS
        if self._gaps_read == self._gaps_written or self._gap_at[slot] != self._read:
            return 0
        lost = self._gap_frames[slot]
        self._lost_read += lost
        self._gaps_read += 1
        return lost

    def _frames_to_next_gap(self) -> int:
        if self._gaps_read == self._gaps_written:
            return self.capacity_frames
        return self._gap_at[self._gaps_read % MAX_GAPS] - self._read

    def _copy_out(self, frames: int) -> np.ndarray:
        begin = self._read % self.capacity_frames * self.frame_bytes
        wanted = frames * self.frame_bytes
        head = min(wanted, len(self._store) - begin)
        raw = np.empty(wanted, np.uint8)
        raw[:head] = self._store[begin : begin + head]
        raw[head:] = self._store[: wanted - head]
        return raw

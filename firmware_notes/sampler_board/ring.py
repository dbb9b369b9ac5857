"""A ring of slots between the sensor and the USB port. Runs under MicroPython 1.20 and later.

The sensor's side fills a slot with samples that follow one another; the port's side takes whole slots. When
no slot is free, samples are dropped and counted, and the next slot begins with its own number, so that every
gap is known to the sample. One side may run in an interrupt or on the other core: each index is written by
one side only.
"""


class Ring:
    """slots: how many. slot_frames: samples in each. frame_bytes: bytes of one sample of all axes."""

    def __init__(self, slots, slot_frames, frame_bytes):
        self._slots = slots
        self._slot_frames = slot_frames
        self._frame_bytes = frame_bytes
        self._data = [bytearray(slot_frames * frame_bytes) for _ in range(slots)]
        self._first = [0] * slots
        self._filled = [0] * slots
        self._dropped_at = [0] * slots
        self._head = 0
        self._tail = 0
        self._open = False
        self.position = 0
        self.dropped = 0

    def put(self, samples, frames):
        """Take samples in: bytes of at least frames * frame_bytes."""
        source = memoryview(samples)
        at = 0
        while at < frames:
            if not self._open and not self._begin():
                self.dropped += frames - at
                self.position += frames - at
                return
            slot = self._head % self._slots
            filled = self._filled[slot]
            count = min(frames - at, self._slot_frames - filled)
            size = self._frame_bytes
            target = memoryview(self._data[slot])
            target[filled * size : (filled + count) * size] = source[at * size : (at + count) * size]
            self._filled[slot] = filled + count
            self.position += count
            at += count
            if filled + count == self._slot_frames:
                self._open = False
                self._head += 1

    def _begin(self):
        if self._head - self._tail >= self._slots:
            return False
        slot = self._head % self._slots
        self._first[slot] = self.position
        self._filled[slot] = 0
        self._dropped_at[slot] = self.dropped
        self._open = True
        return True

    def flush(self):
        """Let go a slot that is not full, so that slow sensors are heard soon, too."""
        if self._open and self._filled[self._head % self._slots]:
            self._open = False
            self._head += 1

    def take(self):
        """Return first sample, samples dropped before it, bytes and count of the oldest slot, or None.

        What is returned holds until `done`.
        """
        if self._tail == self._head:
            return None
        slot = self._tail % self._slots
        return self._first[slot], self._dropped_at[slot], self._data[slot], self._filled[slot]

    def done(self):
        """Free the slot that `take` returned."""
        self._tail += 1

"""Pulses of a tachometer, from the board's clock to places in the stream. For MicroPython 1.20 and later."""

import time


class Edges:
    """An interrupt calls `mark`; the port's side asks for the pulses of each slot.

    rate_hz: samples per second, as measured against the board's own clock.
    """

    MOST = 64

    def __init__(self, rate_hz):
        self._ticks = [0] * self.MOST  # ticks are small numbers: storing one allocates nothing
        self._head = 0
        self._tail = 0
        self._rate = rate_hz
        self._anchor_ticks = 0
        self._anchor_sample = 0
        self.lost = 0

    def mark(self, pin=None):
        """Note a pulse; allocates nothing, for it runs in an interrupt."""
        if self._head - self._tail >= self.MOST:
            self.lost += 1
            return
        self._ticks[self._head % self.MOST] = time.ticks_us()
        self._head += 1

    def anchor(self, ticks_us, sample):
        """Say which sample is being taken at this moment; to be called whenever the sensor is read."""
        self._anchor_ticks = ticks_us
        self._anchor_sample = sample

    def within(self, first_sample, frames):
        """Return the pulses in a slot, in 1/65536 sample after its first; older ones are left out."""
        found = []
        while self._tail != self._head:
            ticks = self._ticks[self._tail % self.MOST]
            place = self._place(ticks) - (first_sample << 16)
            if place >= frames << 16:
                break
            self._tail += 1
            if place >= 0 and (not found or place > found[-1]):
                found.append(place)
        return found

    def _place(self, ticks):
        passed = time.ticks_diff(ticks, self._anchor_ticks)
        return (self._anchor_sample << 16) + int(passed * self._rate * 65536 / 1_000_000)

"""Catching hits as they come: samples in, whole records of what stood out of the quiet out."""

from dataclasses import dataclass

import numpy as np

from shopmon.errors import SettingError

PRE_ROLL_S = 0.03
PIECE_S = 0.05
QUIET_PIECES = 10  # heard before the first hit is waited for
KEPT_PIECES = 40
OVER_NOISE, OVER_BURSTS = 8.0, 2.5
OF_GOOD_HITS = 0.1


@dataclass(frozen=True, eq=False)
class Caught:
    """What stood out, with the quiet before it.

    Attributes
    ----------
    at_sample
        Since the watch began.
    start
        Place of the first sample above the trigger in `record`.
    record
        Shape ``(pre-roll + record, channels)``.
    """

    at_sample: int
    start: int
    record: np.ndarray


class TapWatch:
    """Waits for hits in one channel, and takes all channels down when one comes.

    The noise is learned from what comes between hits, so a compressor that starts is soon passed over.

    Parameters
    ----------
    sample_rate_hz
        Samples per second.
    record_s
        Length of a hit's record.
    """

    def __init__(self, sample_rate_hz: float, record_s: float):
        if not sample_rate_hz > 0 or not 0.01 <= record_s <= 30:
            raise SettingError("A hit's record is 0.01 to 30 s long.", "Choose another length.")
        self._pre, self._wanted = int(PRE_ROLL_S * sample_rate_hz), int(record_s * sample_rate_hz)
        self._piece = max(1, int(PIECE_S * sample_rate_hz))
        self._quiet: list[tuple[float, float]] = []  # noise and highest of each piece
        self._held: np.ndarray | None = None
        self._done = 0  # samples before what is held
        self._start: int | None = None
        self._good = 0.0

    @property
    def phase(self) -> str:
        """``quiet`` while the noise is learned, ``waiting``, or ``catching``."""
        if self._start is not None:
            return "catching"
        return "waiting" if len(self._quiet) >= QUIET_PIECES else "quiet"

    @property
    def trigger(self) -> float:
        """Magnitude above which something stands out; infinite while the noise is learned."""
        if len(self._quiet) < QUIET_PIECES:
            return np.inf
        noise, bursts = np.median(np.array(self._quiet), axis=0)
        return max(OVER_NOISE * float(noise), OVER_BURSTS * float(bursts), OF_GOOD_HITS * self._good, 1e-12)

    def good(self, peak: float) -> None:
        """Hear that a hit with this peak was good: much less than that is none."""
        self._good = peak if self._good == 0.0 else min(self._good, peak)

    def noise(self, record: np.ndarray) -> None:
        """Hear that a record was no hit: what is in it belongs to the noise."""
        for begin in range(0, record.shape[0] - self._piece + 1, self._piece):
            self._learn(record[begin : begin + self._piece, 0])

    def feed(self, samples: np.ndarray) -> list[Caught]:
        """Take samples, shape ``(n, channels)``, the first channel being watched; return what is complete."""
        held = samples if self._held is None else np.concatenate([self._held, samples])
        caught = []
        while True:
            if self._start is None:
                held, found = self._look(held)
                if not found:
                    break
            if held.shape[0] < self._start + self._wanted:
                break
            caught.append(Caught(self._done + self._start, self._start, held[: self._start + self._wanted]))
            held = self._cut(held, self._wanted)  # the quiet before the next one may lie in this record
            self._start = None
        self._held = held
        return caught

    def _look(self, held: np.ndarray) -> tuple[np.ndarray, bool]:
        """Look for the first sample above the trigger, piece by piece; return what is still to be held."""
        while held.shape[0] >= self._pre + self._piece:
            piece = held[self._pre : self._pre + self._piece, 0]
            size = np.abs(piece - np.median(piece))
            above = np.flatnonzero(size > self.trigger)
            if above.size:
                held = self._cut(held, int(above[0]))
                self._start = self._pre
                return held, True
            self._learn(piece)
            held = self._cut(held, self._piece)
        return held, False

    def _learn(self, piece: np.ndarray) -> None:
        size = np.abs(piece - np.median(piece))
        self._quiet = [*self._quiet[1 - KEPT_PIECES :], (float(np.median(size)) / 0.6745, float(size.max()))]

    def _cut(self, held: np.ndarray, count: int) -> np.ndarray:
        self._done += count
        return held[count:]

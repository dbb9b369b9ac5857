"""What another source hears, brought onto the clock and rate of the first one: more columns of its blocks.

A code of 0 in such a column means that nothing was there: a sample that would be 0 is written as 1. A stretch
without samples is never shorter than `LEAST_MISSING_S`, so that whoever listens cannot take it for sound.
"""

from collections import deque

import numpy as np

from shopmon.signals.block import SCALES, Block, Channel
from shopmon.signals.levels import FULL_SCALE
from shopmon.signals.resampling import Resampler, passed_hz
from shopmon.signals.sensors.clock_fit import Line

LOWEST_RATE_HZ = 1000.0
LEAST_MISSING_S = 0.01
OFF_S = 0.02
EASE_S, MOST_EASED = 10.0, 100e-6
KEPT_S = 5.0
SPARE = 16


def can_join(block: Block) -> bool:
    """Tell whether a block of another source holds something that can be listened to."""
    return bool(block.sound_columns) and block.sample_rate_hz >= LOWEST_RATE_HZ


class Joint:
    """One other source on its way onto the first one's clock.

    The place in its samples moves on steadily, at the ratio of the two clocks as they are known. Where what
    is known of the clocks changes by less than `OFF_S`, the place is brought there so slowly that no tone
    moves audibly; where it is more, a stretch is left out.

    Parameters
    ----------
    block
        The first that came of it; all others must have its rate and columns.
    """

    def __init__(self, block: Block):
        self.from_hz = self._to_hz = block.sample_rate_hz
        self._source_id, self._columns = block.source_id, block.sound_columns
        self.kinds = tuple(block.channels[column].kind for column in self._columns)
        self._resampler = Resampler(self.from_hz, self._to_hz)
        self._fed: deque[tuple[float, Block, Line]] = deque()
        self._stream_id: str | None = None
        self._line = Line(self.from_hz)
        self._reached_s = float("-inf")
        self._inputs = np.zeros((len(self._columns), 0), dtype=np.float32)
        self._there = np.zeros(0, dtype=bool)
        self._first = 0
        self._place: float | None = None
        self._next: tuple[str, int] | None = None
        self._off = 0.0
        self._mute = 0

    @property
    def ahead_s(self) -> float:
        """How far it must have come beyond the end of a block to be brought to that end."""
        return (self._resampler.reach + 2 + max(0.0, self._off)) / self.from_hz

    @property
    def channels(self) -> tuple[Channel, ...]:
        """What the columns are that it makes."""
        top_hz = passed_hz(self.from_hz, self._to_hz)
        return tuple(Channel(kind=kind, top_hz=top_hz, source_id=self._source_id) for kind in self.kinds)

    def fits(self, block: Block) -> bool:
        """Tell whether a block has the rate and columns of the others."""
        return block.sample_rate_hz == self.from_hz and block.sound_columns == self._columns

    def feed(self, reached_s: float, block: Block, line: Line) -> None:
        """Take in a block that ends at a time of the common clock by a line."""
        self._fed.append((reached_s, block, line))
        # while the first source is away nobody asks for them
        while self._fed[0][0] < reached_s - KEPT_S:
            self._fed.popleft()

    def aim(self, to_hz: float) -> None:
        """Bring it to this rate from now on."""
        if to_hz != self._to_hz:
            self._to_hz, self._place = to_hz, None
            self._resampler = Resampler(self.from_hz, to_hz)

    def codes(self, block: Block, line: Line) -> np.ndarray:
        """Return what belongs beside a block of the first source, whose clock is `line`, in its codes.

        Returns
        -------
        numpy.ndarray
            Of the type of the block's codes, shape ``(frames, channels)``.
        """
        needed_s = line.time_of(block.end_sample) + self.ahead_s
        while self._fed and self._reached_s < needed_s:
            self._append()
        places = self._places(block, line)
        # the place may be ahead of where the clocks say that it belongs
        while self._follows and places[-1] + self._resampler.reach + 2 > self._there.size:
            self._append()
        samples, there = self._samples(places)
        self._trim()
        return _as_codes(samples, self._widened(there), block)

    @property
    def _follows(self) -> bool:
        """More of the same stream has come."""
        return bool(self._fed) and self._fed[0][1].stream_id == self._stream_id

    def _append(self) -> None:
        self._reached_s, part, self._line = self._fed.popleft()
        end = self._first + self._there.size
        if part.stream_id != self._stream_id or not 0 <= part.first_sample - end < 10 * self.from_hz:
            self._stream_id, self._first, self._place = part.stream_id, part.first_sample, None
            self._inputs, self._there = self._inputs[:, :0], self._there[:0]
            end = part.first_sample
        gap = part.first_sample - end
        nothing = np.zeros((len(self._columns), gap), dtype=np.float32)
        self._inputs = np.concatenate([self._inputs, nothing, part.samples().T], axis=1)
        self._there = np.concatenate([self._there, np.zeros(gap, bool), np.ones(part.frames, bool)])

    def _places(self, block: Block, line: Line) -> np.ndarray:
        """Where in the other source's samples each frame of the block lies."""
        begin, end = (
            self._line.sample_at(line.time_of(sample)) for sample in (block.first_sample, block.end_sample)
        )
        if self._next != (block.stream_id, block.first_sample):
            self._place = None
        self._next = (block.stream_id, block.end_sample)
        ratio = (end - begin) / block.frames
        off = 0.0 if self._place is None else begin - self._place
        self._off = -off if abs(off) <= OFF_S * self.from_hz else 0.0
        if self._place is None or abs(off) > OFF_S * self.from_hz:
            self._mute = self._mute if self._place is None else round(LEAST_MISSING_S * self._to_hz)
            self._place = begin
        else:
            ratio += np.clip(off / (EASE_S * self._to_hz), -MOST_EASED * ratio, MOST_EASED * ratio)
        places = self._place + ratio * np.arange(block.frames)
        self._place += ratio * block.frames
        return places - self._first

    def _samples(self, places: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """The signal at some places of what is at hand, and where it is known."""
        reach = self._resampler.reach
        nearest = np.rint(places).astype(np.int64)
        # one more on either side: a place may round up to the next sample
        there = (nearest >= reach) & (nearest < self._there.size - reach - 1)
        if not self._there.all():
            missing = np.concatenate([[0], np.cumsum(~self._there)])
            low = np.clip(nearest - reach, 0, self._there.size)
            high = np.clip(nearest + reach + 2, 0, self._there.size)
            there &= missing[high] == missing[low]
        samples = np.zeros((len(self._columns), places.size), dtype=np.float32)
        if there.any():
            samples[:, there] = self._resampler.at(self._inputs, places[there])
            self._keep_overload(samples, nearest, there)
        return samples, there

    def _keep_overload(self, samples: np.ndarray, nearest: np.ndarray, there: np.ndarray) -> None:
        """What was at full scale is at full scale: interpolated, an overload would look like sound."""
        if np.abs(self._inputs).max(initial=0.0) < FULL_SCALE:
            return
        inputs = self._inputs[:, np.where(there, nearest, 0)]
        full = (np.abs(inputs) >= FULL_SCALE) & there
        samples[full] = np.sign(inputs[full])

    def _trim(self) -> None:
        spent = int(self._place - self._first) - self._resampler.reach - SPARE
        spent = min(spent, self._there.size - 1)
        if spent > 0:
            self._inputs, self._there = self._inputs[:, spent:], self._there[spent:]
            self._first += spent

    def _widened(self, there: np.ndarray) -> np.ndarray:
        """Make what is missing last at least `LEAST_MISSING_S`, also from one block to the next."""
        least = round(LEAST_MISSING_S * self._to_hz)
        if there.all() and not self._mute:
            return there
        there = there.copy()
        there[: self._mute] = False
        self._mute = max(0, self._mute - there.size)
        begins = np.flatnonzero(~there & np.concatenate([[True], there[:-1]]))
        for begin in begins.tolist():
            there[begin : begin + least] = False
            self._mute = max(self._mute, begin + least - there.size)
        return there


def _as_codes(samples: np.ndarray, there: np.ndarray, block: Block) -> np.ndarray:
    top = round(1 / SCALES[block.code_format])
    codes = np.clip(np.rint(samples.T.astype(np.float64) * top), -top, top - 1)
    codes[codes == 0] = 1
    codes[~there] = 0
    return codes.astype(block.codes.dtype)

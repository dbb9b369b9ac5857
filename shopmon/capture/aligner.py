"""Several sources at once on the clock of the first of them.

Each source is read in a thread of its own. What comes is put into one fixed order, by its time on the
common clock, before anything is done with it. What the others hear, and the pulses of a tachometer, become
columns of the primary's blocks, so that they are listened to, and recorded with the sound they belong to.
"""

import queue
import threading
import time
import uuid
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from shopmon.capture.joining import Joint, can_join
from shopmon.capture.source import Source, SourceFormat, SourceNotice
from shopmon.signals.block import Block, Channel
from shopmon.signals.sensors.clock_fit import ClockFit, Line
from shopmon.signals.sensors.tachometer import edge_codes, edge_places

WAIT_S, STALLED_S = 0.4, 2.0
TURN_S = 0.05
MOST_QUEUED = 2000
HELD_S, MOST_EDGES = 5.0, 20_000
MOST_COLUMNS = 8  # of a FLAC file


@dataclass(kw_only=True)
class Lane:
    """One source on its way into the common order."""

    source: Source
    stream_id: str | None = None
    clock: ClockFit | None = None
    reached_s: float = float("-inf")
    present: bool = False
    tached: bool = False
    expected: bool = True
    joint: Joint | None = None
    waiting: deque[tuple[float, float, Block, Line]] = field(default_factory=deque)

    def take(self, at_s: float, block: Block) -> None:
        """Queue a block that arrived at `at_s`."""
        if block.stream_id != self.stream_id:
            self.stream_id, self.clock = block.stream_id, ClockFit(block.sample_rate_hz)
        self.clock.add(at_s, block.end_sample)
        self.present, self.tached = True, block.tach_codes is not None
        line = self.clock.line
        self.reached_s = line.time_of(block.end_sample)
        self.waiting.append((self.reached_s, at_s, block, line))

    def join(self) -> None:
        """Have its newest block brought onto the clock of the first source."""
        reached_s, _, block, line = self.waiting[-1]
        if self.joint is None or not self.joint.fits(block):
            self.joint = Joint(block) if can_join(block) else None
        if self.joint:
            self.joint.feed(reached_s, block, line)

    def lags(self, end_s: float) -> bool:
        """Whether it is worth waiting for this source to come as far."""
        if self.clock is None:
            return self.expected
        end_s += self.joint.ahead_s if self.joint else 0.0
        return self.present and end_s - STALLED_S < self.reached_s < end_s


@dataclass(frozen=True, kw_only=True)
class Layout:
    """What stands beside the first source's own columns, and the stream that this makes.

    Attributes
    ----------
    of, origin
        The first source's own stream, and the sample of it that is sample 0 here.
    tached
        A column of pulses is there.
    joints
        The others that are listened to.
    """

    of: str
    origin: int
    tached: bool
    joints: tuple[Joint, ...]
    stream_id: str = field(default_factory=lambda: str(uuid.uuid4()))


class Order:
    """Puts the blocks of all lanes into one order that does not depend on how they arrived.

    A block of the primary waits until every other source that is present has come as far, but for no longer
    than `WAIT_S`. Those of the others that end before it go first, at equal times in the order of sources.
    Where a block lies in time is settled when it arrives, by what its own source has sent until then.

    Parameters
    ----------
    lanes
        The primary first.
    """

    def __init__(self, lanes: Sequence[Lane]):
        self.lanes = lanes
        self._edges: list[float] = []
        self._layout: Layout | None = None

    def release(self, now_s: float, everything: bool = False) -> Iterator[Block]:
        """Yield what may go, in order, once all that arrived by `now_s` has been taken in."""
        primary = self.lanes[0]
        while primary.waiting:
            end_s, at_s, block, line = primary.waiting[0]
            if any(lane.lags(end_s) for lane in self.lanes[1:]) and not everything:
                if now_s - at_s < WAIT_S:
                    return
                for lane in self.lanes[1:]:
                    lane.expected = False
            primary.waiting.popleft()
            yield from self._others(end_s)
            yield self._whole(line, block)
        if everything:
            yield from self._others(float("inf"))
        elif not primary.waiting and len(self.lanes) > 1:
            # the primary is away: what the others deliver is not held for ever
            yield from self._others(max(lane.reached_s for lane in self.lanes[1:]) - HELD_S)

    def _others(self, until_s: float) -> Iterator[Block]:
        ready = []
        for number, lane in enumerate(self.lanes[1:]):
            while lane.waiting and lane.waiting[0][0] <= until_s:
                end_s, _, block, _ = lane.waiting.popleft()
                ready.append((end_s, number, len(ready), block))
        for *_, block in sorted(ready):
            yield block

    def take(self, number: int, at_s: float, block: Block) -> None:
        """Take in a block of a lane that arrived at `at_s`."""
        lane = self.lanes[number]
        lane.take(at_s, block)
        if number:
            lane.join()
        column = block.tach_codes
        if number and column is not None:
            places = edge_places(column, block.first_sample)
            self._edges += [lane.clock.line.time_of(place) for place in places.tolist()]
            del self._edges[:-MOST_EDGES]

    def _whole(self, line: Line, block: Block) -> Block:
        """Add the columns of the others; where another first appears, a new stream begins."""
        if block.code_format == "float32":
            self._edges.clear()
            return block
        tached = self._tached(block)
        joints = self._joints(block, MOST_COLUMNS - len(block.channels) - tached)
        if not (tached or joints):
            self._edges.clear()
            self._layout = None
            return block
        layout = self._layout
        if layout is None or (layout.of, layout.tached, layout.joints) != (block.stream_id, tached, joints):
            layout = self._layout = Layout(
                of=block.stream_id, origin=block.first_sample, tached=tached, joints=joints
            )
        columns, channels = [block.codes], block.channels
        for joint in joints:
            columns.append(joint.codes(block, line))
            channels += joint.channels
        if tached:
            columns.append(self._pulses(line, block))
            channels += (Channel(kind="tachometer"),)
        return replace(
            block,
            codes=np.column_stack(columns),
            channels=channels,
            stream_id=layout.stream_id,
            first_sample=block.first_sample - layout.origin,
        )

    def _tached(self, block: Block) -> bool:
        """Whether another's pulses belong beside a block; once they did they do until its stream ends."""
        if block.tach_codes is not None:
            return False
        before = self._layout is not None and self._layout.of == block.stream_id and self._layout.tached
        return before or any(lane.present and lane.tached for lane in self.lanes[1:])

    def _joints(self, block: Block, room: int) -> tuple[Joint, ...]:
        """Those of the others that are listened to; one that was there once stays, as silence."""
        chosen: list[Joint] = []
        for lane in self.lanes[1:]:
            joint = lane.joint
            if joint and len(joint.kinds) <= room:
                joint.aim(block.sample_rate_hz)
                chosen.append(joint)
                room -= len(joint.kinds)
        return tuple(chosen)

    def _pulses(self, line: Line, block: Block) -> np.ndarray:
        places = [line.sample_at(edge) - block.first_sample for edge in self._edges]
        self._edges = [edge for edge, place in zip(self._edges, places, strict=True) if place >= block.frames]
        return edge_codes(
            [place for place in places if place < block.frames], block.frames, block.code_format
        )

    def use_of(self, lane: Lane) -> str | None:
        """Return what another source is for: ``heard``, ``pulses`` or ``recorded``; None: unknown yet."""
        if lane.clock is None:
            return None
        if self._layout and lane.joint in self._layout.joints:
            return "heard"
        return "pulses" if lane.tached else "recorded"

    def sample_on(self, number: int, primary_sample: int) -> int | None:
        """Return which sample of another lane belongs to one of the primary's stream as it is delivered."""
        primary, lane = self.lanes[0], self.lanes[number]
        if primary.clock is None or lane.clock is None:
            return None
        if self._layout is not None:
            primary_sample += self._layout.origin
        at_s = primary.clock.line.time_of(primary_sample)
        # a source that has not come as far is away, or was when this happened
        return round(lane.clock.line.sample_at(at_s)) if lane.reached_s > at_s - STALLED_S else None


class AlignedSource:
    """Several sources as one: the blocks of the first, and between them those of the others.

    Blocks of the others carry their own `source_id`. What happens to the others is told by notices whose code
    begins with ``other-``.

    Parameters
    ----------
    sources
        The primary first; each with an id of its own.
    clock
        Monotonic seconds; given by tests.
    """

    def __init__(self, sources: Sequence[Source], clock: Callable[[], float] = time.monotonic):
        self._clock = clock
        self.lanes = [Lane(source=source) for source in sources]
        self.order = Order(self.lanes)
        self._queue: queue.Queue = queue.Queue(MOST_QUEUED)
        self._primary = sources[0]
        self.source_id = sources[0].source_id

    @property
    def sources(self) -> tuple[Source, ...]:
        """All of them, the primary first."""
        return tuple(lane.source for lane in self.lanes)

    @property
    def name(self) -> str:
        """Name of the primary."""
        return self._primary.name

    @property
    def sensor(self) -> str:
        """What kind of sensor the primary is meant to be."""
        return getattr(self._primary, "sensor", "microphone")

    @property
    def format(self) -> SourceFormat | None:
        """What the primary delivers, None while it is away."""
        return self._primary.format

    @property
    def full_scales_g(self) -> tuple[float, ...] | None:
        """What the primary says of its range, None where it says nothing."""
        return getattr(self._primary, "full_scales_g", None)

    @property
    def stated_part(self) -> str | None:
        """Which sensor the primary says that it is, None where it says nothing."""
        return getattr(self._primary, "stated_part", None)

    @property
    def temperature_c(self) -> float | None:
        """Temperature of the primary, None where it has no thermometer."""
        return getattr(self._primary, "temperature_c", None)

    def blocks(self, stop: threading.Event) -> Iterator[Block | SourceNotice]:
        """Yield blocks and notices of all sources in one order until the primary ends or `stop` is set."""
        ended = threading.Event()
        for number in range(len(self.lanes)):
            threading.Thread(
                target=self._read, args=(number, ended), name=f"source-{number}", daemon=True
            ).start()
        running = True
        while running and not stop.is_set():
            try:
                number, at_s, item = self._queue.get(timeout=TURN_S)
            except queue.Empty:
                number, at_s, item = -1, self._clock(), ()
            if isinstance(item, Block):
                self.order.take(number, at_s, item)
            elif number == 0 and (item is None or isinstance(item, Exception)):
                running = False
                yield from self.order.release(self._clock(), everything=True)
                if item is not None:
                    ended.set()
                    raise item
            elif number >= 0:
                yield from self._tell(number, item)
            # not by the clock: where this thread is late, what others sent in time still waits in the queue
            yield from self.order.release(at_s)
        ended.set()
        yield from self.order.release(self._clock(), everything=True)

    def _read(self, number: int, ended: threading.Event) -> None:
        try:
            for item in self.lanes[number].source.blocks(ended):
                self._queue.put((number, self._clock(), item))
                if ended.is_set():
                    return
            self._queue.put((number, self._clock(), None))
        except Exception as exc:  # told in the order of things, by the thread that reads the queue
            self._queue.put((number, self._clock(), exc))

    def _tell(self, number: int, item) -> Iterator[SourceNotice]:
        lane = self.lanes[number]
        gone = item is None or isinstance(item, Exception)
        if gone or item.code in ("device-lost", "recording-ended"):
            lane.present = lane.expected = False
        if number == 0:
            # what was there before it was lost belongs before the notice
            yield from self.order.release(self._clock(), everything=True)
            yield item
        elif gone:
            text = f"The source {lane.source.source_id} has ended."
            yield SourceNotice(code="other-lost", text=str(item) if item else text)
        else:
            code = item.code.removeprefix("device-")
            yield SourceNotice(code=f"other-{code}", text=item.text, hint=item.hint)

    def sample_on(self, source_id: str, primary_sample: int) -> int | None:
        """Return which sample of another source belongs to a sample of the primary; None while it is away."""
        for number, lane in enumerate(self.lanes[1:], 1):
            if lane.source.source_id == source_id:
                return self.order.sample_on(number, primary_sample)
        return None

    def others(self) -> list[dict]:
        """Return of each other source whether it delivers, what it is for, and how its clock drifts."""
        base = self.lanes[0].clock
        told = []
        for lane in self.lanes[1:]:
            drift = None
            if base and lane.clock and None not in (slow := (base.slow_ppm, lane.clock.slow_ppm)):
                drift = round(slow[0] - slow[1], 1)
            told.append(
                {
                    "source": lane.source.source_id,
                    "device": lane.source.name,
                    "present": lane.present,
                    "use": self.order.use_of(lane),
                    "drift_ppm": drift,
                }
            )
        return told

    def close(self) -> None:
        """Let all of them go; calling it twice is harmless."""
        for lane in self.lanes:
            lane.source.close()

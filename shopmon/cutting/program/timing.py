"""How long moves take: length over feed, or with the machine's acceleration and the corners it slows for."""

from collections.abc import Iterator
from dataclasses import dataclass
from math import isfinite, sqrt

from shopmon.cutting.program.moves import Move
from shopmon.errors import SettingError

USUAL_RAPID_MM_PER_MIN = 5000.0
CORNER_MM = 0.01  # how far a corner may be rounded: our own judgement of a usual setting, no source
AHEAD, KEPT = 4000, 1000
Timed = tuple[Move, float]


@dataclass(frozen=True, kw_only=True)
class MachineMotion:
    """How the machine moves.

    Attributes
    ----------
    acceleration_mm_per_s2
        Along the path; None for none at all: every move at its full feed from end to end.
    rapid_mm_per_min
        Of rapids along their straight line; where nobody said, a usual rate is assumed.
    """

    acceleration_mm_per_s2: float | None = None
    rapid_mm_per_min: float | None = None

    def __post_init__(self):
        for name, value, unit in (
            ("acceleration", self.acceleration_mm_per_s2, "mm/s²"),
            ("rapid", self.rapid_mm_per_min, "mm/min"),
        ):
            if value is not None and not (isfinite(value) and 0 < value <= 1e6):
                raise SettingError(f"--{name} cannot be {value:g} {unit}.", "Give a number above 0.")

    @property
    def rapid_mm_per_s(self) -> float:
        """Speed of rapids."""
        return (self.rapid_mm_per_min or USUAL_RAPID_MM_PER_MIN) / 60.0


class Timer:
    """Gives each move its time, some moves late where the machine looks ahead.

    Parameters
    ----------
    machine
        How it moves.
    """

    def __init__(self, machine: MachineMotion):
        self._machine = machine
        self._waiting: list[Move] = []
        self._speed = 0.0

    def take(self, move: Move) -> Iterator[Timed]:
        """Take a move; yield those whose time is settled."""
        if self._machine.acceleration_mm_per_s2 is None:
            yield move, self._steady_s(move)
            return
        if move.length_mm <= 0:
            yield from self.stop()
            yield move, self._steady_s(move)
            return
        self._waiting.append(move)
        if len(self._waiting) >= AHEAD:
            # the last ones wait for what follows them: only there does the standstill at the end show
            yield from self._settle(len(self._waiting) - KEPT)

    def stop(self) -> Iterator[Timed]:
        """Take it that the machine stands still now; yield all that waited."""
        yield from self._settle(len(self._waiting))
        self._speed = 0.0

    def _steady_s(self, move: Move) -> float:
        return move.seconds if move.feed else move.length_mm / self._machine.rapid_mm_per_s

    def _settle(self, count: int) -> Iterator[Timed]:
        if not count:
            return
        acceleration = self._machine.acceleration_mm_per_s2
        moves = self._waiting
        tops = [self._top(move) for move in moves]
        speeds = self._speeds(moves, tops)
        for number in range(count):
            first, last = speeds[number], speeds[number + 1]
            yield moves[number], travel_s(moves[number].length_mm, first, last, tops[number], acceleration)
        self._speed = speeds[count]
        self._waiting = moves[count:]

    def _top(self, move: Move) -> float:
        """The speed it may reach: its feed, and what a bend allows."""
        top = move.length_mm / self._steady_s(move)
        if move.radius_mm is None:
            return top
        return min(top, sqrt(self._machine.acceleration_mm_per_s2 * move.radius_mm))

    def _speeds(self, moves: list[Move], tops: list[float]) -> list[float]:
        """Speed before each move, and after the last: 0."""
        acceleration = self._machine.acceleration_mm_per_s2
        speeds = [self._speed]
        for before, after, top_before, top_after in zip(moves, moves[1:], tops, tops[1:], strict=False):
            speeds.append(min(top_before, top_after, corner_speed(before, after, acceleration)))
        speeds.append(0.0)
        for number in range(len(moves) - 1, 0, -1):
            reach = sqrt(speeds[number + 1] ** 2 + 2 * acceleration * moves[number].length_mm)
            speeds[number] = min(speeds[number], reach)
        for number, move in enumerate(moves):
            reach = sqrt(speeds[number] ** 2 + 2 * acceleration * move.length_mm)
            speeds[number + 1] = min(speeds[number + 1], reach)
        return speeds


def corner_speed(before: Move, after: Move, acceleration_mm_per_s2: float) -> float:
    """Return the speed at which a corner may be passed, mm/s.

    The corner is rounded by a circle that touches both moves and misses the corner by `CORNER_MM`; on it the
    sideways acceleration is the machine's. From a rapid to feed or back the machine takes the same corner.
    """
    straightness = sum(a * b for a, b in zip(before.ends, after.starts, strict=True))
    half = sqrt(max(0.0, min(1.0, (1 + straightness) / 2)))
    if half > 1 - 1e-9:
        return float("inf")
    return sqrt(acceleration_mm_per_s2 * CORNER_MM * half / (1 - half))


def travel_s(length_mm: float, first: float, last: float, top: float, acceleration_mm_per_s2: float) -> float:
    """Return the time of a move that speeds up and slows down evenly, s.

    Parameters
    ----------
    length_mm
        Way.
    first, last, top
        Speed at its ends and the highest allowed, mm/s.
    acceleration_mm_per_s2
        Speeding up and slowing down.

    >>> travel_s(100, 0, 0, 10, 100)  # 10 s at full speed, and 0.1 s for speeding up and slowing down
    10.1
    """
    peak = min(top, sqrt((first**2 + last**2) / 2 + acceleration_mm_per_s2 * length_mm))
    peak = max(peak, first, last)
    changing = (2 * peak - first - last) / acceleration_mm_per_s2
    way = (2 * peak**2 - first**2 - last**2) / (2 * acceleration_mm_per_s2)
    return changing + max(length_mm - way, 0.0) / peak

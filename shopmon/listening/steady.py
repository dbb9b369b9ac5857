"""The spindle comb of a cut's steady, quiet stretches: what a tool in good order sounds like, for later ones.

Entering and leaving the metal, a turn of the override, and ringing all change the comb without the tool
having changed. They are left out, with some time around them.
"""

from collections import deque
from dataclasses import dataclass

import numpy as np

from shopmon.listening.events import Frame, State
from shopmon.signals.levels import power_db

HEAD_S, TAIL_S = 0.3, 1.0  # the last contact is dated up to a second after it was
SAME_SPEED = 0.015
LEAST_S = 1.0
MOST_STRETCHES = 4
STANDING = 0.5  # of the moments: less, and a line is not told


@dataclass(frozen=True, kw_only=True, eq=False)
class SteadyLines:
    """Mean levels of the comb over the steady, quiet time at one spindle speed.

    Attributes
    ----------
    rpm, duration_s
        True speed, and the time that was averaged over.
    lines_db
        Level of each multiple of the rotation, ``(orders,)``, dB re full scale; NaN where a line mostly did
        not stand out.
    """

    rpm: float
    duration_s: float
    lines_db: np.ndarray


class _Stretch:
    """Sums over the moments of one speed."""

    def __init__(self, rpm: float, orders: int):
        self.rpm_sum, self.frames, self.samples = 0.0, 0, 0
        self.first_rpm = rpm
        self.power, self.standing = np.zeros(orders), np.zeros(orders)

    @property
    def rpm(self) -> float:
        """Mean speed so far."""
        return self.rpm_sum / self.frames if self.frames else self.first_rpm

    def is_at(self, rpm: float) -> bool:
        """Tell whether a speed is this one."""
        return abs(rpm / self.rpm - 1) <= SAME_SPEED

    def add(self, frame: Frame, samples: int) -> None:
        """Add a moment."""
        # the highest orders come and go at the top of the band with the smallest change of speed
        count = min(self.power.size, frame.lines_db.size)
        lines = frame.lines_db[:count]
        stands = np.isfinite(lines)
        self.power, self.standing = self.power[:count], self.standing[:count]
        self.power[stands] += 10 ** (lines[stands] / 10)
        self.standing += stands
        self.rpm_sum += frame.rpm
        self.frames, self.samples = self.frames + 1, self.samples + samples

    def lines(self, sample_rate_hz: float) -> SteadyLines:
        """Return the mean levels, NaN for lines that seldom stood out."""
        told = self.standing >= STANDING * self.frames
        levels = np.full(self.power.size, np.nan)
        levels[told] = power_db(self.power[told] / self.standing[told])
        return SteadyLines(rpm=self.rpm, duration_s=self.samples / sample_rate_hz, lines_db=levels)


class SteadyListening:
    """Collects the frames of a cut.

    Parameters
    ----------
    sample_rate_hz
        Of the stream.
    """

    def __init__(self, sample_rate_hz: float):
        self._rate_hz = sample_rate_hz
        self._stretches: list[_Stretch] = []
        self._waiting: deque[tuple[Frame, int]] = deque()
        self._since: int | None = None
        self._newest = 0
        self._rpm = 0.0

    def add(self, frame: Frame) -> None:
        """Take in one frame, in order."""
        samples, self._newest = frame.sample - self._newest, frame.sample
        if not _steady(frame):
            self._break()
            return
        if self._since is None or abs(frame.rpm / self._rpm - 1) > SAME_SPEED:
            self._break()
            self._since, self._rpm = frame.sample, frame.rpm
        if frame.sample - self._since < HEAD_S * self._rate_hz:
            return
        self._waiting.append((frame, samples))
        while frame.sample - self._waiting[0][0].sample > TAIL_S * self._rate_hz:
            self._take(*self._waiting.popleft())

    def _break(self) -> None:
        self._waiting.clear()
        self._since = None

    def _take(self, frame: Frame, samples: int) -> None:
        own = next((stretch for stretch in self._stretches if stretch.is_at(frame.rpm)), None)
        if own is None:
            own = _Stretch(frame.rpm, frame.lines_db.size)
            self._stretches.append(own)
        own.add(frame, samples)

    def found(self) -> list[SteadyLines]:
        """Return what was heard, the speed with the longest steady time first."""
        told = [stretch.lines(self._rate_hz) for stretch in self._stretches]
        long = [each for each in told if each.duration_s >= LEAST_S]
        return sorted(long, key=lambda each: -each.duration_s)[:MOST_STRETCHES]


def _steady(frame: Frame) -> bool:
    """Whether a moment is plain, quiet cutting at a speed that is heard."""
    return frame.state is State.CUTTING and frame.lines_db is not None and frame.rpm is not None

"""One hop as the judgement of engagement sees it: the sound, what was before, how the spindle turns."""

from dataclasses import dataclass, replace

from shopmon.listening.background import Background
from shopmon.listening.burst import Burst, long_enough_s, weigh_burst
from shopmon.listening.front import Front, View
from shopmon.listening.setup import Setup
from shopmon.listening.speed import Speed

LEAST_S = 0.08
REACH_S, REACH_TURNS = 0.4, 6.0
NEVER = -99.0


@dataclass(frozen=True, kw_only=True)
class Turning:
    """What is known of the spindle at a hop: rotation and flutes are None where unknown."""

    rotation_hz: float | None
    trusted: bool
    jitter: float
    told: bool
    flutes: int | None

    @classmethod
    def of(cls, speed: Speed, heard: bool, setup: Setup) -> "Turning":
        """Gather it; `heard` says that the comb was looked for in this hop."""
        return cls(
            rotation_hz=speed.rotation_hz if heard else None,
            trusted=speed.trusted,
            jitter=speed.tracker.jitter,
            told=setup.nominal_rpm is not None,
            flutes=setup.flutes,
        )


@dataclass(frozen=True, kw_only=True, eq=False)
class Moment:
    """What a hop is judged with."""

    view: View
    front: Front
    background: Background
    turning: Turning

    @property
    def now(self) -> int:
        """One past the last sample."""
        return self.view.sample

    def frames(self, seconds: float) -> int:
        """Return a duration in frames of the stream."""
        return int(seconds * self.front.rates.sample_rate_hz)

    def turning_at(self, rotation_hz: float) -> "Moment":
        """Return the same with another rotation."""
        return replace(self, turning=replace(self.turning, rotation_hz=rotation_hz))

    def score(self, first: int, last: int) -> float:
        """Evidence for a cut from one sample to another, of which the end is used where it is long."""
        burst = self._burst(first, last)
        return burst.score if burst else NEVER

    def _burst(self, first: int, last: int) -> Burst | None:
        rotation, window = self.turning.rotation_hz, self.front.window
        if rotation is None or last > self.now:
            return None
        reach = min(window.duration_s, max(REACH_S, REACH_TURNS / rotation))
        first = max(first, last - self.frames(reach))
        if last - first < self.frames(long_enough_s(rotation, self.turning.flutes, LEAST_S)):
            return None
        stretch = self.front.stretch(first - self.now, last - self.now)
        if stretch is None:
            return None
        return weigh_burst(*stretch, window, self.background, rotation, self.turning.flutes)

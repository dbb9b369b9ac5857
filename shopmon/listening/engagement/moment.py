"""One hop as the judgement of engagement sees it: the sound, what was before, how the spindle turns."""

from dataclasses import dataclass, replace

from shopmon.listening.background import Background
from shopmon.listening.engagement.burst import Burst, long_enough_s, weigh_burst
from shopmon.listening.intake.front import Front, View
from shopmon.listening.rotation.comb_view import CombView
from shopmon.listening.rotation.speed import Speed
from shopmon.listening.setup import Setup

LEAST_S = 0.08
REACH_S, REACH_TURNS = 0.4, 6.0
NEVER = -99.0
CONTRAST_DB = 3.0
LEAST_LINES, LEAST_SHARE = 4, 0.25


@dataclass(frozen=True, kw_only=True)
class Turning:
    """What is known of the spindle at a hop.

    Attributes
    ----------
    rotation_hz, flutes
        None where unknown.
    trusted, jitter
        Whether the rotation is sure, and the share by which it moves from hop to hop.
    told
        The speed was told and is the one that is followed.
    plain
        Many lines of the comb stand out; not asked of a told speed.
    ringing
        Lines that have just come step by the rotation.
    stepped
        The speed has just been found elsewhere nearby: somebody turned the override.
    """

    rotation_hz: float | None
    trusted: bool
    jitter: float
    told: bool
    plain: bool
    ringing: bool
    stepped: bool
    flutes: int | None

    @classmethod
    def of(cls, speed: Speed, comb: CombView | None, setup: Setup) -> "Turning":
        """Gather it; the comb is None where none was looked for in this hop."""
        told = setup.nominal_rpm is not None and not speed.found
        return cls(
            rotation_hz=None if comb is None else speed.rotation_hz,
            trusted=speed.trusted,
            jitter=speed.tracker.jitter,
            told=told,
            plain=not told and comb is not None and _is_plain(comb),
            ringing=speed.ringing,
            stepped=speed.stepped,
            flutes=setup.flutes,
        )


def _is_plain(comb: CombView) -> bool:
    """Many lines stand out; a few may be music or hum."""
    many = max(LEAST_LINES, LEAST_SHARE * comb.lines_db.size)
    return comb.contrast_db > CONTRAST_DB and comb.visible >= many


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

"""The stages of one stream, and how a hop of sound goes through them."""

from collections.abc import Sequence

import numpy as np

from shopmon.listening.background import Background
from shopmon.listening.chatter.clues import Circumstances
from shopmon.listening.chatter.comb_shape import CombShape
from shopmon.listening.chatter.doubts import Doubts
from shopmon.listening.chatter.steadiness import span_s
from shopmon.listening.chatter.strays import Strays
from shopmon.listening.chatter.suspect import Suspicion, suspect
from shopmon.listening.chatter.verdict import ChatterJudge
from shopmon.listening.engagement.contact import Contact, Engagement
from shopmon.listening.engagement.cut_book import CutBook
from shopmon.listening.engagement.moment import Moment, Turning
from shopmon.listening.engagement.usual_cuts import UsualCuts
from shopmon.listening.events import Event, Frame
from shopmon.listening.frames import frame_of
from shopmon.listening.intake.front import Front, View
from shopmon.listening.intake.health import Health, notice
from shopmon.listening.intake.hops import Rates
from shopmon.listening.intake.reach import Reach
from shopmon.listening.rotation.comb_view import CombView
from shopmon.listening.rotation.speed import Speed
from shopmon.listening.rotation.tach import Tach
from shopmon.listening.scene import Scene
from shopmon.listening.setup import ListenerSettings, Setup
from shopmon.signals.block import Channel
from shopmon.signals.comb.search import peaks_near

# where no rise was noticed, a line as young as this may still have come with a cut; with relatives, as this
FRESH_S, RELATED_FRESH_S, UNCOMPARED_FRESH_S = 1.0, 2.0, 4.0
RINGS_ON_S, LOUD_DB, SAME_LINE = 0.15, 10.0, 0.005
STAGES = (
    "front", "mix", "health", "reach", "speed", "background", "engagement", "strays", "judge",
    "shape", "book", "usual", "tach", "doubts",
)  # fmt: skip
YOUNGER = ("tach", "doubts")  # a recording of before there were these has no memory of them


class Chain:
    """What one stream goes through, hop by hop.

    Parameters
    ----------
    settings
        Configuration.
    rates
        The grid.
    channels
        What each channel is.

    Attributes
    ----------
    setup
        What is being cut, as known.
    newest, scene, suspicion
        What the newest hop gave; the frame is None before the first.
    """

    def __init__(self, settings: ListenerSettings, rates: Rates, channels: Sequence[Channel]):
        self.settings, self.rates, self.channels = settings, rates, len(channels)
        self.setup = Setup()
        self.front = Front(rates, len(channels), [channel.top_hz for channel in channels])
        self.health = Health(rates, channels)
        self.speed = Speed(rates, settings)
        self.background = Background()
        self.engagement = Engagement(rates)
        self.strays = Strays()
        self.doubts = Doubts()
        self.judge = ChatterJudge(settings.false_alarms_per_hour)
        self.book = CutBook(int(settings.cut_gap_s * rates.sample_rate_hz))
        self.shape = CombShape()
        self.usual = UsualCuts(rates.sample_rate_hz)
        self.reach = Reach(rates)
        self.tach = Tach(rates.sample_rate_hz)
        self.newest: Frame | None = None
        self.scene: Scene | None = None
        self.suspicion: Suspicion | None = None

    def _stage(self, name: str):
        return self.front.channels if name == "mix" else getattr(self, name)

    def snapshot(self) -> dict:
        """Return the memory of every stage."""
        return {name: self._stage(name).snapshot() for name in STAGES}

    def restore(self, data: dict, names: tuple[str, ...] = STAGES) -> None:
        """Take up the memory of some stages."""
        for name in names:
            if name in data or name not in YOUNGER:
                self._stage(name).restore(data[name])

    def move_to_another_stream(self) -> None:
        """What was learned elsewhere is kept, but nothing of the sound at hand."""
        self.front.channels.clear()
        self.shape.end()
        self.speed.clear()
        self.doubts.clear()
        self.background.drop()

    def interrupt(self, last: int, sample: int) -> list[Event]:
        """The stream was interrupted: nothing after `last` is known until it goes on at `sample`."""
        events = self.close(last)
        self.book.restart(sample)
        self.front.clear()
        self.speed.clear()
        self.tach.clear()
        self.background.drop()
        return events

    def close(self, sample: int) -> list[Event]:
        """Close whatever is open."""
        events = self.judge.end(sample, sample)
        self.book.leave(sample)
        self.shape.end()
        events += self.book.close(sample)
        self.engagement.clear()
        self.strays.clear()
        return events

    def accept(self, setup: Setup) -> None:
        """Heed how many false alarms the person accepts: a wish goes before the settings."""
        wished = setup.preferences.false_alarms_per_hour
        self.judge.accept(self.settings.false_alarms_per_hour if wished is None else wished)

    def turn_to(self, start: int, setup: Setup) -> list[Event]:
        """Close the cut of the old context; a tooth still in metal opens one of the new context at once."""
        touching = self.book.touching
        events = self.judge.end(start, start)
        self.book.leave(start)
        self.shape.end()
        events += self.book.close(start)
        before, self.setup = self.setup, setup
        if (before.nominal_rpm, before.flutes) != (setup.nominal_rpm, setup.flutes):
            self.speed.use(setup)
            self.strays.clear()
        self.doubts.clear()
        return events + (self.book.touch(start, start) if touching else [])

    def hear(self, start: int, hop: np.ndarray) -> list[Event]:
        """Take in one hop of shape ``(frames, channels)`` and return what happened, in order."""
        self.front.duration_s = self.speed.window_s
        self.newest = self.scene = self.suspicion = None
        view = self.front.look(start, hop, idle=not self.engagement.risen)
        if self.front.channels.moved_db is not None:
            self.background.move(*self.front.channels.moved_db)
            self.doubts.usual_sound.clear()
        self.background.fit_to(self.front.window)
        events: list[Event] = [*self.health.take(view)]
        if self.health.silent:
            if self.book.touching or self.engagement.risen:
                events += self._leave(view.sample, view.sample)
                self.engagement.clear()
            self.strays.clear()
            self.judge.clear()
            return [*events, *self.book.tick(view.sample), self._show(view, None, ())]
        events += self.reach.look(view, self.front.window, hop)
        raised = peaks_near(view.above_floor_db)
        measured_hz = self.tach.look(view.sample, self.setup.nominal_rpm)
        unknown = self.speed.rotation_hz is None
        for code, present in self.tach.remarks():
            events += self.health.say(code, present, view.sample)
        comb = self.speed.follow(
            view, self.front, raised, self.engagement.risen, self.background, measured_hz
        )
        if comb is not None:
            self.front.channels.hear_comb(comb, self.speed.trusted)
            if unknown and self.speed.found and not (self.engagement.risen or self.engagement.proven):
                self.background.doubt()
        events += self._hear_engagement(view, comb)
        events += self._hear_strays(view, comb, raised)
        events += self._hear_shape(view, comb)
        events += self.health.hear_speed(
            self.setup.nominal_rpm is not None, self.speed.trusted, self.engagement.risen, view.sample
        )
        ambiguous = self.speed.trusted and bool(self.speed.rivals_hz)
        events += self.health.say("speed-ambiguous", ambiguous, view.sample)
        events += self.health.say("speed-contradicted", self.speed.contradicted, view.sample)
        events += self._hear_quiet(view.sample)
        known = self.background.has_spectrum
        shown = self.strays.tones(comb, known, self.onset) if self._usable(comb) else ()
        return [*events, self._show(view, comb, shown)]

    @property
    def turns(self) -> bool:
        """The spindle is heard to turn."""
        return self.speed.heard(self.book.touching)

    def _usable(self, comb: CombView | None) -> bool:
        return comb is not None and self.speed.trusted

    def _hear_engagement(self, view: View, comb: CombView | None) -> list[Event]:
        smoothed = self.engagement.smooth(view, self.speed.rotation_hz)
        was_risen = self.engagement.risen
        if not was_risen:
            self.engagement.spinning_before = self.speed.trusted
        rise = (
            self.background.comb_rise_db(comb, self.front.window) if was_risen and comb is not None else None
        )
        if self.speed.doubted:
            self.engagement.spinning_before = False
        events: list[Event] = []
        for contact in self.engagement.judge(smoothed, self._moment(view, comb), rise):
            events += self._contact(contact, view.sample)
        if self.engagement.risen and not was_risen:
            self.background.settle()
        elif self.engagement.rejected:
            self.background.relearn(*self.engagement.bands.recent())
            self.engagement.rejected = False
        if not (self.engagement.risen or self.speed.ringing or self.judge.suspects):
            origin = "air-cut" if self.book.engaged else "idle"
            self.background.learn(view, smoothed, origin)
            if self.speed.trusted:
                self.background.rotation_hz = self.speed.rotation_hz
        return events

    def _contact(self, contact: Contact, now: int) -> list[Event]:
        if contact.engaged:
            return self.book.touch(contact.sample, now)
        return self._leave(contact.sample, now)

    def _leave(self, end: int, now: int) -> list[Event]:
        events = self.judge.end(now, end)
        self.book.leave(end)
        self.shape.end()
        return events

    def _hear_strays(self, view: View, comb: CombView | None, raised: np.ndarray) -> list[Event]:
        scene, suspicion = None, None
        if comb is None or not view.full:
            self.strays.clear()
        else:
            scene = self._scene(view, comb, raised)
            suspicion = suspect(scene, self.strays, self._circumstances(view.sample))
            suspicion = self.doubts.weigh(
                suspicion, scene, self._heard_best(), self.rates.rate_hz, self.rates.hop_s
            )
        self.scene, self.suspicion = scene, suspicion
        events: list[Event] = []
        if not self.speed.adrift:
            self.judge.weigh(suspicion, view.sample, self.book.touching)
        # at a speed that is only told, or a stranger's, ringing alone is no proof of a cut: bells ring too;
        # nor is music
        alone = suspicion is not None and not suspicion.among_strangers
        own = self.speed.trusted and not self.speed.strange
        if self.judge.convinced and own and alone and not self.book.touching:
            for contact in self.engagement.ring(self._moment(view, comb), self.judge.onset or view.sample):
                events += self._contact(contact, view.sample)
        if self.book.touching:
            window_samples = int(self.front.window.duration_s * self.rates.sample_rate_hz)
            events += self.judge.decide(suspicion, view.sample, self.book.engaged[-1][0], window_samples)
        self.engagement.alarmed = self.judge.span is not None
        self._learn_usual_sound(view, scene)
        self.engagement.ringing = self._rings(suspicion, view.sample)
        return events

    def _heard_best(self) -> np.ndarray:
        """Newest sound of the channel that hears the spindle best, as long as it takes to see a line sway."""
        samples = self.front.recent(round(span_s(self.front.window.duration_s) * self.rates.rate_hz))
        return samples[self.front.channels.leading]

    def _learn_usual_sound(self, view: View, scene: Scene | None) -> None:
        """What sounds in metal while nothing is suspected is what this job sounds like.

        Not where the spindle is not heard: there nothing is suspected because nothing can be.
        """
        filled = self.book.touching and self.since_contact_s(view.sample) > self.front.window.duration_s
        known = scene is not None and scene.trusted and not self.speed.adrift
        if filled and known and not self.judge.half_convinced:
            self.doubts.usual_sound.learn(scene)
        else:
            self.doubts.usual_sound.drop()

    def _rings(self, suspicion: Suspicion | None, sample: int) -> bool:
        """Whether the chatter that is open sounds on: music may have lines, too, but not as loud."""
        span = self.judge.span
        if span is None or suspicion is None:
            return False
        fresh = sample - self.judge.last_line_sample <= RINGS_ON_S * self.rates.sample_rate_hz
        track = suspicion.track
        same = abs(track.frequency_hz / span["frequency_hz"] - 1) < SAME_LINE
        return fresh and (same or track.level_db > span["level_db"] - LOUD_DB)

    def _scene(self, view: View, comb: CombView, raised: np.ndarray) -> Scene:
        since_s = self.since_contact_s(view.sample)
        return Scene(
            view=view,
            window=self.front.window,
            raised_db=raised,
            comb=comb.heard_for(since_s),
            background=self.background,
            slope=self.speed.tracker.slope if self.speed.trusted else 0.0,
            trusted=self.speed.trusted,
            flutes=self.setup.flutes,
            preferences=self.setup.preferences.with_tool(self.setup.tool),
            since_change_s=since_s if self.onset is not None else self._since_last_s(view.sample),
        )

    def _circumstances(self, sample: int) -> Circumstances:
        onset = self.onset
        related_s = RELATED_FRESH_S if self.background.has_spectrum else UNCOMPARED_FRESH_S
        return Circumstances(
            onset_sample=self._heard_since(sample, related_s) if onset is None else onset,
            fresh_sample=self._heard_since(sample, FRESH_S) if onset is None else onset,
            risen=onset is not None,
            touching=self.book.touching,
            followed_s=self.speed.tracker.hops * self.rates.hop_s,
            told=self.setup.nominal_rpm is not None and not self.speed.found,
        )

    def _heard_since(self, sample: int, seconds: float) -> int:
        """So long ago; but what sounded when a tooth left the metal, and goes on, is no chatter."""
        return max(sample - int(seconds * self.rates.sample_rate_hz), self.book.floor_sample)

    def _moment(self, view: View, comb: CombView | None) -> Moment:
        turning = Turning.of(self.speed, comb, self.setup)
        return Moment(view=view, front=self.front, background=self.background, turning=turning)

    def _hear_shape(self, view: View, comb: CombView | None) -> list[Event]:
        """What departs from the comb's usual shape is a notice: runout can do it as well as chatter."""
        if not (self.book.touching and self._usable(comb) and view.full):
            return []
        if self.judge.span is not None:
            self.shape.spoil()
            return []
        found = self.shape.look(comb, self.setup.flutes, view.sample)
        if found is None:
            return []
        code = "doubling-possible" if found.family else "comb-line-changed"
        figures = {"order": found.order, "frequency_hz": found.frequency_hz, "over_db": found.over_db}
        return [notice(code, view.sample, **figures)]

    def since_contact_s(self, sample: int) -> float:
        """Return for how long a tooth has, or may have, been in metal; infinite where none is."""
        onset = self.onset
        return np.inf if onset is None else (sample - onset) / self.rates.sample_rate_hz

    def _since_last_s(self, sample: int) -> float:
        """Return for how long no tooth has been in metal, so far as this stream tells."""
        return (sample - self.book.floor_sample) / self.rates.sample_rate_hz

    def _hear_quiet(self, now: int) -> list[Event]:
        """Close a cut whose gap has become too long; say it when one breaks off while the spindle turns."""
        cut = None if self.book.touching else self.book.span(now)
        early = self.speed.trusted and self.usual.went_quiet(self.setup, cut, now)
        events: list[Event] = self.health.say("cut-went-quiet", early, now)
        ended = self.book.tick(now)
        if ended and not early:
            self.usual.learn(self.setup.job, cut)
        return events + ended

    @property
    def onset(self) -> int | None:
        """Since when a tooth is, or may be, in metal."""
        return self.book.engaged[-1][0] if self.book.touching else self.engagement.candidate_sample

    def _show(self, view: View, comb: CombView | None, stray) -> Frame:
        if self.book.touching:
            self.speed.prove()
        self.newest = frame_of(self, view, comb if self.turns else None, stray)
        return self.newest

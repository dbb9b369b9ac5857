"""The engine: one listener per stream turns blocks into frames, cuts, chatter and notices.

It is a function of configuration, starting state, samples and context changes tied to a sample index.
Everything is computed on a fixed grid of hops (about 50 ms), so the sizes of the blocks change nothing.
"""

from dataclasses import replace

import numpy as np

from shopmon.errors import SettingError
from shopmon.listening.background import Background, background_entries
from shopmon.listening.chatter import ChatterJudge
from shopmon.listening.clues import Circumstances
from shopmon.listening.comb_shape import CombShape
from shopmon.listening.comb_view import CombView
from shopmon.listening.cut_book import CutBook
from shopmon.listening.engagement import Contact, Engagement
from shopmon.listening.events import Event, Frame, State
from shopmon.listening.explanation import Explanation, explain_lines, in_words
from shopmon.listening.front import Front, View
from shopmon.listening.health import Health, notice
from shopmon.listening.hops import HopCutter, Rates
from shopmon.listening.moment import Moment, Turning
from shopmon.listening.reach import Reach
from shopmon.listening.scene import Scene
from shopmon.listening.setup import ListenerSettings, Setup, setup_as_data, setup_from
from shopmon.listening.speed import Speed
from shopmon.listening.state import LEARNED, SCHEMA, is_current
from shopmon.listening.strays import Strays
from shopmon.listening.suspect import Suspicion, suspect
from shopmon.listening.usual_cuts import UsualCuts
from shopmon.listening.weights import MODEL
from shopmon.signals.block import Block
from shopmon.signals.comb import peaks_near
from shopmon.signals.levels import power_db

LOWEST_RATE_HZ, HIGHEST_RATE_HZ = 1000.0, 1_000_000.0
SPECTRUM_BINS = 1024
UNSURE_SHARE = 0.5
# where no rise was noticed, a line may still be as young as this to count as having come with a cut
FRESH_S = 1.0
STAGES = (
    "cutter", "front", "mix", "health", "reach", "speed", "background", "engagement", "strays", "judge",
    "shape", "book", "usual",
)  # fmt: skip


class Listener:
    """Listens to one stream.

    Parameters
    ----------
    settings
        Configuration.
    sample_rate_hz
        Of the stream.
    channels
        Number of channels; several are heard as one, each weighed by how far the spindle stands out in it.
    start
        Where to go on: a `snapshot` of a listener of the same stream, or the learned part of one of another.

    Raises
    ------
    SettingError
        The sample rate is too low to hear a cut, or the starting state is of another kind or rate.
    """

    def __init__(
        self, settings: ListenerSettings, sample_rate_hz: float, channels: int, start: dict | None = None
    ):
        if not LOWEST_RATE_HZ <= sample_rate_hz <= HIGHEST_RATE_HZ:
            raise SettingError(
                f"A sample rate of {sample_rate_hz:g} Hz cannot be listened to.",
                f"It must be from {LOWEST_RATE_HZ:g} to {HIGHEST_RATE_HZ:g} Hz.",
            )
        self.settings = settings
        self.rates = rates = Rates.of(sample_rate_hz)
        self.channels = channels
        self.setup = Setup()
        self._changes: list[tuple[int, Setup]] = []
        self.cutter = HopCutter(rates.hop_frames, channels)
        self.front = Front(rates, channels)
        self.health = Health(rates)
        self.speed = Speed(rates, settings)
        self._background = Background()
        self.engagement = Engagement(rates)
        self.strays = Strays()
        self.judge = ChatterJudge(settings.false_alarms_per_hour)
        self.book = CutBook(int(settings.cut_gap_s * sample_rate_hz))
        self.shape = CombShape()
        self.usual = UsualCuts(sample_rate_hz)
        self.reach = Reach(rates)
        self.gaps = 0
        self._newest: Frame | None = None
        self._seen: tuple[Scene | None, Suspicion | None] = (None, None)
        if start:
            self._restore(start)

    def change_setup(self, setup: Setup, at_sample: int) -> int:
        """Use another setup from a sample on; return the sample from which it is really used.

        A change takes effect with the first hop that begins at or after `at_sample`; what was heard already
        stays as it was heard.
        """
        if self.cutter.start_sample is not None:
            at_sample = max(
                at_sample, self.cutter.start_sample + (self.cutter.filled > 0) * self.cutter.frames
            )
        self._changes.append((int(at_sample), setup))
        self._changes.sort(key=lambda change: change[0])
        return int(at_sample)

    def feed(self, block: Block) -> list[Event]:
        """Take in a block and return what happened, in order.

        Raises
        ------
        ValueError
            The block is of another rate or channel count, or goes back in time.
        """
        self._check(block)
        events: list[Event] = []
        expected = self.cutter.next_sample
        if expected is None:
            self.cutter.restart(block.first_sample)
            self.book.restart(block.first_sample)
        elif block.first_sample != expected:
            events += self._jump(expected, block.first_sample)
        for start, hop in self.cutter.hops(block.samples()):
            events += self._change_due(start)
            events += self._hear(start, hop)
        return events

    def finish(self) -> list[Event]:
        """Close what is open: the stream has ended."""
        return self._close_all(self.cutter.next_sample or 0)

    def background(self) -> list[dict]:
        """Return what is known of the background: a list of tones, each with its origin."""
        return background_entries(
            self._background.entries(self.front.window), self.setup.preferences, self.rates.sample_rate_hz
        )

    def explain(self) -> Explanation | None:
        """Explain the newest moment: what is seen, what it is taken for, and what speaks for chatter.

        Nothing is changed by it. None before the first frame (after taking up a state, too).
        """
        if self._newest is None:
            return None
        frame, (scene, suspicion) = self._newest, self._seen
        lines = explain_lines(scene, self.strays.tracks, self._onset()) if scene else ()
        parts = in_words(MODEL.terms(suspicion.clues)) if suspicion else ()
        return Explanation(
            sample=frame.sample,
            state=str(frame.state),
            unsure=frame.unsure,
            rpm=None if frame.rpm is None else round(frame.rpm, 1),
            background_known=self._background.has_spectrum,
            lines=lines,
            suspect_hz=round(suspicion.track.frequency_hz, 2) if suspicion else None,
            parts=parts,
            log_odds=round(suspicion.log_odds, 3) if suspicion else None,
            evidence=round(self.judge.evidence, 3),
            alarm_at=round(self.judge.alarm, 3),
        )

    def alternatives_rpm(self) -> list[float]:
        """Return other speeds, in a simple ratio to the one followed, that fit almost as well."""
        return self.speed.alternatives_rpm()

    def quality(self) -> dict:
        """Return ``clipped_fraction`` of all samples so far and the number of ``gaps``."""
        return {"clipped_fraction": self.front.clipped / max(1, self.front.frames), "gaps": self.gaps}

    def snapshot(self) -> dict:
        """Return the whole memory as plain data that JSON can hold."""
        return {
            "schema": SCHEMA,
            "sample_rate_hz": self.rates.sample_rate_hz,
            "channels": self.channels,
            "sample": self.cutter.next_sample,
            "gaps": self.gaps,
            "setup": setup_as_data(self.setup),
            "changes": [[at, setup_as_data(setup)] for at, setup in self._changes],
            **{name: self._stage(name).snapshot() for name in STAGES},
        }

    def _stage(self, name: str):
        stages = {"background": self._background, "mix": self.front.channels}
        return stages.get(name) or getattr(self, name)

    def _restore(self, start: dict) -> None:
        if not is_current(start):
            raise SettingError(f"The starting state is of kind {start.get('schema')!r}, not {SCHEMA!r}.")
        partial = bool(start.get("learned_only"))
        same_rate = start["sample_rate_hz"] == self.rates.sample_rate_hz
        if not partial and not (same_rate and start["channels"] == self.channels):
            raise SettingError("The starting state belongs to a stream of another rate or channel count.")
        if not same_rate or start.get("channels") != self.channels:
            return
        for name in LEARNED if partial else STAGES:
            self._stage(name).restore(start[name])
        self.setup = setup_from(start["setup"])
        self._accept(self.setup)
        if partial:
            self.front.channels.clear()
            self.shape.end()
            self.speed.clear()
            self._background.drop()
            return
        self.gaps = start["gaps"]
        self._changes = [(at, setup_from(setup)) for at, setup in start["changes"]]

    def _check(self, block: Block) -> None:
        if block.sample_rate_hz != self.rates.sample_rate_hz or block.codes.shape[1] != self.channels:
            raise ValueError("a block of another sample rate or channel count belongs to another listener")
        expected = self.cutter.next_sample
        if expected is not None and block.first_sample < expected:
            raise ValueError(f"block at sample {block.first_sample} after {expected}: time cannot go back")

    def _jump(self, last: int, sample: int) -> list[Event]:
        events = self._close_all(last)
        self.gaps += 1
        self.cutter.restart(sample)
        self.book.restart(sample)
        self.front.clear()
        self.speed.clear()
        self._background.drop()
        return events

    def _close_all(self, sample: int) -> list[Event]:
        events = self.judge.end(sample, sample)
        self.book.leave(sample)
        self.shape.end()
        events += self.book.close(sample)
        self.engagement.clear()
        self.strays.clear()
        return events

    def _change_due(self, start: int) -> list[Event]:
        events: list[Event] = []
        while self._changes and self._changes[0][0] <= start:
            _, setup = self._changes.pop(0)
            if setup == self.setup:
                continue
            self._accept(setup)
            kept = {"preferences": setup.preferences, "expected_cut_s": setup.expected_cut_s}
            if setup == replace(self.setup, **kept):
                self.setup = setup
            else:
                events += self._new_context(start, setup)
        return events

    def _accept(self, setup: Setup) -> None:
        """Heed how many false alarms the person accepts: a wish goes before the settings."""
        wished = setup.preferences.false_alarms_per_hour
        self.judge.accept(self.settings.false_alarms_per_hour if wished is None else wished)

    def _new_context(self, start: int, setup: Setup) -> list[Event]:
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
        return events + (self.book.touch(start, start) if touching else [])

    def _hear(self, start: int, hop: np.ndarray) -> list[Event]:
        self.front.duration_s = self.speed.window_s
        self._newest, self._seen = None, (None, None)
        view = self.front.look(start, hop, idle=not self.engagement.risen)
        if self.front.channels.moved_db is not None:
            self._background.move(*self.front.channels.moved_db)
        events: list[Event] = [*self.health.take(view, self.channels)]
        if self.health.silent:
            if self.book.touching or self.engagement.risen:
                events += self._leave(view.sample, view.sample)
                self.engagement.clear()
            self.strays.clear()
            self.judge.clear()
            return [*events, *self.book.tick(view.sample), self._frame(view, None, ())]
        events += self.reach.look(view, self.front.window, hop)
        raised = peaks_near(view.above_floor_db)
        comb = self.speed.follow(view, self.front, raised, self.engagement.risen, self._background)
        if comb is not None:
            self.front.channels.hear_comb(comb.bins, comb.between, self.speed.trusted)
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
        known = self._background.has_spectrum
        shown = self.strays.tones(comb, known, self._onset()) if self._usable(comb) else ()
        return [*events, self._frame(view, comb, shown)]

    def _usable(self, comb: CombView | None) -> bool:
        return comb is not None and self.speed.trusted

    def _hear_engagement(self, view: View, comb: CombView | None) -> list[Event]:
        smoothed = self.engagement.smooth(view, self.speed.rotation_hz)
        was_risen = self.engagement.risen
        if not was_risen:
            self.engagement.spinning_before = self.speed.trusted
        rise = (
            self._background.comb_rise_db(comb, self.front.window) if was_risen and comb is not None else None
        )
        if self.speed.doubted:
            self.engagement.spinning_before = False
        events: list[Event] = []
        for contact in self.engagement.judge(smoothed, self._moment(view, comb), rise):
            events += self._contact(contact, view.sample)
        if self.engagement.risen and not was_risen:
            self._background.settle()
        elif self.engagement.rejected:
            self._background.relearn(*self.engagement.bands.recent())
            self.engagement.rejected = False
        if not self.engagement.risen and not self.speed.ringing:
            origin = "air-cut" if self.book.engaged else "idle"
            self._background.learn(view, smoothed, origin)
            if self.speed.trusted:
                self._background.rotation_hz = self.speed.rotation_hz
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
        self._seen = (scene, suspicion)
        events: list[Event] = []
        self.judge.weigh(suspicion, view.sample)
        # at a speed that is only told, ringing alone is no proof of a cut: bells ring too
        if self.judge.convinced and self.speed.trusted and not self.book.touching:
            for contact in self.engagement.ring(self._moment(view, comb), self.judge.onset or view.sample):
                events += self._contact(contact, view.sample)
        if self.book.touching:
            window_samples = int(self.front.window.duration_s * self.rates.sample_rate_hz)
            events += self.judge.decide(suspicion, view.sample, self.book.engaged[-1][0], window_samples)
        self.engagement.ringing = self.judge.span is not None
        return events

    def _scene(self, view: View, comb: CombView, raised: np.ndarray) -> Scene:
        return Scene(
            view=view,
            window=self.front.window,
            raised_db=raised,
            comb=comb.heard_for(self._since_contact_s(view.sample)),
            background=self._background,
            slope=self.speed.tracker.slope if self.speed.trusted else 0.0,
            trusted=self.speed.trusted,
            flutes=self.setup.flutes,
            preferences=self.setup.preferences,
        )

    def _circumstances(self, sample: int) -> Circumstances:
        onset = self._onset()
        return Circumstances(
            onset_sample=sample - int(FRESH_S * self.rates.sample_rate_hz) if onset is None else onset,
            risen=onset is not None,
            touching=self.book.touching,
            followed_s=self.speed.tracker.hops * self.rates.hop_s,
        )

    def _moment(self, view: View, comb: CombView | None) -> Moment:
        turning = Turning.of(self.speed, comb, self.setup)
        return Moment(view=view, front=self.front, background=self._background, turning=turning)

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

    def _since_contact_s(self, sample: int) -> float:
        onset = self._onset()
        return np.inf if onset is None else (sample - onset) / self.rates.sample_rate_hz

    def _hear_quiet(self, now: int) -> list[Event]:
        """Close a cut whose gap has become too long; say it when one breaks off while the spindle turns."""
        cut = None if self.book.touching else self.book.span(now)
        early = self.speed.trusted and self.usual.went_quiet(self.setup, cut, now)
        events: list[Event] = self.health.say("cut-went-quiet", early, now)
        ended = self.book.tick(now)
        if ended and not early:
            self.usual.learn(self.setup.job, cut)
        return events + ended

    def _onset(self) -> int | None:
        """Since when a tooth is, or may be, in metal."""
        return self.book.engaged[-1][0] if self.book.touching else self.engagement.candidate_sample

    def _state(self) -> State:
        if self.health.silent:
            return State.NO_INPUT
        if self.judge.span is not None:
            return State.CHATTER
        if self.book.touching:
            return State.CUTTING
        if not self.speed.trusted:
            return State.STOPPED
        return State.AIR_CUT if self.book.engaged else State.SPINNING

    def _unsure(self) -> bool:
        touching = self.book.touching
        doubtful_speed = touching and (self.speed.confidence < 0.6 or bool(self.speed.rivals_hz))
        blind = touching and not self._background.has_spectrum
        return (
            self.health.clipped
            or self.speed.contradicted
            or doubtful_speed
            or blind
            or self.shape.doubling
            or (self.judge.span is None and self.judge.evidence > UNSURE_SHARE * self.judge.alarm)
        )

    def _frame(self, view: View, comb: CombView | None, stray) -> Frame:
        known = self._usable(comb)
        group = -(-view.spectrum_db.size // SPECTRUM_BINS)
        whole = view.spectrum_db[: view.spectrum_db.size // group * group]
        shown = whole[::group]
        for start in range(1, group):
            shown = np.maximum(shown, whole[start::group])
        stray_power = sum(10 ** (tone.level_db / 10) for tone in stray)
        self._newest = Frame(
            sample=view.sample,
            state=self._state(),
            unsure=bool(self._unsure()),
            rpm=60 * self.speed.rotation_hz if known else None,
            rpm_confidence=self.speed.confidence if known else 0.0,
            level_db=float(power_db(view.power)),
            peak_db=float(power_db(view.peak**2)),
            comb_db=comb.power_db if known else None,
            stray_db=float(power_db(stray_power)) if stray else None,
            engaged=self.book.touching,
            stray=stray,
            cut=self.book.span(view.sample),
            chatter=self.judge.open,
            spectrum_db=shown,
            spectrum_step_hz=group * self.front.window.bin_hz,
        )
        return self._newest

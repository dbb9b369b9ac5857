"""When a tooth is in metal: the sound rises over the idle spindle's, and the spindle comb rises with it."""

from dataclasses import dataclass
from math import ceil

import numpy as np

from shopmon.listening.background import Background
from shopmon.listening.burst import Burst, long_enough_s, weigh_burst
from shopmon.listening.edges import date_end, date_start
from shopmon.listening.front import BANDS, Front, View
from shopmon.listening.hops import SUBFRAMES, Rates
from shopmon.listening.state import Memory

ON_DB = 3.5
OFF_DB = (1.5, 5.0)
OFF_SHARE = 0.3
HISTORY = 240
TOP_BANDS = 3
COMB_RISE_DB = 1.8
COMB_HOLD_DB = 0.8
RELATIVES = 1.2
LOST_HOPS = 10
UNSTEADY, FLEETING = 5e-4, 2.5e-3
FAINT_ON_DB, FAINT_SUBFRAMES = 1.0, 20
HOLD_SCORE = 2.0
JUMP, FOLLOW = 0.02, 0.3
FALLEN_HOPS, STILL_S = 20, 0.15
START_SUBFRAMES = 6
END_SUBFRAMES = 9
LATER_SHARE, LATER_S = 0.6, 0.4
CERTAIN, PLAIN = 3.0, 6.0
AGREED_HOPS, AGREED_NEW_HOPS = 2, 8
NEVER = -99.0
LEAST_S, FIRST_S = 0.08, 0.15
LATEST_S, LATEST_NEW_S = 0.6, 1.8
SEED_GAP_S, SEED_S = 0.03, 0.5
BEGINNING_S = (0.03, 0.45)
INSIDE = 6
RINGS_ON_S = 0.008
FALL_DB = 2.0
FALL_S, FALL_GAP_S, BEFORE_S = 0.35, 0.07, 0.4
LOOK_TURNS = 6.0


@dataclass(frozen=True, kw_only=True)
class Contact:
    """A change of engagement found at a hop, dated back to when it happened."""

    engaged: bool
    sample: int


@dataclass(frozen=True, kw_only=True)
class Turning:
    """What is known of the spindle at a hop: rotation and flutes are None where unknown."""

    rotation_hz: float | None
    trusted: bool
    jitter: float
    told: bool
    flutes: int | None


class Engagement(Memory):
    """Follows the level of the sound in bands against the background and judges what a rise means."""

    kept = ("history", "times", "activity", "deficit", "engaged", "candidate_sample", "candidate_hops",
            "confirmed", "spinning_before", "usual", "rejected", "relatives", "rise_db", "lost",
            "level_since", "proven", "rotation_hz", "on_db", "fallen_hops")  # fmt: skip

    def __init__(self, rates: Rates):
        self._rates = rates
        self.clear()

    def clear(self) -> None:
        """Forget the sound at hand and what was open."""
        self.history = np.full((HISTORY, BANDS), -200.0)
        self.times = 0
        self.activity = np.zeros(HISTORY)
        self.deficit = np.zeros(HISTORY)
        self.engaged = False
        self.candidate_sample: int | None = None
        self.candidate_hops = 0
        self.confirmed = 0
        self.spinning_before = False
        self.usual = 0.0
        self.rejected = False
        self.relatives = 0.0
        self.rise_db = 0.0
        self.lost = 0
        self.level_since: int | None = None
        self.proven = False
        self.rotation_hz: float | None = None
        self.on_db = ON_DB
        self.fallen_hops = 0

    @property
    def risen(self) -> bool:
        """The sound has risen, whatever the reason."""
        return self.engaged or self.candidate_sample is not None

    def smooth(self, view: View, rotation_hz: float | None) -> np.ndarray:
        """Take in the sub-frames' levels; return them smoothed over a turn or two, shape ``(5, bands)``."""
        self.history = np.concatenate((self.history[SUBFRAMES:], view.bands_db))
        self.times = min(self.times + SUBFRAMES, HISTORY)
        turn = 1.5 / rotation_hz if rotation_hz else 0.03
        count = min(max(ceil(turn * self._rates.rate_hz / self._rates.subframe), 5), 30)
        count = min(count, self.times)
        power = 10.0 ** (self.history[-(count + SUBFRAMES - 1) :] / 10)
        sums = np.cumsum(power, axis=0)
        lead = np.concatenate((np.zeros((1, BANDS)), sums))
        means = (lead[count:] - lead[:-count])[-SUBFRAMES:] / count
        if len(means) < SUBFRAMES:
            means = np.concatenate((np.repeat(means[:1], SUBFRAMES - len(means), axis=0), means))
        return 10 * np.log10(np.maximum(means, 1e-20))

    def judge(
        self,
        view: View,
        front: Front,
        smoothed: np.ndarray,
        background: Background,
        turning: Turning,
        rise_db: float | None,
    ) -> list[Contact]:
        """Take in one hop and return the contacts that became certain with it, oldest first."""
        if self.level_since is None:
            self.level_since = view.sample - self._rates.hop_frames
        self._compare(smoothed, background)
        if self.engaged:
            return self._watch_end(view, front, background, turning, rise_db)
        if self.candidate_sample is None:
            self._watch_rise(view, front, background)
        if self.candidate_sample is not None:
            return self._weigh(view, front, background, turning)
        return self._watch_fall(view, front, background, turning)

    def _compare(self, smoothed: np.ndarray, background: Background) -> None:
        """Take in how far the sub-frames lie above and below the background."""
        above = below = np.zeros(SUBFRAMES)
        if background.known:
            apart, leeway = smoothed - background.bands_db, np.maximum(1.0, 2.0 * background.spread_db)
            above = np.sort(apart - leeway, axis=1)[:, -TOP_BANDS:].mean(axis=1)
            below = np.sort(-apart - leeway, axis=1)[:, -TOP_BANDS:].mean(axis=1)
        self.activity = np.concatenate((self.activity[SUBFRAMES:], above))
        self.deficit = np.concatenate((self.deficit[SUBFRAMES:], below))

    def _watch_rise(self, view: View, front: Front, background: Background) -> None:
        """Look for a plain rise, or for a faint one that lasts."""
        if np.all(self.activity[-START_SUBFRAMES:] > ON_DB):
            self.on_db = ON_DB
        elif np.all(self.activity[-FAINT_SUBFRAMES:] > FAINT_ON_DB):
            self.on_db = FAINT_ON_DB
        else:
            return
        below = np.flatnonzero(self.activity < self.on_db)
        first = int(below[-1]) + 1 if below.size else HISTORY - START_SUBFRAMES
        self.candidate_sample = self._sample_of(first, view.sample)
        self.candidate_hops = self.confirmed = 0
        self.relatives = 0.0
        if background.spectrum_db.size != front.window.bins:
            self._seed(view, front, background)

    def _seed(self, view: View, front: Front, background: Background) -> None:
        """No spectrum was learned in time: what sounded just before the rise must do."""
        last = self.candidate_sample - int(SEED_GAP_S * self._rates.sample_rate_hz) - view.sample
        first = last - int(min(SEED_S, front.window.duration_s) * self._rates.sample_rate_hz)
        before = front.stretch(first, last)
        if before is not None:
            background.use(before[0])

    def _sample_of(self, index: int, sample: int) -> int:
        """Sample at the end of a sub-frame of the history, less the delay of smoothing and window."""
        late = 2.5 * self._rates.subframe
        back = (HISTORY - 1 - index) * self._rates.subframe + late
        return max(0, sample - int(back * self._rates.factor))

    def _weigh(self, view: View, front: Front, background: Background, turning: Turning) -> list[Contact]:
        self.candidate_hops += 1
        if np.all(self.activity[-END_SUBFRAMES:] < self.on_db):
            return self._weigh_whole(view, front, background, turning)
        score = self._score_so_far(view, front, background, turning)
        self.confirmed = self.confirmed + 1 if score > CERTAIN else 0
        wanted = AGREED_HOPS if self.spinning_before else AGREED_NEW_HOPS
        if self.confirmed >= wanted or (score > PLAIN and self.spinning_before):
            self.engaged = True
            self.lost = 0
            self.rise_db = COMB_RISE_DB
            self.usual = float(np.median(self.activity[-START_SUBFRAMES:]))
            self.rotation_hz = turning.rotation_hz
            start = self._first_contact(view.sample, background, turning)
            self.candidate_sample = None
            return [Contact(engaged=True, sample=start)]
        turns = LOOK_TURNS / turning.rotation_hz if turning.rotation_hz else 0.0
        latest = max(LATEST_S, turns + 0.2) if self.spinning_before else LATEST_NEW_S
        if self.candidate_hops * self._rates.hop_s > latest and not self.confirmed:
            self.rejected = True
            self.level_since, self.proven = self.candidate_sample, False
            self.candidate_sample = None
        return []

    def _score_so_far(self, view: View, front: Front, background: Background, turning: Turning) -> float:
        rate = self._rates.sample_rate_hz
        if not self._steady(turning):
            return NEVER
        if self.spinning_before:
            # loud chatter of a light cut can drown the comb's own rise; its relatives give it away
            related = CERTAIN if self.relatives > RELATIVES else 0.0
            return related + self._score(view, front, background, turning, self.candidate_sample, view.sample)
        if not turning.trusted:
            return NEVER
        if self.confirmed:
            return PLAIN
        # a spindle that starts is not at speed yet when its sound rises; a cut is
        first, last = (self.candidate_sample + int(part * rate) for part in BEGINNING_S)
        return self._score(view, front, background, turning, first, last)

    def _steady(self, turning: Turning) -> bool:
        """The rotation holds still: a comb that was found in music or hum jumps about."""
        return turning.jitter < (FLEETING if self.spinning_before and turning.told else UNSTEADY)

    def _score(
        self,
        view: View,
        front: Front,
        background: Background,
        turning: Turning,
        first: int,
        last: int,
    ) -> float:
        """Evidence for a cut from `first` to `last`, of which the end is used where it is long."""
        burst = self._burst(view, front, background, turning, first, last)
        return burst.score if burst else NEVER

    def _burst(
        self,
        view: View,
        front: Front,
        background: Background,
        turning: Turning,
        first: int,
        last: int,
    ) -> Burst | None:
        rotation, rate = turning.rotation_hz, self._rates.sample_rate_hz
        if rotation is None or last > view.sample:
            return None
        reach = min(front.window.duration_s, max(BEFORE_S, LOOK_TURNS / rotation))
        first = max(first, last - int(reach * rate))
        if last - first < long_enough_s(rotation, turning.flutes, LEAST_S) * rate:
            return None
        stretch = front.stretch(first - view.sample, last - view.sample)
        if stretch is None:
            return None
        return weigh_burst(*stretch, front.window, background, rotation, turning.flutes)

    def _weigh_whole(
        self, view: View, front: Front, background: Background, turning: Turning
    ) -> list[Contact]:
        """The rise is over before it became certain: weigh it as a whole."""
        self.usual = float(self.activity[-60:].max())
        start = self._dated_start(view.sample, background, turning)
        end = self._end_sample(view.sample, background, turning)
        self.candidate_sample = None
        if not (self.spinning_before and self._steady(turning)):
            return []
        if self._score(view, front, background, turning, start, end) < CERTAIN:
            return []
        self._begin_again(end, view.sample)
        return [Contact(engaged=True, sample=start), Contact(engaged=False, sample=end)]

    def _begin_again(self, end: int, now: int) -> None:
        """The level is back where it was: what was before the end has been judged."""
        self.level_since, self.proven = end, True
        past = self._index_of(end, now)
        self.activity[:past] = self.deficit[:past] = 0.0

    def _watch_fall(
        self, view: View, front: Front, background: Background, turning: Turning
    ) -> list[Contact]:
        """What was taken for the background falls: it may have been a cut all along."""
        count = ceil(FALL_S * self._rates.rate_hz / self._rates.subframe)
        if not np.any(self.deficit[-SUBFRAMES:] > FALL_DB):
            steady = turning.jitter < (FLEETING if turning.told else UNSTEADY)
            self.rotation_hz = turning.rotation_hz if turning.trusted and steady else None
            return []
        if not np.all(self.deficit[-count:] > FALL_DB):
            return []
        rate = self._rates.sample_rate_hz
        shallow = np.flatnonzero(self.deficit <= FALL_DB)
        fall = self._sample_of(int(shallow[-1]) + 1 if shallow.size else 0, view.sample)
        after = front.stretch(fall + int(FALL_GAP_S * rate) - view.sample, 0)
        background.replace(*self.recent_bands(), after[0])
        since, self.level_since = self.level_since, fall
        risen = float(np.median(self.activity[-count:])) > FAINT_ON_DB
        if self.proven or risen or self.rotation_hz is None:
            return []
        before = Turning(
            rotation_hz=self.rotation_hz, trusted=True, jitter=0.0, told=True, flutes=turning.flutes
        )
        first = fall - int(BEFORE_S * rate)
        if self._score(view, front, background, before, max(first, since), fall) < CERTAIN:
            return []
        inside = max(self._index_of(fall, view.sample) - INSIDE, 0)
        fall = self.level_since = self._dated_end(view.sample, inside, background, before)
        return [Contact(engaged=True, sample=since), Contact(engaged=False, sample=fall)]

    def _first_contact(self, sample: int, background: Background, turning: Turning) -> int:
        """The first rise, unless most of it came much later (coolant comes first)."""
        level = float(np.median(self.activity[-START_SUBFRAMES:]))
        below = np.flatnonzero(self.activity < LATER_SHARE * level)
        later = self._sample_of(int(below[-1]) + 1, sample) if below.size else 0
        much = LATER_S * self._rates.sample_rate_hz
        if later - self.candidate_sample > much:
            return later
        return self._dated_start(sample, background, turning)

    def _index_of(self, sample: int, now: int) -> int:
        """Sub-frame of the history that is centred on a sample."""
        back = (now - sample) / (self._rates.factor * self._rates.subframe)
        return min(max(round(HISTORY - back), 0), HISTORY - 1)

    def _at(self, index: float, now: int) -> int:
        """Sample on which a sub-frame of the history is centred."""
        return max(0, now - round((HISTORY - index) * self._rates.subframe * self._rates.factor))

    def _turn(self, turning: Turning) -> int:
        """Sub-frames of a turn, within bounds."""
        turn = self._rates.rate_hz / self._rates.subframe / turning.rotation_hz if turning.rotation_hz else 3
        return min(ceil(turn), 12)

    def _dated_start(self, now: int, background: Background, turning: Turning) -> int:
        inside = min(self._index_of(self.candidate_sample, now) + INSIDE, HISTORY - 2)
        args = (background.bands_db, background.spread_db, inside, self._turn(turning))
        return self._at(date_start(self.history, *args), now)

    def _dated_end(self, now: int, inside: int, background: Background, turning: Turning) -> int:
        args = (background.bands_db, background.spread_db, inside, self._turn(turning))
        late = int(RINGS_ON_S * self._rates.sample_rate_hz)
        return self._at(date_end(self.history, *args), now) - late

    def _watch_end(
        self, view: View, front: Front, background: Background, turning: Turning, rise_db: float | None
    ) -> list[Contact]:
        off = min(max(OFF_SHARE * self.usual, min(OFF_DB[0], 0.5 * self.usual)), OFF_DB[1])
        if rise_db is not None:
            self.rise_db += 0.25 * (rise_db - self.rise_db)
            held = self._held(view, front, background, turning)
            self.lost = 0 if held or not turning.trusted else self.lost + 1
        fallen = bool(np.all(self.activity[-END_SUBFRAMES:] < off))
        if fallen and self.fallen_hops < FALLEN_HOPS and self._still(view, front, background, turning):
            self.fallen_hops += 1
            return []
        if not fallen and self.lost < LOST_HOPS:
            self.fallen_hops = 0
            recent = float(self.activity[-SUBFRAMES:].mean())
            self.usual += 0.05 * (recent - self.usual)
            return []
        self.engaged = False
        self.fallen_hops = 0
        if fallen:
            end = self._end_sample(view.sample, background, turning)
            self._begin_again(end, view.sample)
            return [Contact(engaged=False, sample=end)]
        # something else sounds on, but neither comb nor chatter of this spindle
        self.rejected = True
        back = int((self.lost + 5) * self._rates.hop_frames)
        self.level_since, self.proven = max(0, view.sample - back), False
        return [Contact(engaged=False, sample=self.level_since)]

    def _still(self, view: View, front: Front, background: Background, turning: Turning) -> bool:
        """The level has fallen but the comb has not: somebody turned the gain down."""
        recent = view.sample - int(STILL_S * self._rates.sample_rate_hz)
        return self._score(view, front, background, turning, recent, view.sample) > PLAIN

    def _held(self, view: View, front: Front, background: Background, turning: Turning) -> bool:
        """The comb, or chatter of this spindle, still stands above the background."""
        if self.rotation_hz:
            if abs(turning.rotation_hz / self.rotation_hz - 1) > JUMP:
                return False
            self.rotation_hz += FOLLOW * (turning.rotation_hz - self.rotation_hz)
        if self.rise_db > COMB_HOLD_DB or self.relatives > RELATIVES:
            return True
        recent = view.sample - int(BEFORE_S * self._rates.sample_rate_hz)
        return self._score(view, front, background, turning, recent, view.sample) > HOLD_SCORE

    def recent_bands(self) -> tuple[np.ndarray, np.ndarray]:
        """Mean and variance of the band levels over the last 0.3 s, smoothed like everything else."""
        power = 10.0 ** (self.history[-36:] / 10)
        smooth = 10 * np.log10(
            np.maximum(np.stack([power[i : i + 6].mean(axis=0) for i in range(31)]), 1e-20)
        )
        return smooth.mean(axis=0), smooth.var(axis=0)

    def _end_sample(self, now: int, background: Background, turning: Turning) -> int:
        """The added sound fell to nothing."""
        above = np.flatnonzero(self.activity > max(0.5 * self.usual, ON_DB))
        last = int(above[-1]) if above.size else HISTORY - END_SUBFRAMES
        # smoothing lasts on: the sound itself was surely there a little earlier
        inside = max(last - INSIDE, 0)
        return self._dated_end(now, inside, background, turning)

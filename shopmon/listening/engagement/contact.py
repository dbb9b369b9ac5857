"""When a tooth is in metal: the sound rises over the idle spindle's, and by what this spindle makes."""

from dataclasses import dataclass

import numpy as np

from shopmon.listening.background import Background
from shopmon.listening.engagement.band_history import HISTORY, BandHistory, Rest
from shopmon.listening.engagement.moment import NEVER, REACH_S, REACH_TURNS, Moment, Turning
from shopmon.listening.engagement.waning import Waning
from shopmon.listening.intake.front import View
from shopmon.listening.intake.hops import SUBFRAMES, Rates
from shopmon.listening.state import Memory

ON_DB = 3.5
FAINT_ON_DB, FAINT_SUBFRAMES = 1.0, 20
OFF_DB = (1.5, 5.0)
OFF_SHARE = 0.3
TOP_BANDS = 3
START_SUBFRAMES = 6
END_SUBFRAMES = 9
INSIDE = 6
LATER_SHARE, LATER_S = 0.6, 0.4
CERTAIN, PLAIN = 3.0, 6.0
AGREED_HOPS, AGREED_NEW_HOPS = 2, 8
LATEST_S, LATEST_NEW_S = 0.6, 1.3
SEED_GAP_S, SEED_S, AGAIN_AFTER_S = 0.03, 0.5, 0.25
BEGINNING_S = (0.03, 0.45)
SLOW_S, CALM_S = 0.4, 1.0
GROWS_SUBFRAMES, GROWS_DB = 80, 2.0
UNSTEADY, FLEETING = 5e-4, 2.5e-3
COMB_RISE_DB = 1.8
COMB_HOLD_DB = 0.8
HOLD_SCORE = 2.0
LOST_HOPS = 10
WANE_S, BEFORE_HOPS, NOW_SUBFRAMES = 0.2, 8, 10
JUMP, FOLLOW, ANOTHER = 0.02, 0.3, 0.035
FALLEN_HOPS, STILL_S = 20, 0.15
FALL_DB = 2.0
FALL_S, FALL_GAP_S = 0.35, 0.07
NOTHING = np.zeros(SUBFRAMES)


@dataclass(frozen=True, kw_only=True)
class Contact:
    """A change of engagement found at a hop, dated back to when it happened."""

    engaged: bool
    sample: int


def _believable(turning: Turning, sure: bool) -> bool:
    if sure:
        return turning.jitter < FLEETING
    return turning.jitter < UNSTEADY and (turning.told or turning.plain)


class Engagement(Memory):
    """Follows the levels of bands against the background and judges what a rise, or a fall, means.

    Attributes
    ----------
    activity, deficit
        How far the sub-frames lie above and below the background, dB.
    candidate_sample
        Where a rise that is not yet understood began, None without one.
    ringing, alarmed, rung
        Chatter is heard now; a chatter event is open; and this engagement began with it, without a rise that
        could fall again.
    level_since, proven
        Since when the background's level has been heard, and whether it was there before a cut as well:
        what was never quiet may have been a cut all along.
    """

    kept = ("activity", "deficit", "engaged", "candidate_sample", "candidate_hops", "confirmed",
            "spinning_before", "usual", "rejected", "ringing", "rung", "alarmed", "rise_db", "lost",
            "level_since", "proven", "rotation_hz", "on_db", "fallen_hops", "growing_sample",
            "turns_since", "stepped", "candidate_hz")  # fmt: skip

    def __init__(self, rates: Rates):
        self._rates = rates
        self.bands = BandHistory(rates)
        self.waning = Waning()
        self.clear()

    def clear(self) -> None:
        """Forget the sound at hand and what was open."""
        self.bands.clear()
        self.activity = np.zeros(HISTORY)
        self.deficit = np.zeros(HISTORY)
        self.engaged = False
        self.candidate_sample: int | None = None
        self.candidate_hops = 0
        self.confirmed = 0
        self.spinning_before = False
        self.usual = 0.0
        self.rejected = False
        self.ringing = self.rung = self.alarmed = False
        self.rise_db = 0.0
        self.lost = 0
        self.level_since: int | None = None
        self.proven = False
        self.rotation_hz: float | None = None
        self.on_db = ON_DB
        self.fallen_hops = 0
        self.growing_sample: int | None = None
        self.turns_since: int | None = None
        self.stepped = False
        self.candidate_hz: float | None = None
        self.waning.begin()

    def snapshot(self) -> dict:
        """Return the memory with that of the levels."""
        parts = {"bands": self.bands.snapshot(), "waning": self.waning.snapshot()}
        return {**super().snapshot(), **parts}

    def restore(self, data: dict) -> None:
        """Take up a memory."""
        # a memory of before second rises were weighed has none of them
        super().restore({"turns_since": None, "stepped": False, "candidate_hz": None, **data})
        self.bands.restore(data["bands"])
        self.waning.restore(data["waning"])

    @property
    def risen(self) -> bool:
        """The sound has risen, whatever the reason."""
        return self.engaged or self.candidate_sample is not None

    def smooth(self, view: View, rotation_hz: float | None) -> np.ndarray:
        """Take in the sub-frames' levels; return them smoothed over a turn or two, shape ``(5, bands)``."""
        return self.bands.smooth(view.bands_db, rotation_hz)

    def judge(self, smoothed: np.ndarray, moment: Moment, rise_db: float | None) -> list[Contact]:
        """Take in one hop and return the contacts that became certain with it, oldest first.

        Parameters
        ----------
        smoothed
            From `smooth`.
        moment
            What the hop is judged with.
        rise_db
            How far the comb rose over the background; None where it is not known.
        """
        if self.level_since is None:
            self.level_since = moment.now - self._rates.hop_frames
        if not moment.turning.trusted:
            self.turns_since = None
        elif self.turns_since is None:
            self.turns_since = moment.now
        self._compare(smoothed, moment.background)
        if self.engaged:
            return self._watch_end(moment, rise_db)
        if self.candidate_sample is None:
            self._watch_rise(moment)
        if self.candidate_sample is not None:
            return self._weigh(moment)
        return [] if moment.turning.ringing else self._watch_fall(moment)  # gain control lowers all else

    def _compare(self, smoothed: np.ndarray, background: Background) -> None:
        """Take in how far the sub-frames lie above and below the background."""
        above = below = NOTHING
        if background.known:
            apart, leeway = smoothed - background.bands_db, np.maximum(1.0, 2.0 * background.spread_db)
            both = np.empty((2, *apart.shape))
            np.subtract(apart, leeway, out=both[0])
            np.subtract(-apart, leeway, out=both[1])
            both.sort(axis=-1)
            above, below = np.add.reduce(both[..., -TOP_BANDS:], axis=-1) / TOP_BANDS
        self.activity = np.concatenate((self.activity[SUBFRAMES:], above))
        self.deficit = np.concatenate((self.deficit[SUBFRAMES:], below))

    def _watch_rise(self, moment: Moment) -> None:
        """Look for a plain rise, or for a faint one that lasts."""
        if self.activity[-START_SUBFRAMES:].min() > ON_DB:
            self.on_db = ON_DB
        elif self.activity[-FAINT_SUBFRAMES:].min() > FAINT_ON_DB:
            self.on_db = FAINT_ON_DB
        else:
            return
        below = np.flatnonzero(self.activity < self.on_db)
        first = int(below[-1]) + 1 if below.size else HISTORY - START_SUBFRAMES
        self.candidate_sample = self.bands.smoothed_at(first, moment.now)
        self.candidate_hops = self.confirmed = 0
        self.stepped = False
        self.candidate_hz = moment.turning.rotation_hz
        moment.background.believe()
        if moment.background.spectrum_db.size != moment.front.window.bins:
            self._seed(moment)

    def _seed(self, moment: Moment) -> None:
        """No spectrum was learned in time: what sounded just before the rise must do."""
        last = self.candidate_sample - moment.frames(SEED_GAP_S) - moment.now
        first = last - moment.frames(min(SEED_S, moment.front.window.duration_s))
        before = moment.front.stretch(first, last)
        if before is not None:
            moment.background.use(before[0])

    def _weigh(self, moment: Moment) -> list[Contact]:
        """Find out whether the rise is a cut."""
        self.candidate_hops += 1
        if self._turned_to_another(moment.turning):
            self.spinning_before = False
        if np.all(self.activity[-END_SUBFRAMES:] < self.on_db):
            return self._weigh_whole(moment)
        score = self._score_so_far(moment)
        self.confirmed = self.confirmed + 1 if score > CERTAIN else 0
        wanted = AGREED_HOPS if self.spinning_before else AGREED_NEW_HOPS
        if self.confirmed >= wanted or (score > PLAIN and self.spinning_before):
            return self._engage(moment, self._first_contact(moment))
        late = self.candidate_hops * self._rates.hop_s > self._latest_s(moment.turning)
        if late and not (self.confirmed and self.spinning_before):
            if self._rose_again(moment):
                return []
            self.rejected = True
            # with neither a speed told nor a spindle heard before, it is anybody's comb: leave it at that
            self.proven = self._ran_up(moment) or not (self.spinning_before or moment.turning.told)
            newest = self.activity[-GROWS_SUBFRAMES:]
            if float(newest[-START_SUBFRAMES:].mean() - newest[:-START_SUBFRAMES].mean()) > GROWS_DB:
                self.growing_sample = moment.now
            self.level_since, self.candidate_sample = self.candidate_sample, None
        return []

    def _turned_to_another(self, turning: Turning) -> bool:
        """A speed found since the rise is not the one heard before it: that was another machine's."""
        if turning.told or turning.rotation_hz is None or self.candidate_hz is None:
            return False
        return abs(turning.rotation_hz / self.candidate_hz - 1) > ANOTHER

    def _rose_again(self, moment: Moment) -> bool:
        """Coolant or a neighbour, and then a cut: weigh the second rise against what sounded just before."""
        level = float(np.median(self.activity[-START_SUBFRAMES:]))
        below = np.flatnonzero(self.activity < level - ON_DB)
        if self.stepped or not below.size:
            return False
        step = int(below[-1]) + 1
        sample = self.bands.smoothed_at(step, moment.now)
        apart = sample - self.candidate_sample > moment.frames(AGAIN_AFTER_S)
        if not apart or HISTORY - step < START_SUBFRAMES:
            return False
        first = max(self.candidate_sample, sample - moment.frames(SEED_S))
        before = moment.front.stretch(first - moment.now, sample - moment.frames(SEED_GAP_S) - moment.now)
        if before is None or not (self.turns_since and self.turns_since < sample):
            return False
        moment.background.replace(*self.bands.before(step), before[0])
        self.activity = self.activity - float(np.median(self.activity[step - START_SUBFRAMES : step]))
        self.activity[:step] = np.minimum(self.activity[:step], 0.0)
        self.candidate_sample, self.stepped = sample, True
        self.candidate_hops = self.confirmed = 0
        self.spinning_before = True
        return True

    def _ran_up(self, moment: Moment) -> bool:
        """The comb is there now and was not when the sound rose: spindles take time to come to speed."""
        if self.spinning_before:
            return False
        now_score = moment.score(moment.now - moment.frames(REACH_S), moment.now)
        return now_score > CERTAIN and self._score_of_beginning(moment) < 0.5 * CERTAIN

    def _score_of_beginning(self, moment: Moment) -> float:
        return moment.score(*(self.candidate_sample + moment.frames(part) for part in BEGINNING_S))

    def _latest_s(self, turning: Turning) -> float:
        turns = REACH_TURNS / turning.rotation_hz if turning.rotation_hz else 0.0
        sure = self.spinning_before and turning.told
        return max(LATEST_S, turns + 0.2) if sure else LATEST_NEW_S

    def _engage(self, moment: Moment, start: int) -> list[Contact]:
        self.engaged = True
        self.rung = False
        self.lost = 0
        self.waning.begin()
        self.rise_db = COMB_RISE_DB
        self.usual = float(np.median(self.activity[-START_SUBFRAMES:]))
        self.rotation_hz = moment.turning.rotation_hz
        self.candidate_sample = None
        return [Contact(engaged=True, sample=start)]

    def ring(self, moment: Moment, since_sample: int) -> list[Contact]:
        """A chatter family has begun: that is a cut, even where no rise of the sound was noticed.

        Parameters
        ----------
        moment
            What the hop is judged with.
        since_sample
            Since when the family has been heard.
        """
        noticed = self.candidate_sample is not None
        if not (noticed or self.proven or moment.background.has_spectrum):
            since_sample = min(since_sample, self.level_since)  # it was never quiet: a cut all along
        contacts = self._engage(moment, self._first_contact(moment) if noticed else since_sample)
        self.rung = not noticed
        return contacts

    def _score_so_far(self, moment: Moment) -> float:
        if not self._steady(moment.turning):
            return NEVER
        if self.spinning_before:
            return moment.score(self.candidate_sample, moment.now)
        if not moment.turning.trusted:
            return NEVER
        if self.confirmed:
            return PLAIN
        if self.candidate_sample - self._dated_start(moment) > moment.frames(SLOW_S):
            return NEVER
        if self.growing_sample and self.candidate_sample - self.growing_sample < moment.frames(CALM_S):
            return NEVER  # still running up
        # a spindle that starts is not at speed yet when its sound rises, a cut is; music fades in
        return self._score_of_beginning(moment)

    def _steady(self, turning: Turning) -> bool:
        """The rotation is to be believed: a comb that was found in music or hum is poor and jumps about."""
        return _believable(turning, self.spinning_before and turning.told)

    def _weigh_whole(self, moment: Moment) -> list[Contact]:
        """The rise is over before it became certain: weigh it as a whole."""
        self.usual = float(self.activity[-60:].max())
        start, end = self._dated_start(moment), self._dated_end(moment)
        self.candidate_sample = None
        if not (self.spinning_before and self._steady(moment.turning)):
            return []
        if moment.score(start, end) < CERTAIN:
            return []
        self._begin_again(end, moment.now)
        return [Contact(engaged=True, sample=start), Contact(engaged=False, sample=end)]

    def _begin_again(self, end: int, now: int) -> None:
        """The level is back where it was: what was before the end has been judged."""
        self.level_since, self.proven = end, True
        past = self.bands.index_of(end, now)
        self.activity[:past] = self.deficit[:past] = 0.0

    def _watch_fall(self, moment: Moment) -> list[Contact]:
        """What was taken for the background falls: it may have been a cut all along."""
        if self.deficit[-SUBFRAMES:].max() <= FALL_DB:
            turning = moment.turning
            sure = turning.trusted and _believable(turning, turning.told)
            self.rotation_hz = turning.rotation_hz if sure else None
            return []
        count = self.bands.subframes(FALL_S)
        if not np.all(self.deficit[-count:] > FALL_DB):
            return []
        shallow = np.flatnonzero(self.deficit <= FALL_DB)
        fall = self.bands.smoothed_at(int(shallow[-1]) + 1 if shallow.size else 0, moment.now)
        return self._weigh_fall(fall, float(np.median(self.activity[-count:])), moment)

    def _weigh_fall(self, fall: int, risen_db: float, moment: Moment) -> list[Contact]:
        """Take what sounds now for the background, and weigh what sounded before the fall against it."""
        after = moment.front.stretch(fall + moment.frames(FALL_GAP_S) - moment.now, 0)
        if after is None:
            return []
        moment.background.replace(*self.bands.recent(), after[0])
        since, self.level_since = self.level_since, fall
        if self.proven or risen_db > FAINT_ON_DB or self.rotation_hz is None:
            return []
        before = moment.turning_at(self.rotation_hz)
        if before.score(max(fall - moment.frames(REACH_S), since), fall) < CERTAIN:
            return []
        inside = self.bands.index_of(fall, moment.now) - INSIDE
        end = self.bands.end(inside, moment.now, moment.background, self.rotation_hz)
        self.level_since = end
        return [Contact(engaged=True, sample=since), Contact(engaged=False, sample=end)]

    def _first_contact(self, moment: Moment) -> int:
        """The first rise, unless most of it came much later (coolant comes first)."""
        level = float(np.median(self.activity[-START_SUBFRAMES:]))
        below = np.flatnonzero(self.activity < LATER_SHARE * level)
        later = self.bands.smoothed_at(int(below[-1]) + 1, moment.now) if below.size else 0
        if later - self.candidate_sample > moment.frames(LATER_S):
            return later
        return self._dated_start(moment)

    def _dated_start(self, moment: Moment) -> int:
        inside = self.bands.index_of(self.candidate_sample, moment.now) + INSIDE
        return self.bands.start(inside, moment.now, moment.background, moment.turning.rotation_hz)

    def _dated_end(self, moment: Moment) -> int:
        """The added sound fell to nothing."""
        above = np.flatnonzero(self.activity > max(0.5 * self.usual, ON_DB))
        last = int(above[-1]) if above.size else HISTORY - END_SUBFRAMES
        # smoothing lasts on: the sound itself was surely there a little earlier
        return self.bands.end(last - INSIDE, moment.now, moment.background, moment.turning.rotation_hz)

    def _watch_end(self, moment: Moment, rise_db: float | None) -> list[Contact]:
        off = min(max(OFF_SHARE * self.usual, min(OFF_DB[0], 0.5 * self.usual)), OFF_DB[1])
        if rise_db is not None:
            self.rise_db += 0.25 * (rise_db - self.rise_db)
            held = self._held(moment)
            self.lost = 0 if held or not moment.turning.trusted else self.lost + 1
        fallen = self.activity[-END_SUBFRAMES:].max() < off and not (self.rung and self._rings_on())
        if fallen and self.fallen_hops < FALLEN_HOPS and self._still(moment):
            self.fallen_hops += 1
            return []
        if not fallen and self.lost < LOST_HOPS and not self._wanes(moment):
            self.fallen_hops = 0
            recent = float(self.activity[-SUBFRAMES:].mean())
            self.usual += 0.05 * (recent - self.usual)
            return []
        self.engaged = False
        self.fallen_hops = 0
        return [Contact(engaged=False, sample=self._end_fallen(moment) if fallen else self._end_lost(moment))]

    def _end_fallen(self, moment: Moment) -> int:
        end = self._dated_end(moment)
        self._begin_again(end, moment.now)
        return end

    def _wanes(self, moment: Moment) -> bool:
        """The level has fallen, though not to nothing, and what the spindle adds to the sound is gone."""

        def ask() -> float | None:
            """Return how the newest stretch scores, None where the speed is not trusted."""
            score = moment.score(moment.now - moment.frames(WANE_S), moment.now)
            return score if score != NEVER and moment.turning.trusted else None

        level_db = float(np.add.reduce(self.activity[-NOW_SUBFRAMES:])) / NOW_SUBFRAMES
        return self.waning.over(level_db, ask, self.ringing)

    def _end_lost(self, moment: Moment) -> int:
        """Something else sounds on, but neither comb nor chatter of this spindle."""
        self.rejected = True
        end = self._dated_over_rest(moment)
        self.level_since, self.proven = end, False
        return end

    def _dated_over_rest(self, moment: Moment) -> int:
        """What sounds now is the rest: date the fall to it."""
        hops = max(self.waning.hops, self.lost)
        inside = HISTORY - (hops + BEFORE_HOPS) * SUBFRAMES
        rest = Rest(*self.bands.recent())
        return self.bands.end(inside, moment.now, rest, moment.turning.rotation_hz)

    def _still(self, moment: Moment) -> bool:
        """The level has fallen but the comb has not: somebody turned the gain down."""
        return (
            self._lowered_db() > 0.0 and moment.score(moment.now - moment.frames(STILL_S), moment.now) > PLAIN
        )

    def _lowered_db(self) -> float:
        """How far the quietest bands lie below the background: they fall with the gain, not with the cut."""
        return float(np.median(self.deficit[-END_SUBFRAMES:]))

    def _rings_on(self) -> bool:
        """Chatter is still heard; where gain control hides it, as long as nothing speaks against it."""
        return self.ringing or (self.alarmed and self._lowered_db() > FALL_DB)

    def _held(self, moment: Moment) -> bool:
        """The comb, or chatter of this spindle, still stands above the background."""
        rotation = moment.turning.rotation_hz
        if self.rotation_hz and moment.turning.stepped:
            self.rotation_hz = rotation
        elif self.rotation_hz:
            if abs(rotation / self.rotation_hz - 1) > JUMP:
                return False
            self.rotation_hz += FOLLOW * (rotation - self.rotation_hz)
        if self.ringing or self.rise_db > COMB_HOLD_DB:
            return True
        return moment.score(moment.now - moment.frames(REACH_S), moment.now) > HOLD_SCORE

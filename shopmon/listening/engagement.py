"""When a tooth is in metal: the sound rises over the idle spindle's, and the spindle comb rises with it."""

from dataclasses import dataclass
from math import ceil

import numpy as np

from shopmon.listening.background import Background
from shopmon.listening.comb_view import CombView
from shopmon.listening.front import BANDS, View
from shopmon.listening.hops import SUBFRAMES, Rates
from shopmon.listening.state import Memory

ON_DB = 3.5
OFF_DB = (1.5, 5.0)
OFF_SHARE = 0.3
HISTORY = 240
TOP_BANDS = 3
CONFIRM_HOPS, CONFIRM_NEW_HOPS = 3, 8
COMB_RISE_DB = 1.8
COMB_HOLD_DB = 0.8
RELATIVES = 1.2
LOST_HOPS = 10
COMB_CONTRAST_DB = 3.0
UNSTEADY = 5e-4
LEAST_LINES, LEAST_SHARE = 4, 0.25
START_SUBFRAMES = 6
END_SUBFRAMES = 9
LATER_SHARE, LATER_S = 0.6, 0.4
LATEST_CONFIRM_S = 0.6
LATEST_NEW_COMB_S = 1.3


@dataclass(frozen=True, kw_only=True)
class Contact:
    """A change of engagement found at a hop, dated back to when it happened."""

    engaged: bool
    sample: int


class Engagement(Memory):
    """Follows the level of the sound in bands against the background and judges what a rise means."""

    kept = ("history", "times", "activity", "engaged", "candidate_sample", "candidate_hops", "confirmed",
            "spinning_before", "usual", "rejected", "relatives",
            "rise_db", "lost")  # fmt: skip

    def __init__(self, rates: Rates):
        self._rates = rates
        self.clear()

    def clear(self) -> None:
        """Forget the sound at hand and what was open."""
        self.history = np.full((HISTORY, BANDS), -200.0)
        self.times = 0
        self.activity = np.zeros(HISTORY)
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
        smoothed: np.ndarray,
        background: Background,
        comb: CombView | None,
        rise_db: float | None,
        jitter: float,
    ) -> list[Contact]:
        """Take in one hop and return the contacts that became certain with it, oldest first."""
        rise = smoothed - background.bands_db - np.maximum(1.0, 2.0 * background.spread_db)
        level = np.sort(rise, axis=1)[:, -TOP_BANDS:].mean(axis=1)
        level = level if background.known else np.zeros(SUBFRAMES)
        self.activity = np.concatenate((self.activity[SUBFRAMES:], level))
        if self.engaged:
            return self._watch_end(view, rise_db)
        if self.candidate_sample is None:
            self._watch_rise(view)
        if self.candidate_sample is not None:
            return self._weigh(view.sample, comb, rise_db, jitter)
        return []

    def _watch_rise(self, view: View) -> None:
        if not np.all(self.activity[-START_SUBFRAMES:] > ON_DB):
            return
        below = np.flatnonzero(self.activity < ON_DB)
        first = int(below[-1]) + 1 if below.size else HISTORY - START_SUBFRAMES
        self.candidate_sample = self._sample_of(first, view.sample)
        self.candidate_hops = self.confirmed = 0
        self.relatives = 0.0

    def _sample_of(self, index: int, sample: int) -> int:
        """Sample at the end of a sub-frame of the history, less the delay of smoothing and window."""
        late = 2.5 * self._rates.subframe
        back = (HISTORY - 1 - index) * self._rates.subframe + late
        return max(0, sample - int(back * self._rates.factor))

    def _weigh(
        self, sample: int, comb: CombView | None, rise_db: float | None, jitter: float
    ) -> list[Contact]:
        self.candidate_hops += 1
        risen = rise_db is not None and rise_db > COMB_RISE_DB
        # loud chatter of a light cut can drown the comb's own rise; its relatives give it away
        related = self.spinning_before and self.relatives > RELATIVES
        self.confirmed += bool(related or (risen and self._clear(comb, jitter)))
        if self.confirmed >= (CONFIRM_HOPS if self.spinning_before else CONFIRM_NEW_HOPS):
            start = self._first_contact(sample)
            self.candidate_sample = None
            self.engaged = True
            self.lost = 0
            self.rise_db = COMB_RISE_DB
            self.usual = float(np.median(self.activity[-START_SUBFRAMES:]))
            return [Contact(engaged=True, sample=start)]
        over = np.all(self.activity[-END_SUBFRAMES:] < ON_DB)
        allowed = LATEST_CONFIRM_S if self.spinning_before else LATEST_NEW_COMB_S
        late = self.candidate_hops * self._rates.hop_s > allowed
        if over or late:
            self.candidate_sample = None
            self.rejected = bool(late)
        return []

    def _first_contact(self, sample: int) -> int:
        """The first rise, unless most of it came much later (coolant comes first)."""
        level = float(np.median(self.activity[-START_SUBFRAMES:]))
        below = np.flatnonzero(self.activity < LATER_SHARE * level)
        later = self._sample_of(int(below[-1]) + 1, sample) if below.size else 0
        much = LATER_S * self._rates.sample_rate_hz
        return later if later - self.candidate_sample > much else self.candidate_sample

    def _clear(self, comb: CombView | None, jitter: float) -> bool:
        """Many lines stand out, at a speed that held still before or holds still now."""
        if comb is None or comb.contrast_db < COMB_CONTRAST_DB:
            return False
        if jitter > UNSTEADY and not self.spinning_before:
            return False
        return comb.visible >= max(LEAST_LINES, LEAST_SHARE * comb.lines_db.size)

    def _watch_end(self, view: View, rise_db: float | None) -> list[Contact]:
        off = min(max(OFF_SHARE * self.usual, OFF_DB[0]), OFF_DB[1])
        if rise_db is not None:
            self.rise_db += 0.25 * (rise_db - self.rise_db)
            held = self.rise_db > COMB_HOLD_DB or self.relatives > RELATIVES
            self.lost = 0 if held else self.lost + 1
        fallen = bool(np.all(self.activity[-END_SUBFRAMES:] < off))
        if not fallen and self.lost < LOST_HOPS:
            recent = float(self.activity[-SUBFRAMES:].mean())
            self.usual += 0.05 * (recent - self.usual)
            return []
        self.engaged = False
        if fallen:
            return [Contact(engaged=False, sample=self._end_sample(view.sample))]
        # something else sounds on, but neither comb nor chatter of this spindle
        self.rejected = True
        back = int((self.lost + 5) * self._rates.hop_frames)
        return [Contact(engaged=False, sample=max(0, view.sample - back))]

    def recent_bands(self) -> tuple[np.ndarray, np.ndarray]:
        """Mean and variance of the band levels over the last 0.3 s, smoothed like everything else."""
        power = 10.0 ** (self.history[-36:] / 10)
        smooth = 10 * np.log10(
            np.maximum(np.stack([power[i : i + 6].mean(axis=0) for i in range(31)]), 1e-20)
        )
        return smooth.mean(axis=0), smooth.var(axis=0)

    def _end_sample(self, sample: int) -> int:
        """The sound had fallen half-way, in dB, from what it was before."""
        above = np.flatnonzero(self.activity > max(0.5 * self.usual, ON_DB))
        last = int(above[-1]) if above.size else HISTORY - END_SUBFRAMES
        return self._sample_of(last, sample)

"""From the odds of each hop to the verdict: evidence summed over time, an alarm with hysteresis.

A cumulative sum of log-odds that never falls below 0 (Page, Biometrika 41, 1954, 100-115): its alarm level
sets how rarely it cries without cause. Neighbouring windows overlap, so a hop's odds count by a fraction.
And a line that stays tells nothing new: the tone of another machine is as odd after a minute as after a
second. So the sum forgets, and what is hardly more likely than not never adds up to an alarm. Odds that leave
little doubt count more than in proportion, for the sake of soonness.
"""

import math

from shopmon.listening.chatter.members import add_member
from shopmon.listening.chatter.suspect import Suspicion
from shopmon.listening.events import ChatterEnded, ChatterSpan, ChatterStarted, Event
from shopmon.listening.state import Memory

SHARE = 0.25
FORGOTTEN = 0.05  # of the sum, in each hop
CLEAR, CLEAR_SHARE = 1.0, 0.5
MOST_A_HOP, MOST_UNTOUCHED = 4.0, 2.5  # where no tooth is known to be in metal, two hops may be a bang
# odds that any hop of a cut with stray lines has: what is above speaks for chatter
LEAN, LEAN_PER_E_FOLD, LEAN_RATE = -1.0, 0.22, 0.1
RANGE = (-3.0, 6.0)
SURE_RANGE, PER_EXCESS, MOST_SURE = (1.0, 6.0), 0.6, 0.99
CALM_SHARE = 0.4
DOUBT_SHARE, DOUBT_NATS, LONGEST_DOUBT_HOPS = 0.1, 8.0, 60
LEVEL_AT_ONE, LEVEL_PER_E_FOLD = 5.0, 0.43
ABOVE_ALARM, HALF_WAY = 1.2, 0.5
SLIGHT_DB, HEAVY_DB = -6.0, 6.0


def evidence_of(suspicion: Suspicion | None, touching: bool = True, lean: float = LEAN) -> float:
    """Return what one hop adds to the evidence.

    Parameters
    ----------
    suspicion
        None when no line is stray.
    touching
        It is certain that a tooth is in metal.
    lean
        Odds that speak neither for chatter nor against it, see `lean_at`.
    """
    odds = RANGE[0] if suspicion is None else _within(suspicion.log_odds, *RANGE)
    most = MOST_A_HOP if touching else MOST_UNTOUCHED
    return min(SHARE * (odds - lean) + CLEAR_SHARE * max(odds - CLEAR, 0.0) ** 2, most)


def alarm_level(false_alarms_per_hour: float) -> float:
    """Return the evidence that raises the alarm for the false alarms accepted per hour of cutting."""
    return LEVEL_AT_ONE - LEVEL_PER_E_FOLD * math.log(false_alarms_per_hour)


def lean_at(false_alarms_per_hour: float) -> float:
    """Return the odds that speak neither for chatter nor against it, for the false alarms accepted.

    What goes on for long reaches any level in the end that its odds allow: a higher level alone makes whoever
    wants fewer false alarms wait, and spares them few.
    """
    return LEAN + LEAN_PER_E_FOLD * max(0.0, math.log(LEAN_RATE / false_alarms_per_hour))


def _within(value: float, low: float, high: float) -> float:
    return min(max(value, low), high)


def severity_of(above_comb_db: float) -> str:
    """Name the level of chatter relative to the strongest comb line."""
    if above_comb_db < SLIGHT_DB:
        return "slight"
    return "heavy" if above_comb_db > HEAVY_DB else "clear"


class ChatterJudge(Memory):
    """Sums the evidence of each hop and raises and ends the alarm."""

    kept = ("evidence", "span", "last_line_sample", "onset", "suspect_hops", "told")

    def __init__(self, false_alarms_per_hour: float):
        self.accept(false_alarms_per_hour)
        self.clear()

    def accept(self, false_alarms_per_hour: float) -> None:
        """Accept so many false alarms per hour of cutting from now on."""
        self.alarm = alarm_level(false_alarms_per_hour)
        self.lean = lean_at(false_alarms_per_hour)

    def clear(self) -> None:
        """Know of no chatter."""
        self.evidence = 0.0
        self.span: dict | None = None
        self.last_line_sample = 0
        self.onset: int | None = None
        self.suspect_hops = 0
        self.told: list[list[float]] = []

    def restore(self, data: dict) -> None:
        """Take up a memory; one of before frequencies were weighed by energy has none of them."""
        super().restore({"told": [], **data})

    @property
    def suspects(self) -> bool:
        """Something may have begun to ring: what is heard now is no background yet."""
        return 0 < self.suspect_hops < LONGEST_DOUBT_HOPS

    @property
    def open(self) -> ChatterSpan | None:
        """The open chatter event, if any."""
        return None if self.span is None else ChatterSpan(**self.span)

    @property
    def half_convinced(self) -> bool:
        """There is chatter, or evidence half way to it."""
        return self.span is not None or self.evidence >= HALF_WAY * self.alarm

    @property
    def convinced(self) -> bool:
        """The evidence is enough for an alarm."""
        return self.evidence >= self.alarm

    def weigh(self, suspicion: Suspicion | None, sample: int, touching: bool = True) -> None:
        """Add the evidence of one hop, whether or not contact was noticed.

        Parameters
        ----------
        suspicion
            The worst line, None when there is none.
        sample
            One past the last sample.
        touching
            It is certain that a tooth is in metal.
        """
        evidence = (1.0 - FORGOTTEN) * self.evidence + evidence_of(suspicion, touching, self.lean)
        self.evidence = _within(evidence, 0.0, ABOVE_ALARM * self.alarm)
        if suspicion is not None and suspicion.track.margin_db > 0:
            if suspicion.track.misses == 0 and suspicion.log_odds > self.lean:
                self.last_line_sample = sample
            if self.onset is None:
                self.onset = suspicion.track.since_sample
        if self.evidence <= 0:
            self.onset = None
        related = suspicion is not None and suspicion.kin_nats > DOUBT_NATS
        doubtful = related or self.evidence > DOUBT_SHARE * self.alarm
        self.suspect_hops = self.suspect_hops + 1 if doubtful else 0

    def decide(
        self, suspicion: Suspicion | None, sample: int, earliest_sample: int, window_samples: int
    ) -> list[Event]:
        """Raise, carry on or end the alarm while a tooth is in metal.

        Parameters
        ----------
        suspicion, sample
            As given to `weigh`.
        earliest_sample
            Start of the engagement: chatter cannot have begun earlier.
        window_samples
            Length of the analysis window in samples of the stream.
        """
        if self.span is not None:
            return self._go_on(suspicion, sample, window_samples)
        if not self.convinced or suspicion is None:
            return []
        start = (self.onset or sample) - int(0.35 * window_samples)
        self.span = self._first(suspicion, max(earliest_sample, min(start, sample)), sample)
        return [ChatterStarted(sample=sample, chatter=self.open)]

    def _first(self, suspicion: Suspicion, start: int, sample: int) -> dict:
        track = suspicion.track
        return {
            "start_sample": start,
            "end_sample": sample,
            "alarm_sample": sample,
            "frequency_hz": add_member(self.told, track.frequency_hz, track.power),
            "level_db": track.level_db,
            "severity": severity_of(track.above_comb_db),
            "kind": suspicion.kind,
            "confidence": _probability(suspicion, self.evidence - self.alarm),
        }

    def _go_on(self, suspicion: Suspicion | None, sample: int, window_samples: int) -> list[Event]:
        span = self.span
        span["end_sample"] = sample
        if suspicion is not None:
            track = suspicion.track
            if track.misses == 0 and track.margin_db > 0:
                span["frequency_hz"] = add_member(self.told, track.frequency_hz, track.power)
            if track.level_db > span["level_db"] and track.misses == 0:
                span["level_db"] = track.level_db
                worse = severity_of(track.above_comb_db)
                order = ("slight", "clear", "heavy")
                span["severity"] = max(span["severity"], worse, key=order.index)
        if self.evidence >= CALM_SHARE * self.alarm:
            return []
        return self.end(sample, self.last_line_sample - window_samples // 2)

    def end(self, now: int, end_sample: int) -> list[Event]:
        """End the open event, if any, as of `end_sample`."""
        if self.span is None:
            self.evidence = 0.0
            self.onset = None
            return []
        self.span["end_sample"] = int(max(self.span["start_sample"] + 1, min(end_sample, now)))
        ended = ChatterEnded(sample=now, chatter=self.open)
        self.clear()
        return [ended]


def _probability(suspicion: Suspicion, excess: float) -> float:
    """How likely the verdict is right, from the newest odds and the evidence beyond the alarm's level.

    Fitted to alarms on simulated cuts, half of which chatter: see the benchmark's table ``sure``. It stays as
    it was when the alarm was raised: false alarms that last look as sure in the end as right ones.
    """
    odds = _within(suspicion.log_odds, *SURE_RANGE) + PER_EXCESS * excess
    return round(min(MOST_SURE, 1 / (1 + math.exp(-odds))), 3)

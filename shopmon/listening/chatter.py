"""From stray lines to the verdict: evidence summed over time, an alarm with hysteresis."""

import math
from dataclasses import dataclass, replace

from shopmon.listening.events import ChatterEnded, ChatterSpan, ChatterStarted, Event
from shopmon.listening.state import Memory
from shopmon.listening.strays import Track

ALARM = 2.5
CALM = 0.8
CAP = 4.0
MARGIN_RANGE_DB = (-3.0, 8.0)
LONE_RANGE_DB = (-3.0, 14.0)
PER_MARGIN_DB = 0.11
PER_LONE_DB = 0.038
PER_MEMBER = 0.22
FULL_FAMILY = 1.5
STRANGERS_LEAVE = 0.3
PRICE = 0.35
NOTHING = -0.3
UNKNOWN_BACKGROUND = -0.15
SLIGHT_DB, HEAVY_DB = -6.0, 6.0


@dataclass(frozen=True, kw_only=True)
class Suspicion:
    """What one hop holds against the cut: the track under suspicion, its family, the strangers."""

    track: Track
    family: float
    strangers: int = 0


def evidence_of(suspicion: Suspicion | None, background_known: bool) -> float:
    """Return what one hop adds to the evidence (a scaled log-odds).

    Parameters
    ----------
    suspicion
        None when no line is stray.
    background_known
        Whether the sound before the cut is known.
    """
    if suspicion is None:
        return NOTHING
    margin = suspicion.track.margin_db
    related = min(suspicion.family / FULL_FAMILY, 1.0)
    if suspicion.strangers > suspicion.family:
        related *= STRANGERS_LEAVE
    kin = PER_MARGIN_DB * _within(margin, *MARGIN_RANGE_DB) + PER_MEMBER * suspicion.family
    alone = PER_LONE_DB * _within(margin, *LONE_RANGE_DB)
    if suspicion.strangers:
        alone = min(alone, 0.0)
    value = related * kin + (1 - related) * alone - PRICE
    return value if background_known else value + UNKNOWN_BACKGROUND


def terms_of(suspicion: Suspicion | None, background_known: bool) -> dict[str, float]:
    """Return what `evidence_of` is made of, by name."""
    if suspicion is None:
        return {}
    whole = evidence_of(suspicion, background_known)
    alone = evidence_of(replace(suspicion, family=0.0), background_known)
    return {"over_floor_db": alone, "family_teeth": whole - alone}


def _within(value: float, low: float, high: float) -> float:
    return min(max(value, low), high)


def kind_of(frequency_hz: float, rotation_hz: float, flutes: int | None, tolerance_hz: float) -> str:
    """Tell period doubling (half of tooth passing) from the rest.

    Parameters
    ----------
    frequency_hz, rotation_hz
        Chatter line and rotation frequency.
    flutes
        None where not known.
    tolerance_hz
        How well the two are known together.
    """
    spacing = rotation_hz * (flutes or 1)
    away = abs((frequency_hz / spacing) % 1.0 - 0.5) * spacing
    if away > tolerance_hz:
        return "quasi-periodic"
    return "period-doubling" if flutes else "unclassified"


def severity_of(above_comb_db: float) -> str:
    """Name the level of chatter relative to the strongest comb line."""
    if above_comb_db < SLIGHT_DB:
        return "slight"
    return "heavy" if above_comb_db > HEAVY_DB else "clear"


class ChatterJudge(Memory):
    """Sums the evidence of each hop and raises and ends the alarm."""

    kept = ("evidence", "highest", "span", "last_line_sample", "onset")

    def __init__(self):
        self.clear()

    def clear(self) -> None:
        """Know of no chatter."""
        self.evidence = 0.0
        self.highest = 0.0
        self.span: dict | None = None
        self.last_line_sample = 0
        self.onset: int | None = None

    @property
    def open(self) -> ChatterSpan | None:
        """The open chatter event, if any."""
        return None if self.span is None else ChatterSpan(**self.span)

    def weigh(
        self,
        suspicion: Suspicion | None,
        background_known: bool,
        sample: int,
        earliest_sample: int,
        window_samples: int,
        kind: str,
    ) -> list[Event]:
        """Take in one hop of an engagement.

        Parameters
        ----------
        suspicion
            The worst line, None when there is none.
        background_known
            Whether the sound before the cut is known.
        sample
            One past the last sample.
        earliest_sample
            Start of the engagement: chatter cannot have begun earlier.
        window_samples
            Length of the analysis window in samples of the stream.
        kind
            Kind of chatter the line would be.
        """
        self.evidence = _within(self.evidence + evidence_of(suspicion, background_known), 0.0, CAP)
        if suspicion is not None and suspicion.track.margin_db > 0:
            self.last_line_sample = sample
            if self.onset is None:
                self.onset = suspicion.track.since_sample
        if self.evidence <= 0:
            self.onset = None
        if self.span is not None:
            return self._go_on(suspicion, sample, window_samples)
        if self.evidence < ALARM or suspicion is None:
            return []
        start = (self.onset or sample) - int(0.35 * window_samples)
        self.span = self._first(suspicion, max(earliest_sample, min(start, sample)), sample, kind)
        return [ChatterStarted(sample=sample, chatter=self.open)]

    def _first(self, suspicion: Suspicion, start: int, sample: int, kind: str) -> dict:
        track = suspicion.track
        return {
            "start_sample": start,
            "end_sample": sample,
            "alarm_sample": sample,
            "frequency_hz": track.frequency_hz,
            "level_db": track.level_db,
            "severity": severity_of(track.above_comb_db),
            "kind": kind,
            "confidence": _probability(suspicion, self.evidence),
        }

    def _go_on(self, suspicion: Suspicion | None, sample: int, window_samples: int) -> list[Event]:
        span = self.span
        span["end_sample"] = sample
        if suspicion is not None:
            track = suspicion.track
            if track.level_db > span["level_db"] and track.misses == 0:
                span["level_db"], span["frequency_hz"] = track.level_db, track.frequency_hz
                worse = severity_of(track.above_comb_db)
                order = ("slight", "clear", "heavy")
                span["severity"] = max(span["severity"], worse, key=order.index)
            span["confidence"] = max(span["confidence"], _probability(suspicion, self.evidence))
        if self.evidence >= CALM:
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


def _probability(suspicion: Suspicion, evidence: float) -> float:
    """How likely the verdict is right, from the evidence and what supports it (fitted to simulated cuts)."""
    odds = (
        -0.6 + 0.5 * evidence + 0.25 * _within(suspicion.track.margin_db, -3.0, 12.0) + 0.6 * suspicion.family
    )
    return round(min(0.99, 1 / (1 + math.exp(-odds))), 3)

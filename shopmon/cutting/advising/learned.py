"""From a belief to what a person can do: speed, override, feed and depth for an aim, and how sure that is."""

from dataclasses import dataclass, field, replace
from math import pi

import numpy as np

from shopmon.cutting.advising.learned_map import (
    Aim,
    Job,
    Point,
    QuietMap,
    advised_point,
    quiet_map,
    trial_point,
)
from shopmon.cutting.advising.learning import Belief
from shopmon.cutting.advising.one_line import (
    CAUTION_DOWN,
    CAUTION_UP,
    ORDER_DOWN,
    ORDER_UP,
    SAME_SPEED,
    SpeedLimits,
)
from shopmon.cutting.advising.prior import Prior
from shopmon.cutting.nouns import MillingKind, require, require_positive

AIMS: tuple[Aim, ...] = ("most-metal", "surest", "finish")
STATED = 0.9
SPEEDS = 40
BAND = (0.1, 0.5, 0.9)
SLOWEST, SLOWEST_OF_LIMIT = 0.5, 0.35
FASTEST_UNASKED = 1.5  # times the present speed, where no cutting speed is known; own judgement, no source
DIAMETERS_DEEP, SLOT_DEEP = 2.0, 1.0
NEAR_STEP = 0.05  # of a speed: a step of the override that near may take its place
STEP_LOSS = 0.05
MOST_SURE = 0.99
LIGHTER = (1.0, 0.75, 0.5, 0.35, 0.2, 0.1)  # of the wanted depth, to find one that is sure
LOOSE_LINE = 0.12  # spread of the frequency (logarithm) beyond which no lobe is named
FINISH_LEAST_MM = 0.1
STOP = "Listen, and stop at the first sign of chatter."
CUTTING_SPEED = "See that the cutting speed suits tool and material."
WASTE = "It may ring: try it only where a spoilt surface does not matter, a hand on the feed hold."


@dataclass(frozen=True, kw_only=True)
class Question:
    """The cut that is thought about.

    Attributes
    ----------
    flutes, diameter_mm, milling, ae_mm
        Tool and arc.
    ap_mm
        Depth that is wanted; None leaves it open.
    present_rpm, nominal_rpm
        True and programmed speed now; None where nothing turns.
    feed_mm_min
        Table feed now.
    limits
        Of machine and tool.
    """

    flutes: int
    diameter_mm: float
    milling: MillingKind
    ae_mm: float
    ap_mm: float | None = None
    present_rpm: float | None = None
    nominal_rpm: float | None = None
    feed_mm_min: float | None = None
    limits: SpeedLimits = field(default_factory=SpeedLimits)

    def __post_init__(self):
        for name in ("ap_mm", "present_rpm", "nominal_rpm", "feed_mm_min"):
            require_positive(name, getattr(self, name), optional=True)
        known = self.limits.highest_rpm(self.diameter_mm) or self.present_rpm
        require(
            known is not None,
            "Neither a limit of machine or tool nor a present speed is known.",
            "Say the highest speed of the machine or tool, or the speed the spindle turns at.",
        )
        _ = self.job

    @property
    def bounds_rpm(self) -> tuple[float, float]:
        """Lowest and highest speed that is looked at and may be advised."""
        limit, present = self.limits.highest_rpm(self.diameter_mm), self.present_rpm
        high = limit or present
        unasked = self.limits.max_cutting_speed_m_per_min is None and present is not None
        if unasked and present < high:
            high = min(high, FASTEST_UNASKED * present)
        low = SLOWEST * min(present, high) if present else SLOWEST_OF_LIMIT * high
        low = max(low, self.limits.min_rpm or 0.0)
        return (low, high) if low < 0.98 * high else (SLOWEST * high, high)

    @property
    def job(self) -> Job:
        """The same for the map."""
        low, high = self.bounds_rpm
        deep = (SLOT_DEEP if self.milling == "slot" else DIAMETERS_DEEP) * self.diameter_mm
        return Job(
            flutes=self.flutes, diameter_mm=self.diameter_mm, milling=self.milling, ae_mm=self.ae_mm,
            min_rpm=low, max_rpm=high, max_ap_mm=max(deep, 1.5 * (self.ap_mm or 0.0)),
        )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Card:
    """One thing to try, in full.

    Attributes
    ----------
    aim
        ``most-metal``, ``surest``, ``finish``; ``same-depth`` for the wanted depth, ``now`` for the cut as it
        is, ``trial`` for the one worth trying next.
    rpm, command_rpm, ap_mm
        True speed, what to program for it given the slip seen, axial depth.
    override_percent
        Step of the override from the programmed speed; None where none comes close.
    feed_factor, feed_mm_min
        To hold the chip load; None where no present speed, or no feed, is known.
    cutting_speed_m_per_min
        At that speed.
    lobe
        Waves between two teeth; None where the frequency is not known well enough.
    probability_quiet
        As the belief has it.
    reason, caution
        For the person.
    """

    aim: str
    rpm: float
    command_rpm: float
    ap_mm: float
    override_percent: float | None
    feed_factor: float | None
    feed_mm_min: float | None
    cutting_speed_m_per_min: float
    lobe: int | None
    probability_quiet: float
    reason: str
    caution: str


@dataclass(frozen=True, eq=False, kw_only=True)
class SpeedSheet:
    """Everything a belief says of a question.

    Attributes
    ----------
    question
        What was asked.
    found
        The map.
    band_mm
        Depth of the border by speed, the 10th, 50th and 90th of a hundred systems, ``(3, speeds)``.
    frequency_hz
        Natural frequency of the weakest mode, the same three.
    cards
        By aim; an aim is missing where nothing is sure enough.
    surest
        The surest point there is, where no aim has a card.
    now, trial
        The cut as it is, where it is known, and the one worth trying next.
    """

    question: Question
    found: QuietMap
    band_mm: np.ndarray
    frequency_hz: tuple[float, float, float]
    cards: tuple[Card, ...]
    surest: Card | None
    now: Card | None
    trial: Card


def speed_sheet(belief: Belief, question: Question, stated: float = STATED) -> SpeedSheet:
    """Ask a belief about a cut.

    Parameters
    ----------
    belief, question
        What is believed, and what is asked.
    stated
        Probability of a quiet cut that the advice has to keep, 0.5 to below 1.
    """
    found = quiet_map(belief, question.job, speeds=SPEEDS)
    hz = frequency_band(belief)
    write = _Writer(question, found, hz)
    cards = [card for aim in AIMS if (card := _for_aim(write, aim, stated))]
    if question.ap_mm is not None and (card := _same_depth(write, question.ap_mm, stated)):
        cards.append(card)
    return SpeedSheet(
        question=question,
        found=found,
        band_mm=np.quantile(found.limit_mm, BAND, axis=0),
        frequency_hz=hz,
        cards=tuple(cards),
        surest=None if cards else write.card("surest", _surest(found), UNSURE),
        now=_now(write),
        trial=_trial(write, belief),
    )


def chance(found: QuietMap, rpm: float, ap_mm: float) -> float:
    """Probability of a quiet cut at any point of a map; beyond its ends, that of the end."""
    at = np.interp(np.log(ap_mm), np.log(found.ap_mm), np.arange(len(found.ap_mm)))
    low, share = int(at), at - int(at)
    high = min(low + 1, len(found.ap_mm) - 1)
    column = (1 - share) * found.probability[:, low] + share * found.probability[:, high]
    return float(np.interp(rpm, found.rpm, column))


def frequency_band(belief: Belief) -> tuple[float, float, float]:
    """Natural frequency of the mode that gives way most, Hz: the 10th, 50th and 90th of a hundred systems."""
    systems, _ = belief.prior.systems(belief.latent)
    weakest = np.argmin(systems.stiffness_n_per_m * systems.damping_ratio, axis=1)
    hz = np.take_along_axis(systems.frequency_hz, weakest[:, None], axis=1)[:, 0]
    return tuple(float(value) for value in np.quantile(hz, BAND))


def carried(belief: Belief, before: Prior, after: Prior) -> Belief:
    """What is believed of one tool assembly, carried over to another by the ratio of their priors.

    How far the real one departs from its beam in a holder is taken to be the same; of the new one nothing
    has been heard.
    """
    faster, stiffer = (
        getattr(after, name) / getattr(before, name) for name in ("frequency_hz", "stiffness_n_per_m")
    )
    measured = tuple(
        replace(
            mode,
            frequency_hz=mode.frequency_hz * faster,
            stiffness_n_per_m=mode.stiffness_n_per_m * stiffer,
        )
        for mode in belief.prior.measured
    )
    heard = tuple(replace(tone, frequency_hz=tone.frequency_hz * faster) for tone in belief.prior.heard)
    prior = replace(
        belief.prior,
        measured=measured,
        heard=heard,
        frequency_hz=belief.prior.frequency_hz * faster,
        stiffness_n_per_m=belief.prior.stiffness_n_per_m * stiffer,
        kt_n_per_mm2=belief.prior.kt_n_per_mm2 * after.kt_n_per_mm2 / before.kt_n_per_mm2,
    )
    return replace(belief, prior=prior)


REASONS: dict[str, str] = {
    "most-metal": "Of all that is {stated} sure to be quiet, this removes most metal.",
    "surest": "The surest that still removes half as much as the most possible, or more.",
    "finish": "The fastest speed that is {stated} sure at this depth: the shortest feed marks.",
}
UNSURE = "Nothing within reach is sure enough; this is the surest there is. Take less than it says."


class _Writer:
    """Writes cards for one question."""

    def __init__(self, question: Question, found: QuietMap, hz: tuple[float, float, float]):
        self.question, self.found, self.hz = question, found, hz

    def card(self, aim: str, point: Point, reason: str, stated: float = STATED, caution: str = "") -> Card:
        """Word one point; a step of the override takes its place where it is as good."""
        asked = self.question
        override = None if aim == "now" else self._step(point, stated)
        rpm = point.rpm if override is None else asked.present_rpm * override / 100
        if override is not None:
            point = replace(point, rpm=rpm, probability_quiet=chance(self.found, rpm, point.ap_mm))
        present = asked.present_rpm
        factor = rpm / present if present else None
        slip = (asked.nominal_rpm or present) / present if present else 1.0
        return Card(
            aim=aim,
            rpm=round(rpm, 1),
            command_rpm=round(rpm * slip, 1),
            ap_mm=point.ap_mm,
            override_percent=override,
            feed_factor=round(factor, 3) if factor else None,
            feed_mm_min=round(asked.feed_mm_min * factor, 1) if asked.feed_mm_min and factor else None,
            cutting_speed_m_per_min=round(pi * asked.diameter_mm * rpm / 1000, 1),
            lobe=self.lobe(rpm),
            probability_quiet=min(MOST_SURE, round(point.probability_quiet, 2)),
            reason=reason.format(stated=f"{100 * stated:.0f} %") + self._unlimited(),
            caution=" ".join(filter(None, (caution, self._caution(rpm)))),
        )

    def lobe(self, rpm: float) -> int | None:
        """Waves of the weakest mode between two teeth, where its frequency is known well enough."""
        low, middle, high = self.hz
        if np.log(high / low) > LOOSE_LINE:
            return None
        return max(1, round(60 * middle / (self.question.flutes * rpm)))

    def _step(self, point: Point, stated: float) -> float | None:
        asked, limits = self.question, self.question.limits
        if asked.present_rpm is None:
            return None
        step = limits.override_step_percent
        percent = step * round(100 * point.rpm / asked.present_rpm / step)
        rpm, (low, high) = asked.present_rpm * percent / 100, asked.bounds_rpm
        fits = limits.override_min_percent <= percent <= limits.override_max_percent
        near = abs(rpm / point.rpm - 1) <= NEAR_STEP
        if not (fits and near and low <= rpm <= high * (1 + 1e-9)):
            return None
        needed = min(stated, point.probability_quiet - STEP_LOSS)
        return float(percent) if chance(self.found, rpm, point.ap_mm) >= needed else None

    def _unlimited(self) -> str:
        if self.question.limits.highest_rpm(self.question.diameter_mm) is not None:
            return ""
        return " No limit of machine or tool is known, so nothing faster than now is advised."

    def _caution(self, rpm: float) -> str:
        present = self.question.present_rpm
        if present is None:
            return f"{CAUTION_UP} {CUTTING_SPEED}"
        if abs(rpm / present - 1) <= SAME_SPEED:
            return STOP
        return f"{ORDER_UP} {CAUTION_UP} {CUTTING_SPEED}" if rpm > present else f"{ORDER_DOWN} {CAUTION_DOWN}"


def _for_aim(write: _Writer, aim: Aim, stated: float) -> Card | None:
    found, wanted = write.found, write.question.ap_mm
    if aim == "finish":
        depths = [share * wanted for share in LIGHTER] if wanted else [FINISH_LEAST_MM]
        points = (_best_at(found, depth, stated, fastest=True) for depth in depths)
        point = next((point for point in points if point), None)
    else:
        point = advised_point(found, aim, stated)
    return None if point is None else write.card(aim, point, REASONS[aim], stated)


def _same_depth(write: _Writer, ap_mm: float, stated: float) -> Card | None:
    """The surest speed for the wanted depth, whatever it reaches."""
    point = _best_at(write.found, ap_mm, 0.0, fastest=False)
    if point is None:
        return None
    reason = "The surest speed for the depth that is wanted."
    if point.probability_quiet < stated:
        reason += " It is not as sure as one would wish: less depth would be."
    return write.card("same-depth", point, reason, stated)


def _best_at(found: QuietMap, ap_mm: float, least: float, *, fastest: bool) -> Point | None:
    """Best speed at one depth, neighbours counted in; None where none is probable enough."""
    sure = np.array([chance(found, rpm, ap_mm) for rpm in found.rpm])
    padded = np.pad(sure, 1, mode="edge")
    calm = np.minimum(sure, 0.25 * padded[:-2] + 0.5 * sure + 0.25 * padded[2:])
    good = np.flatnonzero(calm >= least)
    if not good.size:
        return None
    best = good[-1] if fastest else good[int(np.argmax(calm[good] + 1e-6 * np.arange(good.size)))]
    return Point(rpm=float(found.rpm[best]), ap_mm=ap_mm, probability_quiet=float(calm[best]))


def _surest(found: QuietMap) -> Point:
    return _best_at(found, float(found.ap_mm[0]), 0.0, fastest=False)


def _now(write: _Writer) -> Card | None:
    asked = write.question
    if asked.present_rpm is None or asked.ap_mm is None:
        return None
    sure = chance(write.found, asked.present_rpm, asked.ap_mm)
    point = Point(rpm=asked.present_rpm, ap_mm=asked.ap_mm, probability_quiet=sure)
    return write.card("now", point, "The cut as it is.")


def _trial(write: _Writer, belief: Belief) -> Card:
    reason = "Quiet, it shows that more metal is safe; ringing, its tone tells the frequency."
    point = trial_point(write.found, belief.cuts)
    return write.card("trial", point, reason, caution=WASTE)

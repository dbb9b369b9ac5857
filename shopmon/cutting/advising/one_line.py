"""Which way to turn the spindle when one chatter line was heard.

Tooth passing at the line or a whole fraction of it, n = 60 f / (N k), lets each tooth meet the wave of its
predecessor in phase (Smith and Tlusty, J. Eng. Ind. 112, 1990, 142; Delio, Tlusty, Smith, J. Eng. Ind. 114,
1992, 146). The line is not the natural frequency, though, and the rule does not know what else would ring at
the new speed. So the speeds within reach are weighed by systems that would ring as was heard
(`shopmon.cutting.advising.plausible`), and the one most probably quiet is advised, with that probability.
"""

from dataclasses import dataclass
from math import isfinite
from typing import Literal

import numpy as np

from shopmon.cutting.advising.quiet_speeds import (
    LESS_DEPTH,
    EarlierLine,
    QuietSpeeds,
    candidate_speeds,
    quiet_speeds,
    usual_arcs,
)
from shopmon.cutting.geometry import entry_exit
from shopmon.cutting.nouns import MillingKind, require, require_flutes, require_positive

Action = Literal["speed", "less-depth", "less-stickout", "other-tool", "none"]

WORTH_TRYING = 0.1  # to try costs a turn of the override
DEPTH_SURE = 0.8  # how probably quiet the depth advised is
MOST_SPEEDS = 3
SLOWEST = 0.4  # share of the present speed, where nobody says how slow the spindle may turn
SAME_SPEED = 0.015
STEP_LOSS = 0.1  # of the probability that a coarse override step may cost
# waves between teeth even at the highest speed: the quiet bands are too narrow. At 6 to 10 waves the speed
# advised was quiet in 1 of 6 simulated cuts that some speed would quieten
USELESS_LOBE = 10.0
HIGHEST_HZ = 100_000.0
SAME_MODE = 1.5  # lines farther apart belong to different modes (our own judgement)
APART_SPEED = 0.02  # at nearly the same speed a second line says nothing new
MOST_EARLIER = 3
ORDER_UP = "Speed first, then feed (common practice, no source)."
ORDER_DOWN = "Feed first, then speed (common practice, no source)."
CAUTION_UP = "Never above the speed marked on tool, holder or machine."
CAUTION_DOWN = "A slower spindle at the old feed takes a thicker chip: bring the feed down before the speed."
CAUTION_DEPTH = "Keep the feed per tooth: rubbing is no cure."
CAUTION_OFF = "Change the set-up only with the spindle at rest."


@dataclass(frozen=True, kw_only=True)
class ChatterTone:
    """A chatter line and the cut in which it was heard; None where nobody knows.

    Attributes
    ----------
    frequency_hz
        The strongest line off the spindle comb.
    rpm
        True spindle speed.
    flutes
        Number of teeth.
    nominal_rpm
        What was programmed for it, at 100 % override.
    pitch_equal
        Whether the teeth are spaced alike.
    milling, diameter_mm, ae_mm, ap_mm
        Of the cut.
    """

    frequency_hz: float
    rpm: float | None
    flutes: int | None
    nominal_rpm: float | None = None
    pitch_equal: bool = True
    milling: MillingKind | None = None
    diameter_mm: float | None = None
    ae_mm: float | None = None
    ap_mm: float | None = None

    def __post_init__(self):
        good = isfinite(self.frequency_hz) and 1 <= self.frequency_hz <= HIGHEST_HZ
        require(good, f"A chatter frequency of {self.frequency_hz!r} Hz is not between 1 and {HIGHEST_HZ:g}.")
        for name in ("rpm", "nominal_rpm", "diameter_mm", "ae_mm", "ap_mm"):
            require_positive(name, getattr(self, name), optional=True)
        require(self.rpm is None or self.rpm <= 200_000, f"{self.rpm!r} rpm is more than 200,000.")
        if self.flutes is not None:
            require_flutes(self.flutes)
        known = self.milling in (None, "climb", "conventional", "slot")
        require(known, f"milling must be climb, conventional or slot, not {self.milling!r}.")
        both = self.ae_mm is not None and self.diameter_mm is not None
        require(
            not both or self.ae_mm <= self.diameter_mm,
            f"ae of {self.ae_mm} mm is more than the diameter of {self.diameter_mm} mm.",
            "Check ae and the diameter.",
        )


@dataclass(frozen=True, kw_only=True)
class SpeedLimits:
    """Within what a speed may be advised; None where nobody said.

    Attributes
    ----------
    min_rpm, max_rpm
        Of the machine.
    rated_rpm
        Highest speed marked on tool or holder.
    max_cutting_speed_m_per_min
        Of tool and material.
    override_min_percent, override_max_percent, override_step_percent
        What the spindle override can do.
    """

    min_rpm: float | None = None
    max_rpm: float | None = None
    rated_rpm: float | None = None
    max_cutting_speed_m_per_min: float | None = None
    override_min_percent: float = 50.0
    override_max_percent: float = 120.0
    override_step_percent: float = 10.0

    def __post_init__(self):
        for name in (
            "min_rpm",
            "max_rpm",
            "rated_rpm",
            "max_cutting_speed_m_per_min",
            "override_min_percent",
            "override_max_percent",
            "override_step_percent",
        ):
            require_positive(name, getattr(self, name), optional=True)
        both = self.min_rpm is not None and self.max_rpm is not None
        require(
            not both or self.min_rpm < self.max_rpm,
            f"A speed range from {self.min_rpm} to {self.max_rpm} rpm is empty.",
            "Check the lowest and the highest speed.",
        )

    def highest_rpm(self, diameter_mm: float | None) -> float | None:
        """The least of the upper limits that are known; None where neither machine nor tool has one."""
        known = [limit for limit in (self.max_rpm, self.rated_rpm) if limit is not None]
        if known and diameter_mm and self.max_cutting_speed_m_per_min:
            known.append(1000 * self.max_cutting_speed_m_per_min / (np.pi * diameter_mm))
        return min(known) if known else None


@dataclass(frozen=True, kw_only=True)
class Advice:
    """One thing to try.

    Attributes
    ----------
    action
        What to change.
    rpm, command_rpm
        True speed, and what to program for it given the slip seen.
    override_percent
        Step of the override that comes close enough, from the programmed speed; None where none does.
    feed_factor
        By which the feed is multiplied to hold the chip load.
    lobe
        Nearest whole number of waves between two teeth at that speed.
    probability_quiet
        That the cut is quiet there at the same depth and width.
    reason, caution
        For the person.
    """

    action: Action
    rpm: float | None = None
    command_rpm: float | None = None
    override_percent: float | None = None
    feed_factor: float = 1.0
    lobe: int | None = None
    probability_quiet: float | None = None
    reason: str
    caution: str = ""


def advise(
    tone: ChatterTone, limits: SpeedLimits | None = None, earlier: tuple[ChatterTone, ...] = ()
) -> tuple[Advice, ...]:
    """Advise what to do about a chatter line, best first.

    Parameters
    ----------
    tone
        What was heard, and what is known of the cut.
    limits
        Of machine and tool; None means that none is known.
    earlier
        Lines of the same tool, holder and stickout at other speeds, the newest first. One line leaves open
        how far the mode is from it; two at different speeds locate it.

    Returns
    -------
    tuple of Advice
        Never empty. Where no speed helps, it says so and advises something else.
    """
    limits = limits or SpeedLimits()
    if not tone.pitch_equal:
        return (_less_depth("With unequal pitch no single speed brings all teeth into step."),)
    if tone.rpm is None or tone.flutes is None:
        missing = "the spindle speed" if tone.rpm is None else "the number of flutes"
        return (Advice(action="none", reason=f"Without {missing} no speed can be advised.", caution=""),)
    bounds = _bounds(tone, limits)
    if bounds[0] >= bounds[1] or _waves(tone, bounds[1]) > USELESS_LOBE:
        return _instead(tone, bounds[1], _limit_note(tone, limits))
    arcs = usual_arcs(tone.milling, tone.ae_mm, tone.diameter_mm)
    speeds = candidate_speeds(tone.frequency_hz, tone.flutes, *bounds)
    lines = _lines(tone, earlier)
    found = quiet_speeds(tone.frequency_hz, tone.rpm, tone.flutes, arcs, speeds, lines)
    note = _located(found, lines)
    offers = [_speed(tone, limits, found, place, note) for place in _peaks(tone, found)]
    if not offers:
        return (_no_speed(tone, limits, found, note),)
    shallower = _shallower("Less depth quietens any speed." + _limit_note(tone, limits), found)
    # best is what lets most metal be expected: speed and depth count alike, each with its chance
    by_speed = offers[0].probability_quiet * offers[0].feed_factor
    by_depth = DEPTH_SURE * _quiet_share(found)
    return (*offers, shallower) if by_speed >= by_depth else (shallower, *offers)


def _lines(tone: ChatterTone, earlier: tuple[ChatterTone, ...]) -> tuple[EarlierLine, ...]:
    """Those earlier lines that tell something new, at most a few."""
    found, known = [], [tone.rpm]
    for other in earlier:
        fits = other.rpm is not None and other.flutes == tone.flutes and other.pitch_equal
        fits &= 1 / SAME_MODE < other.frequency_hz / tone.frequency_hz < SAME_MODE
        if not fits or any(abs(other.rpm / rpm - 1) < APART_SPEED for rpm in known):
            continue
        depths = tone.ap_mm is not None and other.ap_mm is not None
        told = other.milling == "slot" or None not in (other.milling, other.ae_mm, other.diameter_mm)
        width = (other.ae_mm or 1.0, other.diameter_mm or 1.0)
        found.append(
            EarlierLine(
                frequency_hz=other.frequency_hz,
                rpm=other.rpm,
                depth_ratio=other.ap_mm / tone.ap_mm if depths else 1.0,
                arc_rad=entry_exit(other.milling, *width) if told else None,
            )
        )
        known.append(other.rpm)
    return tuple(found[:MOST_EARLIER])


def _located(found: QuietSpeeds, lines: tuple[EarlierLine, ...]) -> str:
    """Say where two lines put the mode."""
    if not lines:
        return ""
    low, _, high = found.mode_hz
    heard = " and ".join(f"{line.frequency_hz:.0f} Hz at {line.rpm:.0f} rpm" for line in lines)
    return f" Together with {heard} the mode itself is put at {low:.0f} to {high:.0f} Hz."


def _waves(tone: ChatterTone, rpm: float) -> float:
    """Waves of the line between two teeth."""
    return 60 * tone.frequency_hz / (tone.flutes * rpm)


def _bounds(tone: ChatterTone, limits: SpeedLimits) -> tuple[float, float]:
    """Lowest and highest true speed to look at; never above the present one where no limit is known."""
    highest = limits.highest_rpm(tone.diameter_mm)
    lowest = limits.min_rpm or SLOWEST * tone.rpm
    return lowest, tone.rpm * (1 - SAME_SPEED) if highest is None else highest


def _limit_note(tone: ChatterTone, limits: SpeedLimits) -> str:
    if limits.highest_rpm(tone.diameter_mm) is not None:
        return ""
    return " No speed above the present one is advised: neither the machine's limit nor the tool's is known."


def _peaks(tone: ChatterTone, found: QuietSpeeds) -> list[int]:
    """Places of the speeds worth trying, the most probably quiet first, one per lobe."""
    chosen: list[int] = []
    for place in np.argsort(-found.probability, kind="stable"):
        rpm = found.rpm[place]
        apart = all(abs(_waves(tone, rpm) - _waves(tone, found.rpm[other])) > 0.5 for other in chosen)
        new = abs(rpm / tone.rpm - 1) > SAME_SPEED
        if apart and new and found.probability[place] >= WORTH_TRYING and len(chosen) < MOST_SPEEDS:
            chosen.append(int(place))
    return chosen


def _speed(tone: ChatterTone, limits: SpeedLimits, found: QuietSpeeds, place: int, located: str) -> Advice:
    rpm, probability = float(found.rpm[place]), float(found.probability[place])
    programmed = tone.nominal_rpm or tone.rpm
    up = rpm > tone.rpm
    note = _limit_note(tone, limits)
    return Advice(
        action="speed",
        rpm=round(rpm, 1),
        command_rpm=round(rpm * programmed / tone.rpm, 1),
        override_percent=_override(tone, limits, found, place),
        feed_factor=round(rpm / tone.rpm, 3),
        lobe=max(1, round(_waves(tone, rpm))),
        probability_quiet=round(probability, 2),
        reason=_why(tone, rpm) + located + " " + (ORDER_UP if up else ORDER_DOWN) + note,
        caution=CAUTION_UP if up else CAUTION_DOWN,
    )


def _no_speed(tone: ChatterTone, limits: SpeedLimits, found: QuietSpeeds, located: str) -> Advice:
    best = int(np.argmax(found.probability))
    why = (
        f"No speed within reach is likely to be quiet at this depth: the best, {found.rpm[best]:.0f} rpm, by "
        f"{100 * found.probability[best]:.0f} %.{located}{_limit_note(tone, limits)}"
    )
    return _shallower(why, found)


def _shallower(why: str, found: QuietSpeeds) -> Advice:
    """Less depth at the present speed: how much less is probably quiet."""
    share = _quiet_share(found)
    if not share:
        return _less_depth(why)
    return Advice(
        action="less-depth",
        probability_quiet=DEPTH_SURE,
        reason=f"{why} At the present speed the cut is probably quiet with {100 * share:.0f} % of its depth.",
        caution=CAUTION_DEPTH,
    )


def _quiet_share(found: QuietSpeeds) -> float:
    """Share of the depth that is surely enough quiet at the present speed; 0 where none looked at is."""
    sure = found.at_less_depth >= DEPTH_SURE
    if not sure.any():
        return 0.0
    first = int(np.argmax(sure))
    chances, shares = found.at_less_depth[first - 1 : first + 1], LESS_DEPTH[first - 1 : first + 1]
    return float(np.interp(DEPTH_SURE, chances, shares))


def _why(tone: ChatterTone, rpm: float) -> str:
    """Say where the cut sits now and where the speed would bring it."""
    known = tone.milling is not None and (tone.milling == "slot" or (tone.ae_mm and tone.diameter_mm))
    basis = "" if known else " Climb or conventional, ae and the diameter would make this surer."
    return (
        f"At {tone.rpm:.0f} rpm there are {_waves(tone, tone.rpm):.2f} waves of {tone.frequency_hz:.0f} Hz "
        f"from tooth to tooth, at {rpm:.0f} rpm {_waves(tone, rpm):.2f}: there the systems that would ring "
        f"like this are often quiet at the same depth.{basis}"
    )


def _override(tone: ChatterTone, limits: SpeedLimits, found: QuietSpeeds, place: int) -> float | None:
    """Step of the override near the speed, unless it is out of range or costs too much."""
    step = limits.override_step_percent
    percent = step * round(100 * found.rpm[place] / tone.rpm / step)
    if not limits.override_min_percent <= percent <= limits.override_max_percent:
        return None
    rpm = tone.rpm * percent / 100
    highest = limits.highest_rpm(tone.diameter_mm) or tone.rpm
    if not (limits.min_rpm or 0.0) <= rpm <= highest or not found.rpm[0] <= rpm <= found.rpm[-1]:
        return None
    there = float(np.interp(rpm, found.rpm, found.probability))
    return float(percent) if there >= found.probability[place] - STEP_LOSS else None


def _instead(tone: ChatterTone, highest_rpm: float, note: str) -> tuple[Advice, ...]:
    """What helps when the speed does not."""
    if _waves(tone, max(highest_rpm, 1.0)) > USELESS_LOBE:
        many = (
            f"Even at {highest_rpm:.0f} rpm there are {_waves(tone, highest_rpm):.0f} waves from tooth to "
            "tooth: the quiet bands of speed are too narrow to use."
        )
        return (
            _less_depth(many + note),
            Advice(
                action="less-stickout",
                reason="A shorter tool is stiffer, with the cube of its length.",
                caution=CAUTION_OFF,
            ),
            Advice(
                action="other-tool",
                reason="Fewer flutes spread the quiet bands; unequal pitch breaks the rhythm.",
                caution=CAUTION_OFF,
            ),
        )
    return (_less_depth("Less depth quietens any speed." + note),)


def _less_depth(reason: str) -> Advice:
    return Advice(
        action="less-depth",
        reason=reason + " Begin with half of it (common practice, no source).",
        caution=CAUTION_DEPTH,
    )

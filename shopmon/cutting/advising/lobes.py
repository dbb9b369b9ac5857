"""Advice from the modes of the tool tip: where the lobes leave room, and how sure that is.

Modes and force coefficients are never known exactly. The cut is therefore tried on a few dozen sets of them,
scattered about the given ones by what tap tests and tables usually leave open, and the share of quiet ones is
the probability told.
"""

from dataclasses import dataclass, field, replace

import numpy as np

from shopmon.cutting.advising.one_line import (
    CAUTION_DOWN,
    CAUTION_UP,
    ORDER_DOWN,
    ORDER_UP,
    Advice,
    SpeedLimits,
)
from shopmon.cutting.nouns import require, require_positive
from shopmon.cutting.stability.maps import stability_map
from shopmon.cutting.stability.semidiscretization import StabilityCase

SETS, SPEEDS, DEPTHS = 20, 91, 24
SCOUTS, DEPTHS_AT_ONCE = 7, 4  # what decides most of the answer, before all the work is done
# scatter as a share, one standard deviation: own judgement, no source
SPREAD_FREQUENCY, SPREAD_DAMPING, SPREAD_STIFFNESS, SPREAD_FORCE = 0.015, 0.2, 0.1, 0.2
SURE, LEAST_SURE, BETTER = 0.9, 0.6, 0.05
LEAST_SHARE_OF_SPEED = 0.5  # speeds below half the present one are another operation
OVERRIDE_NEAR = 0.015
NEAR_SHARE, APART_SHARE = 0.015, 0.03
HIGH_LOBE = 10
UNPROVED = "Modes and forces are never known exactly: listen, and stop at the first sign of chatter."


@dataclass(frozen=True, kw_only=True)
class SpeedRange:
    """Speeds that may be advised.

    Attributes
    ----------
    present_rpm
        Of the cut as it is; None where nothing is running.
    limits
        Of machine and tool.
    asked_rpm
        Highest speed the person asked about: the bound where nothing else is known.
    diameter_mm
        For the limit of cutting speed.
    """

    present_rpm: float | None = None
    limits: SpeedLimits = field(default_factory=SpeedLimits)
    asked_rpm: float | None = None
    diameter_mm: float | None = None

    def __post_init__(self):
        for name in ("present_rpm", "asked_rpm", "diameter_mm"):
            require_positive(name, getattr(self, name), optional=True)
        low, high = self.bounds_rpm if self.highest_rpm else (0.0, 1.0)
        require(
            low <= high,
            f"The lowest speed, {low:g} rpm, is above the highest, {high:g} rpm.",
            "Check the limits of machine and tool.",
        )

    @property
    def limit_rpm(self) -> float | None:
        """The lowest limit known of machine and tool."""
        return self.limits.highest_rpm(self.diameter_mm)

    @property
    def highest_rpm(self) -> float | None:
        """No speed above this is advised; None where not even a present speed is known."""
        return self.limit_rpm or self.present_rpm or self.asked_rpm

    @property
    def bounds_rpm(self) -> tuple[float, float]:
        """Lowest and highest speed to look at."""
        high = self.highest_rpm
        near = LEAST_SHARE_OF_SPEED * min(self.present_rpm or high, high)
        return max(self.limits.min_rpm or 0.0, near), high

    def steps_rpm(self) -> np.ndarray:
        """Speeds that the override's steps give, within bounds; none where nothing is running."""
        if self.present_rpm is None:
            return np.empty(0)
        known = self.limits
        first, last = known.override_min_percent, known.override_max_percent
        rpm = self.present_rpm * np.arange(first, last + 1e-9, known.override_step_percent) / 100
        low, high = self.bounds_rpm
        return rpm[(rpm >= low) & (rpm <= high)]

    def override_percent(self, rpm: float) -> float | None:
        """The step of the override that gives a speed, None where none does."""
        steps = self.steps_rpm()
        if not steps.size:
            return None
        nearest = steps[int(np.argmin(np.abs(steps - rpm)))]
        near = abs(nearest / rpm - 1) <= OVERRIDE_NEAR
        return round(100 * float(nearest) / self.present_rpm, 3) if near else None


def lobe_advice(case: StabilityCase, ap_mm: float, speeds: SpeedRange) -> tuple[Advice, ...]:
    """Advise on a cut of known modes, the best first.

    Parameters
    ----------
    case
        Tool, material, arc and modes.
    ap_mm
        Axial depth that is wanted.
    speeds
        What may be advised.

    Returns
    -------
    tuple of Advice
        Most metal and surest speed, then less depth at the present one; ``"none"`` where the cut is well as
        it is; empty where no speed is known at all.
    """
    require_positive("ap_mm", ap_mm)
    if speeds.highest_rpm is None:
        return ()
    cases = _scattered(case)
    present = float(_share_quiet(cases, [speeds.present_rpm], ap_mm)[0]) if speeds.present_rpm else 0.0
    if present >= SURE and speeds.present_rpm >= 0.98 * speeds.highest_rpm:
        return (_as_it_is(present, speeds),)
    rpm = _speeds(speeds)
    quiet = _share_quiet(cases, rpm, ap_mm)
    found = [
        _speed(case, float(rpm[index]), float(quiet[index]), ap_mm, speeds, why)
        for index, why in _chosen(quiet, rpm, present, speeds)
        if present < SURE or rpm[index] > speeds.present_rpm
    ]
    if present >= SURE:
        return (*found, _as_it_is(present, speeds))
    return (*found, *_less_depth(cases, ap_mm, speeds, rpm[int(np.argmax(quiet))]))


def _scattered(case: StabilityCase) -> list[StabilityCase]:
    """The given case among others that could as well be true; the same ones every time."""
    draw = np.random.default_rng(12).standard_normal((SETS, len(case.modes), 3))
    force = np.random.default_rng(13).standard_normal(SETS)
    cases = [case]
    for own, kt in zip(draw, force, strict=True):
        modes = tuple(
            replace(
                mode,
                frequency_hz=mode.frequency_hz * np.exp(SPREAD_FREQUENCY * f),
                damping_ratio=min(mode.damping_ratio * np.exp(SPREAD_DAMPING * d), 0.95),
                stiffness_n_per_m=mode.stiffness_n_per_m * np.exp(SPREAD_STIFFNESS * k),
            )
            for mode, (f, d, k) in zip(case.modes, own, strict=True)
        )
        cases.append(replace(case, modes=modes, kt_n_per_mm2=case.kt_n_per_mm2 * np.exp(SPREAD_FORCE * kt)))
    return cases


def _share_quiet(cases: list[StabilityCase], rpm, ap_mm: float) -> np.ndarray:
    """Share of the sets that stay quiet at each speed, never quite 0 or 1.

    A speed at which none of the first few sets is quiet is no speed to advise: the rest are spared there.
    """
    rpm = np.asarray(rpm, dtype=float)
    quiet, hopeful = np.zeros(rpm.size), np.ones(rpm.size, dtype=bool)
    for number, case in enumerate(cases):
        if number == SCOUTS:
            hopeful = quiet > 0
        if not hopeful.any():
            break
        quiet[hopeful] += stability_map(case, rpm[hopeful], [ap_mm]).spectral_radius[:, 0] < 1
    return (quiet + 0.5) / (len(cases) + 1)


def _speeds(speeds: SpeedRange) -> np.ndarray:
    """Speeds to try, ascending; the steps of the override and the present speed among them."""
    low, high = speeds.bounds_rpm
    rpm = np.concatenate([np.linspace(low, high, SPEEDS), speeds.steps_rpm()])
    return np.unique(np.round(rpm, 3))


def _chosen(quiet: np.ndarray, rpm: np.ndarray, present: float, speeds: SpeedRange) -> list[tuple[int, str]]:
    """Indexes of the fastest sure speed and of the surest one."""
    near = np.abs(np.log(rpm[:, None] / rpm)) <= NEAR_SHARE
    least = np.where(near, quiet, 1.0).min(axis=1)  # as sure as the speeds around it let it be
    amid = (near * quiet).sum(axis=1) / near.sum(axis=1)
    found = []
    sure = np.nonzero(least >= SURE)[0]
    if sure.size:
        fastest = _stepped(rpm, sure, int(sure[-1]), speeds)
        found.append((fastest, "most metal: the fastest speed at which {ap:g} mm is very likely quiet"))
    best = _stepped(rpm, np.nonzero(least >= least.max() - 0.01)[0], int(np.argmax(least + amid)), speeds)
    apart = all(abs(rpm[best] / rpm[index] - 1) > APART_SHARE for index, _ in found)
    if apart and least[best] >= max(LEAST_SURE, present + BETTER):
        found.append((best, "the surest speed for {ap:g} mm within the limits"))
    return found


def _stepped(rpm: np.ndarray, good: np.ndarray, index: int, speeds: SpeedRange) -> int:
    """A step of the override near a speed and as good, where there is one."""
    steps = np.round(speeds.steps_rpm(), 3)
    fits = [i for i in good if rpm[i] in steps and abs(rpm[i] / rpm[index] - 1) <= 0.04]
    return min(fits, key=lambda i: abs(rpm[i] - rpm[index])) if fits else index


def _speed(case, rpm: float, quiet: float, ap_mm: float, speeds: SpeedRange, why: str) -> Advice:
    """Word a change of speed."""
    present, rpm = speeds.present_rpm, min(round(rpm, 1), speeds.highest_rpm)
    lobe = _lobe(case, rpm)
    reason = f"{why.format(ap=ap_mm).capitalize()}."
    cautions = []
    if speeds.limit_rpm is None:
        reason += " No limit of machine or tool is known, so nothing faster is advised."
    if present and rpm != present:
        cautions.append(f"{ORDER_UP} {CAUTION_UP}" if rpm > present else f"{ORDER_DOWN} {CAUTION_DOWN}")
    if lobe > HIGH_LOBE:
        cautions.append("This far down the lobes are narrow: less depth or less stickout helps more.")
    cautions.append(UNPROVED)
    return Advice(
        action="speed",
        rpm=rpm,
        command_rpm=rpm,
        override_percent=speeds.override_percent(rpm),
        feed_factor=round(rpm / present, 3) if present else 1.0,
        lobe=lobe,
        probability_quiet=round(quiet, 2),
        reason=reason,
        caution=" ".join(cautions),
    )


def _lobe(case: StabilityCase, rpm: float) -> int:
    """Waves of the softest mode between two teeth."""
    softest = min(case.modes, key=lambda mode: mode.stiffness_n_per_m * mode.damping_ratio)
    return max(1, round(60 * softest.frequency_hz / (case.flutes * rpm)))


def _as_it_is(quiet: float, speeds: SpeedRange) -> Advice:
    return Advice(
        action="none",
        rpm=speeds.present_rpm,
        command_rpm=speeds.present_rpm,
        override_percent=100.0,
        feed_factor=1.0,
        probability_quiet=round(float(quiet), 2),
        reason="The cut is quiet as it is.",
        caution=UNPROVED,
    )


def _rounded_down(depth_mm: float) -> str:
    """Two figures that are not more than the depth."""
    unit = 10 ** (np.floor(np.log10(depth_mm)) - 1)
    return f"{np.floor(depth_mm / unit + 1e-9) * unit:.2g}"


def _quiet_down_to(cases: list[StabilityCase], rpm: float, depths: np.ndarray) -> float | None:
    """The deepest of rising depths at which nearly all sets are still quiet, as at every one before it.

    Deep cuts cost most to judge, and are not looked at once too many sets ring at less.
    """
    good, calm = None, np.ones(len(cases), dtype=bool)
    for some in np.split(depths, range(DEPTHS_AT_ONCE, depths.size, DEPTHS_AT_ONCE)):
        quiet = [stability_map(case, [rpm], some).spectral_radius[0] < 1 for case in cases]
        held = np.logical_and.accumulate(np.column_stack([calm, *np.transpose(quiet)]), axis=1)
        share = held[:, 1:].mean(axis=0)
        calm = held[:, -1]
        if share[0] >= SURE:
            good = float(some[np.nonzero(share >= SURE)[0][-1]])
        if share[-1] < SURE:
            break
    return good


def _less_depth(cases, ap_mm: float, speeds: SpeedRange, best_rpm: float) -> tuple[Advice, ...]:
    """The depth that all but a few of the sets allow at the present speed, or at the best one."""
    rpm = speeds.present_rpm if speeds.present_rpm and speeds.present_rpm <= speeds.highest_rpm else best_rpm
    depths = ap_mm * (np.arange(1, DEPTHS + 1) / DEPTHS) ** 1.5
    depth = _quiet_down_to(cases, rpm, depths)
    if depth is None or depth == depths[-1]:
        return ()
    return (
        Advice(
            action="less-depth",
            rpm=round(float(rpm), 1),
            command_rpm=round(float(rpm), 1),
            override_percent=speeds.override_percent(rpm),
            feed_factor=round(rpm / (speeds.present_rpm or rpm), 3),
            probability_quiet=SURE,
            reason=f"At {rpm:.0f} rpm not more than {_rounded_down(depth)} mm deep is very likely quiet.",
            caution="Less stickout or a stiffer tool gains depth without losing metal.",
        ),
    )

"""What a belief says of speeds and depths: how probably quiet, what to advise, what to try next."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from shopmon.cutting.advising.learning import POPULATION, Belief, PastCut
from shopmon.cutting.geometry import entry_exit
from shopmon.cutting.nouns import MillingKind, require, require_flutes, require_positive
from shopmon.cutting.stability.shape_library import shape_table

Aim = Literal["most-metal", "surest", "finish"]
SPEEDS, DEPTHS = 40, 160
BESIDE = (0.0, -0.006, 0.006)  # no spindle holds its speed to the point
LEAST_CHANCE = 0.2  # of being quiet that a trial must have
SURE = 0.9  # what may already be counted on
# power of the chance that the gain of a trial is weighed with (1 would be the gain to be expected), and the
# share of cuts that may ring before each further one raises it by 1
BOLD, MAY_RING = 2.0, 0.25


@dataclass(frozen=True, kw_only=True)
class Job:
    """The cut to be taken, and within what."""

    flutes: int
    diameter_mm: float
    milling: MillingKind
    ae_mm: float
    min_rpm: float
    max_rpm: float
    max_ap_mm: float
    min_ap_mm: float = 0.05

    def __post_init__(self):
        for name in ("diameter_mm", "ae_mm", "min_rpm", "max_rpm", "max_ap_mm", "min_ap_mm"):
            require_positive(name, getattr(self, name))
        for low, high, unit in (
            (self.min_rpm, self.max_rpm, "rpm"),
            (self.min_ap_mm, self.max_ap_mm, "mm deep"),
        ):
            require(low < high, f"{low:g} to {high:g} {unit} is no range.", "Give the lower one first.")
        require_flutes(self.flutes)
        _ = self.arc_rad

    @property
    def arc_rad(self) -> tuple[float, float]:
        """Entry and exit of a tooth."""
        return entry_exit(self.milling, self.ae_mm, self.diameter_mm)


@dataclass(frozen=True, eq=False)
class QuietMap:
    """Probability of a quiet cut over speed and depth.

    Attributes
    ----------
    rpm, ap_mm
        Ascending, ``(speeds,)`` and ``(depths,)``.
    probability
        ``(speeds, depths)``.
    limit_mm
        Depth of the border for each system, ``(systems, speeds)``; at the ends of the range where it lies
        beyond.
    """

    rpm: np.ndarray
    ap_mm: np.ndarray
    probability: np.ndarray
    limit_mm: np.ndarray


@dataclass(frozen=True, kw_only=True)
class Point:
    """A speed and depth with the probability that it is quiet."""

    rpm: float
    ap_mm: float
    probability_quiet: float


def quiet_map(belief: Belief, job: Job, speeds: int = SPEEDS, voters: int = POPULATION) -> QuietMap:
    """Ask the systems of a belief for their border at every speed of a job, and a little beside it."""
    chosen = np.linspace(0, len(belief.shape) - 1, min(voters, len(belief.shape))).round().astype(int)
    rpm = np.linspace(job.min_rpm, job.max_rpm, speeds)
    table = shape_table(belief.prior, job.arc_rad, job.flutes)
    scales = [part[chosen, None] for part in (belief.shape, belief.pitch, belief.depth)]
    depths = np.geomspace(job.min_ap_mm, job.max_ap_mm, DEPTHS)
    limits = [np.exp(table.borders(*scales, rpm * (1 + beside))) for beside in BESIDE]
    quiet = np.mean([_quiet_share(limit, depths) for limit in limits], axis=0)
    return QuietMap(rpm, depths, quiet, np.clip(limits[0], job.min_ap_mm, job.max_ap_mm))


def advised_point(found: QuietMap, aim: Aim, stated: float) -> Point | None:
    """Best point for an aim that stays quiet with the stated probability; None where there is none.

    Parameters
    ----------
    found
        From `quiet_map`.
    aim
        ``"most-metal"`` removes most, ``"surest"`` is quiet most probably at half of that removal or more,
        ``"finish"`` turns as fast as it may at the least depth that is still quiet there.
    stated
        Probability of a quiet cut, 0.5 to below 1.
    """
    require(0.5 <= stated < 1, f"A stated probability of {stated!r} is not from 0.5 to below 1.")
    good = found.probability >= stated
    if not good.any():
        return None
    if aim == "most-metal":
        return _most_metal(found, stated)
    if aim == "surest":
        removal = found.rpm[:, None] * found.ap_mm
        score = found.probability * (removal >= 0.5 * removal[good].max())
    else:
        score = found.rpm[:, None] - 1e-3 * found.ap_mm
    speed, depth = np.unravel_index(int(np.argmax(np.where(good, score, -np.inf))), good.shape)
    return Point(
        rpm=float(found.rpm[speed]),
        ap_mm=float(found.ap_mm[depth]),
        probability_quiet=float(found.probability[speed, depth]),
    )


def _most_metal(found: QuietMap, stated: float) -> Point:
    """The point that removes most where the chance has just fallen to what is stated, between two depths."""
    chance, depths = found.probability, np.log(found.ap_mm)
    last = (chance >= stated).sum(axis=1) - 1  # the chance falls with the depth
    beyond, speeds = np.minimum(last + 1, len(depths) - 1), np.arange(len(last))
    above, below = chance[speeds, last], chance[speeds, beyond]
    drop = above - below
    part = np.where(drop > 0, (above - stated) / np.where(drop > 0, drop, 1.0), 0.0)
    deepest = np.where(last >= 0, np.exp(depths[last] + part * (depths[beyond] - depths[last])), 0.0)
    best = int(np.argmax(found.rpm * deepest))
    sure = float(above[best] - part[best] * drop[best])
    return Point(rpm=float(found.rpm[best]), ap_mm=float(deepest[best]), probability_quiet=sure)


def trial_point(found: QuietMap, cuts: tuple[PastCut, ...] = ()) -> Point:
    """The next cut to learn from: the one of which most is to be gained over what is sure already.

    The gain in metal counts by the chance to a power: a leap rings too often, a small step beyond what is
    sure teaches little. The more cuts rang beyond a quarter of all, the more the chance counts.

    Parameters
    ----------
    found
        From `quiet_map`.
    cuts
        What the belief has learned from, oldest first.
    """
    rang = sum(cut.chattered for cut in cuts)
    power = BOLD + max(0.0, rang - MAY_RING * len(cuts))
    chance, removal = found.probability, found.rpm[:, None] * found.ap_mm
    sure = np.where(chance >= SURE, removal, 0.0).max()
    hoped = np.maximum(removal - sure, 0.0) * chance**power * (chance > LEAST_CHANCE)
    if not hoped.any():
        hoped = removal * chance
    speed, depth = np.unravel_index(int(np.argmax(hoped)), hoped.shape)
    return Point(
        rpm=float(found.rpm[speed]),
        ap_mm=float(found.ap_mm[depth]),
        probability_quiet=float(chance[speed, depth]),
    )


def _quiet_share(limit_mm: np.ndarray, ap_mm: np.ndarray) -> np.ndarray:
    """Share of systems whose border lies deeper, ``(speeds, depths)``."""
    ranked = np.sort(limit_mm, axis=0)
    shallower = [np.searchsorted(ranks, ap_mm, side="right") for ranks in ranked.T]
    return 1.0 - np.array(shallower) / len(limit_mm)

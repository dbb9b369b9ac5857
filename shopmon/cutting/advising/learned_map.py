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
# power of the chance that a trial is weighed with (1 would be the metal to be expected), and after so many
# cuts in a row that rang
BOLD, CAREFUL, IN_A_ROW = 0.6, 1.5, 2


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
    removal = found.rpm[:, None] * found.ap_mm
    if aim == "most-metal":
        score = removal
    elif aim == "surest":
        score = found.probability * (removal >= 0.5 * removal[good].max())
    else:
        score = found.rpm[:, None] - 1e-3 * found.ap_mm
    speed, depth = np.unravel_index(int(np.argmax(np.where(good, score, -np.inf))), good.shape)
    return Point(
        rpm=float(found.rpm[speed]),
        ap_mm=float(found.ap_mm[depth]),
        probability_quiet=float(found.probability[speed, depth]),
    )


def trial_point(found: QuietMap, cuts: tuple[PastCut, ...] = ()) -> Point:
    """The next cut to learn from: the one of which most metal is to be expected, looked at boldly.

    Where little is known that is a leap of even chances, whose tone will tell the frequency if it rings; the
    better the border is known, the surer the trial becomes. After two in a row that rang it is careful until
    one is quiet.

    Parameters
    ----------
    found
        From `quiet_map`.
    cuts
        What the belief has learned from, oldest first.
    """
    last = [cut.chattered for cut in cuts[-IN_A_ROW:]]
    power = CAREFUL if len(last) == IN_A_ROW and all(last) else BOLD
    chance = found.probability
    hoped = found.rpm[:, None] * found.ap_mm * chance**power * (chance > LEAST_CHANCE)
    if not hoped.any():
        hoped = chance
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

"""What a belief says of speeds and depths: how probably quiet, what to advise, what to try next."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from shopmon.cutting.geometry import entry_exit
from shopmon.cutting.learning import Belief
from shopmon.cutting.many_cuts import Systems, spectral_radius
from shopmon.cutting.nouns import MillingKind, require, require_flutes, require_positive
from shopmon.cutting.plausible import least_limit

Aim = Literal["most-metal", "surest", "finish"]
STEPS, LARGEST_STEP = 4, 0.9  # of the search for a border, the depth as logarithm
BLUR = 0.05  # of a border: what the search leaves, and a depth that is not quite as typed
DEPTHS = 60
VOTERS, SPEEDS = 64, 24
PATIENCE = 1.5  # the higher, the surer of being quiet a trial is


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


def quiet_map(belief: Belief, job: Job, speeds: int = SPEEDS, voters: int = VOTERS) -> QuietMap:
    """Ask the systems of a belief for their border at every speed of a job."""
    count = min(voters, len(belief.latent))
    chosen = np.linspace(0, len(belief.latent) - 1, count).round().astype(int)
    systems, kt = belief.prior.systems(belief.latent[chosen])
    rpm = np.linspace(job.min_rpm, job.max_rpm, speeds)
    many = systems.pick(np.repeat(np.arange(count), speeds))
    limit = _borders(many, np.repeat(kt, speeds), job, np.tile(rpm, count)).reshape(count, speeds)
    depths = np.geomspace(job.min_ap_mm, job.max_ap_mm, DEPTHS)
    above = (np.log(limit)[:, :, None] - np.log(depths)) / BLUR
    above[limit >= job.max_ap_mm] = np.inf
    quiet = 0.5 + 0.5 * np.tanh(above / 2)
    return QuietMap(rpm, depths, quiet.mean(axis=0), np.clip(limit, job.min_ap_mm, job.max_ap_mm))


def _borders(systems: Systems, kt: np.ndarray, job: Job, rpm: np.ndarray) -> np.ndarray:
    """Depth at which each system begins to ring at its speed, mm: secant steps in the logarithms."""
    bounds = np.log(job.min_ap_mm) - 1.0, np.log(job.max_ap_mm) + 0.1
    start = 1.3e3 * least_limit(systems, job.flutes, job.arc_rad) / kt
    depth = np.clip(np.log(start), *bounds)
    moved, growth_before, slope = np.zeros(len(kt)), np.zeros(len(kt)), np.full(len(kt), 0.3)
    for _ in range(STEPS):
        found = spectral_radius(systems, job.arc_rad, job.flutes, rpm, kt * np.exp(depth) / 1e3)
        growth = np.log(np.maximum(found.radius, 1e-9))
        far = np.abs(moved) > 1e-6
        steep = (growth - growth_before) / np.where(far, moved, 1.0)
        slope = np.where(far, np.clip(steep, 0.08, 3.0), slope)
        growth_before = growth
        further = np.clip(depth - np.clip(growth / slope, -LARGEST_STEP, LARGEST_STEP), *bounds)
        moved, depth = further - depth, further
    return np.exp(depth)


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
    calm = _calm(found.probability)
    good = calm >= stated
    if not good.any():
        return None
    removal = found.rpm[:, None] * found.ap_mm
    if aim == "most-metal":
        score = removal
    elif aim == "surest":
        score = calm * (removal >= 0.5 * removal[good].max())
    else:
        score = found.rpm[:, None] - 1e-3 * found.ap_mm
    speed, depth = np.unravel_index(int(np.argmax(np.where(good, score, -np.inf))), good.shape)
    return Point(
        rpm=float(found.rpm[speed]),
        ap_mm=float(found.ap_mm[depth]),
        probability_quiet=float(calm[speed, depth]),
    )


def _calm(probability: np.ndarray) -> np.ndarray:
    """The least of a speed and the mean with its neighbours: a spike one speed wide is not to be trusted."""
    padded = np.pad(probability, ((1, 1), (0, 0)), mode="edge")
    mean = 0.25 * padded[:-2] + 0.5 * probability + 0.25 * padded[2:]
    return np.minimum(probability, mean)


def trial_point(found: QuietMap) -> Point:
    """The cut worth trying next: where what it would remove, if quiet, and its chance are largest together.

    It reaches beyond what is advised, where a quiet cut is worth much and a ringing one tells the line.
    """
    score = _calm(found.probability) ** PATIENCE * found.rpm[:, None] * found.ap_mm
    speed, depth = np.unravel_index(int(np.argmax(score)), score.shape)
    return Point(
        rpm=float(found.rpm[speed]),
        ap_mm=float(found.ap_mm[depth]),
        probability_quiet=float(found.probability[speed, depth]),
    )

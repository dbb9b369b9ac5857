"""What a belief says of speeds and depths: how probably quiet, what to advise, what to try next."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from shopmon.cutting.geometry import entry_exit
from shopmon.cutting.learning import WRONG_LABEL, Belief
from shopmon.cutting.nouns import MillingKind, require, require_flutes, require_positive
from shopmon.cutting.shape_library import shape_table

Aim = Literal["most-metal", "surest", "finish"]
BLUR = 0.03  # of a border: what the search leaves, and a depth that is not quite as typed
DEPTHS = 120
VOTERS, SPEEDS = 400, 40
LEAST_CHANCE = 0.1  # of being quiet that a trial must have
DOUBTFUL, SURE = 0.6, 0.9  # from where, and from where in full, a point counts as one to advise
RINGING_COST = 0.1  # of a ringing trial, as share of what could be removed anyway


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
    chosen = np.linspace(0, len(belief.shape) - 1, min(voters, len(belief.shape))).round().astype(int)
    rpm = np.linspace(job.min_rpm, job.max_rpm, speeds)
    table = shape_table(belief.prior, job.arc_rad, job.flutes)
    scales = (part[chosen, None] for part in (belief.shape, belief.pitch, belief.depth))
    limit = np.exp(table.borders(*scales, rpm))
    depths = np.geomspace(job.min_ap_mm, job.max_ap_mm, DEPTHS)
    quiet = _votes(limit, depths).mean(axis=0)
    return QuietMap(rpm, depths, quiet, np.clip(limit, job.min_ap_mm, job.max_ap_mm))


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
    padded = np.concatenate([probability[..., :1, :], probability, probability[..., -1:, :]], axis=-2)
    mean = 0.25 * padded[..., :-2, :] + 0.5 * probability + 0.25 * padded[..., 2:, :]
    return np.minimum(probability, mean)


def trial_point(found: QuietMap) -> Point:
    """The most informative next cut: the one after which the best sure removal is expected to be largest.

    Each system votes twice: whether the trial would be called quiet, and what else would then be quiet. The
    removal that could be advised afterwards is weighed over both outcomes; a ringing trial costs a little.
    """
    depths = slice(None, None, max(1, len(found.ap_mm) // 30))
    ap_mm = found.ap_mm[depths]
    quiet = _votes(found.limit_mm[:: max(1, len(found.limit_mm) // 200)], ap_mm).astype(np.float32)
    removal = (found.rpm[:, None] * ap_mm).ravel()
    count, speeds = len(quiet), len(found.rpm)
    quiet = quiet.reshape(count, -1)
    chance = quiet.mean(axis=0)
    now = _worth(chance[None], removal, speeds)[0]
    able = np.flatnonzero((chance > LEAST_CHANCE) & (removal >= 0.5 * now))
    if not able.size:
        able = np.array([int(np.argmax(chance))])
    called = (1 - 2 * WRONG_LABEL) * quiet[:, able] + WRONG_LABEL
    both, said = called.T @ quiet / count, called.mean(axis=0)
    after_quiet = _worth(both / said[:, None], removal, speeds)
    after_ringing = _worth((chance - both) / (1 - said)[:, None], removal, speeds)
    gain = said * after_quiet + (1 - said) * after_ringing - RINGING_COST * now * (1 - chance[able])
    speed, depth = divmod(int(able[np.argmax(gain)]), len(ap_mm))
    return Point(
        rpm=float(found.rpm[speed]),
        ap_mm=float(ap_mm[depth]),
        probability_quiet=float(chance[speed * len(ap_mm) + depth]),
    )


def _worth(chance: np.ndarray, removal: np.ndarray, speeds: int) -> np.ndarray:
    """Largest removal to advise, what is `SURE` counting in full; chance is ``(cases, points)``."""
    calm = _calm(chance.reshape(len(chance), speeds, -1)).reshape(chance.shape)
    return (removal * np.clip((calm - DOUBTFUL) / (SURE - DOUBTFUL), 0.0, 1.0)).max(axis=1)


def _votes(limit_mm: np.ndarray, ap_mm: np.ndarray) -> np.ndarray:
    """How surely each system is quiet, ``(systems, speeds, depths)``; at the deepest, also beyond."""
    above = (np.log(limit_mm)[:, :, None] - np.log(ap_mm)) / BLUR
    above[limit_mm >= ap_mm[-1]] = np.inf
    above[limit_mm <= ap_mm[0]] = -np.inf
    return 0.5 + 0.5 * np.tanh(above / 2)

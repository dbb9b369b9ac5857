"""Taylor's law of tool life, V Tⁿ = C, from edges that cut at different speeds, some of them still in use.

F. W. Taylor, "On the Art of Cutting Metals", Trans. ASME 28 (1907) 31. Speeds in m/min, lives in minutes.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from shopmon.cutting.life.lifetimes import CannotTell, Lifetime, usable
from shopmon.cutting.life.scaled import Spread, spread_of
from shopmon.cutting.nouns import require, require_positive

LEAST_ENDED, LEAST_SPAN = 4, 1.1  # three numbers are fitted; speeds 10 % apart are one speed with an override
STEEPEST = 25.0  # 1/n; HSS is about 8 (handbook range, recalled)


@dataclass(frozen=True, kw_only=True)
class TaylorLaw:
    """The two constants.

    Attributes
    ----------
    n
        Exponent.
    C_m_min
        Speed at which an edge lasts one minute.
    """

    n: float
    C_m_min: float

    def life_min(self, speed_m_min: float) -> float:
        """Return the life at a speed."""
        require_positive("speed_m_min", speed_m_min)
        return (self.C_m_min / speed_m_min) ** (1 / self.n)

    def speed_m_min(self, life_min: float) -> float:
        """Return the speed at which an edge lasts so long."""
        require_positive("life_min", life_min)
        return self.C_m_min / life_min**self.n


def taylor_through(first: tuple[float, float], second: tuple[float, float]) -> TaylorLaw:
    """Return the law through two points of speed (m/min) and life (min).

    Examples
    --------
    >>> law = taylor_through((160, 5), (100, 41))
    >>> round(law.n, 3), round(law.C_m_min)
    (0.223, 229)
    """
    for name, value in zip(("speed", "life") * 2, (*first, *second), strict=True):
        require_positive(name, value)
    faster, slower = sorted((first, second), reverse=True)
    require(faster[0] > slower[0], "Both points have the same speed.", "Give two different speeds.")
    require(faster[1] < slower[1], "The edge lasted longer at the higher speed.", "Check the two points.")
    n = np.log(faster[0] / slower[0]) / np.log(slower[1] / faster[1])
    return TaylorLaw(n=float(n), C_m_min=float(faster[0] * faster[1] ** n))


@dataclass(frozen=True, kw_only=True)
class TaylorFit:
    """What the lives say of 1/n, the power with which life falls as the speed rises.

    Attributes
    ----------
    power, bounds
        1/n, half of what is likely on each side, and its bounds; None where a side is open.
    """

    power: float
    bounds: tuple[float | None, float | None]
    confidence: float
    slowest_m_min: float
    fastest_m_min: float
    ended: int
    spread: Spread

    @property
    def n(self) -> float | None:
        """Taylor's exponent; None where life does not fall with speed."""
        return 1 / self.power if self.power > 0 else None

    def factor(self, speed_ratio: float) -> tuple[float | None, float, float | None]:
        """Return by what factor life changes at a speed so many times the present one, with its bounds."""
        require_positive("speed_ratio", speed_ratio)
        ends = [None if power is None else speed_ratio**-power for power in self.bounds]
        low, high = ends if speed_ratio < 1 else ends[::-1]
        return low, speed_ratio**-self.power, high


def taylor_fit(lives: Sequence[Lifetime], confidence: float = 0.9) -> TaylorFit | CannotTell:
    """Fit Taylor's law to lives at known speeds, ended or not; each stratum has a C of its own."""
    known = [life for life in usable(lives) if life.speed_m_min is not None]
    ended = [life for life in known if life.ended]
    if len(ended) < LEAST_ENDED:
        return CannotTell(
            reason=f"{len(ended)} with a known speed have come to their end; at least {LEAST_ENDED} must."
        )
    speeds = np.array([life.speed_m_min for life in known])
    own = np.array([life.speed_m_min for life in ended])
    if own.max() < LEAST_SPAN * own.min():
        return CannotTell(reason=f"All cut at about {own.mean():.0f} m/min; a law needs different speeds.")
    logs = np.log(speeds / np.exp(np.mean(np.log(speeds))))
    spread = spread_of(known, lambda powers: logs[:, None] * powers, (-STEEPEST, STEEPEST))
    return TaylorFit(
        power=spread.median,
        bounds=spread.bounds(confidence),
        confidence=confidence,
        slowest_m_min=float(own.min()),
        fastest_m_min=float(own.max()),
        ended=len(ended),
        spread=spread,
    )

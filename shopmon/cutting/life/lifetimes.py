"""Lives of cutting edges as the statistics take them: how long each cut, and whether it came to its end."""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np

from shopmon.cutting.nouns import require, require_not_negative, require_positive


@dataclass(frozen=True, kw_only=True)
class Lifetime:
    """One cutting edge.

    Attributes
    ----------
    cut_time_min
        Minutes in the cut up to its retirement, or up to now.
    cause
        Why it came to its end (worn, chipped, broken, no longer good for the finish). None where it had not:
        in use, lost, or put aside while still good. Such a life is censored: it lasts *at least* so long.
    chatter_min
        Of those minutes, in chatter.
    speed_m_min
        Its cutting speed, m/min, where known.
    stratum
        What it is compared within, such as material and operation.
    """

    cut_time_min: float
    cause: str | None = None
    chatter_min: float = 0.0
    speed_m_min: float | None = None
    stratum: Hashable = None
    label: str = ""

    def __post_init__(self):
        require_not_negative("cut_time_min", self.cut_time_min)
        require_not_negative("chatter_min", self.chatter_min)
        require_positive("speed_m_min", self.speed_m_min, optional=True)
        require(self.chatter_min <= self.cut_time_min + 1e-6, "There is more chatter than cut time.")

    @property
    def ended(self) -> bool:
        """Whether the edge came to its end; else its life is censored."""
        return self.cause is not None

    @property
    def chatter_share(self) -> float:
        """Chatter over cut time, 0 to 1."""
        return min(self.chatter_min / self.cut_time_min, 1.0) if self.cut_time_min else 0.0


@dataclass(frozen=True, kw_only=True)
class CannotTell:
    """The answer where the data do not say.

    Attributes
    ----------
    reason
        One sentence.
    """

    reason: str


def usable(lives: Sequence[Lifetime]) -> list[Lifetime]:
    """Return the lives that say something: those with time in the cut.

    An edge that ended with no minute logged was cutting unheard; how long is not known.
    """
    return [life for life in lives if life.cut_time_min > 0]


def arrays(lives: Sequence[Lifetime]) -> tuple[np.ndarray, np.ndarray]:
    """Return minutes in the cut and whether each ended, both of shape ``(lives,)``."""
    return (
        np.array([life.cut_time_min for life in lives], dtype=float),
        np.array([life.ended for life in lives], dtype=bool),
    )


def of_one_cause(lives: Sequence[Lifetime], cause: str) -> list[Lifetime]:
    """Return the lives as they bear on one cause: an edge that ended by another is censored there."""
    return [
        life
        if life.cause == cause
        else Lifetime(
            cut_time_min=life.cut_time_min,
            chatter_min=life.chatter_min,
            speed_m_min=life.speed_m_min,
            stratum=life.stratum,
            label=life.label,
        )
        for life in lives
    ]

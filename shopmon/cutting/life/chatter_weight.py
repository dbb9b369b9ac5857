"""Whether a minute in chatter wears an edge more than a quiet one: a weight, 1 unless the data say so."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from shopmon.cutting.life.lifetimes import CannotTell, Lifetime, usable
from shopmon.cutting.life.scaled import Spread, spread_of

LEAST_ENDED, LEAST_SHARES_APART = 5, 0.05
LIGHTEST, HEAVIEST = 0.02, 50.0


@dataclass(frozen=True, kw_only=True)
class ChatterWeight:
    """How many quiet minutes one in chatter counts for.

    Attributes
    ----------
    weight
        To be used: 1 unless 1 lies outside the bounds, and where one of them is open the other.
    estimate, bounds
        What the data favour, and its bounds; None on a side that is open.
    """

    weight: float
    estimate: float
    bounds: tuple[float | None, float | None]
    confidence: float
    ended: int
    spread: Spread

    @property
    def told_apart(self) -> bool:
        """Whether the data say that chatter counts differently."""
        return self.weight != 1.0


def chatter_weight(lives: Sequence[Lifetime], confidence: float = 0.95) -> ChatterWeight | CannotTell:
    """Estimate the weight from lives with different shares of chatter.

    The equivalent life of an edge with a share c in chatter is t·(1 + (w−1)·c). Before the data, no weight
    from 1/50 to 50 is favoured on a logarithmic scale.
    """
    lives = usable(lives)
    ended = [life for life in lives if life.ended]
    if len(ended) < LEAST_ENDED:
        return CannotTell(reason=f"{len(ended)} have come to their end; at least {LEAST_ENDED} must.")
    own = np.array([life.chatter_share for life in ended])
    if np.ptp(own) < LEAST_SHARES_APART:
        return CannotTell(reason="All had about the same share of chatter.")
    shares = np.array([life.chatter_share for life in lives])
    spread = spread_of(
        lives,
        lambda log_weights: np.log1p(np.expm1(log_weights)[None, :] * shares[:, None]),
        (np.log(LIGHTEST), np.log(HEAVIEST)),
    )
    low, high = (None if each is None else float(np.exp(each)) for each in spread.bounds(confidence))
    one_is_out = (low is not None and low > 1) or (high is not None and high < 1)
    estimate = float(np.exp(spread.median))
    return ChatterWeight(
        weight=(estimate if None not in (low, high) else low or high) if one_is_out else 1.0,
        estimate=estimate,
        bounds=(low, high),
        confidence=confidence,
        ended=len(ended),
        spread=spread,
    )


def equivalent_min(life: Lifetime, weight: float) -> float:
    """Return the quiet minutes that a life counts for."""
    return life.cut_time_min + (weight - 1) * life.chatter_min

"""What makes edges last longer or shorter by a factor: kind, cutting speed, chatter.

Lives t are taken as Weibull after being multiplied by a(θ): one shape β for all, one scale per stratum, and
one unknown θ. The scales are integrated by hand as in `weibull`; a grid over β and θ is left.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from shopmon.cutting.life.lifetimes import Lifetime, arrays

SHAPES = np.geomspace(0.1, 40.0, 90)
STEPS = 121
NEGLIGIBLE = 1e-7  # of the highest density
AT_THE_END = 0.02  # a density that is still so high at the last θ gives no bound there


@dataclass(frozen=True, kw_only=True)
class Spread:
    """What is known of one number θ: a density on a grid.

    Attributes
    ----------
    values, density
        ``(steps,)``; the density is relative to its highest value.
    """

    values: np.ndarray
    density: np.ndarray

    def _cumulated(self) -> np.ndarray:
        pieces = np.diff(self.values) * (self.density[1:] + self.density[:-1]) / 2
        return np.concatenate([[0.0], np.cumsum(pieces)]) / pieces.sum()

    @property
    def median(self) -> float:
        """Half of what is likely lies below."""
        return float(np.interp(0.5, self._cumulated(), self.values))

    def bounds(self, confidence: float) -> tuple[float | None, float | None]:
        """Return the interval with equal tails; None on a side where the grid ends too early."""
        low, high = np.interp([(1 - confidence) / 2, (1 + confidence) / 2], self._cumulated(), self.values)
        return (
            None if self.density[0] > AT_THE_END else float(low),
            None if self.density[-1] > AT_THE_END else float(high),
        )

    def chance_above(self, value: float) -> float:
        """Return the probability that θ is above `value`."""
        return float(1 - np.interp(value, self.values, self._cumulated()))


def spread_of(
    lives: Sequence[Lifetime],
    log_factor: Callable[[np.ndarray], np.ndarray],
    values: tuple[float, float],
) -> Spread:
    """Return what lives say of θ.

    Parameters
    ----------
    lives
        Of any number of strata. A stratum in which none has ended says nothing and is left out.
    log_factor
        Returns log a of every life (rows) at each θ (columns).
    values
        The range of θ to look in, wide; it is narrowed to where θ can be.
    """
    grid = np.linspace(*values, STEPS)
    log_density = _log_density(lives, log_factor(grid))
    can_be = np.flatnonzero(log_density > log_density.max() + np.log(NEGLIGIBLE))
    first, last = max(can_be[0] - 1, 0), min(can_be[-1] + 1, STEPS - 1)
    grid = np.linspace(grid[first], grid[last], STEPS)
    log_density = _log_density(lives, log_factor(grid))
    return Spread(values=grid, density=np.exp(log_density - log_density.max()))


def _log_density(lives: Sequence[Lifetime], log_factors: np.ndarray) -> np.ndarray:
    minutes, ended = arrays(lives)
    logs = np.log(minutes / np.exp(np.mean(np.log(minutes))))[:, None] + log_factors  # (lives, θ)
    strata = _rows_by_stratum(lives)
    total = np.zeros((SHAPES.size, log_factors.shape[1]))
    counted = 0
    for rows in strata:
        gone = int(ended[rows].sum())
        if not gone:
            continue
        counted += gone - 1  # each scale takes one power of β
        powers = SHAPES[:, None, None] * logs[rows][None, :, :]
        largest = powers.max(axis=1, keepdims=True)
        log_sum = largest[:, 0] + np.log(np.exp(powers - largest).sum(axis=1))
        total += SHAPES[:, None] * logs[rows][ended[rows]].sum(axis=0) - gone * log_sum
    total += counted * np.log(SHAPES)[:, None]
    largest = total.max(axis=0)
    return largest + np.log(np.exp(total - largest).sum(axis=0))


def _rows_by_stratum(lives: Sequence[Lifetime]) -> list[np.ndarray]:
    rows: dict = {}
    for row, life in enumerate(lives):
        rows.setdefault(life.stratum, []).append(row)
    return [np.array(each) for each in rows.values()]

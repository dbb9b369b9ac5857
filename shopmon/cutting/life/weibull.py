"""Weibull lives with censoring, honest from two ended edges on.

With shape β and scale η, λ = η^−β enters the likelihood of censored lives as a gamma density, so that it can
be integrated by hand and one grid over β is all that is left. With the prior dη/η·dβ/β, which favours no
unit and no spread, the result is the exact conditional interval of J. F. Lawless (*Statistical Models and
Methods for Lifetime Data*, chapter on location and scale; recalled): for edges that have all ended, "nine in
ten" holds at any number of them, where the usual likelihood bounds are too narrow for a handful.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from shopmon.cutting.life.lifetimes import CannotTell, Lifetime, arrays, usable

LEAST_ENDED = 2  # below, the spread of lives is not known at all
WIDEST_SHAPE, NARROWEST_SHAPE = 0.05, 60.0  # lives that scatter over decades, or agree within 3 %
SHAPES = 161  # at which the likelihood is taken
BISECTIONS = 36
NEGLIGIBLE = 1e-7  # of the highest density


@dataclass(frozen=True, kw_only=True)
class Remaining:
    """How much longer an edge is likely to cut.

    Attributes
    ----------
    age_min
        What it has cut.
    lower_min, median_min, upper_min
        More minutes in the cut.
    likely
        How often an edge ends between the bounds, the uncertainty of the fit included.
    ended, in_use
        On how many ended and censored lives this rests.
    """

    age_min: float
    lower_min: float
    median_min: float
    upper_min: float
    likely: float
    ended: int
    in_use: int


@dataclass(frozen=True, kw_only=True)
class Fit:
    """A Weibull distribution by maximum likelihood; each pair of bounds at `confidence`.

    Attributes
    ----------
    shape, scale_min
        β, and η: the minutes after which 63.2 % have ended.
    log_likelihood
        Of lives in minutes.
    """

    shape: float
    shape_bounds: tuple[float, float]
    scale_min: float
    scale_bounds_min: tuple[float, float]
    log_likelihood: float
    confidence: float
    ended: int
    in_use: int

    def life_min(self, share_ended: float) -> float:
        """Return the minutes after which a share has ended (0.1 for the life called B10)."""
        return self.scale_min * (-np.log1p(-share_ended)) ** (1 / self.shape)


class WeibullLives:
    """What some lives of one kind say about all of that kind.

    Parameters
    ----------
    lives
        At least `LEAST_ENDED` of them ended; see `weibull_lives`.
    """

    def __init__(self, lives: Sequence[Lifetime]):
        self._lives = list(lives)
        self._minutes, self._ended = arrays(lives)
        self.ended, self.in_use = int(self._ended.sum()), int((~self._ended).sum())
        self._unit = float(np.exp(np.mean(np.log(self._minutes))))  # keeps the powers within range
        self._logs = np.log(self._minutes / self._unit)
        self._shapes = np.geomspace(WIDEST_SHAPE, NARROWEST_SHAPE, SHAPES)
        for _ in range(2):  # over all there is, then over what is likely
            density = self._posterior()[1]
            likely = self._shapes[density > np.log(NEGLIGIBLE)]
            self._shapes = np.geomspace(likely[0] / 1.05, likely[-1] * 1.05, SHAPES)
        self._log_sums, density = self._posterior()
        self._weights = np.exp(density) / np.exp(density).sum()

    def _posterior(self) -> tuple[np.ndarray, np.ndarray]:
        """Return log Σ t^β and the logarithm of the density over log β, at most 0, for each shape."""
        log_sums = _log_sum_exp(self._shapes[:, None] * self._logs[None, :])
        density = (self.ended - 1) * np.log(self._shapes) - self.ended * log_sums
        density += self._shapes * self._logs[self._ended].sum()
        return log_sums, density - density.max()

    def fit(self, confidence: float = 0.9) -> Fit:
        """Return shape and scale with bounds."""
        shape = self._likeliest_shape()
        log_sum = float(_log_sum_exp(shape * self._logs))
        scale = np.exp((log_sum - np.log(self.ended)) / shape)
        sides = (1 - confidence) / 2, (1 + confidence) / 2
        cumulated = np.cumsum(self._weights)
        likelihood = (
            self.ended * np.log(shape / (scale * self._unit))
            + (shape - 1) * np.sum(self._logs[self._ended] - np.log(scale))
            - self.ended
        )
        return Fit(
            shape=shape,
            shape_bounds=tuple(float(np.interp(side, cumulated, self._shapes)) for side in sides),
            scale_min=float(scale * self._unit),
            scale_bounds_min=self.life_bounds_min(1 - np.exp(-1), confidence),
            log_likelihood=float(likelihood),
            confidence=confidence,
            ended=self.ended,
            in_use=self.in_use,
        )

    def _likeliest_shape(self) -> float:
        """Solve the likelihood equation for β; lives that all agree stop at the largest."""
        from scipy.optimize import brentq

        mean_ended = float(np.mean(self._logs[self._ended]))

        def slope(shape: float) -> float:
            """Return the slope of the log-likelihood over the shape, per ended life."""
            powers = np.exp(shape * self._logs - _log_sum_exp(shape * self._logs))
            return 1 / shape + mean_ended - float(powers @ self._logs)

        low, high = WIDEST_SHAPE, NARROWEST_SHAPE
        return high if slope(high) > 0 else low if slope(low) < 0 else float(brentq(slope, low, high))

    def life_bounds_min(self, share_ended: float, confidence: float = 0.9) -> tuple[float, float]:
        """Return the bounds of the minutes after which a share has ended."""
        from scipy.special import gammaincc

        hazard = np.log(-np.log1p(-share_ended))

        def chance_below(log_life: np.ndarray) -> np.ndarray:
            """Return how probably the quantity is below each value, a mean over the shapes."""
            # λ is gamma distributed for each β, and a life below t means that λ is above hazard/t^β
            exponent = hazard - self._shapes * log_life[..., None] + self._log_sums
            return gammaincc(self.ended, np.exp(np.minimum(exponent, 700))) @ self._weights

        sides = np.array([(1 - confidence) / 2, (1 + confidence) / 2])
        low, high = np.exp(_solve(chance_below, sides)) * self._unit
        return float(low), float(high)

    def survival(
        self, minutes: np.ndarray, confidence: float = 0.9
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Return the share that lasts longer than `minutes`, and its bounds.

        Parameters
        ----------
        minutes
            ``(times,)``, above 0.

        Returns
        -------
        tuple of ndarray
            Share (the chance of a new edge, uncertainty included), lower and upper bound, each ``(times,)``.
        """
        from scipy.special import gammainc

        logs = np.log(np.asarray(minutes, dtype=float) / self._unit)
        power = np.exp(np.clip(self._shapes * logs[:, None] - self._log_sums, -700, 700))
        share = (1 + power) ** -float(self.ended) @ self._weights

        def chance_below(log_hazard: np.ndarray) -> np.ndarray:
            """Return how probably the quantity is below each value, a mean over the shapes."""
            exponent = log_hazard[..., None] - np.log(power)
            return gammainc(self.ended, np.exp(np.clip(exponent, -700, 700))) @ self._weights

        sides = np.array([(1 + confidence) / 2, (1 - confidence) / 2])
        bounds = [
            np.exp(-np.exp(_solve(chance_below, np.full(logs.size, side), widest=800.0))) for side in sides
        ]
        return share, bounds[0], bounds[1]

    def remaining(self, age_min: float, likely: float = 0.8, *, counted: bool = True) -> Remaining:
        """Return how much longer an edge of this kind is likely to cut, given what it has cut.

        Parameters
        ----------
        age_min
            Minutes it has cut; 0 for a new one.
        likely
            How often the edge is to end between the bounds.
        counted
            Whether this edge is among the lives already, as a censored one. Otherwise it is added: that it
            has lasted so long says something about its kind.
        """
        if counted or age_min == 0:
            return self.remaining_of([age_min], likely)[0]
        more = WeibullLives([*self._lives, Lifetime(cut_time_min=age_min)])
        return more.remaining_of([age_min], likely)[0]

    def remaining_of(self, ages_min: Sequence[float], likely: float = 0.8) -> list[Remaining]:
        """Return `remaining` of many edges that are among the lives."""
        ages = np.asarray(ages_min, dtype=float)[:, None]
        sides = np.tile([(1 - likely) / 2, 0.5, (1 + likely) / 2], (ages.size, 1))
        more = np.exp(_solve(lambda logs: self._chance(ages, np.exp(logs) * self._unit), sides)) * self._unit
        return [
            Remaining(
                age_min=float(age), lower_min=float(low), median_min=float(middle), upper_min=float(high),
                likely=likely, ended=self.ended, in_use=self.in_use,
            )
            for age, (low, middle, high) in zip(ages[:, 0], more, strict=True)
        ]  # fmt: skip

    def chance_of_ending(self, age_min: float, more_min: float) -> float:
        """Return the chance that an edge among the lives ends within `more_min` further minutes."""
        return float(self._chance(np.array([age_min]), np.array([more_min]))[0])

    def _chance(self, ages_min: np.ndarray, more_min: np.ndarray) -> np.ndarray:
        """Return the chance of ending within further minutes; both of one shape or to be broadcast."""
        with np.errstate(divide="ignore"):
            aged = self._shapes * np.log(ages_min / self._unit)[..., None] - self._log_sums
        reached = self._shapes * np.log((ages_min + more_min) / self._unit)[..., None] - self._log_sums
        more = np.exp(np.minimum(reached, 700)) - np.exp(np.minimum(aged, 700))
        return 1 - np.exp(-float(self.ended) * np.log1p(np.maximum(more, 0))) @ self._weights


def weibull_lives(lives: Sequence[Lifetime]) -> WeibullLives | CannotTell:
    """Take in the lives of one kind of edge, ended or not; says so where too few have ended."""
    lives = usable(lives)
    ended = sum(life.ended for life in lives)
    if ended < LEAST_ENDED:
        have = "none has" if not ended else "only one has"
        return CannotTell(reason=f"{have[0].upper()}{have[1:]} come to its end; at least {LEAST_ENDED} must.")
    return WeibullLives(lives)


def _log_sum_exp(values: np.ndarray) -> np.ndarray:
    largest = values.max(axis=-1, keepdims=True)
    return (largest + np.log(np.exp(values - largest).sum(axis=-1, keepdims=True)))[..., 0]


def _solve(rising, wanted: np.ndarray, widest: float = 16.0) -> np.ndarray:
    """Return where a rising function of a logarithm reaches `wanted`, by bisection of all at once."""
    low, high = np.full(wanted.shape, -widest), np.full(wanted.shape, widest)
    for _ in range(BISECTIONS):
        middle = (low + high) / 2
        below = rising(middle) < wanted
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return (low + high) / 2

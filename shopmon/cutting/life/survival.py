"""Survival of edges without any assumed distribution: Kaplan and Meier's curve, and how they ended."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from shopmon.cutting.life.lifetimes import CannotTell, Lifetime, arrays, usable


@dataclass(frozen=True, kw_only=True)
class SurvivalCurve:
    """Share of edges still cutting, a step down at each of `time_min`.

    Attributes
    ----------
    time_min
        Minutes at which an edge ended or was censored, ascending, ``(steps,)``.
    share, lower, upper
        Share that lasts longer, with its bounds; NaN where the data give no bound (no edge has ended yet, or
        none is left).
    at_risk, ended
        Edges that were in use up to that time, and how many ended at it.
    median_min
        With its bounds; None where the curve does not come down so far.
    """

    time_min: np.ndarray
    share: np.ndarray
    lower: np.ndarray
    upper: np.ndarray
    at_risk: np.ndarray
    ended: np.ndarray
    confidence: float
    median_min: float | None
    median_lower_min: float | None
    median_upper_min: float | None


def survival_curve(lives: Sequence[Lifetime], confidence: float = 0.9) -> SurvivalCurve | CannotTell:
    """Return Kaplan and Meier's estimate with Greenwood's error on the scale log(−log S).

    An edge that was censored when another ended counts as still in use then.

    Parameters
    ----------
    lives
        Edges of one kind.
    confidence
        Of each bound pair, point by point.

    Notes
    -----
    E. L. Kaplan, P. Meier, J. Am. Stat. Assoc. 53 (1958) 457; the bounds as in J. D. Kalbfleisch, R. L.
    Prentice, *The Statistical Analysis of Failure Time Data*. Computed by ``scipy.stats.ecdf``.
    """
    import warnings

    from scipy import stats

    lives = usable(lives)
    minutes, ended = arrays(lives)
    if not ended.any():
        return CannotTell(reason="None of these has come to its end yet.")
    data = stats.CensoredData.right_censored(minutes, ~ended)
    curve = stats.ecdf(data).sf
    with warnings.catch_warnings():  # scipy warns of the NaN that stand where there are no bounds
        warnings.simplefilter("ignore", RuntimeWarning)
        bounds = curve.confidence_interval(confidence, method="log-log")
    lower, upper = (np.asarray(side.probabilities, dtype=float) for side in (bounds.low, bounds.high))
    time, share = np.asarray(curve.quantiles), np.asarray(curve.probabilities)
    return SurvivalCurve(
        time_min=time,
        share=share,
        lower=lower,
        upper=upper,
        at_risk=np.sum(minutes[None, :] >= time[:, None], axis=1),
        ended=np.sum((minutes[None, :] == time[:, None]) & ended, axis=1),
        confidence=confidence,
        median_min=_crossing(time, share),
        median_lower_min=_crossing(time, lower),
        median_upper_min=_crossing(time, upper),
    )


def _crossing(time: np.ndarray, share: np.ndarray) -> float | None:
    """Return the first time at which a falling curve is at a half or below."""
    with np.errstate(invalid="ignore"):
        below = np.flatnonzero(share <= 0.5)
    return float(time[below[0]]) if below.size else None


def incidence(lives: Sequence[Lifetime]) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """Return, per cause, the share of edges that has ended by it: the causes compete for each edge.

    Returns
    -------
    dict
        Times in minutes and the share ended by then, both ``(steps,)``. The shares of all causes and the
        survival curve add up to 1.

    Notes
    -----
    The estimate of O. Aalen and S. Johansen (Scand. J. Stat. 5, 1978, 141).
    """
    lives = usable(lives)
    minutes, ended = arrays(lives)
    times = np.unique(minutes[ended])
    at_risk = np.sum(minutes[None, :] >= times[:, None], axis=1)
    gone = np.sum((minutes[None, :] == times[:, None]) & ended, axis=1)
    before = np.concatenate([[1.0], np.cumprod(1 - gone / at_risk)[:-1]])
    causes = sorted({life.cause for life in lives if life.cause is not None})
    by = {cause: np.array([life.cause == cause for life in lives]) for cause in causes}
    return {
        cause: (
            times,
            np.cumsum(before * np.sum((minutes[None, :] == times[:, None]) & own, axis=1) / at_risk),
        )
        for cause, own in by.items()
    }

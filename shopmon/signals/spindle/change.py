"""Whether a figure that is taken now and then has changed, at a stated rate of false alarms.

With few readings neither mean nor scatter are known, so each reading is held against those before it, scaled
so that without a change the results are independent standard normal numbers (D. M. Hawkins, *The
Statistician* 36, 1987, 299-316: self-starting CUSUM). Their sums in both directions are compared with an
interval that follows from how often a false alarm may come (D. Siegmund, *Sequential Analysis*, 1985, for the
run length). What follows a companion, such as the temperature, is taken out on the way: then the scaled
readings are recursive residuals of a line (R. L. Brown, J. Durbin, J. M. Evans, *J. R. Stat. Soc. B* 37,
1975, 149-192), which are independent too.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, isfinite

import numpy as np

from shopmon.errors import SettingError

ALLOWANCE = 0.5  # half of the shift, in standard deviations, that is found soonest
FEWEST_BEFORE = 3
MOST_STEP = 3.0  # one odd reading alone is no change
SCATTER_FLOOR_DB = 0.3
FEWEST_FOR_LINE, LEAST_SPREAD = 5, 1.0  # readings, and spread of the companion, before it is followed


@dataclass(frozen=True)
class Change:
    """What a series of readings says.

    Attributes
    ----------
    verdict
        ``changed``, ``as it was`` or ``cannot tell``.
    since
        Place of the first reading after the change, as far as the sums tell; None without one.
    shift_db
        Mean of the readings since then less that of those before; without a change the newest less the
        mean of the others; None where there are no others.
    up, down
        The sums after each reading.
    """

    verdict: str
    since: int | None
    shift_db: float | None
    up: tuple[float, ...]
    down: tuple[float, ...]


def decision_interval(readings_between_false_alarms: float, allowance: float = ALLOWANCE) -> float:
    """Return how high a sum may get, in standard deviations, in both directions together.

    Examples
    --------
    >>> round(decision_interval(168.0), 1), round(decision_interval(465.0), 1)
    (4.0, 5.0)
    """
    if not (isfinite(readings_between_false_alarms) and readings_between_false_alarms >= 10):
        raise SettingError("A false alarm every 10 readings is the most that makes sense.", "Ask for fewer.")
    low, high = 0.0, 60.0
    for _ in range(80):
        middle = (low + high) / 2
        b = middle + 1.166
        each = (exp(2 * allowance * b) - 2 * allowance * b - 1) / (2 * allowance**2)
        low, high = (middle, high) if each / 2 < readings_between_false_alarms else (low, middle)
    return high


def find_change(
    levels_db: Sequence[float],
    readings_between_false_alarms: float,
    companion: Sequence[float] | None = None,
) -> Change:
    """Judge a series of levels, oldest first.

    Parameters
    ----------
    levels_db
        In dB, so that a change by a factor is a step.
    readings_between_false_alarms
        How many readings may pass on average between two false alarms.
    companion
        What the levels may follow in a straight line, as long; a spread below 1 of its unit is no matter.
    """
    values = np.asarray(levels_db, dtype=float)
    if not np.all(np.isfinite(values)):
        raise SettingError("A level is no number.", "Leave it out.")
    beside = None if companion is None else np.asarray(companion, dtype=float)
    limit = decision_interval(readings_between_false_alarms)
    up, down = [0.0], [0.0]
    for step in _steps(values, beside)[1:]:
        up.append(max(0.0, up[-1] + step - ALLOWANCE))
        down.append(max(0.0, down[-1] - step - ALLOWANCE))
    over = [place for place in range(values.size) if max(up[place], down[place]) > limit]
    if over:
        sums = up if up[over[0]] > limit else down
        since = max(place for place in range(over[0] + 1) if sums[place] == 0.0) + 1
        values = values - _followed(values[:since], beside, values.size)
        shift = float(values[since:].mean() - values[:since].mean())
        return Change("changed", since, shift, tuple(up), tuple(down))
    values = values - _followed(values[:-1], beside, values.size)
    others = values[:-1]
    shift = float(values[-1] - others.mean()) if others.size else None
    verdict = "as it was" if others.size >= FEWEST_BEFORE else "cannot tell"
    return Change(verdict, None, shift, tuple(up), tuple(down))


def _line(before: np.ndarray, beside: np.ndarray | None) -> float | None:
    """Return the slope of levels over their companion; None where it cannot be told."""
    if beside is None or before.size < FEWEST_FOR_LINE:
        return None
    off = beside[: before.size] - beside[: before.size].mean()
    if np.sqrt(np.mean(off**2)) < LEAST_SPREAD:
        return None
    return float(off @ before / (off @ off))


def _followed(before: np.ndarray, beside: np.ndarray | None, size: int) -> np.ndarray:
    """Return what of each level is its companion's, by the line through the levels `before`."""
    slope = _line(before, beside)
    return np.zeros(size) if slope is None else slope * (beside - beside[: before.size].mean())


def _steps(values: np.ndarray, beside: np.ndarray | None) -> np.ndarray:
    """Return each reading against those before it, as standard normal numbers; 0 for the first ones."""
    from scipy.special import ndtri, stdtr

    steps = np.zeros(values.size)
    for place in range(FEWEST_BEFORE, values.size):
        before, slope = values[:place], _line(values[:place], beside)
        off, apart, fitted = before - before.mean(), values[place] - before.mean(), 1
        unsure = 1 + 1 / place
        if slope is not None:
            along = beside[: place + 1] - beside[:place].mean()
            off, apart, fitted = off - slope * along[:-1], apart - slope * along[-1], 2
            unsure += along[-1] ** 2 / (along[:-1] @ along[:-1])
        scatter = max(float(np.sqrt(off @ off / (place - fitted))), SCATTER_FLOOR_DB)
        t = apart / scatter / np.sqrt(unsure)
        share = float(np.clip(stdtr(place - fitted, t), 1e-12, 1 - 1e-12))
        steps[place] = np.clip(ndtri(share), -MOST_STEP, MOST_STEP)
    return steps

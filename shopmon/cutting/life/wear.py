"""Flank wear read through a microscope, carried on to the person's limit.

After the first minutes flank wear grows about evenly, and faster again near the end (the three regions of
the wear curve of ISO 8688-2, recalled). A straight line through the readings is therefore carried on only as
far again as the readings reach, and never said to be cautious.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from shopmon.cutting.life.lifetimes import CannotTell
from shopmon.cutting.nouns import require, require_positive

READING_MM = 0.01  # how well a person repeats a reading of flank wear (common practice, no source)
FARTHEST = 2.0  # times the span of the readings beyond the last one


@dataclass(frozen=True, kw_only=True)
class WearForecast:
    """When flank wear will reach the limit, in minutes in the cut.

    Attributes
    ----------
    at_min
        Where the line meets the limit; None where it does not rise.
    lower_min, upper_min
        Its bounds; None where that side is open.
    rate_mm_per_min
        Slope of the line.
    readings
        How many the line was put through.
    """

    limit_mm: float
    at_min: float | None
    lower_min: float | None
    upper_min: float | None
    rate_mm_per_min: float
    confidence: float
    readings: int
    reached: bool = False


def wear_forecast(
    minutes: Sequence[float],
    VB_mm: Sequence[float],
    limit_mm: float,
    *,
    confidence: float = 0.8,
    reading_mm: float = READING_MM,
) -> WearForecast | CannotTell:
    """Return when readings of flank wear will reach a limit, with Fieller's bounds.

    Parameters
    ----------
    minutes, VB_mm
        Minutes in the cut of one edge and flank wear then, ``(readings,)``, in any order.
    limit_mm
        The person's own.
    reading_mm
        Standard error of one reading; the scatter about the line counts where it is larger.

    Notes
    -----
    E. C. Fieller, J. R. Stat. Soc. B 16 (1954) 175: all times at which the line, within its bounds, meets the
    limit. With two readings the scatter is that of `reading_mm` alone.
    """
    from scipy import stats

    time, wear = np.asarray(minutes, dtype=float), np.asarray(VB_mm, dtype=float)
    require(time.shape == wear.shape and time.ndim == 1, "There must be one reading for each time.")
    require(bool(np.all(np.isfinite(time)) and np.all(np.isfinite(wear))), "A reading is no number.")
    require_positive("limit_mm", limit_mm)
    require_positive("reading_mm", reading_mm)
    if time.size and wear[np.argmax(time)] >= limit_mm:
        return WearForecast(
            limit_mm=limit_mm, at_min=float(time.max()), lower_min=None, upper_min=float(time.max()),
            rate_mm_per_min=float("nan"), confidence=confidence, readings=time.size, reached=True,
        )  # fmt: skip
    if np.unique(time).size < 2:
        return CannotTell(reason="A forecast needs readings at two different times at least.")
    centre, squares = time.mean(), float(np.sum((time - time.mean()) ** 2))
    rate = float(np.sum((time - centre) * wear) / squares)
    free = time.size - 2
    scatter = np.sqrt(np.sum((wear - wear.mean() - rate * (time - centre)) ** 2) / free) if free else 0.0
    wide = (1 + confidence) / 2
    if scatter > reading_mm:
        error, quantile = scatter, float(stats.t.ppf(wide, free))
    else:
        error, quantile = reading_mm, float(stats.norm.ppf(wide))
    low, high = _fieller(limit_mm - wear.mean(), rate, (quantile * error) ** 2, time.size, squares)
    farthest = time.max() + FARTHEST * np.ptp(time)
    at = centre + (limit_mm - wear.mean()) / rate if rate > 0 else None
    if low is None or centre + low > farthest:
        return CannotTell(
            reason=f"The limit of {limit_mm:g} mm is too far beyond the last reading ({time.max():.0f} min)."
        )
    upper = None if high is None or centre + high > farthest else float(centre + high)
    return WearForecast(
        limit_mm=limit_mm, at_min=at if at is not None and at <= farthest else None,
        lower_min=float(max(centre + low, time.max())), upper_min=upper,
        rate_mm_per_min=rate, confidence=confidence, readings=time.size,
    )  # fmt: skip


def _fieller(
    rise_mm: float, rate: float, variance: float, readings: int, squares: float
) -> tuple[float | None, float | None]:
    """Return where the band about a line meets a limit `rise_mm` above its centre, minutes from the centre.

    The band is rate·x ± √(variance·(1/readings + x²/squares)); the side on which wear grows is meant.
    """
    a = rate**2 - variance / squares
    b = -2 * rise_mm * rate
    c = rise_mm**2 - variance / readings
    discriminant = b**2 - 4 * a * c
    if a > 0 and rate > 0:
        root = np.sqrt(max(discriminant, 0.0))
        return (-b - root) / (2 * a), (-b + root) / (2 * a)
    # the slope may be nothing: the limit may never be reached, only the upper edge of the band meets it
    if discriminant < 0:
        return None, None
    root = np.sqrt(discriminant)
    ahead = [x for x in ((-b - root) / (2 * a), (-b + root) / (2 * a)) if x > 0] if a else []
    return (min(ahead), None) if ahead else (None, None)

"""The survival curve of a kind, drawn and as a table."""

from typing import Any

import numpy as np

from shopmon.cutting.life.survival import SurvivalCurve
from shopmon.cutting.life.weibull import Fit, WeibullLives
from shopmon.service.mills.life import KindLife

WIDTH, HEIGHT, LEFT, BOTTOM = 600.0, 276.0, 44.0, 50.0
POINTS = 60


def drawn(life: KindLife) -> dict[str, Any] | None:
    """Return the points of the drawing, in units of its view box; None where nothing has ended."""
    if not isinstance(life.curve, SurvivalCurve):
        return None
    longest = 1.05 * float(life.curve.time_min.max())
    steps = _steps(life.curve)
    drawing = {
        "width": WIDTH,
        "height": HEIGHT,
        "left": LEFT,
        "base": HEIGHT - BOTTOM,
        "steps": _points([time for time, _ in steps], [share for _, share in steps], longest),
        "ticks": [(_x(minutes, longest), minutes) for minutes in _ticks(longest)],
        "halves": [(_y(share), f"{share:.0%}") for share in (0.0, 0.5, 1.0)],
        "censored": [
            (_x(record.life.cut_time_min, longest), _y(_share_at(life.curve, record.life.cut_time_min)))
            for record in life.records
            if not record.life.ended
        ],
        "band": "",
        "weibull": "",
    }
    if isinstance(life.fit, Fit):
        minutes = np.linspace(longest / POINTS, longest, POINTS)
        known = WeibullLives([record.life for record in life.records])
        share, lower, upper = known.survival(minutes)
        drawing["weibull"] = _points(minutes, share, longest)
        drawing["band"] = _points([*minutes, *minutes[::-1]], [*upper, *lower[::-1]], longest)
    return drawing


def rows(life: KindLife) -> list[dict[str, Any]]:
    """Return the steps of the curve: minutes, still cutting and bounds, at risk, ended."""
    if not isinstance(life.curve, SurvivalCurve):
        return []
    curve = life.curve
    return [
        {
            "minutes": float(curve.time_min[at]),
            "share": float(curve.share[at]),
            "lower": None if np.isnan(curve.lower[at]) else float(curve.lower[at]),
            "upper": None if np.isnan(curve.upper[at]) else float(curve.upper[at]),
            "at_risk": int(curve.at_risk[at]),
            "ended": int(curve.ended[at]),
        }
        for at in np.flatnonzero(curve.ended)
    ]


def _steps(curve: SurvivalCurve) -> list[tuple[float, float]]:
    points, share = [(0.0, 1.0)], 1.0
    for minutes, after in zip(curve.time_min, curve.share, strict=True):
        points += [(float(minutes), share), (float(minutes), float(after))]
        share = float(after)
    return points


def _share_at(curve: SurvivalCurve, minutes: float) -> float:
    before = np.flatnonzero(curve.time_min <= minutes)
    return float(curve.share[before[-1]]) if before.size else 1.0


def _ticks(longest: float) -> list[float]:
    step = next(step for step in (1, 2, 5, 10, 20, 30, 60, 120, 300, 600, 1200, 6000) if longest / step <= 7)
    return [float(each) for each in np.arange(0, longest, step)]


def _points(minutes, shares, longest: float) -> str:
    return " ".join(
        f"{_x(time, longest):.1f},{_y(share):.1f}" for time, share in zip(minutes, shares, strict=True)
    )


def _x(minutes: float, longest: float) -> float:
    return round(LEFT + (WIDTH - LEFT - 10) * minutes / longest, 1)


def _y(share: float) -> float:
    return round(8 + (HEIGHT - BOTTOM - 8) * (1 - share), 1)

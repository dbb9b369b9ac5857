"""The sound of a tool since its first minutes, drawn as three control charts and told in words."""

from typing import Any

import numpy as np

from shopmon.cutting.life.drift import NAMES, Drift
from shopmon.service.mills.condition import Condition

WIDTH, HEIGHT, LEFT, BOTTOM = 360.0, 150.0, 48.0, 34.0
SHOWN = {
    NAMES[0]: "How loud the teeth are",
    NAMES[1]: "How unlike the teeth are",
    NAMES[2]: "How bright it sounds",
}


def charts(found: Condition | None) -> list[dict[str, Any]]:
    """Return one chart for each measure, in units of its view box; empty where nothing can be told."""
    if found is None or not isinstance(found.drift, Drift):
        return []
    drift = found.drift
    minutes = np.array([each.until_min for each in found.cuts])
    return [_chart(name, drift, at, minutes) for at, name in enumerate(NAMES)]


def _chart(name: str, drift: Drift, at: int, minutes: np.ndarray) -> dict[str, Any]:
    moved, limits = drift.moved_db[:, at], drift.limits_db[:, at]
    later = slice(drift.first_cuts, None)
    reach = 1.15 * max(float(np.max(np.abs(moved))), float(np.max(limits[later])))
    longest = max(float(minutes[-1]), 1e-6)
    base = HEIGHT - BOTTOM

    def x(value: float) -> float:
        return round(LEFT + (WIDTH - LEFT - 8) * value / longest, 1)

    def y(value: float) -> float:
        return round(base / 2 * (1 - value / reach), 1)

    def points(along, values) -> str:
        return " ".join(f"{x(time)},{y(value)}" for time, value in zip(along, values, strict=True))

    there, back = minutes[later], minutes[later][::-1]
    return {
        "name": SHOWN[name],
        "width": WIDTH,
        "height": HEIGHT,
        "left": LEFT,
        "right": WIDTH - 8,
        "base": base,
        "zero": y(0),
        "band": points([*there, *back], [*limits[later], *-limits[later][::-1]]),
        "line": points(there, moved[later]),
        "first": (x(float(minutes[0])), x(float(minutes[drift.first_cuts - 1]))),
        "ticks": [(y(value), _db(value, "+")) for value in (0.8 * reach, -0.8 * reach)],
        "longest": f"{longest:.0f}",
        "first_db": f"{_db(drift.first_db[at])} ± {drift.spread_db[at]:.1f}",
        "moved_db": _db(moved[-1], "+"),
        "limit_db": f"{limits[-1]:.1f}",
        "beyond": bool(abs(moved[-1]) > limits[-1]),
    }


def _db(value: float, sign: str = "-") -> str:
    return f"{value:{sign}.1f}".replace("-", "\u2212")

"""The response that a tap test measured, as lines in the units of the picture."""

import math
from dataclasses import dataclass
from typing import Any

from shopmon.dashboards.tap.figures import LBF_PER_IN

WIDE, LEFT, RIGHT = 640, 86, 14
TOP, BOTTOM = 16, 300  # of the response
LOW_TOP, LOW_BOTTOM = 322, 392  # of the coherence
DECADES, DB_RANGE = 3, 60.0
STEPS_HZ = (50, 100, 200, 500, 1000, 2000)
MOST_TICKS = 7
MICRO = 1e6


@dataclass(frozen=True)
class Tick:
    """A number at an axis."""

    at: float
    text: str


@dataclass(frozen=True)
class Mark:
    """A mode, numbered as in the table."""

    x: float
    y: float
    number: int


@dataclass(frozen=True, kw_only=True)
class Drawing:
    """Everything the picture shows."""

    line: str
    coherence: str | None
    marks: tuple[Mark, ...]
    hz_ticks: tuple[Tick, ...]
    size_ticks: tuple[Tick, ...]
    unit: str
    bottom: int


def drawing(result: dict[str, Any], curves: dict[str, Any] | None, units: str) -> Drawing | None:
    """Lay out a test; None where nothing was kept to draw.

    Parameters
    ----------
    result
        ``shopmon.tap/1``.
    curves
        From `shopmon.service.tap.curves`.
    units
        ``metric`` or ``inch``, of the response's axis.
    """
    if not curves or len(curves["frequency_hz"]) < 2:
        return None
    hz = curves["frequency_hz"]
    forced = "receptance_m_per_n" in curves
    levels, ticks, unit = _forced(curves, units) if forced else _heard(curves)

    def x(value: float) -> float:
        return round(LEFT + (value - hz[0]) / (hz[-1] - hz[0]) * (WIDE - LEFT - RIGHT), 1)

    def y(share: float) -> float:
        return round(BOTTOM - min(max(share, 0.0), 1.0) * (BOTTOM - TOP), 1)

    coherence = curves.get("coherence")
    nearest = [
        min(range(len(hz)), key=lambda place: abs(hz[place] - m["frequency_hz"])) for m in result["modes"]
    ]
    return Drawing(
        line=" ".join(f"{x(f)},{y(level)}" for f, level in zip(hz, levels, strict=True)),
        coherence=None
        if coherence is None
        else " ".join(
            f"{x(f)},{round(LOW_BOTTOM - c * (LOW_BOTTOM - LOW_TOP), 1)}"
            for f, c in zip(hz, coherence, strict=True)
        ),
        marks=tuple(
            Mark(x(mode["frequency_hz"]), y(levels[place]), number)
            for number, (mode, place) in enumerate(zip(result["modes"], nearest, strict=True), 1)
            if hz[0] <= mode["frequency_hz"] <= hz[-1]
        ),
        hz_ticks=tuple(Tick(x(value), f"{value / 1000:g}") for value in _hz_ticks(hz[0], hz[-1])),
        size_ticks=tuple(Tick(y(share), text) for share, text in ticks),
        unit=unit,
        bottom=LOW_BOTTOM if coherence is not None else BOTTOM,
    )


def _forced(curves: dict[str, Any], units: str) -> tuple[list[float], list[tuple[float, str]], str]:
    """Share of the height of each point on a scale of decades, its numbers, and their unit."""
    # the inch system writes microinches per pound-force
    factor, unit = (MICRO, "µm/N") if units != "inch" else (MICRO / LBF_PER_IN, "µin/lbf")
    sizes = [max(value, 1e-18) * factor for value in curves["receptance_m_per_n"]]
    top = math.ceil(math.log10(max(sizes)) * 2) / 2
    levels = [1 + (math.log10(size) - top) / DECADES for size in sizes]
    whole = [decade for decade in range(math.ceil(top - DECADES), math.floor(top) + 1)]
    return levels, [(1 + (decade - top) / DECADES, f"{10.0**decade:g}") for decade in whole], unit


def _heard(curves: dict[str, Any]) -> tuple[list[float], list[tuple[float, str]], str]:
    levels = [1 + level / DB_RANGE for level in curves["level_db"]]
    return levels, [(1 + db / DB_RANGE, f"{db}".replace("-", "−")) for db in (0, -20, -40, -60)], "dB"


def _hz_ticks(low: float, high: float) -> list[float]:
    step = next((step for step in STEPS_HZ if (high - low) / step <= MOST_TICKS), STEPS_HZ[-1])
    return [step * count for count in range(math.ceil(low / step), math.floor(high / step) + 1)]

"""The learned map as a drawing: where each mark, line and shade lies, in the units of the picture.

Shades go from paper (quiet) to ink (rings) in steps of lightness alone; where ringing is likelier than not a
hatch lies over them.
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from shopmon.dashboards.look.measures import MM_PER_INCH

WIDE, HIGH = 640, 500
LEFT, RIGHT, TOP, BOTTOM = 78, 14, 16, 92  # room for the numbers; below them a lane for cuts without depth
LANE = 34
SHADES = 10
DEPTHS = 44
MOST_MARKS = 200
ROOM = 1.15  # above what the picture has to show
TICKS = (1, 2, 2.5, 5, 10)


@dataclass(frozen=True)
class Shade:
    """A stretch of one lightness in the column of one speed."""

    x: float
    y: float
    width: float
    height: float
    level: int


@dataclass(frozen=True)
class Mark:
    """A past cut: what it was, where it lies, and whether it taught anything."""

    kind: str
    x: float
    y: float
    counts: bool


@dataclass(frozen=True)
class Tick:
    """A number at an axis."""

    at: float
    text: str


@dataclass(frozen=True, kw_only=True)
class Drawing:
    """Everything the picture shows."""

    shades: tuple[Shade, ...]
    hatched: tuple[Shade, ...]
    border: str
    low: str
    high: str
    marks: tuple[Mark, ...]
    untold: tuple[Mark, ...]
    points: tuple[Mark, ...]
    now_x: float | None
    rpm_ticks: tuple[Tick, ...]
    depth_ticks: tuple[Tick, ...]
    depth_unit: str
    deepest_mm: float


def drawing(result: dict[str, Any], aim: str, units: str) -> Drawing:
    """Lay out a sheet.

    Parameters
    ----------
    result
        ``shopmon.speed-sheet/1``.
    aim
        Whose card is marked.
    units
        ``metric`` or ``inch``, of the depths at the axis.
    """
    scale = _Scale(result, aim)
    told = [trial for trial in result["trials"] if trial["rpm"] and scale.holds(trial["rpm"])][-MOST_MARKS:]
    shades = _shades(result["map"], scale)
    low, border, high = (_line(result["map"]["rpm"], depths, scale) for depths in result["map"]["band_mm"])
    unit = MM_PER_INCH if units == "inch" else 1.0
    now = result["present_rpm"]
    return Drawing(
        shades=shades,
        hatched=tuple(shade for shade in shades if shade.level >= SHADES // 2),
        border=border,
        low=low,
        high=high,
        marks=tuple(_mark(trial, scale) for trial in told if trial["ap_mm"]),
        untold=tuple(_mark(trial, scale) for trial in told if not trial["ap_mm"]),
        points=_points(result, aim, scale),
        now_x=scale.x(now) if now and scale.holds(now) else None,
        rpm_ticks=tuple(Tick(scale.x(value), f"{value / 1000:g}") for value in _ticks(*scale.rpm, 6)),
        depth_ticks=tuple(
            Tick(scale.y(value * unit), f"{value:g}") for value in _ticks(0.0, scale.deepest / unit, 5)
        ),
        depth_unit="in" if units == "inch" else "mm",
        deepest_mm=scale.deepest,
    )


class _Scale:
    """From speed and depth to the units of the picture."""

    def __init__(self, result: dict[str, Any], aim: str):
        found = result["map"]
        self.rpm = (found["rpm"][0], found["rpm"][-1])
        shown = [max(found["band_mm"][1]), *(trial["ap_mm"] or 0.0 for trial in result["trials"])]
        cards = [*result["cards"].values(), result["surest"], result["now"], result["trial"]]
        shown += [card["ap_mm"] for card in cards if card]
        self.deepest = min(ROOM * max(shown), found["ap_mm"][-1])
        self.bottom = HIGH - BOTTOM

    def holds(self, rpm: float) -> bool:
        """Whether a speed is in the picture."""
        return self.rpm[0] <= rpm <= self.rpm[1]

    def x(self, rpm: float) -> float:
        """Across."""
        share = (rpm - self.rpm[0]) / (self.rpm[1] - self.rpm[0])
        return round(LEFT + share * (WIDE - LEFT - RIGHT), 1)

    def y(self, ap_mm: float) -> float:
        """Up."""
        return round(float(self.bottom - min(ap_mm / self.deepest, 1.0) * (self.bottom - TOP)), 1)


def _shades(found: dict[str, Any], scale: _Scale) -> tuple[Shade, ...]:
    """Columns of the map, neighbours of one lightness drawn as one."""
    depths = (np.arange(DEPTHS) + 0.5) / DEPTHS * scale.deepest
    known = np.log(found["ap_mm"])
    step = (scale.rpm[1] - scale.rpm[0]) / (len(found["rpm"]) - 1)
    shades = []
    for rpm, quiet in zip(found["rpm"], found["probability_quiet"], strict=True):
        ringing = 1 - np.interp(np.log(depths), known, quiet)
        levels = np.minimum((ringing * SHADES).astype(int), SHADES - 1)
        left, right = (
            scale.x(min(max(end, scale.rpm[0]), scale.rpm[1])) for end in (rpm - step / 2, rpm + step / 2)
        )
        for first, last in _runs(levels):
            top, bottom = (scale.y(edge / DEPTHS * scale.deepest) for edge in (last + 1, first))
            width, height = round(right - left, 1), round(bottom - top, 1)
            shades.append(Shade(left, top, width, height, int(levels[first])))
    return tuple(shades)


def _runs(levels: np.ndarray) -> list[tuple[int, int]]:
    """First and last index of each run of equal values."""
    ends = [*np.flatnonzero(np.diff(levels)), len(levels) - 1]
    return list(zip([0, *(end + 1 for end in ends[:-1])], ends, strict=True))


def _line(rpm: list[float], depths: list[float], scale: _Scale) -> str:
    return " ".join(f"{scale.x(n)},{scale.y(ap)}" for n, ap in zip(rpm, depths, strict=True))


def _mark(trial: dict[str, Any], scale: _Scale) -> Mark:
    lane = HIGH - LANE / 2 - 2
    y = scale.y(trial["ap_mm"]) if trial["ap_mm"] else lane
    return Mark(trial["verdict"], scale.x(trial["rpm"]), y, trial["counts"])


def _points(result: dict[str, Any], aim: str, scale: _Scale) -> tuple[Mark, ...]:
    """The cut as it is, and what is advised."""
    advised = result["cards"].get(aim) or result["surest"]
    cards = (("now", result["now"]), ("advised", advised))
    return tuple(
        Mark(kind, scale.x(card["rpm"]), scale.y(card["ap_mm"]), True)
        for kind, card in cards
        if card and scale.holds(card["rpm"])
    )


def _ticks(low: float, high: float, most: int) -> list[float]:
    """Round numbers between two values, at most about `most` of them."""
    rough = (high - low) / most
    unit = 10 ** math.floor(math.log10(rough))
    step = next(unit * factor for factor in TICKS if unit * factor >= rough * (1 - 1e-9))
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [round(step * count, 10) for count in range(first, last + 1)]

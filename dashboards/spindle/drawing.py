"""The map of speed and frequency, and lines of a trend, in the units of the picture."""

import math
from dataclasses import dataclass
from typing import Any

from shopmon.dashboards.speeds.drawing import Shade, Tick

WIDE, LEFT, RIGHT, TOP, BOTTOM = 640, 78, 14, 40, 340
SHADES, FLOOR_DB = 6, 50.0
LINE_WIDE, LINE_HIGH = 220, 48
STEPS_HZ, STEPS_RPM = (100, 200, 500, 1000, 2000, 5000), (500, 1000, 2000, 5000, 10_000)
MOST_TICKS = 6


@dataclass(frozen=True, kw_only=True)
class MapDrawing:
    """Everything the map shows."""

    shades: tuple[Shade, ...]
    hz_ticks: tuple[Tick, ...]
    rpm_ticks: tuple[Tick, ...]
    resonances: tuple[Tick, ...]


def map_drawing(run: dict[str, Any]) -> MapDrawing | None:
    """Lay out the map of a run-up: frequency to the right, speed upwards; None where there is none."""
    levels = run["map"]["level_db"]
    if not levels or not levels[0]:
        return None
    (low_rpm, high_rpm), (low_hz, high_hz) = run["map"]["rpm"], run["map"]["hz"]
    wide, high = (WIDE - LEFT - RIGHT) / len(levels[0]), (BOTTOM - TOP) / len(levels)
    shades = []
    for row, values in enumerate(levels):
        steps = [min(SHADES - 1, int((1 + value / FLOOR_DB) * SHADES)) for value in values]
        begin = 0
        for place in range(1, len(steps) + 1):
            if place == len(steps) or steps[place] != steps[begin]:
                if steps[begin] > 0:
                    x, y = LEFT + begin * wide, BOTTOM - (row + 1) * high
                    shades.append(
                        Shade(
                            round(x, 1),
                            round(y, 1),
                            round((place - begin) * wide, 1),
                            round(high + 0.2, 1),
                            steps[begin],
                        )
                    )
                begin = place

    def x_of(hz: float) -> float:
        return round(LEFT + (hz - low_hz) / (high_hz - low_hz) * (WIDE - LEFT - RIGHT), 1)

    def y_of(rpm: float) -> float:
        return round(BOTTOM - (rpm - low_rpm) / (high_rpm - low_rpm) * (BOTTOM - TOP), 1)

    return MapDrawing(
        shades=tuple(shades),
        hz_ticks=tuple(Tick(x_of(hz), f"{hz:g}") for hz in _ticks(low_hz, high_hz, STEPS_HZ)),
        rpm_ticks=tuple(Tick(y_of(rpm), f"{rpm / 1000:g}") for rpm in _ticks(low_rpm, high_rpm, STEPS_RPM)),
        resonances=tuple(
            Tick(x_of(mode["frequency_hz"]), f"{mode['frequency_hz']:.0f}")
            for mode in run["resonances"]
            if low_hz < mode["frequency_hz"] < high_hz
        ),
    )


def _ticks(low: float, high: float, steps: tuple[int, ...]) -> list[float]:
    step = next((step for step in steps if (high - low) / step <= MOST_TICKS), steps[-1])
    return [float(step * count) for count in range(math.ceil(low / step), math.floor(high / step) + 1)]


def trend_line(history: list[dict[str, Any]]) -> str:
    """Return the points of a line through the values of a trend, on a scale of its own."""
    values = [math.log(row["value"]) for row in history]
    middle, reach = (max(values) + min(values)) / 2, max((max(values) - min(values)) / 2, math.log(1.5))
    across = max(1, len(values) - 1)
    xs = (6 + place / across * (LINE_WIDE - 12) for place in range(len(values)))
    ys = (LINE_HIGH / 2 - (value - middle) / reach * (LINE_HIGH / 2 - 8) for value in values)
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in zip(xs, ys, strict=True))

"""A year of weekly spindle checks, drawn: seasons, scatter, and a fault if one is wanted. Invented."""

from collections.abc import Callable

import numpy as np

from shopmon.service.spindle.trend import trends

SPEEDS, FIGURES = (3000.0, 6000.0, 12_000.0), 4
ACCELERATION, ONCE = 1, 2


def check(week: int, temperature_c: float, levels: np.ndarray) -> dict:
    """Return a check as it is kept; `levels`: velocity, acceleration, once and twice per turn, by speed."""
    steps = [
        {"stated_rpm": rpm, "rpm": 0.99 * rpm, "unit": "g", "notices": [],
         "orders": [{"order": 1, "amplitude": row[2]}, {"order": 2, "amplitude": row[3]}],
         "vibration": {"rms": row[1], "velocity_rms_mm_s": row[0]}}
        for rpm, row in zip(SPEEDS, levels, strict=True)
    ]  # fmt: skip
    return {"id": str(week), "t": 1.79e9 + week * 604_800.0, "used": True, "warmed_up": True,
            "sensor": {"source": "s", "channel": 1, "unit": "g"}, "temperature_c": temperature_c,
            "result": {"steps": steps}}  # fmt: skip


def weeks_with_a_change(
    seed: int,
    *,
    per_degree: float = 0.015,
    season_c: float = 7.5,
    scatter: float = 0.06,
    fault: Callable[[int], np.ndarray] | None = None,
    weeks: int = 52,
) -> list[int]:
    """Return in which weeks something was called changed.

    Parameters
    ----------
    per_degree, scatter
        Logarithms: how levels follow the temperature, and vary from check to check.
    season_c
        Half of what the temperature changes over the year.
    fault
        What levels are multiplied with in a week.
    """
    rng = np.random.default_rng([52, seed])
    usual, rows, found = np.exp(rng.normal(0, 0.5, (len(SPEEDS), FIGURES))), [], []
    for week in range(weeks):
        season = season_c * np.sin(2 * np.pi * (week - 10) / 52)
        temperature_c = float(round(24 + season + rng.normal(0, 1.5)))
        follows = per_degree * (temperature_c - 24)
        levels = usual * np.exp(follows + scatter * rng.standard_normal(usual.shape))
        rows.insert(0, check(week, temperature_c, levels * (1 if fault is None else fault(week))))
        if any(each["verdict"] == "changed" for speed in trends(rows) for each in speed["figures"]):
            found.append(week)
    return found


def louder(figure: int, from_week: int, factor: float = 1.0, db_a_week: float = 0.0):
    """Return a fault that makes one figure louder from a week on, at once or little by little."""

    def fault(week: int) -> np.ndarray:
        levels = np.ones((len(SPEEDS), FIGURES))
        if week >= from_week:
            levels[:, figure] = factor * 10 ** (db_a_week * (week - from_week) / 20)
        return levels

    return fault

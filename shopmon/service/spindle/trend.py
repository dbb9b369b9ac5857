"""A spindle check beside those before it: at the same speed, at the same temperature, by the same sensor."""

from collections.abc import Mapping, Sequence
from math import log10
from typing import Any

from shopmon.signals.spindle.change import find_change

NEAR_SPEED, NEAR_C = 0.02, 5.0
GROSS_FACTOR = (
    2.5  # of the baseline: common practice is to warn there, and to act at 4 to 5 times; from memory
)
LEAST_SHIFT_DB = 1.5
READINGS_BETWEEN_FALSE_ALARMS = 260.0 * 4  # weekly: one of these four figures in five years
FIGURES = {
    "velocity": "Velocity, 10 to 1000 Hz",
    "acceleration": "Acceleration, whole band",
    "once": "At once per turn",
    "twice": "At twice per turn",
}
ACCELERATIONS = ("g", "m/s2", "m/s²")
MEANS = {
    "once": "Could be imbalance (holder, stub, dirt in the taper), or a bent shaft.",
    "twice": "Could be something loose, or out of line.",
    "acceleration": "Could be bearings, lubrication, or something that rubs.",
    "velocity": "Could be imbalance, something loose, or the machine's feet.",
}


def comparable(check: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    """Return whether two checks may be compared: same sensor, unit and warm-up, temperatures within 5 °C."""
    if check["sensor"] != other["sensor"] or check["warmed_up"] != other["warmed_up"]:
        return False
    here, there = check["temperature_c"], other["temperature_c"]
    if here is None or there is None:
        return here is there
    return abs(here - there) <= NEAR_C


def figures_of(step: Mapping[str, Any]) -> dict[str, float | None]:
    """Return the figures of one steady run that are followed, in its unit (velocity in mm/s)."""
    orders = {row["order"]: row["amplitude"] for row in step["orders"]}
    return {
        "velocity": step["vibration"]["velocity_rms_mm_s"],
        "acceleration": step["vibration"]["rms"],
        "once": orders.get(1) if step["rpm"] else None,
        "twice": orders.get(2) if step["rpm"] else None,
    }


def trends(
    checks: Sequence[Mapping[str, Any]], limits: Mapping[str, float] | None = None
) -> list[dict[str, Any]]:
    """Compare the newest check with those before it.

    Parameters
    ----------
    checks
        Of one machine, newest first; those set aside are passed over.
    limits
        The person's own: ``velocity`` in mm/s, ``acceleration`` in g.

    Returns
    -------
    list of dict
        One entry per speed of the newest check: ``rpm``, ``notices`` and ``figures``, each with ``name``,
        ``value``,
        ``unit``, ``baseline`` (median of those before), ``factor``, ``verdict``, ``words``, ``limit``,
        ``over_limit`` and ``history`` (``t`` and ``value``, oldest first).
    """
    used = [check for check in checks if check["used"]]
    if not used:
        return []
    newest, older = used[0], [check for check in used[1:] if comparable(used[0], check)]
    skipped = len(used) - 1 - len(older)
    return [
        {
            "rpm": step["stated_rpm"],
            "skipped": skipped,
            # of a balance grade the check as a whole says what is missing
            "notices": [each for each in step["notices"] if each["code"] != "balance-unknown"],
            "figures": [
                figure
                for name in FIGURES
                if (figure := _figure(name, step, newest, older, limits or {})) is not None
            ],
        }
        for step in newest["result"]["steps"]
    ]


def _figure(name: str, step, newest, older, limits: Mapping[str, float]) -> dict[str, Any] | None:
    value = figures_of(step)[name]
    if value is None or value <= 0:
        return None
    series, warmth = [], []
    for check in reversed(older):
        twin = next((each for each in check["result"]["steps"] if _same_speed(each, step)), None)
        before = figures_of(twin)[name] if twin else None
        if before:
            series.append((check["t"], before))
            warmth.append(check["temperature_c"])
    # also within 5 °C many a level follows the temperature, and so the seasons
    warmth = [*warmth, newest["temperature_c"]]
    change = find_change(
        [20 * log10(each) for _, each in [*series, (None, value)]],
        READINGS_BETWEEN_FALSE_ALARMS,
        None if None in warmth else warmth,
    )
    ordered = sorted(each for _, each in series)
    baseline = ordered[len(ordered) // 2] if ordered else None
    factor = value / baseline if baseline else None
    verdict, words = _verdict(name, change, factor, len(series))
    unit = "mm/s" if name == "velocity" else step["unit"]
    limit = limits.get(name) if unit in ("mm/s", "g") else None
    return {
        "name": name,
        "label": FIGURES[name] if name != "acceleration" or unit in ACCELERATIONS else "Level, whole band",
        "value": value,
        "unit": unit,
        "baseline": baseline,
        "factor": factor,
        "verdict": verdict,
        "words": words,
        "limit": limit,
        "over_limit": limit is not None and value > limit,
        "history": [{"t": t, "value": each} for t, each in [*series, (newest["t"], value)]],
    }


def _same_speed(one: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    return abs(one["stated_rpm"] / other["stated_rpm"] - 1) <= NEAR_SPEED and one["unit"] == other["unit"]


def _verdict(name: str, change, factor: float | None, before: int) -> tuple[str, str]:
    if factor is None:
        return "cannot tell", "The first one at this speed and temperature: it begins the baseline."
    if factor >= GROSS_FACTOR:
        return "changed", f"{factor:.1f} times as much as it was. {MEANS[name]}"
    if change.verdict == "changed" and abs(change.shift_db) >= LEAST_SHIFT_DB:
        times = 10 ** (abs(change.shift_db) / 20)
        more = "more" if change.shift_db > 0 else "less"
        return (
            "changed",
            f"{times:.1f} times {more} than before. {MEANS[name] if change.shift_db > 0 else ''}".strip(),
        )
    if change.verdict == "cannot tell":
        return "cannot tell", f"Only {before} before it: how far this scatters is not known yet."
    return "as it was", f"Within what {before} checks before it scatter."

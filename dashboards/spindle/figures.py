"""Levels, factors and temperatures as the page *Spindle* writes them."""

import math
from typing import Any

from shopmon.dashboards.look.words import NONE

MM_PER_INCH = 25.4
VERDICTS = {"sign": "a sign of a defect", "cannot-tell": "cannot tell", "no-sign": "no sign"}
# ISO 10816-1's classes of rotating machines in general, r.m.s. velocity in mm/s: borders A/B, B/C, C/D
CLASSES = (("I, up to 15 kW", 0.71, 1.8, 4.5), ("II, 15 to 75 kW", 1.12, 2.8, 7.1))


def level(value: float | None, unit: str, units: str = "metric") -> str:
    r"""Write a vibration.

    Examples
    --------
    >>> level(0.4321, "mm/s"), level(2.54, "mm/s", "inch"), level(0.0123, "g"), level(0.01, "FS")
    ('0.432\xa0mm/s', '0.1\xa0in/s', '0.0123\xa0g', '−40.0\xa0dB of full scale')
    """
    if value is None or not math.isfinite(value):
        return NONE
    if unit == "FS":
        return f"{20 * math.log10(max(value, 1e-10)):.1f}\u00a0dB of full scale".replace("-", "−")
    if unit == "mm/s" and units == "inch":
        return f"{value / MM_PER_INCH:.3g}\u00a0in/s"
    return f"{value:.3g}\u00a0{unit}"


def factor(value: float | None) -> str:
    r"""Write how much more or less it is.

    Examples
    --------
    >>> factor(1.02), factor(2.5), factor(0.5), factor(None)
    ('as much', '2.5\xa0×', '0.5\xa0×', '–')
    """
    if value is None:
        return NONE
    return "as much" if abs(value - 1) < 0.05 else f"{value:.2g}\u00a0×"


def temperature(value_c: float | None, units: str) -> str:
    r"""Write a temperature.

    Examples
    --------
    >>> temperature(31.2, "metric"), temperature(30.0, "inch"), temperature(None, "inch")
    ('31\xa0°C', '86\xa0°F', 'not noted')
    """
    if value_c is None:
        return "not noted"
    return f"{value_c * 1.8 + 32:.0f}\u00a0°F" if units == "inch" else f"{value_c:.0f}\u00a0°C"


def degrees(units: str) -> str:
    """Return the unit in which a temperature is typed."""
    return "°F" if units == "inch" else "°C"


def bearing_of(check: dict[str, Any] | None) -> list[dict[str, Any]]:
    """Return each part of the bearing once, as the run tells that shows most of it."""
    found: dict[str, dict] = {}
    for step in check["result"]["steps"] if check else []:
        for tone in step["bearing"]:
            order = ("no-sign", "cannot-tell", "sign")
            here = (order.index(tone["verdict"]), tone["evidence_db"])
            known = found.get(tone["part"])
            if known is None or here > (order.index(known["verdict"]), known["evidence_db"]):
                found[tone["part"]] = {**tone, "rpm": step["rpm"] or step["stated_rpm"]}
    return list(found.values())

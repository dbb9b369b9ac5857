"""Stiffness, modes and hits as the page *Tap test* writes them."""

from typing import Any

from shopmon.dashboards.look.words import NONE, grouped

LBF_PER_IN = 1.0 / 175.126835  # of one N/m: the pound-force and the inch by definition
FAULTS = {
    "double": "double hit",
    "overload": "too hard: overloaded",
    "cut-off": "cut short",
    "no-hit": "no hit",
    "no-ring": "nothing rang on",
    "other-ring": "other tones",
}
AXES = {"x": "x, along the feed", "y": "y, across it"}


def stiffness(value_n_per_m: float | None, units: str) -> str:
    r"""Write a stiffness.

    Examples
    --------
    >>> stiffness(8.03e6, "metric"), stiffness(8.03e6, "inch").replace("\u202f", " "), stiffness(None, "inch")
    ('8.03\xa0N/µm', '45 900\xa0lbf/in', '–')
    """
    if value_n_per_m is None:
        return NONE
    if units == "inch":
        return f"{grouped(value_n_per_m * LBF_PER_IN, 3)}\u00a0lbf/in"
    return f"{value_n_per_m / 1e6:.3g}\u00a0N/µm"


def hertz(mode: dict[str, Any]) -> str:
    r"""Write a natural frequency with its error.

    Examples
    --------
    >>> hertz({"frequency_hz": 1449.98, "frequency_error_hz": 0.31}).replace("\u202f", " ")
    '1 450.0 ± 0.3\xa0Hz'
    """
    error = max(mode["frequency_error_hz"], 0.1)
    places = 1 if error < 1 else 0
    return f"{mode['frequency_hz']:,.{places}f} ± {error:.{places}f}\u00a0Hz".replace(",", "\u202f")


def damping(mode: dict[str, Any]) -> str:
    r"""Write a damping ratio in per cent of critical, with its error.

    Examples
    --------
    >>> damping({"damping_ratio": 0.03, "damping_error": 0.0004})
    '3.00 ± 0.04\xa0%'
    """
    return f"{100 * mode['damping_ratio']:.2f} ± {max(100 * mode['damping_error'], 0.01):.2f}\u00a0%"


def stiffness_error(mode: dict[str, Any]) -> str:
    r"""Write how sure a stiffness is.

    Examples
    --------
    >>> stiffness_error({"stiffness_n_per_m": 8e6, "stiffness_error": 2e5})
    '± 2\xa0%'
    >>> stiffness_error({"stiffness_n_per_m": None})
    ''
    """
    if mode.get("stiffness_n_per_m") is None:
        return ""
    return f"± {max(100 * mode['stiffness_error'] / mode['stiffness_n_per_m'], 1):.0f}\u00a0%"


def in_short(result: dict[str, Any], units: str) -> str:
    r"""Write the modes of a test in one line.

    Examples
    --------
    >>> in_short({"modes": [{"frequency_hz": 950.2, "stiffness_n_per_m": 8e6}]}, "metric")
    '950\xa0Hz (8\xa0N/µm)'
    """
    parts = []
    for mode in result["modes"]:
        stiff = mode.get("stiffness_n_per_m")
        parts.append(
            f"{grouped(mode['frequency_hz'])}\u00a0Hz" + (f" ({stiffness(stiff, units)})" if stiff else "")
        )
    return ", ".join(parts)

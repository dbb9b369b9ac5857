"""Speeds, depths and chances as the page writes them, in mm or in inches."""

import math
from typing import Any

from shopmon.dashboards.look.measures import MM_PER_INCH
from shopmon.dashboards.look.words import NONE, flutes_words, grouped

FEET_PER_M = 1 / 0.3048
FIELDS = {
    "diameter_mm": "Cutting diameter",
    "flutes": "Flutes",
    "stickout_mm": "Stickout",
    "helix_deg": "Helix angle",
    "material": "Material",
    "milling": "Milling",
    "ae_mm": "Radial depth ae",
    "ap_mm": "Axial depth ap",
    "nominal_rpm": "Programmed speed",
    "feed_mm_min": "Table feed",
    "rated_rpm": "Highest speed marked on tool or holder",
    "max_vc_m_min": "Highest cutting speed",
    "measured_modes": "Measured modes, from a tap test",
}
UNITS = {
    "mm": ("mm", "in", MM_PER_INCH),
    "mm_min": ("mm/min", "in/min", MM_PER_INCH),
    "m_min": ("m/min", "ft/min", 1 / FEET_PER_M),
    "rpm": ("rpm", "rpm", 1.0),
    "deg": ("°", "°", 1.0),
}


def unit_of(name: str, units: str) -> tuple[str, float]:
    """Return the unit in which a value of the context is written, and how much of ours one of it is.

    Examples
    --------
    >>> unit_of("ap_mm", "inch"), unit_of("flutes", "inch"), unit_of("feed_mm_min", "metric")
    (('in', 25.4), ('', 1.0), ('mm/min', 1.0))
    """
    for ending in sorted(UNITS, key=len, reverse=True):
        if name.endswith(f"_{ending}"):
            metric, inch, factor = UNITS[ending]
            return (inch, factor) if units == "inch" else (metric, 1.0)
    return "", 1.0


def in_units(name: str, value: float | None, units: str) -> str:
    """Return a value as it stands in a field of the page; nothing for None.

    Examples
    --------
    >>> in_units("ap_mm", 2.0, "metric"), in_units("ap_mm", 2.0, "inch"), in_units("ap_mm", None, "inch")
    ('2', '0.0787', '')
    """
    return "" if value is None else f"{round(value / unit_of(name, units)[1], 4):.10g}"


def depth(value_mm: float | None, units: str) -> str:
    r"""Write a depth with the two digits it deserves, never more than it is.

    Examples
    --------
    >>> depth(1.579, "metric"), depth(12.4, "metric"), depth(1.579, "inch"), depth(None, "inch")
    ('1.5\xa0mm', '12\xa0mm', '0.062\xa0in', '–')
    """
    if value_mm is None or not math.isfinite(value_mm) or value_mm <= 0:
        return NONE
    value = value_mm / MM_PER_INCH if units == "inch" else value_mm
    digit = 10.0 ** (math.floor(math.log10(value)) - 1)
    floor = math.floor(value / digit + 1e-6) * digit
    places = max(0, -math.floor(math.log10(digit) + 1e-9))
    return f"{floor:.{places}f}\u00a0{'in' if units == 'inch' else 'mm'}"


def length(value_mm: float | None, units: str) -> str:
    r"""Write a length that was measured or typed.

    Examples
    --------
    >>> length(10.0, "metric"), length(6.35, "inch")
    ('10\xa0mm', '0.25\xa0in')
    """
    if value_mm is None:
        return NONE
    return f"{value_mm / MM_PER_INCH:.4g}\u00a0in" if units == "inch" else f"{value_mm:.4g}\u00a0mm"


def tiny(value_um: float, units: str) -> str:
    r"""Write what is left on a wall.

    Examples
    --------
    >>> tiny(12.44, "metric"), tiny(0.31, "metric"), tiny(12.44, "inch")
    ('12\xa0µm', '0.31\xa0µm', '0.00049\xa0in')
    """
    if units == "inch":
        return f"{value_um / 1000 / MM_PER_INCH:.5f}\u00a0in"
    return f"{value_um:.2g}\u00a0µm" if value_um < 99.5 else f"{grouped(value_um, 2)}\u00a0µm"


def cutting_speed(value_m_min: float, units: str) -> str:
    r"""Write a cutting speed.

    Examples
    --------
    >>> cutting_speed(444.8, "metric"), cutting_speed(100.0, "inch")
    ('445\xa0m/min', '328\xa0ft/min')
    """
    if units == "inch":
        return f"{grouped(value_m_min * FEET_PER_M, 3)}\u00a0ft/min"
    return f"{grouped(value_m_min, 3)}\u00a0m/min"


def rpm(value: float | None) -> str:
    r"""Write a spindle speed.

    Examples
    --------
    >>> rpm(14398.7).replace("\u202f", " ")
    '14 400\xa0rpm'
    """
    return f"{grouped(value)}\u00a0rpm"


def chance(probability: float | None) -> str:
    r"""Write how probable a quiet cut is.

    Examples
    --------
    >>> chance(0.842), chance(0.004)
    ('84\xa0% likely to be quiet', 'hardly ever quiet')
    """
    if probability is None:
        return "nobody knows how likely to be quiet"
    if probability < 0.02:
        return "hardly ever quiet"
    return f"{100 * min(probability, 0.99):.0f}\u00a0% likely to be quiet"


def summary(context: dict[str, Any], units: str) -> str:
    r"""Write in one line what is in the spindle and how it cuts.

    Examples
    --------
    >>> summary({"diameter_mm": 10.0, "flutes": 3, "milling": "slot"}, "metric").replace("\u00a0", " ")
    'Ø 10 mm · 3 flutes · slot'
    """
    told = {name: context.get(name) for name in FIELDS}
    parts = (
        context.get("end_mill"),
        told["diameter_mm"] and f"Ø\u00a0{length(told['diameter_mm'], units)}",
        flutes_words(told["flutes"]),
        told["stickout_mm"] and f"{length(told['stickout_mm'], units)} out",
        told["material"],
        told["milling"],
        told["ae_mm"] and told["milling"] != "slot" and f"ae\u00a0{length(told['ae_mm'], units)}",
        told["ap_mm"] and f"ap\u00a0{length(told['ap_mm'], units)}",
        told["nominal_rpm"] and rpm(told["nominal_rpm"]),
        told["measured_modes"] and "modes measured",
    )
    return " · ".join(str(part) for part in parts if part)

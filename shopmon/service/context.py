"""What is being cut, with what and how, as far as somebody said: checked before it goes anywhere."""

from collections.abc import Mapping
from difflib import get_close_matches
from typing import Any

from shopmon.cutting.advising.mode_text import modes_of
from shopmon.cutting.advising.one_line import SpeedLimits
from shopmon.cutting.advising.prior import prior_of
from shopmon.errors import SettingError
from shopmon.listening.counsel import CutFacts
from shopmon.listening.preferences import preferences_from
from shopmon.listening.setup import Setup
from shopmon.records.tools.fields import choice, number, whole
from shopmon.service.settings import Machine

TEXT_LIMIT = 200
NUMBERS = {
    "stickout_mm": (0.1, 1000.0),
    "diameter_mm": (0.01, 500.0),
    "helix_deg": (0.0, 80.0),
    "rated_rpm": (1.0, 200_000.0),
    "max_vc_m_min": (0.1, 10_000.0),
    "nominal_rpm": (1.0, 200_000.0),
    "flutes": (1, 50),
    "ap_mm": (0.0, 1000.0),
    "ae_mm": (0.0, 1000.0),
    "feed_mm_min": (0.0, 200_000.0),
    "expected_cut_s": (0.01, 86_400.0),
}
TEXTS = (
    "machine",
    "tool_assembly",
    "end_mill",
    "end_mill_id",
    "holder",
    "material",
    "part",
    "operation",
    "program_section",
    "measured_modes",
)
CHOICES = {"milling": ("climb", "conventional", "slot"), "coolant": ("none", "air", "mist", "flood")}
FIELDS = (*TEXTS, *NUMBERS, *CHOICES)
ORIGINS = ("touched", "program", "macro", "guessed")
# a change of one of these begins a new cut even where the sound goes on: they say what is cut, and with what
JOB = (
    *("machine", "tool_assembly", "end_mill", "end_mill_id"),
    *("material", "part", "operation", "program_section"),
)


def setup_of(context: Mapping[str, Any]) -> Setup:
    """Return what the listener needs to know of a context; a live cut and its sidecar agree on it."""
    return Setup(
        nominal_rpm=context.get("nominal_rpm"),
        flutes=context.get("flutes"),
        job=" · ".join(f"{name}={context[name]}" for name in JOB if context.get(name) is not None),
        preferences=preferences_from(context.get("preferences")),
        expected_cut_s=context.get("expected_cut_s"),
        tool=tool_words(context),
    )


def tool_words(context: Mapping[str, Any]) -> str:
    """Name what is in the spindle: tool, holder, stickout; empty where nobody said.

    >>> tool_words({"end_mill": "plum #3", "holder": "ER20", "stickout_mm": 38.0})
    'plum #3, ER20, 38 mm out'
    """
    diameter, stickout = context.get("diameter_mm"), context.get("stickout_mm")
    plain = f"{diameter:g} mm" if diameter else None
    tool = context.get("end_mill") or context.get("tool_assembly") or plain
    parts = (tool, context.get("holder"), f"{stickout:g} mm out" if stickout else None)
    return ", ".join(str(part) for part in parts if part)


def facts_of(context: Mapping[str, Any], machine: Machine) -> CutFacts:
    """Return what advice may use of a context; a machine left as it comes has no limit that anybody named."""
    said = machine.max_rpm != Machine.max_rpm
    limits = SpeedLimits(
        min_rpm=machine.min_rpm,
        max_rpm=machine.max_rpm if said else None,
        rated_rpm=context.get("rated_rpm"),
        max_cutting_speed_m_per_min=context.get("max_vc_m_min"),
    )
    return CutFacts(milling=context.get("milling"), limits=limits, **_dimensions(context))


def _dimensions(context: Mapping[str, Any]) -> dict[str, float | None]:
    """Dimensions for the advice; a width that the tool does not have is a slip of the finger and left out."""
    known = {name: context.get(name) or None for name in ("diameter_mm", "ae_mm", "ap_mm")}
    both = known["diameter_mm"] is not None and known["ae_mm"] is not None
    if both and known["ae_mm"] > known["diameter_mm"]:
        known["ae_mm"] = None
    return known


def checked_context(values: Mapping[str, Any]) -> dict[str, Any]:
    """Return the values as they are to be kept; None clears one.

    Raises
    ------
    SettingError
        An unknown name, or a value that cannot be.
    """
    if not isinstance(values, Mapping) or not values:
        raise SettingError("No context was given.", f"Send at least one of: {', '.join(FIELDS)}.")
    return {name: None if value is None else _checked(name, value) for name, value in values.items()}


def _checked(name: str, value: Any) -> Any:
    if name in NUMBERS:
        low, high = NUMBERS[name]
        return (whole if name == "flutes" else number)(low, high)(name, value)
    if name in CHOICES:
        return choice(CHOICES[name], required=True)(name, value)
    if name in TEXTS:
        if not isinstance(value, str) or len(value) > TEXT_LIMIT:
            raise SettingError(f"{name} should be a text of at most {TEXT_LIMIT} characters.", "Shorten it.")
        if name == "measured_modes":
            prior_of(measured=modes_of(value))  # refuses what is no mode, and more than the learning can hold
        return value.strip() or None
    close = get_close_matches(str(name), FIELDS, n=1)
    raise SettingError(
        f"'{name}' is not part of the context.",
        f"Did you mean '{close[0]}'?" if close else f"Known: {', '.join(FIELDS)}.",
    )

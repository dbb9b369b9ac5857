"""What may stand in the register: every field with what it takes, checked before anything is written."""

import math
from collections.abc import Callable, Mapping
from typing import Any

from shopmon.cutting.nouns import MATERIAL_GROUPS, EndMillType
from shopmon.errors import SettingError

LABEL_LIMIT, TEXT_LIMIT, NOTE_LIMIT = 60, 200, 2000
END_MILL = "end mill"
KINDS = (END_MILL, "drill", "tap", "chamfer tool", "other")
WORN = ("flank wear", "finish no longer good", "chipped", "broken")
REASONS = (*WORN, "lost", "still good")
SPREADS = ("uniform", "localized")
STANDARDS = ("ISO 21920", "ISO 4287")
WORDS_OF = {
    "DC": "Diameter DC", "DMM": "Shank diameter DMM", "DN": "Neck diameter DN", "APMX": "Deepest cut APMX",
    "LCF": "Flute length LCF", "LU": "Usable length LU", "LF": "Functional length LF",
    "OAL": "Overall length OAL",
    "RE": "Corner radius RE", "FHA": "Helix angle FHA", "RPMX": "Highest speed RPMX", "NOF": "Flutes NOF",
    "pitch_deg": "Pitch angles", "type_id": "Type", "holder_id": "Holder", "tool_id": "End mill",
    "tool_ids": "End mills", "cut_id": "Cut", "from_sequence": "Beginning of the edge",
    "stickout_mm": "Stickout (mm)", "runout_um": "Runout (µm)", "VB_mm": "Flank wear VB (mm)",
    "nominal_rpm": "Spindle speed (rpm)", "rated_rpm": "Highest speed (rpm)", "diameter_mm": "Diameter (mm)",
    "helix_deg": "Helix angle (°)", "max_vc_m_min": "Highest cutting speed (m/min)",
    "ap_mm": "Axial depth ap (mm)", "ae_mm": "Radial depth ae (mm)", "feed_mm_min": "Table feed (mm/min)",
    "expected_cut_s": "Expected cut (s)",
    "iso_group": "ISO group", "Ra_um": "Ra (µm)", "Rz_um": "Rz (µm)", "Rq_um": "Rq (µm)",
}  # fmt: skip
Check = Callable[[str, Any], Any]


def words_of(name: str) -> str:
    """Return what a person calls a field.

    Examples
    --------
    >>> words_of("VB_mm"), words_of("kind")
    ('Flank wear VB (mm)', 'Kind')
    """
    return WORDS_OF.get(name, name.capitalize())


def text(limit: int = TEXT_LIMIT, *, required: bool = False) -> Check:
    """Return the check of a text: one line apart from notes, without blanks around it."""

    def check(name: str, value: Any) -> str | None:
        if value is not None and (not isinstance(value, str) or len(value) > limit):
            raise SettingError(
                f"{words_of(name)} is no text of up to {limit} characters.", "Write something shorter."
            )
        seen = "".join(ch if ch.isprintable() or ch == "\n" else " " for ch in value or "")
        kept = seen.strip() if name == "note" else " ".join(seen.split())
        if not kept and required:
            missing = f"The {words_of(name).lower()} is missing."
            raise SettingError(missing, "Write what stands on the tube or drawer.")
        return kept or ("" if name == "note" else None)

    return check


def number(low: float, high: float, *, required: bool = False) -> Check:
    """Return the check of a finite number within two limits, both allowed."""

    def check(name: str, value: Any) -> float | None:
        if value is None and not required:
            return None
        good = isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
        if not good or not low <= value <= high:
            raise SettingError(
                f"{words_of(name)} cannot be {value!r}.", f"Enter a number from {low:g} to {high:g}."
            )
        return float(value)

    return check


def whole(low: int, high: int) -> Check:
    """Return the check of a whole number within two limits."""
    inner = number(low, high)

    def check(name: str, value: Any) -> int | None:
        found = inner(name, value)
        if found is not None and not found.is_integer():
            raise SettingError(f"{words_of(name)} cannot be {value!r}.", "Enter a whole number.")
        return None if found is None else int(found)

    return check


def choice(options: tuple[str, ...], *, required: bool = False) -> Check:
    """Return the check of one of several words."""

    def check(name: str, value: Any) -> str | None:
        if value in (None, "") and not required:
            return None
        if value not in options:
            raise SettingError(f"{words_of(name)} cannot be {value!r}.", f"Use one of: {', '.join(options)}.")
        return value

    return check


def reference(name: str, value: Any) -> str | None:
    """Take an id; whether there is such a row is for the register to say."""
    if value in (None, ""):
        return None
    if not isinstance(value, str) or len(value) > TEXT_LIMIT:
        raise SettingError(f"{words_of(name)} is none that is known.", "Choose from the list.")
    return value


def truth(name: str, value: Any) -> bool:
    """Take true or false."""
    if not isinstance(value, bool):
        raise SettingError(f"{words_of(name)} cannot be {value!r}.", "Use true or false.")
    return value


def pitch_angles(name: str, value: Any) -> list[float] | None:
    """Take the angles between flutes, degrees; whether they fit the flutes is checked with the rest."""
    if value in (None, [], ""):
        return None
    angle = number(1, 360, required=True)
    if not isinstance(value, list | tuple):
        raise SettingError(f"{words_of(name)} cannot be {value!r}.", "Give one angle per flute.")
    return [angle(name, each) for each in value]


def some_references(name: str, value: Any) -> list[str]:
    """Take several ids; whether there are such rows is for the register to say."""
    if not isinstance(value, list | tuple) or not value:
        raise SettingError(f"{words_of(name)} were not named.", "Choose from the list.")
    return [reference(name, each) or "" for each in value]


LABEL, NOTE, WORDS = text(LABEL_LIMIT, required=True), text(NOTE_LIMIT), text()
_LENGTH = number(0.01, 1000)
_VB = number(0.001, 10, required=True)

FIELDS: dict[str, dict[str, Check]] = {
    "mill_types": {
        "label": LABEL,
        **dict.fromkeys(("DC", "DMM", "DN", "APMX", "LCF", "LU", "LF", "OAL"), _LENGTH),
        "RE": number(0, 500),
        "FHA": number(-80, 80),
        "RPMX": number(1, 1_000_000),
        "NOF": whole(1, 60),
        "pitch": choice(("equal", "variable")),
        "pitch_deg": pitch_angles,
        **dict.fromkeys(("substrate", "coating", "maker", "price"), WORDS),
        "note": NOTE,
    },
    "tools": {
        "label": LABEL,
        "kind": choice(KINDS, required=True),
        "type_id": reference,
        "flutes": whole(1, 60),
        "note": NOTE,
    },
    "tool_edges": {
        "DC": _LENGTH,
        "LCF": _LENGTH,
        "coating": WORDS,
        "from_sequence": whole(0, 2**53),
        "note": NOTE,
    },
    "holders": {"label": LABEL, "kind": WORDS, "RPMX": number(1, 1_000_000), "note": NOTE},
    "tool_assemblies": {
        "holder_id": reference,
        "stickout_mm": number(0.1, 1000),
        "runout_um": number(0, 1000),
        "note": NOTE,
    },
    "materials": {"label": LABEL, "alloy": WORDS, "iso_group": choice(MATERIAL_GROUPS), "note": NOTE},
    "parts": {"label": LABEL, "note": NOTE},
    "operations": {"label": LABEL, "note": NOTE},
    "tool_retirements": {"reason": choice(REASONS, required=True), "withdrawn": truth, "note": NOTE},
    "wear_readings": {"VB_mm": _VB, "spread": choice(SPREADS), "operation": WORDS, "note": NOTE},
    "wear_limits": {"type_id": reference, "operation": WORDS, "VB_mm": _VB, "note": NOTE},
    "tool_photos": {"note": NOTE},
    "finish_readings": {
        "tool_id": reference,
        "cut_id": reference,
        **dict.fromkeys(("part", "piece", "operation", "material"), WORDS),
        **dict.fromkeys(("Ra_um", "Rz_um", "Rq_um"), number(0.0001, 10_000)),
        "standard": choice(STANDARDS),
        "grade": whole(-100, 100),
        "note": NOTE,
    },
    "blind_trials": {
        "seed": whole(0, 2**31),
        "tool_ids": some_references,
        "parts": whole(2, 1000),
        **dict.fromkeys(("material", "operation"), WORDS),
        "note": NOTE,
    },
}
REQUIRED = {
    "tools": ("label", "kind"),
    "tool_retirements": ("reason",),
    **dict.fromkeys(("mill_types", "holders", "materials", "parts", "operations"), ("label",)),
    **dict.fromkeys(("wear_readings", "wear_limits"), ("VB_mm",)),
    "blind_trials": ("seed", "tool_ids", "parts"),
}


def checked(table: str, values: Mapping[str, Any]) -> dict[str, Any]:
    """Return the values of a new row of a table as they are to be kept.

    Raises
    ------
    SettingError
        A field that is unknown or missing, or a value that cannot be.
    """
    fields = FIELDS[table]
    unknown = sorted(set(values) - set(fields))
    if unknown:
        raise SettingError(f"'{unknown[0][:40]}' is not known here.", f"Known: {', '.join(fields)}.")
    missing = {name: None for name in REQUIRED.get(table, ()) if name not in values}
    kept = {name: fields[name](name, value) for name, value in {**values, **missing}.items()}
    if table == "mill_types":
        type_of(kept)
    return kept


def type_of(row: Mapping[str, Any]) -> EndMillType:
    """Make the type that a row describes; raises SettingError where its values contradict one another."""
    values = {name: row.get(name) for name in FIELDS["mill_types"] if name != "note"}
    angles = values["pitch_deg"]
    if angles is not None and values["pitch"] == "equal" and max(angles) - min(angles) > 1e-6:
        raise SettingError("The pitch is equal, but the angles differ.", "Take one of them out.")
    return EndMillType(**{**values, "label": values["label"] or "", "pitch_deg": angles and tuple(angles)})


def same_label(label: str) -> str:
    """Return what two labels have in common that a person would take for the same."""
    return " ".join(label.split()).casefold()

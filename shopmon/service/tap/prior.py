"""What the tap tests that are kept say of the tool in the spindle: the prior of its learning."""

from collections.abc import Mapping
from math import log10
from typing import Any, Protocol

from shopmon.cutting.advising.prior import AXES
from shopmon.service.speeds.tool_and_job import key_of, key_values

MOST_DAMPING = 0.25  # what dies sooner is no mode of a tool
TOLD = ("frequency_hz", "damping_ratio", "frequency_error_hz", "damping_error")
NOT_THE_TOOL = "material"  # a tap test holds in every material


class TapRows(Protocol):
    """Where tap tests are kept."""

    def tap_tests(self, key: str | None = None, limit: int = 100) -> list[dict]:
        """Return tap tests, newest first."""


def assembly_values(context: Mapping[str, Any]) -> dict[str, Any]:
    """Return the values of a context that make it the same tool assembly on the same machine."""
    return {name: value for name, value in key_values(context).items() if name != NOT_THE_TOOL}


def assembly_key(context: Mapping[str, Any]) -> str:
    """Return the key under which tap tests of a context's tool assembly are kept."""
    return key_of({**context, NOT_THE_TOOL: None})


def measured(rows: TapRows, context: Mapping[str, Any]) -> dict[str, dict]:
    """Return the test that counts of each axis of the tool assembly in a context.

    The newest with a force; where an axis has none, the newest without one.
    """
    found: dict[str, dict] = {}
    if not any(value is not None for name, value in assembly_values(context).items() if name != "machine"):
        return found  # of a tool that nobody named nothing was measured
    kept = [row for row in rows.tap_tests(assembly_key(context)) if row["used"]]
    for with_force, of in ((True, _options), (False, _tones)):
        for row in kept:
            if row["with_force"] is with_force and row["axis"] not in found and of(row):
                found[row["axis"]] = row
    return found


def with_measured_modes(rows: TapRows, context: Mapping[str, Any]) -> dict[str, Any]:
    """Return a context with the modes that were measured of its tool, unless somebody typed others.

    Modes with a stiffness stand in ``measured_modes``, those without in ``heard_tones``.
    """
    if context.get("measured_modes"):
        return dict(context)
    tests = measured(rows, context)
    known = dict(context)
    if text := " ".join(option for axis in sorted(tests) for option in _options(tests[axis])):
        known["measured_modes"] = text
    if heard := [tone for axis in sorted(tests) for tone in _tones(tests[axis])]:
        known["heard_tones"] = heard
    return known


def _tones(row: dict) -> list[dict]:
    """Frequency and damping of the modes that likely give way most, of a test without a force.

    After a blow of the same strength a mode sounds the louder the less stiff it is, and as its frequency
    cubed (acceleration of an impulse response); so loudness over that tells them apart, no more.
    """
    if row["with_force"]:
        return []
    usable = [mode for mode in row["result"]["modes"] if 0 < mode["damping_ratio"] < MOST_DAMPING]
    usable.sort(key=lambda mode: 60 * log10(mode["frequency_hz"]) - mode["over_noise_db"])
    return [
        {"axis": row["axis"], **{name: float(mode[name]) for name in TOLD}}
        for mode in usable[: AXES.count(row["axis"])]
    ]


def _options(row: dict) -> list[str]:
    """The modes that give way most, as many as the learning holds of an axis."""
    usable = [mode for mode in row["result"]["modes"] if mode.get("option")]
    usable.sort(key=lambda mode: mode["stiffness_n_per_m"] * mode["damping_ratio"])
    return [mode["option"] for mode in usable[: AXES.count(row["axis"])]]

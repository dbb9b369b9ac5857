"""What the tap tests that are kept say of the tool in the spindle: the prior of its learning."""

from collections.abc import Mapping
from typing import Any, Protocol

from shopmon.cutting.prior import AXES
from shopmon.service.tool_and_job import key_of, key_values

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
    """Return the newest test that counts of each axis of the tool assembly in a context."""
    found: dict[str, dict] = {}
    if not any(value is not None for name, value in assembly_values(context).items() if name != "machine"):
        return found  # of a tool that nobody named nothing was measured
    for row in rows.tap_tests(assembly_key(context)):
        if row["used"] and row["with_force"] and row["axis"] not in found and _options(row):
            found[row["axis"]] = row
    return found


def with_measured_modes(rows: TapRows, context: Mapping[str, Any]) -> dict[str, Any]:
    """Return a context with the modes that were measured of its tool, unless somebody typed others."""
    if context.get("measured_modes"):
        return dict(context)
    tests = measured(rows, context)
    text = " ".join(option for axis in sorted(tests) for option in _options(tests[axis]))
    return {**context, "measured_modes": text} if text else dict(context)


def _options(row: dict) -> list[str]:
    """The modes that give way most, as many as the learning holds of an axis."""
    usable = [mode for mode in row["result"]["modes"] if mode.get("option")]
    usable.sort(key=lambda mode: mode["stiffness_n_per_m"] * mode["damping_ratio"])
    return [mode["option"] for mode in usable[: AXES.count(row["axis"])]]

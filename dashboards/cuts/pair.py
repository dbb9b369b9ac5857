"""Two cuts beside each other, for the page: the same lanes over one time, levels per order, tones."""

from dataclasses import replace
from typing import Any

import numpy as np
from shopmon.dashboards.report.drawing import lanes_of

from shopmon.service.side_by_side import AUDIBLE_STEP_DB, SideBySide

CHOICES = 60
ORDERS_SHOWN = 12


def choices(monitor: Any, cut: dict[str, Any]) -> list[dict[str, Any]]:
    """Return other cuts to compare with, those of the same part, operation and tool first."""
    said = ("part", "operation", "end_mill_id", "material")
    wanted = {name: cut["context"].get(name) for name in said}

    def unlike(other: dict[str, Any]) -> int:
        return sum(1 for name in said if wanted[name] and other["context"].get(name) != wanted[name])

    found = [other for other in monitor.cuts(limit=CHOICES, ended=True) if other["id"] != cut["id"]]
    return sorted(found, key=unlike)


def pictures(monitor: Any, first: dict[str, Any], second: dict[str, Any], found: SideBySide) -> list:
    """Return the lanes of both over the time of the first."""
    moved = shifted(second, found.shift_s)
    span = min(first["start_s"], moved["start_s"]) - 1.0, max(first["end_s"], moved["end_s"]) + 1.0
    figures = [monitor.features(cut["id"]) for cut in (first, second)]
    if figures[1] is not None:
        figures[1] = {**figures[1], "t_s": np.asarray(figures[1]["t_s"]) + found.shift_s}
    return [lanes_of(cut, figure, span) for cut, figure in zip((first, moved), figures, strict=True)]


def shifted(cut: dict[str, Any], shift_s: float) -> dict[str, Any]:
    """Return a cut with all its times moved."""

    def move(row: dict[str, Any]) -> dict[str, Any]:
        return {
            name: value + shift_s if name.endswith("_s") and isinstance(value, int | float) else value
            for name, value in row.items()
        }

    return {
        **cut,
        "start_s": cut["start_s"] + shift_s,
        "end_s": cut["end_s"] + shift_s,
        "engaged": [[start + shift_s, end + shift_s] for start, end in cut["engaged"]],
        "chatter": [move(span) for span in cut["chatter"]],
        "marks": [move(mark) for mark in cut["marks"]],
        "gaps": [[start + shift_s, end + shift_s] for start, end in cut.get("gaps") or []],
    }


def steps(found: SideBySide) -> SideBySide:
    """Return it with those rotation lines alone that differ most."""
    return replace(found, orders=found.orders[:ORDERS_SHOWN])


def in_words(found: SideBySide) -> list[str]:
    """Say what differs, in sentences."""
    said = [f"They share {100 * found.overlap:.0f} % of their time in metal."]
    loud = [step for step in found.orders if abs(step.step_db) >= AUDIBLE_STEP_DB]
    if found.why_no_orders:
        said.append(f"The turning of the spindle cannot be compared line by line. {found.why_no_orders}")
    elif not loud:
        said.append(f"No line of the spindle comb differs by {AUDIBLE_STEP_DB:.0f} dB or more.")
    else:
        one = loud[0]
        what = "tooth passing" if one.tooth_passing else "the rotation"
        said.append(
            f"{len(loud)} of {len(found.orders)} comb lines differ by {AUDIBLE_STEP_DB:.0f} dB "
            f"or more, most of all order {one.order} ({what}): {one.step_db:+.0f} dB."
        )
    return said

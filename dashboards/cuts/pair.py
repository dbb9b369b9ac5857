"""Two cuts beside each other, for the page: the same lanes over one time, levels per order, tones."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
from shopmon.dashboards.cuts.facts import with_words
from shopmon.dashboards.look.words import tenths
from shopmon.dashboards.report.drawing import lanes_of

from shopmon.cutting.program.steps import Warp
from shopmon.service.cuts.data import safely
from shopmon.service.cuts.side_by_side import AUDIBLE_STEP_DB, SideBySide

CHOICES = 60
ORDERS_SHOWN = 12
CUTTING, PROGRAM = "cutting", "program"
SHORTEST_PAUSE_S = 0.5
SAME_LENGTH = 0.03


def choices(monitor: Any, cut: dict[str, Any]) -> list[dict[str, Any]]:
    """Return other cuts to compare with, those of the same part, operation, section and tool first."""
    said = ("part", "operation", "program_section", "end_mill_id", "material")
    wanted = {name: cut["context"].get(name) for name in said}

    def unlike(other: dict[str, Any]) -> int:
        return sum(1 for name in said if wanted[name] and other["context"].get(name) != wanted[name])

    found = [other for other in monitor.cuts(limit=CHOICES, ended=True) if other["id"] != cut["id"]]
    return sorted(with_words(monitor, found), key=unlike)


def laid_by(found: SideBySide | None, asked: str) -> str:
    """Return by what two cuts are laid over one another: what was asked for, else the program's steps."""
    can = bool(found and found.by_program and found.by_program.warp)
    return PROGRAM if can and asked != CUTTING else CUTTING


def pictures(
    monitor: Any, first: dict[str, Any], second: dict[str, Any], found: SideBySide, by: str = CUTTING
) -> list:
    """Return the lanes of both over the time of the first."""
    warp = found.by_program.warp if by == PROGRAM else None
    move = warp.to_first if warp else lambda at_s: np.asarray(at_s) + found.shift_s
    moved = shifted(second, lambda at_s: float(move(at_s)))
    span = min(first["start_s"], moved["start_s"]) - 1.0, max(first["end_s"], moved["end_s"]) + 1.0
    figures = [safely(monitor, cut["id"]) for cut in (first, second)]
    if figures[1] is not None:
        figures[1] = _moved_figures(figures[1], move, warp)
    stood = pauses(warp) if warp else []
    stands = [(float(warp.to_first(at)), f"stood {tenths(length)}") for at, length in stood]
    return [lanes_of(first, figures[0], span), lanes_of(moved, figures[1], span, stands)]


def _moved_figures(figures: dict[str, Any], move: Callable, warp: Warp | None) -> dict[str, Any]:
    """Return the figures of the second cut at the times of the first; a pause of either leaves a gap."""
    t_s = np.asarray(figures["t_s"], dtype=float)
    new_s = move(t_s)
    if warp is None:
        return {**figures, "t_s": new_s}
    went = np.gradient(new_s, t_s) if len(t_s) > 1 else np.ones(len(t_s))
    lost = (went < 0.02) | (went > 20)  # here one of the two stood
    curves = {
        name: np.where(lost, np.nan, np.asarray(values, dtype=float))
        for name, values in figures.items()
        if name in ("rpm", "comb_db", "stray_db", "level_db")
    }
    return {**figures, **curves, "t_s": new_s}


def pauses(warp: Warp) -> list[tuple[float, float]]:
    """Return when the second run stood while the first went on, and for how long, s."""
    stood = np.diff(warp.second_s) * (np.diff(warp.first_s) < 1e-6)
    return [(float(warp.second_s[k]), float(stood[k])) for k in np.flatnonzero(stood >= SHORTEST_PAUSE_S)]


def shifted(cut: dict[str, Any], move: Callable[[float], float]) -> dict[str, Any]:
    """Return a cut with all its times moved."""

    def moved(row: dict[str, Any]) -> dict[str, Any]:
        return {
            name: move(value) if name.endswith("_s") and isinstance(value, int | float) else value
            for name, value in row.items()
        }

    return {
        **cut,
        "start_s": move(cut["start_s"]),
        "end_s": move(cut["end_s"]),
        "engaged": [[move(start), move(end)] for start, end in cut["engaged"]],
        "chatter": [moved(span) for span in cut["chatter"]],
        "marks": [moved(mark) for mark in cut["marks"]],
        "gaps": [[move(start), move(end)] for start, end in cut.get("gaps") or []],
    }


def steps(found: SideBySide) -> SideBySide:
    """Return it with those rotation lines alone that differ most."""
    return replace(found, orders=found.orders[:ORDERS_SHOWN])


def step_rows(found: SideBySide) -> list[dict[str, Any]]:
    """Return how long each step of the program took in both, pauses apart."""
    rows = []
    for pair in found.by_program.warp.steps:
        took = [
            last - first - stood
            for (first, last), stood in (
                (pair.first, pair.first_paused_s),
                (pair.second, pair.second_paused_s),
            )
        ]
        stood = [max(at, 0.0) for at in (pair.first_paused_s, pair.second_paused_s)]
        rows.append({"number": pair.number + 1, "took_s": took, "stood_s": stood, "ratio": took[1] / took[0]})
    return rows


def in_words(found: SideBySide, by: str = CUTTING) -> list[str]:
    """Say what differs, in sentences."""
    said = _steps_in_words(found) if by == PROGRAM else _shared_in_words(found)
    loud = [step for step in found.orders if abs(step.step_db) >= AUDIBLE_STEP_DB]
    if found.why_no_orders:
        said.append(f"The turning of the spindle cannot be compared line by line. {found.why_no_orders}")
    elif not loud:
        said.append(f"No line of the spindle comb differs by {AUDIBLE_STEP_DB:.0f} dB or more.")
    else:
        one = loud[0]
        step = f"{one.step_db:+.0f}".replace("-", "−")
        what = "tooth passing" if one.tooth_passing else "the rotation"
        said.append(
            f"{len(loud)} of {len(found.orders)} comb lines differ by {AUDIBLE_STEP_DB:.0f} dB "
            f"or more, most of all order {one.order} ({what}): {step} dB."
        )
    return said


def _shared_in_words(found: SideBySide) -> list[str]:
    said = [f"They share {100 * found.overlap:.0f} % of their time in metal."]
    if found.by_program and found.by_program.why_not:
        why = found.by_program.why_not
        said.append(f"They cannot be laid over one another by the steps of the program. {why}")
    return said


def _steps_in_words(found: SideBySide) -> list[str]:
    laid, rows = found.by_program, step_rows(found)
    heard = f"{len(rows)} of its {laid.steps} {'step was' if laid.steps == 1 else 'steps were'} heard in both"
    said = [f"Section {laid.section} of {laid.program}: {heard}."]
    took = [sum(row["took_s"][which] for row in rows) for which in (0, 1)]
    ratio = took[1] / took[0]
    if abs(ratio - 1) > SAME_LENGTH:
        how, share = "slower" if ratio > 1 else "faster", f"{100 / ratio:.0f} %"
        lengths = f"{tenths(took[1])} instead of {tenths(took[0])}"
        said.append(f"The second was {how} in them: {lengths}, as at {share} of the feed of the first.")
    for which, name in ((0, "first"), (1, "second")):
        stood = [(row["number"], row["stood_s"][which]) for row in rows]
        said += [
            f"The {name} stood {tenths(length)} in step {number}."
            for number, length in stood
            if length >= SHORTEST_PAUSE_S
        ]
    return said

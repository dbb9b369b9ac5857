"""Drilling cycles written out: what the tool does at one hole."""

from collections.abc import Iterator
from math import ceil, isfinite
from typing import NamedTuple

from shopmon.errors import ProgramError

CHIP_GAP_MM = 0.254  # the report's 0.010 inch above the last depth; a parameter of the control elsewhere
MOST_PECKS = 5000
FEED_OUT = (740, 840, 850, 890)
DWELLS = (740, 760, 820, 840, 860, 870, 880, 890)


class Hole(NamedTuple):
    """One hole along the axis across the plane, mm.

    Attributes
    ----------
    code
        Of the cycle, in tenths.
    retract_mm, bottom_mm
        The R level and the bottom.
    peck_mm
        Depth of one peck, 0 where none is given.
    dwell_s
        At the bottom.
    out_to_mm
        Level that the cycle ends at.
    """

    code: int
    retract_mm: float
    bottom_mm: float
    peck_mm: float
    dwell_s: float
    out_to_mm: float


Stroke = tuple[str, float]


def strokes(hole: Hole, line: int) -> Iterator[Stroke]:
    """Yield ``("rapid" | "feed", level)`` and ``("dwell" | "stop", seconds)`` from the R level on.

    Raises
    ------
    ProgramError
        Pecking without a depth of peck, or with so little that the hole is never done.
    """
    if hole.code in (730, 830):
        yield from _pecks(hole, line)
    else:
        yield "feed", hole.bottom_mm
        if hole.code in DWELLS and hole.dwell_s:
            yield "dwell", hole.dwell_s
        if hole.code == 880:  # the person lifts the tool by hand
            yield "stop", 0.0
        if hole.code in FEED_OUT:
            yield "feed", hole.retract_mm
    yield "rapid", hole.out_to_mm


def _pecks(hole: Hole, line: int) -> Iterator[Stroke]:
    depth = hole.retract_mm - hole.bottom_mm
    if hole.peck_mm <= 0:
        yield "feed", hole.bottom_mm  # controls drill in one go where Q is absent
        return
    count = ceil(abs(depth) / hole.peck_mm - 1e-9) if isfinite(depth) else 1
    if count > MOST_PECKS:
        raise ProgramError(
            f"Line {line}: pecks of {hole.peck_mm:g} mm would take {count} for one hole.", "Look at Q there."
        )
    step = hole.peck_mm if depth >= 0 else -hole.peck_mm
    gap = min(CHIP_GAP_MM, hole.peck_mm) * (1 if depth >= 0 else -1)
    for number in range(1, count + 1):
        level = hole.bottom_mm if number == count else hole.retract_mm - number * step
        yield "feed", level
        if number < count:
            if hole.code == 830:
                yield "rapid", hole.retract_mm
                yield "rapid", level + gap
            else:
                yield "rapid", level + gap
    if hole.dwell_s:
        yield "dwell", hole.dwell_s

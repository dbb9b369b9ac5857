"""Moves of the tool point, and the geometry of arcs."""

from math import atan2, hypot, isfinite, pi, sqrt
from typing import Literal, NamedTuple

from shopmon.errors import ProgramError

ARC_TOLERANCE_MM, ARC_TOLERANCE_SHARE = 0.02, 0.001
Vector = tuple[float, float, float]
EventKind = Literal["tool", "spindle", "dwell", "stop", "end"]


class Move(NamedTuple):
    """One move.

    Attributes
    ----------
    line
        Line of the main program that it belongs to.
    feed
        At feed rate; else rapid.
    length_mm
        Of the path of the tool point.
    seconds
        At the programmed feed without acceleration; 0 for a rapid, whose speed is the machine's.
    starts, ends
        Direction of travel at its two ends, unit vectors; zero where only a rotary axis turns.
    radius_mm
        Of an arc, seen along its path; None for a straight line.
    """

    line: int
    feed: bool
    length_mm: float
    seconds: float
    starts: Vector
    ends: Vector
    radius_mm: float | None = None


class Event(NamedTuple):
    """What is no move: `value` is the tool's number, the speed in rpm, or seconds of a dwell.

    ``note`` is the comment beside a tool change.
    """

    line: int
    kind: EventKind
    value: float | None = None
    note: str = ""


class Arc(NamedTuple):
    """An arc in its plane: radius, signed angle (counter-clockwise is positive), angles of both ends, rad."""

    radius_mm: float
    turned_rad: float
    start_rad: float
    end_rad: float


def arc_from_centre(
    start: tuple[float, float],
    end: tuple[float, float],
    centre: tuple[float, float],
    clockwise: bool,
    line: int,
) -> Arc:
    """Return the arc between two points about a centre; a whole turn where they are the same.

    The report allows 0.002 mm between the two radii; post-processors round to 0.001 inch, so this allows
    0.02 mm and a thousandth of the radius.

    Raises
    ------
    ProgramError
        It does not close.
    """
    first = (start[0] - centre[0], start[1] - centre[1])
    last = (end[0] - centre[0], end[1] - centre[1])
    radius, other = hypot(*first), hypot(*last)
    if not isfinite(radius + other):
        raise ProgramError(
            f"Line {line}: where the arc starts is not known.",
            "Let a line with all axes of its plane go before it.",
        )
    if radius == 0 or abs(radius - other) > ARC_TOLERANCE_MM + ARC_TOLERANCE_SHARE * radius:
        raise ProgramError(
            f"Line {line}: the arc does not close: it starts {radius:.3f} mm from its centre and ends "
            f"{other:.3f} mm from it.",
            "Look at I, J and K there: from the start of the arc, or with G90.1 from the origin.",
        )
    start_rad, end_rad = atan2(first[1], first[0]), atan2(last[1], last[0])
    turned = _turned(start_rad, end_rad, clockwise)
    same = hypot(end[0] - start[0], end[1] - start[1]) < 1e-6
    if same:
        turned = -2 * pi if clockwise else 2 * pi
    return Arc(radius, turned, start_rad, end_rad)


def _turned(start_rad: float, end_rad: float, clockwise: bool) -> float:
    angle = (end_rad - start_rad) % (2 * pi)
    if clockwise:
        angle -= 2 * pi
    return angle


def centre_from_radius(
    start: tuple[float, float], end: tuple[float, float], radius_mm: float, clockwise: bool, line: int
) -> tuple[float, float]:
    """Return the centre of an arc given by its radius; below 0 it is the longer of the two.

    Raises
    ------
    ProgramError
        The ends are the same, or further apart than the arc is wide.
    """
    dx, dy = end[0] - start[0], end[1] - start[1]
    chord = hypot(dx, dy)
    if chord < 1e-6:
        raise ProgramError(
            f"Line {line}: an arc with R cannot end where it starts.", "Write a whole circle with I, J or K."
        )
    over = chord / 2 - abs(radius_mm)
    if not isfinite(chord) or over > ARC_TOLERANCE_MM + ARC_TOLERANCE_SHARE * abs(radius_mm):
        raise ProgramError(
            f"Line {line}: the arc does not close: its ends are {chord:.3f} mm apart, more than twice its "
            f"radius of {abs(radius_mm):.3f} mm.",
            "Look at R and at the end of the arc there.",
        )
    height = sqrt(max(radius_mm**2 - (chord / 2) ** 2, 0.0))
    side = height if (radius_mm > 0) != clockwise else -height  # to the left of the chord or to its right
    return (start[0] + end[0]) / 2 - side * dy / chord, (start[1] + end[1]) / 2 + side * dx / chord

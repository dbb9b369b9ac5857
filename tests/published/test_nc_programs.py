"""Worked examples of the report on the RS274/NGC interpreter, and machining times by the textbook's formula.

T. R. Kramer, F. M. Proctor, E. Messina, "The NIST RS274NGC Interpreter, Version 3", NISTIR 6556, 2000: the
examples of arcs (section on G2 and G3) and of drilling (section on G81), quoted from memory. The times follow
from length over feed.
"""

from math import asin, hypot, sqrt

import pytest

from shopmon.cutting.program.interpreter import Interpreter
from shopmon.cutting.program.moves import Move
from shopmon.cutting.program.sources import outline


def moves(*lines):
    """Return the moves of a program as (feed, length)."""

    def opened():
        return list(lines)

    steps = Interpreter(opened, outline(opened)).run()
    return [step for step in steps if isinstance(step, Move) and step.length_mm > 0]


def ways(*lines):
    return [(move.feed, pytest.approx(move.length_mm)) for move in moves(*lines)]


def test_drilling_in_absolute_distances():
    # "Suppose the current position is (1, 2, 3)": g90 g81 g98 x4 y5 z1.5 r2.8 goes to (4, 5, 3), down to
    # (4, 5, 2.8), feeds to (4, 5, 1.5) and comes out to (4, 5, 3)
    found = ways("g21 f60", "g0 x1 y2 z3", "g90 g81 g98 x4 y5 z1.5 r2.8")[1:]
    assert found == [(False, hypot(3, 3)), (False, 0.2), (True, 1.3), (False, 1.5)]


def test_drilling_in_incremental_distances_with_repeats():
    # from (1, 2, 3), g91 g81 g98 x4 y5 z-0.6 r1.8 l3: up to (1, 2, 4.8), then three times to the next hole
    # (5, 7), (9, 12), (13, 17), down to 4.2 at feed and out to 4.8
    found = ways("g21 f60", "g0 x1 y2 z3", "g91 g81 g98 x4 y5 z-0.6 r1.8 l3")[1:]
    hole = [(False, hypot(4, 5)), (True, 0.6), (False, 0.6)]
    assert found == [(False, 1.8), *hole, *hole, *hole]


def test_an_arc_by_its_centre():
    # g17 g2 x10 y16 i3 j4 z9: "the radius of the arc will be 5"; it starts at (7, 7, 9): to be on that circle
    # about (10, 11) and end at (10, 16)
    (arc,) = moves("g21 f60", "g0 x7 y7 z9", "g17 g2 x10 y16 i3 j4 z9")[1:]
    assert arc.radius_mm == pytest.approx(5)
    # clockwise from (7, 7), below left, to the top: 180 degrees less the angle whose sine is 3/5
    assert arc.length_mm == pytest.approx(5 * (3.141592653589793 - asin(3 / 5)))


def test_a_helix_by_its_radius():
    # g17 g2 x10 y15 r20 z5: "ending where x = 10, y = 15 and z = 5, with a radius of 20"; from the origin
    (helix,) = moves("g21 f60", "g0 x0 y0 z0", "g17 g2 x10 y15 r20 z5")
    flat = 2 * 20 * asin(hypot(10, 15) / 2 / 20)
    assert helix.length_mm == pytest.approx(sqrt(flat**2 + 25))
    assert helix.seconds == pytest.approx(helix.length_mm)  # at 60 mm a minute


@pytest.mark.parametrize(
    ("length_mm", "fz_mm", "flutes", "rpm"), [(300, 0.1, 4, 800), (127, 0.05, 3, 12000), (60, 0.02, 2, 20000)]
)
def test_machining_time_of_a_pass(length_mm, fz_mm, flutes, rpm):
    # the textbook's formula (any of them): t = L / vf with vf = fz z n
    feed = fz_mm * flutes * rpm
    (cut,) = moves("G21 G90", f"S{rpm} M3", f"G1 X{length_mm} F{feed:.4f}")
    assert cut.seconds == pytest.approx(60 * length_mm / (fz_mm * flutes * rpm), rel=1e-6)

"""Ways and times: planes, units, distances, feed modes, arcs, offsets."""

from itertools import pairwise
from math import hypot, pi, sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopmon.errors import ProgramError
from tests.cutting.program.helper import HEAD, only_section, read

QUARTER = pi * 10 / 2


@pytest.mark.parametrize(
    ("lines", "length"),
    [
        (["G1 X30 Y40 F600"], 50),
        (["G1 X30 F600", "Y40"], 70),
        (["G91 G1 X30 F600", "X-30"], 60),
        (["G1 X30 F600", "X30"], 30),
        (["G2 X10 Y10 I10 F600"], QUARTER),
        (["G3 X10 Y10 I10 F600"], 3 * QUARTER),
        (["G2 X10 Y10 R10 F600"], QUARTER),
        (["G2 X10 Y10 R-10 F600"], 3 * QUARTER),
        (["G3 X10 Y10 J10 F600"], QUARTER),
        (["G2 I10 F600"], 4 * QUARTER),
        (["G2 X0 Y0 I10 F600", "I5"], 6 * QUARTER),
        (["G2 I10 P3 F600"], 12 * QUARTER),
        (["G2 X10 Y10 I10 Z-5 F600"], hypot(QUARTER, 5)),
        (["G18 G3 X10 Z10 I10 F600"], QUARTER),
        (["G18 G2 X10 Z10 I10 F600"], 3 * QUARTER),
        (["G19 G2 Y10 Z10 J10 F600"], QUARTER),
        (["G90.1 G2 X10 Y10 I10 J0 F600"], QUARTER),
        (["G0 X7 Y3", "G91 G2 X10 Y10 I10 F600"], QUARTER),
        (["G92 X0 Y0", "G1 X10 F600"], 10),
        (["G52 X5", "G1 X10 F600"], 15),
        (["G0 X10", "G10 L2 P1 X50", "G1 X20 F600"], 10),
        (["G0 Z50", "G28 Z0", "G91 G1 X10 F600"], 10),
        (["G1 X10 F600", "G80", "G1 X20"], 20),
    ],
    ids=str,
)
def test_way_and_time(lines, length):
    section = only_section(*lines)
    assert section.feed_length_mm == pytest.approx(length)
    assert section.feed_s == pytest.approx(length / 10)


def test_inches_and_their_feed():
    program = read("G20", "T1 M6", "S8000 M3", "G0 X0 Y0", "G1 X1 F60", "M30")
    assert program.units == "inch"
    assert program.sections[0].feed_length_mm == pytest.approx(25.4)
    assert program.sections[0].feed_s == pytest.approx(1.0)


def test_feed_modes():
    section = only_section("G0 X0", "G93 G1 X10 F4", "X40 F2", "G94 X50 F600", "G95 X130 F0.01")
    # 60/4 + 60/2 by inverse time, 1 s at 600 mm/min, 80 mm at 0.01 mm a turn and 8000 turns a minute
    assert section.feed_s == pytest.approx(15 + 30 + 1 + 60)


def test_rapids_are_no_feed():
    section = only_section("G0 X300 Y400", "G1 X310 F600")
    assert section.rapid_s == pytest.approx(500 / (5000 / 60))
    assert section.feed_length_mm == pytest.approx(10)


@pytest.mark.parametrize(
    ("words", "seconds"), [("P1.5", 1.5), ("P2", 2), ("P500", 0.5), ("X3.", 3), ("U0.25", 0.25), ("F4", 4)]
)
def test_dwell(words, seconds):
    section = only_section("G1 X10 F600", f"G4 {words}", "X20")
    assert section.dwell_s == pytest.approx(seconds)
    assert section.feed_length_mm == pytest.approx(20)
    assert [span.kind for span in section.spans] == ["feed", "dwell", "feed"]


@pytest.mark.parametrize(
    ("lines", "reason"),
    [
        (["G2 X10 Y0 I4 F600"], r"Line 4: the arc does not close: it starts 4.000 mm .* ends 6.000 mm"),
        (["G2 X10 Y0 R4 F600"], "Line 4: the arc does not close: its ends are 10.000 mm apart"),
        (["G2 X10 F600"], "Line 4: an arc without I, J, K or R"),
        (["G2 X0 Y0 R4 F600"], "cannot end where it starts"),
        (["G28 X0 Y0", "G2 X10 Y0 R9 F600"], "Line 5: .*"),
        (["G1 X10"], "Line 4: it cuts before any feed was said"),
        (["G93 G1 X10 F4", "X20"], "Line 5: under G93 each move needs an F"),
        (["G1 X10 F0"], "F0 never arrives"),
        (["S0", "G95 G1 X10 F0.1"], "no spindle speed is known"),
        (["G1 X10 F600", "G20 X1"], "Line 5: the program moved in mm and moves in inches from here on"),
        (["G51 X2", "G1 X10 F600"], "G51 scales lengths"),
        (["G16", "G1 X10 F600"], "G16 gives positions as angle and radius"),
        (["G31 X10 F600"], "until a probe touches"),
        (["G4 P-1"], "a dwell cannot last"),
    ],
    ids=str,
)
def test_what_cannot_be_timed_is_refused_with_its_line(lines, reason):
    with pytest.raises(ProgramError, match=reason) as caught:
        read(*HEAD, *lines, "M30")
    assert caught.value.hint


@pytest.mark.parametrize(
    ("lines", "warning"),
    [
        (["G77 X10", "G1 X20 F600", "X30"], "Line 4: G77 is not known; the times may be wrong"),
        (["M450", "G1 X20 F600"], "Line 4: M450 is not known"),
        (["G41 D1", "G1 X20 F600"], "beside the written path"),
        (["G54", "G1 X20 F600", "G55", "G0 X0"], "Line 6: the work offset changes to G55"),
        (["G28 Z0", "G1 X20 F600"], "G28, G30, G53"),
        (["/G1 X20 F600"], "lines with a slash are counted as run"),
        (["G1 A90 F600"], "a rotary axis turns at feed"),
        (["G1 X10 U5 F600"], "the axis U is not known"),
        (["G4 P700", "G1 X20 F600"], "taken as milliseconds"),
        (["MSG(hello)", "G1 X20 F600"], "Line 4 cannot be read and is left out"),
        (["G2 X10 Y10 I10 J30 F600", "G1 X1"], None),
        (["G1 X20 F600"], "feeds before anything placed the tool"),
    ],
    ids=str,
)
def test_what_is_doubtful_is_told(lines, warning):
    if warning is None:
        with pytest.raises(ProgramError):
            read(*HEAD, *lines)
    else:
        assert any(warning in text for text in read(*HEAD, *lines, "M30").warnings)


def test_a_usual_program_gives_no_warning():
    assert read(*HEAD, "G54", "G0 G43 H1 Z50", "X0 Y0", "G1 X9 F600", "M9", "M5", "M30").warnings == ()


def test_the_unit_is_told_where_the_program_does_not_say_it():
    lines = ["T1 M6", "S8000 M3", "G0 X0", "G1 X1 F60", "M30"]
    assert any("neither G20 nor G21" in text for text in read(*lines).warnings)
    told = read(*lines, inch=True)
    assert (told.units, told.warnings) == ("inch", ())
    assert told.sections[0].feed_length_mm == pytest.approx(25.4)


def test_centres_from_the_origin_are_found_out_by_the_first_arc():
    program = read(*HEAD, "G0 X20 Y0", "G2 X30 Y10 I30 J0 F600", "G1 X0", "M30")
    assert program.sections[0].feed_length_mm == pytest.approx(QUARTER + 30)
    assert any("counted from the origin" in text for text in program.warnings)


coordinate = st.integers(-200_000, 200_000).map(lambda value: value / 1000)
points = st.lists(st.tuples(coordinate, coordinate, coordinate), min_size=1, max_size=20)


@given(points, st.integers(1, 5000))
def test_absolute_and_incremental_agree_with_the_sum_of_lengths(places, feed):
    path = [(0.0, 0.0, 0.0), *places, (300.0, 0.0, 0.0)]
    steps = [tuple(b - a for a, b in zip(*pair, strict=True)) for pair in pairwise(path)]
    total = sum(sqrt(sum(part**2 for part in step)) for step in steps)
    absolute = only_section("G0 X0 Y0 Z0", f"G1 F{feed}", *(_written(place) for place in path[1:]))
    relative = only_section("G0 X0 Y0 Z0", f"G91 G1 F{feed}", *(_written(step) for step in steps))
    for section in (absolute, relative):
        assert section.feed_length_mm == pytest.approx(total, abs=1e-6)
        assert section.feed_s == pytest.approx(60 * total / feed, abs=1e-6)


def _written(vector):
    return " ".join(f"{letter}{value:.6f}" for letter, value in zip("XYZ", vector, strict=True))

"""Tools, speeds and lines of the sections; subprograms; what ends a program."""

import pytest

from shopmon.cutting.program import interpreter
from shopmon.cutting.program.reading import program_as_data
from shopmon.errors import ProgramError
from tests.cutting.program.helper import HEAD, read

CUT = "G1 X100 F600"
BACK = "G0 X0"


def seen(program):
    """Tool, speed, lines and time of each section."""
    return [(s.tool, s.rpm, s.start_line, s.end_line, round(s.feed_s, 6)) for s in program.sections]


def test_a_tool_change_and_a_new_speed_begin_a_section():
    program = read(
        "G21", "T1 M6 (rougher)", "S8000 M3", BACK, CUT, BACK, "S6000", CUT, "T2 M6", "S9000 M3", "X0", "M30"
    )
    assert seen(program) == [(1, 8000, 2, 6, 10), (1, 6000, 7, 8, 10), (2, 9000, 9, 12, 10)]
    assert [section.note for section in program.sections] == ["rougher", "rougher", ""]
    assert program.tools == (1, 2)


@pytest.mark.parametrize(
    ("lines", "tools"),
    [
        (["T1", "M6", "S8000 M3", BACK, CUT, "T2", BACK, CUT, "M6", BACK, CUT], [1, 2]),  # called ahead
        (["T1", "S8000 M3", BACK, CUT, "T2", BACK, CUT], [1, 2]),  # nobody says M6
        (["T0101", "S8000 M3", BACK, CUT, "T0303", BACK, CUT], [1, 3]),  # as lathes have it
        (["M6 T1", "S8000 M3", BACK, CUT, "M6 T1", BACK, CUT], [1, 1]),  # the same tool again
        (["S8000 M3", BACK, CUT], [None]),
        (["T1 M6", "S8000 M3", BACK, CUT, "T9 M6", "G0 Z50"], [1]),  # changed for the next part
    ],
    ids=str,
)
def test_which_tool(lines, tools):
    assert [section.tool for section in read("G21", *lines, "M30").sections] == tools


def test_a_cut_without_a_tool_or_a_speed_is_told():
    warnings = read("G21", BACK, CUT, "M30").warnings
    assert any("without a tool number" in text for text in warnings)
    assert any("speed is 0 or not said" in text for text in warnings)


def test_the_spindle_off_and_on_again_is_no_new_section():
    (section,) = read(*HEAD, BACK, CUT, "M5", "M0", "M3", "X0", "M30").sections
    assert section.stops == 1
    assert [span.kind for span in section.spans] == ["rapid", "feed", "stop", "feed"]


def test_what_does_not_cut_counts_to_the_section_after_it():
    program = read(
        "G21",
        "G0 X50",
        "T1 M6",
        "S8000 M3",
        "X0",
        CUT,
        "T2 M6",
        "S9000 M3",
        "G0 X50",
        "T3 M6",
        "G1 X0",
        "M30",
    )
    assert [section.tool for section in program.sections] == [1, 3]
    rapid = [section.rapid_s * 5000 / 60 for section in program.sections]
    assert rapid == pytest.approx([100, 50])


SUBPROGRAM = ["O100", "G91 G1 X10 F600", "G90", "M99"]


@pytest.mark.parametrize(
    ("call", "body", "length"),
    [
        ("M98 P100", SUBPROGRAM, 10),
        ("M98 P100 L3", SUBPROGRAM, 30),
        ("M98 P0030100", SUBPROGRAM, 30),
        ("m98p100", ["o0100", *SUBPROGRAM[1:]], 10),
        ("M98 P100", [":100", *SUBPROGRAM[1:]], 10),
        ("o100 call", ["o100 sub", "g91 g1 x10 f600", "g90", "o100 endsub"], 10),
        ("o<leg> call", ["o<leg> sub", "g91 g1 x10 f600", "g90", "o<leg> endsub"], 10),
        ("M97 P500", ["N500 G91 G1 X10 F600", "G90", "M99"], 10),
        ("M98 P200", ["O200", "M98 P100 L2", "M98 P100", "M99", *SUBPROGRAM], 30),
        ("M98 P100", ["O100", "G91 G1 X10 F600", "G90"], 10),
    ],
    ids=str,
)
def test_subprograms(call, body, length):
    (section,) = read(*HEAD, BACK, call, "M30", *body).sections
    assert section.feed_length_mm == pytest.approx(length)
    assert (section.start_line, section.end_line) == (2, 6)


def test_a_subprogram_may_stand_before_the_line_that_calls_it():
    (section,) = read(*HEAD, "o1 sub", CUT, "o1 endsub", BACK, "o1 call", "M2").sections
    assert section.feed_length_mm == pytest.approx(100)


def test_a_tool_changed_in_a_subprogram_belongs_to_the_line_of_the_call():
    program = read(*HEAD, BACK, CUT, "M98 P7", "M30", "O7", "T2 M6", "S5000 M3", BACK, CUT, "M99")
    assert seen(program) == [(1, 8000, 2, 5, 10), (2, 5000, 6, 7, 10)]


@pytest.mark.parametrize(
    ("lines", "reason"),
    [
        (["M98 P100", "M30", "O100", "M98 P100", "M99"], "subprogram 100 calls itself"),
        (["M98 P1", "M30", "O1", "M98 P2", "M99", "O2", "M98 P1", "M99"], "subprogram 1 calls itself"),
        (["M98 P100", "M30"], "Line 4: subprogram 100 is not in this file"),
        (["M98", "M30"], "Line 4: it calls a program that is not in this file"),
        (["M98 P1", "M30", "O1", "M99 P20"], "goes back to another line"),
        (["o1 call", "M2", "o1 sub", "G1", "o1 if [1]"], "it decides or repeats"),
        (["o1 sub", "G1 X1"], "has no end"),
        (["#1=5", "G1 X#1 F100"], "Line 4: it computes with parameters"),
        (["M98 P1", "M30", "O1", "M99", "O1", "M99"], "subprogram 1 is there twice"),
        (["T1.5 M6"], "T1.5 is no tool number"),
        (["S-5"], "S-5 is no spindle speed"),
        (["G2 I10 P1000000000 F600"], "turns .P. cannot be meant"),
        (["G2 I10 P2.5 F600"], "an arc of 2.5 turns"),
    ],
    ids=str,
)
def test_what_cannot_be_followed_is_refused(lines, reason):
    with pytest.raises(ProgramError, match=reason):
        read(*HEAD, *lines)


def test_calls_without_end_are_stopped(monkeypatch):
    monkeypatch.setattr(interpreter, "MOST_BLOCKS", 1000)
    with pytest.raises(ProgramError, match="does not come to an end"):
        read(*HEAD, "M98 P1 L9999", "M30", "O1", "G91 G1 X1 F100", "M99")


@pytest.mark.parametrize("end", ["M30", "M2", "M02", "M99", "%"])
def test_nothing_after_the_end_is_run(end):
    lines = ["%", *HEAD, BACK, CUT, end, "G1 X999"]
    assert read(*lines).sections[0].feed_length_mm == pytest.approx(100)


def test_the_next_program_of_a_file_is_not_run():
    (section,) = read("%", "O1 (one)", *HEAD, BACK, CUT, "O2 (two)", "G1 X999", "M30").sections
    assert section.feed_length_mm == pytest.approx(100)


def test_a_program_that_starts_over_is_counted_once():
    assert any("begins again for ever" in text for text in read(*HEAD, BACK, CUT, "M99").warnings)


@pytest.mark.parametrize(
    ("lines", "reason"),
    [
        ([], "The file is empty"),
        (["", "(nothing)", ""], "The file is empty"),
        (["G21", "M30"], "No line of this program cuts"),
        (
            ["BEGIN PGM HUB MM", "TOOL CALL 3 Z S12000", "L X+10 Y-5 R0 FMAX", "END PGM HUB MM"],
            "plain language",
        ),
        (["<!DOCTYPE html>", "<html>", "<p>no</p>"], "a web page"),
        (["G1 X1,5 F100", "Y2,5"], "decimal commas"),
        (["G28", "M104 S200", "G1 X1 E1 F100"], "a 3D printer"),
        (["Dear all,", "see you on Monday."], "no NC program"),
        (["G21\0"], "binary"),
        (["G1 X1 F100 " + " " * 3000], "longer than 2000 characters"),
        ([*HEAD, *["G1 X1 F100"] * 60, *["LX+1"] * 21], "more than 20 lines cannot be read"),
    ],
    ids=lambda value: str(value)[:40],
)
def test_what_is_no_program_is_refused(lines, reason):
    with pytest.raises(ProgramError, match=reason) as caught:
        read(*lines)
    assert caught.value.hint


def test_the_contract():
    found = program_as_data(read("G21", "T3 M6 (rougher)", "S12000 M3", BACK, CUT, "M30"))
    assert found == {
        "schema": "shopmon.program/1",
        "units": "mm",
        "sections": [
            {
                "tool": 3, "rpm": 12000.0, "start_line": 2, "end_line": 6, "feed_s": 10.0, "rapid_s": 0.0,
                "feed_length_mm": 100.0, "dwell_s": 0.0, "stops": 0, "note": "rougher",
            }
        ],
        "warnings": [],
        "lines": 6,
        "acceleration_mm_per_s2": None,
        "rapid_mm_per_min": 5000.0,
        "rapid_assumed": True,
    }  # fmt: skip

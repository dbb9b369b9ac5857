"""Whatever stands in a file: it is read to finite times, or refused with a reason, and comes to an end."""

from math import isfinite

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopmon.cutting.program.reading import program_as_data, read_program
from shopmon.cutting.program.timing import MachineMotion
from shopmon.errors import ProgramError

numbers = st.one_of(
    st.integers(-50, 50).map(str),
    st.decimals(-999, 999, places=3).map(str),
    st.sampled_from(["", ".", "1e9", "0"]),
)
CODES = """
G0 G1 G2 G3 G4 G17 G18 G19 G20 G21 G28 G41 G43 G52 G53 G54 G55 G73 G80 G81 G82 G83 G84 G85 G86 G87 G90 G91
G90.1 G91.1 G92 G93 G94 G95 G98 G99 G123 M0 M1 M2 M3 M5 M6 M30 M98 M99 M97 M777 / % O1 O2 :3 ( ) ; #1=2
o1sub o1endsub o1call
"""
codes = st.sampled_from(CODES.split())
words = st.one_of(codes, st.tuples(st.sampled_from("XYZABCIJKRQPFSTLHDNOUE"), numbers).map("".join))
blocks = st.lists(words, max_size=6).map(" ".join)


@given(st.lists(blocks, max_size=25), st.sampled_from([None, 100.0]))
def test_words_in_any_order(lines, acceleration):
    text = ["G21 G90 T1 M6 S1000 M3 F100", "G0 X0 Y0", "G1 X1", *lines]
    try:
        found = program_as_data(
            read_program(lambda: text, MachineMotion(acceleration_mm_per_s2=acceleration))
        )
    except ProgramError as exc:
        assert exc.text.endswith(".")
        return
    for section in found["sections"]:
        assert all(
            isfinite(section[name]) and section[name] >= 0 for name in ("feed_s", "rapid_s", "dwell_s")
        )
        assert section["start_line"] <= section["end_line"]


@given(st.lists(st.text(max_size=30), max_size=20))
def test_any_text(lines):
    try:
        read_program(lambda: lines)
    except ProgramError as exc:
        assert exc.hint


@pytest.mark.parametrize("way", [(10.0, 0.0, 10.01), (10.01, 0.0, 10.0)])
def test_an_arc_whose_ends_lie_on_one_ray(way):
    start, _, end = way
    text = ["G21", "T1 M6", "S1 M3", f"G0 X{start}", f"G3 X{end} I-{start} F60", "G1 X0", "M30"]
    assert read_program(lambda: text).sections[0].feed_length_mm == pytest.approx(end, abs=0.02)

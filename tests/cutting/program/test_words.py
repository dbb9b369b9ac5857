"""Lines to words: comments, blanks, slashes, and what is no word."""

import doctest

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopmon.cli import program_text
from shopmon.cutting.program import modal, timing, words
from shopmon.cutting.program.words import cleaned, comment_of, read_block
from tests.cutting.program.helper import only_section


@pytest.mark.parametrize("module", [words, modal, timing, program_text], ids=lambda module: module.__name__)
def test_examples(module):
    failed, tried = doctest.testmod(module)
    assert tried > 0 and failed == 0


@pytest.mark.parametrize(
    "text",
    [
        "G1 X10 Y-.5 F300",
        "g01x10.y-0.5f300.",
        "N0040 G1X 10 Y -.50 F 3 0 0",
        "G1(in)X10Y-.5 (a (b) c)F300 ; on",
    ],
)
def test_one_line_in_many_spellings(text):
    block = read_block(cleaned(text), 1)
    assert block.g == [10]
    assert block.words == {"X": 10.0, "Y": -0.5, "F": 300.0}


def test_slash_and_its_number():
    assert read_block("/N10G1X1", 1).skippable
    assert read_block("/2G1X1", 1).g == [10]


@pytest.mark.parametrize("text", ["X", "X1Y", "X=3", "L X+10", "X1,5", "--", "X1.2.3", "Xinf", "1X"])
def test_what_is_no_word_is_refused(text):
    assert read_block(cleaned(text), 1) is None


def test_an_open_comment_reaches_to_the_end_of_its_line():
    assert cleaned("G1 X1 (never closed X9") == "G1X1"
    assert comment_of("(hub shell)") == "hub shell"


@given(st.text(max_size=80))
def test_any_text_is_read_or_refused(text):
    read_block(cleaned(text), 1)


@given(
    x=st.decimals(-900, 900, places=3),
    feed=st.integers(1, 9000),
    lower=st.booleans(),
    gap=st.sampled_from(["", " ", "\t", "   "]),
    number=st.integers(0, 99999),
)
def test_spelling_changes_no_length(x, feed, lower, gap, number):
    text = gap.join([f"N{number}", "G01", f"X{x}", f"F{feed}"])
    section = only_section("G0 X0", text.lower() if lower else text, "G1 X950 F1")
    assert section.feed_length_mm == pytest.approx(abs(float(x)) + 950 - float(x))
    assert section.feed_s == pytest.approx(60 * abs(float(x)) / feed + 60 * (950 - float(x)))

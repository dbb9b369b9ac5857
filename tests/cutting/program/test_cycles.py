"""Drilling cycles against what the report says that they do, added up by hand."""

import pytest

from shopmon.errors import ProgramError
from tests.cutting.program.helper import HEAD, only_section, read

GAP = 0.254
PLACED = ("G0 X0 Y0 Z50", "F600")


@pytest.mark.parametrize(
    ("line", "feed", "rapid", "dwell"),
    [
        # from Z50 to R2 fast, 12 mm to Z-10, back to Z50 (G98) or R2 (G99)
        ("G98 G81 Z-10 R2", 12, 48 + 60, 0),
        ("G99 G81 Z-10 R2", 12, 48 + 12, 0),
        ("G82 Z-10 R2 P0.5", 12, 48 + 60, 0.5),
        ("G82 Z-10 R2 P500", 12, 48 + 60, 0.5),
        # pecks of 5: 5, 5, 2; after each but the last out to R2 and back to just above
        ("G99 G83 Z-10 R2 Q5", 12 + 2 * GAP, 48 + 5 + (5 - GAP) + 10 + (10 - GAP) + 12, 0),
        ("G99 G73 Z-10 R2 Q5", 12 + 2 * GAP, 48 + 2 * GAP + 12, 0),
        ("G99 G83 Z-10 R2", 12, 48 + 12, 0),
        ("G99 G84 Z-10 R2", 24, 48, 0),
        ("G85 Z-10 R2", 24, 48 + 48, 0),
        ("G99 G86 Z-10 R2 P1.0", 12, 48 + 12, 1),
        ("G99 G89 Z-10 R2 P1.0", 24, 48, 1),
        ("G99 G76 Z-10 R2 P1.0", 12, 48 + 12, 1),
        ("G99 G87 Z-3 R-12", 9, 62 + 9, 0),
    ],
)
def test_one_hole(line, feed, rapid, dwell):
    section = only_section(*PLACED, line)
    assert section.feed_length_mm == pytest.approx(feed)
    assert section.feed_s == pytest.approx(feed / 10)
    assert section.rapid_s - 50 / (5000 / 60) == pytest.approx(rapid / (5000 / 60))
    assert section.dwell_s == pytest.approx(dwell)


def test_words_stay_in_force_until_the_cycle_is_cancelled():
    section = only_section(*PLACED, "G99 G81 X10 Z-10 R2", "X20", "Y10 Z-5", "G80", "X30")
    assert section.feed_length_mm == pytest.approx(12 + 12 + 7)
    # 50 to the place, hole by hole: beside, down to R, out to R; at last 10 beside
    assert section.rapid_s * 5000 / 60 == pytest.approx(50 + 10 + 48 + 12 + 10 + 12 + 10 + 7 + 10)


def test_incremental_holes_are_repeated():
    section = only_section(*PLACED, "G91 G99 G81 X10 Z-12 R-48 L4")
    assert section.feed_length_mm == pytest.approx(4 * 12)


def test_motion_ends_the_cycle():
    assert only_section(*PLACED, "G81 Z-10 R2", "G1 X10").feed_length_mm == pytest.approx(22)


def test_no_repeat_only_remembers():
    assert only_section(*PLACED, "G81 X5 Z-10 R2 L0", "X10").feed_length_mm == pytest.approx(12)


def test_the_axis_across_the_plane_is_drilled():
    assert only_section("F600", "G18 G99 G81 Y-10 R2").feed_length_mm == pytest.approx(12)


def test_inches_in_a_cycle():
    section = read("G20", "T1 M6", "S800 M3", "G0 Z1", "G99 G83 Z-1 R0.1 Q0.5 F6", "G80", "M30").sections[0]
    assert section.feed_length_mm == pytest.approx(25.4 * 1.1 + 2 * GAP)
    assert section.feed_s == pytest.approx((25.4 * 1.1 + 2 * GAP) / (25.4 / 10))


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        ("G81 Z-10", "the drilling cycle has no Z or no R"),
        ("G83 Z-10 R2 Q0.0001", "would take 120000 for one hole"),
        ("G81 Z-10 R2 L-1", "cannot be repeated -1 times"),
        ("G81 Z-10 R2 L99999", "cannot be repeated 99999 times"),
    ],
)
def test_holes_without_end_or_depth_are_refused(line, reason):
    with pytest.raises(ProgramError, match=f"Line 6: .*{reason}"):
        read(*HEAD, *PLACED, line)

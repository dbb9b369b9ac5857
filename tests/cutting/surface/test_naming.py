"""From spacings back to what made them."""

from math import cos, radians

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from shopmon.cutting.surface.marks import WallCut, folded
from shopmon.cutting.surface.naming import AGREES, Heard, name_spacing
from shopmon.cutting.surface.verdict import Measured, judge_marks
from shopmon.errors import SettingError

CUT = WallCut(rpm=12000, flutes=3, feed_mm_min=1800)


@pytest.mark.parametrize(
    ("spacing", "name"),
    [(0.05, "tooth"), (0.15, "turn"), (0.075, "turn"), (0.24, "unheard"), (0.03, "none"), (2.0, "unheard")],
)
def test_names_without_any_tone(spacing, name):
    assert name_spacing(CUT, spacing, 0.01 * spacing).name == name


def test_two_opposite_teeth_of_four_are_not_the_turn():
    cut = WallCut(rpm=12000, flutes=4, feed_mm_min=2400)
    named = name_spacing(cut, 0.1, 0.001)
    assert named.name == "part-of-turn"
    assert {reading.kind for reading in named.readings} == {
        "part-of-turn",
        "chatter",
    }  # doubling looks the same


@given(frequency=st.floats(200, 4000), flutes=st.integers(1, 6), error=st.floats(-1.5, 1.5))
def test_what_was_heard_is_recognised_by_its_own_spacing(frequency, flutes, error):
    cut = WallCut(rpm=9000, flutes=flutes, feed_mm_min=1500)
    marks = folded(cut, frequency)
    assume(marks.spacing_mm < 20)
    spacing = marks.spacing_mm * (1 + 0.01 * error)
    named = name_spacing(cut, spacing, 0.01 * spacing, heard=(Heard(frequency_hz=frequency),))
    assert named.name in ("chatter", "either")
    assert any(reading.heard and reading.overtone == 1 for reading in named.readings)
    assert all(abs(reading.off) <= AGREES for reading in named.readings)


@given(frequency=st.floats(200, 4000))
def test_a_tone_that_nobody_heard_is_among_the_candidates(frequency):
    marks = folded(CUT, frequency)
    assume(marks.spacing_mm < 20)
    named = name_spacing(CUT, marks.spacing_mm, 0.005 * marks.spacing_mm)
    assume(named.name == "unheard")
    assert any(abs(each.frequency_hz - frequency) < 1 for each in named.readings if each.kind == "chatter")


def test_the_slant_says_which_multiple():
    cut = WallCut(rpm=12000, flutes=3, feed_mm_min=1800, diameter_mm=10, helix_deg=35)
    marks = folded(cut, 3630.0)  # six times tooth passing is 30 Hz away: a wave of 1 mm
    without = name_spacing(cut, marks.spacing_mm, 0.01)
    slanted = name_spacing(cut, marks.spacing_mm, 0.01, slant_deg=-marks.slant_deg)
    multiples = {each.multiple for each in slanted.readings if each.kind == "chatter"}
    assert 6 in multiples and 1 not in multiples and len(slanted.readings) < len(without.readings)


def test_slanted_marks_are_not_those_of_the_teeth():
    assert name_spacing(CUT, 0.15, 0.001, slant_deg=30.0).name == "unheard"


def test_chatter_on_the_marks_of_the_turn_is_either():
    heard = (Heard(frequency_hz=1400.0),)  # 200 Hz beside the teeth: a wave of one turn
    assert name_spacing(CUT, 0.15, 0.001, heard=heard).name == "either"


@pytest.mark.parametrize("spacing", [0.0, -1.0, float("nan"), float("inf")])
def test_spacings_that_cannot_be_are_refused(spacing):
    with pytest.raises(SettingError):
        name_spacing(CUT, spacing)


def test_together_the_marks_of_one_turn_are_runout():
    marks = [(0.15, 0.3), (0.075, 0.4), (0.05, 0.3)]
    measured = tuple(
        Measured(period_mm=each, period_u_mm=0.01 * each, direction_deg=10.0, strength=share)
        for each, share in marks
    )
    verdict = judge_marks(measured, CUT)
    assert (verdict.name, verdict.feed_direction_deg) == ("turn", 10.0)


def test_a_trace_of_the_turn_among_tooth_marks_is_not_runout():
    marks = [(0.15, 0.03), (0.05, 0.97)]
    measured = tuple(
        Measured(period_mm=each, period_u_mm=0.01 * each, direction_deg=0.0, strength=share)
        for each, share in marks
    )
    assert judge_marks(measured, CUT).name == "tooth"


def test_marks_of_the_teeth_tell_the_feed_and_so_the_slant_of_the_others():
    measured = (
        Measured(period_mm=0.05, period_u_mm=0.0005, direction_deg=12.0, strength=0.3),
        Measured(period_mm=0.9, period_u_mm=0.009, direction_deg=40.0, strength=0.7),
    )
    verdict = judge_marks(measured, CUT)
    assert verdict.feed_direction_deg == 12.0
    assert verdict.main.slant_deg == pytest.approx(28.0)
    assert verdict.main.spacing_mm == pytest.approx(0.9 / 0.88295, rel=1e-4)


def test_without_marks_nobody_can_tell():
    assert judge_marks((), CUT).name == "cannot-tell"
    assert (
        judge_marks((Measured(period_mm=0.1, period_u_mm=0.001, direction_deg=0.0),), None).name
        == "not-named"
    )


@pytest.mark.parametrize(("others", "name"), [([(0.05, 0.2)], "turn"), ([(0.31, 0.2)], "chatter")])
def test_other_marks_of_the_wall_settle_what_may_be_either(others, name):
    heard = (Heard(frequency_hz=1400.0), Heard(frequency_hz=600.0 + 30 / 0.31))
    measured = tuple(
        Measured(period_mm=each, period_u_mm=0.01 * each, direction_deg=0.0, strength=share)
        for each, share in [(0.15, 0.8), *others]
    )
    assert judge_marks(measured[:1], CUT, heard).name == "either"
    assert judge_marks(measured, CUT, heard).name == name


@pytest.mark.parametrize("helix_deg", [30.0, 45.0])
def test_marks_measured_square_are_laid_along_the_feed_by_the_slant_of_the_tone(helix_deg):
    cut = WallCut(rpm=12_000, flutes=3, feed_mm_min=1800, diameter_mm=10.0, helix_deg=helix_deg)
    tone = Heard(frequency_hz=1206.0, frequency_u_hz=0.2)
    true = folded(cut, 1206.0)
    square_mm = true.spacing_mm * cos(radians(true.slant_deg))
    assert square_mm < 0.98 * true.spacing_mm
    measured = Measured(period_mm=square_mm, period_u_mm=0.002, direction_deg=33.0)
    told = judge_marks((measured,), cut, (tone,))
    assert told.name == "chatter" and told.main.spacing_mm == pytest.approx(true.spacing_mm, rel=0.002)
    # by a rule they are measured along the feed, and nothing is to be added
    by_hand = judge_marks((Measured(period_mm=true.spacing_mm, period_u_mm=0.01),), cut, (tone,))
    assert by_hand.name == "chatter" and by_hand.main.spacing_mm == true.spacing_mm
    # without helix the spacing stays what was measured
    bare = WallCut(rpm=12_000, flutes=3, feed_mm_min=1800)
    assert judge_marks((measured,), bare, (tone,)).main.spacing_mm == square_mm

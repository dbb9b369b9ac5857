"""Marks expected on a wall: the arithmetic, and the wall that the simulated tool cuts."""

from math import inf

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from shopmon.cutting.finishing.marks import marking_teeth
from shopmon.cutting.simulation.motion import strongest_line_hz
from shopmon.cutting.surface.marks import WallCut, folded, wall_cut
from shopmon.errors import SettingError
from tests.cutting.surface.simulated_wall import (
    DIAMETER_MM,
    FLUTES,
    FZ_MM,
    cut_wall,
    strongest_spacing_mm,
)
from tests.surfaces.walls import Wall

CUTS = st.builds(
    WallCut,
    rpm=st.floats(500, 40000),
    flutes=st.integers(1, 8),
    feed_mm_min=st.floats(50, 8000),
)


def test_feed_marks():
    cut = WallCut(rpm=12000, flutes=3, feed_mm_min=1800)
    assert (cut.feed_per_tooth_mm, cut.feed_per_turn_mm) == pytest.approx((0.05, 0.15))


@given(cut=CUTS, frequency=st.floats(50, 8000), k=st.integers(0, 5))
def test_a_tone_and_the_same_tone_further_on_leave_the_same_waves(cut, frequency, k):
    assume(abs(folded(cut, frequency).off_hz) > 1)
    further = folded(cut, frequency + k * cut.tooth_passing_hz)
    assert further.spacing_mm == pytest.approx(folded(cut, frequency).spacing_mm, rel=1e-6)


@given(cut=CUTS, frequency=st.floats(50, 8000), overtone=st.integers(1, 5), one_tooth=st.booleans())
def test_waves_are_never_shorter_than_two_samples(cut, frequency, overtone, one_tooth):
    marks = folded(cut, frequency, overtone=overtone, one_tooth=one_tooth)
    sample = cut.feed_per_turn_mm if one_tooth else cut.feed_per_tooth_mm
    assert marks.spacing_mm >= 2 * sample * (1 - 1e-6)
    assert marks.low_mm <= marks.spacing_mm <= marks.high_mm


@given(cut=CUTS, frequency=st.floats(50, 8000))
def test_the_sampled_vibration_itself_has_that_wave(cut, frequency):
    marks = folded(cut, frequency)
    assume(marks.spacing_mm < 200 * cut.feed_per_tooth_mm)
    teeth = np.arange(50)
    true = np.cos(2 * np.pi * frequency * teeth / cut.tooth_passing_hz)
    wave = np.cos(2 * np.pi * teeth * cut.feed_per_tooth_mm / marks.spacing_mm)
    assert np.abs(true - wave).max() < 1e-4


def test_in_step_with_the_teeth_there_are_no_waves():
    cut = WallCut(rpm=12000, flutes=3, feed_mm_min=1800)
    marks = folded(cut, 1200.0)
    assert marks.in_step and marks.spacing_mm == inf and marks.low_mm < 10


def test_every_second_tooth_repeats_in_period_doubling():
    cut = WallCut(rpm=12000, flutes=3, feed_mm_min=1800)
    assert folded(cut, 900.0).spacing_mm == pytest.approx(2 * cut.feed_per_tooth_mm)


@pytest.mark.parametrize(
    ("rpm", "ap_mm", "milling"),
    [(8200, 3, "conventional"), (6100, 3, "conventional"), (9000, 2, "climb"), (8700, 2, "conventional")],
)
def test_chatter_of_the_simulated_cut_is_found_on_its_wall_where_it_is_expected(rpm, ap_mm, milling):
    motion, depth_um = cut_wall(rpm, ap_mm, milling)
    frequency, _ = strongest_line_hz(motion, [60 * 60 / rpm, 118 * 60 / rpm])
    feed = FZ_MM * FLUTES
    places = np.linspace(60 * feed, 117 * feed, 6000)
    spacing = strongest_spacing_mm(places, depth_um(places))
    cut = WallCut(rpm=rpm, flutes=FLUTES, feed_mm_min=feed * rpm)
    expected = [folded(cut, frequency, overtone=m).spacing_mm for m in range(1, 7)]
    assert min(abs(spacing / each - 1) for each in expected) < 0.01
    assert min(abs(spacing / mark - 1) for mark in (FZ_MM, feed)) > 0.05  # and it is no mark of the teeth


def test_one_tooth_that_stands_out_makes_the_simulated_wall():
    offsets = (0, -8, -8)
    assert marking_teeth(FZ_MM, DIAMETER_MM, offsets) == 1
    _, depth_um = cut_wall(8200, 0.3, "climb", offsets, turns=60)
    places = np.linspace(20 * 0.18, 58 * 0.18, 6000)
    assert strongest_spacing_mm(places, depth_um(places)) == pytest.approx(FZ_MM * FLUTES, rel=0.01)
    _, depth_um = cut_wall(8200, 0.3, "climb", turns=60)
    assert strongest_spacing_mm(places, depth_um(places)) == pytest.approx(FZ_MM, rel=0.01)


@pytest.mark.parametrize("frequency", [700.0, 1432.6, 1900.0, 2650.0])
def test_the_helix_slants_the_marks_as_derived(frequency):
    """Two-dimensional spectrum of a wall made of passes against k N tan β/(π D) and (f − k f_tp)/vf."""
    wall = Wall(chatter_hz=frequency, chatter_um=0.1)
    x, z = np.linspace(0, 6, 1200, endpoint=False), np.linspace(0, 30, 600, endpoint=False)
    depth = wall.depth_um(x[None, :], z[:, None])
    window = np.hanning(z.size)[:, None] * np.hanning(x.size)
    power = np.abs(np.fft.rfft2((depth - depth.mean()) * window, (4 * z.size, 4 * x.size))) ** 2
    power[:, : 4 * 4] = 0
    power[:, 4 * 100 :] = 0  # below the marks of the teeth, at 20 per mm
    row, column = np.unravel_index(np.argmax(power), power.shape)
    along, axial = column / 24, min(row, 4 * z.size - row) / 120
    cut = WallCut(rpm=12000, flutes=3, feed_mm_min=1800, diameter_mm=10, helix_deg=35)
    marks = folded(cut, frequency)
    assert 1 / along == pytest.approx(marks.spacing_mm, rel=0.01)
    assert 1 / axial == pytest.approx(marks.axial_mm, rel=0.1)
    assert np.degrees(np.arctan(axial / along)) == pytest.approx(marks.slant_deg, abs=0.5)


@pytest.mark.parametrize(
    "bad",
    [
        {"rpm": 0},
        {"rpm": float("nan")},
        {"flutes": 0},
        {"flutes": 2.5},
        {"feed_mm_min": -1},
        {"helix_deg": 95},
    ],
)
def test_cuts_that_cannot_be_are_refused(bad):
    with pytest.raises(SettingError):
        WallCut(**{"rpm": 12000, "flutes": 3, "feed_mm_min": 1800} | bad)


@pytest.mark.parametrize("frequency", [0.0, -5.0, float("inf"), 1e9])
def test_frequencies_that_cannot_be_are_refused(frequency):
    with pytest.raises(SettingError):
        folded(WallCut(rpm=12000, flutes=3, feed_mm_min=1800), frequency)


def test_too_little_known_is_no_cut():
    assert wall_cut({"rpm": 12000, "flutes": 3, "feed_mm_min": None}) is None
    assert wall_cut({"rpm": 12000, "flutes": 3, "feed_mm_min": 900, "helix_deg": None}).feed_mm_min == 900

"""Times with acceleration: single moves by arithmetic, corners, limits, and reading ahead."""

from math import inf, pi, sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopmon.cutting.program import timing
from shopmon.cutting.program.moves import Move
from shopmon.cutting.program.timing import MachineMotion, corner_speed, travel_s
from shopmon.errors import SettingError
from tests.cutting.program.helper import only_section

A = 200.0


def timed(*lines, acceleration=A, rapid=None):
    machine = MachineMotion(acceleration_mm_per_s2=acceleration, rapid_mm_per_min=rapid)
    return only_section("G0 X0 Y0", *lines, machine=machine)


def test_one_move_speeds_up_and_slows_down():
    # 10 mm/s: v/a = 0.05 s more than length over feed
    assert timed("G1 X100 F600").feed_s == pytest.approx(10.05)


def test_a_short_move_never_reaches_its_feed():
    # triangle: 2 sqrt(L/a)
    assert timed("G1 X1 F60000").feed_s == pytest.approx(2 * sqrt(1 / A))


def test_moves_in_one_line_are_one_move():
    assert timed("G1 X30 F600", "X70", "X100").feed_s == pytest.approx(10.05)


def test_turning_back_is_a_standstill():
    assert timed("G1 X100 F600", "X0").feed_s == pytest.approx(20.1)


def test_a_dwell_is_a_standstill():
    assert timed("G1 X50 F600", "G4 P1.0", "X100").feed_s == pytest.approx(10.1)


def test_an_arc_is_not_faster_than_its_bend_allows():
    around = timed("G2 I2 F60000").feed_s
    top = sqrt(A * 2)
    assert around == pytest.approx(2 * pi * 2 / top + top / A, rel=1e-6)


def test_rapids_have_the_rate_that_was_given():
    section = timed("G0 X100", "G1 X110 F600", rapid=6000)
    assert section.rapid_s == pytest.approx(100 / 100 + 100 / A, abs=0.3)


def test_a_right_angle_by_the_circle_that_rounds_it():
    ends = [Move(1, True, 1.0, 1.0, way, way) for way in ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0))]
    speed = corner_speed(*ends, A)
    # a circle touching both sides, whose distance to the corner is r (sqrt 2 - 1)
    assert speed == pytest.approx(sqrt(A * timing.CORNER_MM / (sqrt(2) - 1)))
    assert corner_speed(ends[0], ends[0], A) == inf


@given(st.lists(st.integers(-50, 50).filter(bool), min_size=1, max_size=30), st.integers(10, 9000))
def test_acceleration_only_adds_time_and_vanishes_when_large(steps, feed):
    lines = [f"G91 G1 F{feed}", *(f"{'XY'[k % 2]}{step}" for k, step in enumerate(steps))]
    steady = only_section("G0 X0 Y0", *lines).feed_s
    slow = timed(*lines, acceleration=50.0).feed_s
    quick = timed(*lines, acceleration=5000.0).feed_s
    assert steady <= quick * (1 + 1e-12) and quick <= slow * (1 + 1e-12)
    assert timed(*lines, acceleration=1e6).feed_s == pytest.approx(steady, rel=0.02, abs=0.01 * len(steps))


@given(st.integers(5, 60))
def test_looking_ahead_in_pieces_changes_nothing(count):
    lines = ["G91 G1 F3000", *(f"X{1 + k % 3}Y{k % 2}" for k in range(count))]
    whole = timed(*lines).feed_s
    ahead, kept = timing.AHEAD, timing.KEPT
    timing.AHEAD, timing.KEPT = 24, 20
    try:
        assert timed(*lines).feed_s == pytest.approx(whole, rel=1e-9)
    finally:
        timing.AHEAD, timing.KEPT = ahead, kept


@given(st.floats(0.01, 500), st.floats(0, 50), st.floats(0, 50), st.floats(1, 100))
def test_a_move_is_its_integral(length, first, last, top):
    top = max(top, first, last)
    last = min(last, sqrt(first**2 + 2 * A * length))
    first = min(first, sqrt(last**2 + 2 * A * length))
    seconds = travel_s(length, first, last, top, A)
    peak = max(min(top, sqrt((first**2 + last**2) / 2 + A * length)), first, last)
    rise, fall = (peak - first) / A, (peak - last) / A
    way = (first + peak) / 2 * rise + (peak + last) / 2 * fall + peak * (seconds - rise - fall)
    assert way == pytest.approx(length, rel=1e-6, abs=1e-9)


@pytest.mark.parametrize("value", [0, -1, float("nan"), inf, 1e9])
def test_absurd_machines_are_refused(value):
    with pytest.raises(SettingError):
        MachineMotion(acceleration_mm_per_s2=value)
    with pytest.raises(SettingError):
        MachineMotion(rapid_mm_per_min=value)

"""Bearing kinematics: identities that hold for every bearing, and bearings that cannot be."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopmon.errors import SettingError
from shopmon.signals.spindle.bearing_tones import BearingTones, bearing_tones


@given(st.integers(5, 30), st.floats(0.2, 0.95), st.floats(0, 40))
def test_both_races_together_see_every_ball_once_a_turn(balls, filled, angle):
    tones = bearing_tones(balls, filled * 3.14159 * 40 / balls, 40, angle)
    assert tones.outer + tones.inner == pytest.approx(balls)
    assert tones.outer == pytest.approx(balls * tones.cage)
    assert tones.outer < tones.inner


@pytest.mark.parametrize(
    "geometry", [(2, 5, 40), (12, 20, 40), (12, 0, 40), (12, 5, -40), (12, 5, 40, 75), (12, float("nan"), 40)]
)
def test_a_bearing_that_cannot_be(geometry):
    with pytest.raises(SettingError):
        bearing_tones(*geometry)


@pytest.mark.parametrize(
    "values", [{}, {"outer": 0.0}, {"inner": -3.0}, {"outer": float("nan")}, {"ball": 1e9}]
)
def test_multiples_that_cannot_be(values):
    with pytest.raises(SettingError):
        BearingTones(**values)

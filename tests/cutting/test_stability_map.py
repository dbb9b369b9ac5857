"""The fast map of stability against the plain method, where no table reaches."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shopmon.cutting.nouns import Mode
from shopmon.cutting.stability.depth_limits import depth_limits
from shopmon.cutting.stability.maps import stability_map
from shopmon.cutting.stability.semidiscretization import stability
from shopmon.errors import SettingError
from tests.cutting.test_semidiscretization import MODES, case


def check(some, rpm, ap_mm, **tolerance):
    plain, fast = stability(some, rpm, ap_mm, step_rad=0.04), stability_map(some, [rpm], [ap_mm], lines=True)
    assert fast.spectral_radius[0, 0] == pytest.approx(plain.spectral_radius, **(tolerance or {"rel": 1e-3}))
    if plain.spectral_radius > 1.01:
        assert fast.line_hz[0, 0] == pytest.approx(plain.line_hz, rel=1e-3)


@settings(max_examples=12, deadline=None)
@given(
    rpm=st.floats(4000, 24000), ap_mm=st.floats(0.1, 4.0), flutes=st.integers(1, 7),
    ae_mm=st.floats(0.2, 10.0), milling=st.sampled_from(["climb", "conventional", "slot"]),
    helix_deg=st.sampled_from([0.0, 30.0, 45.0, -10.0]),
)  # fmt: skip
def test_any_equal_pitch(rpm, ap_mm, flutes, ae_mm, milling, helix_deg):
    some = case(flutes=flutes, ae_mm=ae_mm, milling=milling, helix_deg=helix_deg)
    check(some, rpm, ap_mm, rel=5e-3)


@pytest.mark.parametrize("helix_deg", [0.0, 35.0])
@pytest.mark.parametrize("pitch_deg", [(110.0, 120.0, 130.0), (80.0, 130.0, 150.0)])
@pytest.mark.parametrize("ae_mm", [0.5, 5.0, 10.0])
def test_unequal_pitch(pitch_deg, helix_deg, ae_mm):
    some = case(pitch_deg=pitch_deg, helix_deg=helix_deg, ae_mm=ae_mm)
    check(some, 9000, 2.0, rel=4e-3)  # the plain method rounds pitches to whole steps


def test_equal_pitches_given_one_by_one_are_the_power_of_a_tooth():
    by_tooth = stability_map(case(), [9000], [2.0, 5.0]).spectral_radius
    by_turn = stability_map(case(pitch_deg=(120.0,) * 3), [9000], [2.0, 5.0]).spectral_radius
    np.testing.assert_allclose(by_turn, by_tooth**3, rtol=1e-4)


def test_one_direction_and_several_modes():
    second = Mode(axis="x", frequency_hz=2300.0, damping_ratio=0.02, stiffness_n_per_m=2e7)
    check(case(modes=(MODES[0], second)), 8000, 3.0)
    check(case(modes=(*MODES, second)), 8000, 3.0)


def test_a_map_is_its_points():
    some, rpm, ap_mm = case(helix_deg=30.0), np.linspace(5000, 20000, 7), np.linspace(0.5, 4, 5)
    whole = stability_map(some, rpm, ap_mm).spectral_radius
    assert whole.shape == (7, 5)
    point = stability_map(some, rpm[3:4], ap_mm[2:3]).spectral_radius
    assert whole[3, 2] == pytest.approx(float(point[0, 0]), rel=1e-5)
    own_depths = stability_map(some, rpm, np.repeat(ap_mm[None, :3], 7, axis=0)).spectral_radius
    np.testing.assert_allclose(own_depths, whole[:, :3], rtol=1e-5)


def test_a_nearly_dead_cut_is_not_taken_for_rounding():
    # few multipliers are left over a turn of unequal pitches; what rounding leaves must not pass for one
    some = case(pitch_deg=(110.0, 120.0, 130.0), helix_deg=30.0)
    rpm, ap_mm = 3200.0, 0.4
    check(some, rpm, ap_mm, abs=2e-3)


def test_limits_hold_on_both_sides():
    some, rpm = case(helix_deg=30.0), np.array([7000.0, 12000.0, 15500.0])
    limits = depth_limits(some, rpm, 8.0)
    finite = np.isfinite(limits)
    assert finite.any()
    for speed, limit in zip(rpm[finite], limits[finite], strict=True):
        assert not stability(some, speed, limit * 0.99, step_rad=0.04).chatters
        assert stability(some, speed, limit * 1.01, step_rad=0.04).chatters


def test_quiet_down_to_the_bottom_is_infinite():
    assert depth_limits(case(ae_mm=0.1), [15500.0], 0.05)[0] == np.inf


@pytest.mark.parametrize(
    ("rpm", "ap_mm"),
    [([0], [1]), ([float("nan")], [1]), ([9000], [-1]), ([9000], [1e9]), ([9000, 9001], [[1], [1], [1]])],
)
def test_absurd_points_are_refused(rpm, ap_mm):
    with pytest.raises(SettingError):
        stability_map(case(), rpm, ap_mm)

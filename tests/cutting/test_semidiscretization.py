"""Semi-discretization in other words for the same cut, and against the simulated motion off the tables."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shopmon.cutting.nouns import Mode
from shopmon.cutting.stability.maps import stability_map
from shopmon.cutting.stability.semidiscretization import StabilityCase, stability
from shopmon.errors import SettingError
from tests.published.test_milling_motion import growth_per_tooth

MODES = (
    Mode(axis="x", frequency_hz=1450.0, damping_ratio=0.03, stiffness_n_per_m=8e6),
    Mode(axis="y", frequency_hz=1620.0, damping_ratio=0.025, stiffness_n_per_m=9e6),
)


def case(**changes):
    """A three-flute cutter in aluminium at half immersion, changed."""
    usual = {
        "modes": MODES, "flutes": 3, "diameter_mm": 10.0, "kt_n_per_mm2": 800.0, "kr": 0.25,
        "milling": "climb", "ae_mm": 5.0,
    }  # fmt: skip
    return StabilityCase(**{**usual, **changes})


@settings(max_examples=6, deadline=None)
@given(rpm=st.floats(6000, 20000), ap_mm=st.floats(0.5, 5.0), flutes=st.integers(2, 4))
def test_a_turn_of_equal_pitches_is_the_power_of_a_tooth(rpm, ap_mm, flutes):
    by_tooth = stability(case(flutes=flutes), rpm, ap_mm, step_rad=0.05)
    pitch = (360.0 / flutes,) * flutes
    by_turn = stability(case(flutes=flutes, pitch_deg=pitch), rpm, ap_mm, step_rad=0.05)
    assert by_turn.spectral_radius == pytest.approx(by_tooth.spectral_radius**flutes, rel=0.01)


def test_two_half_modes_make_one():
    doubled = tuple(
        Mode(
            axis=mode.axis, frequency_hz=mode.frequency_hz, damping_ratio=mode.damping_ratio,
            stiffness_n_per_m=2 * mode.stiffness_n_per_m,
        )
        for mode in MODES for _ in range(2)
    )  # fmt: skip
    one, two = stability(case(), 9000, 3.0), stability(case(modes=doubled), 9000, 3.0)
    assert two.spectral_radius == pytest.approx(one.spectral_radius, rel=1e-6)
    assert two.line_hz == pytest.approx(one.line_hz, rel=1e-6)


def test_a_helix_of_nothing_is_straight_and_a_real_one_is_not():
    straight = stability(case(ae_mm=0.5), 9000, 9.0).spectral_radius
    assert stability(case(ae_mm=0.5, helix_deg=1e-4), 9000, 9.0).spectral_radius == pytest.approx(
        straight, rel=1e-4
    )
    assert abs(stability(case(ae_mm=0.5, helix_deg=45.0), 9000, 9.0).spectral_radius / straight - 1) > 0.02


@pytest.mark.parametrize("rpm", [7000, 12000])
def test_helix_as_the_simulated_motion_grows(rpm):
    helical = case(helix_deg=40.0, ae_mm=2.0)
    growth, _ = growth_per_tooth(helical, rpm, 6.0)
    assert growth == pytest.approx(stability(helical, rpm, 6.0).spectral_radius, rel=0.02)


def test_unequal_pitch_as_the_simulated_motion_grows():
    uneven = case(pitch_deg=(110.0, 120.0, 130.0))
    growth, _ = growth_per_tooth(uneven, 8000, 5.0)
    found = stability(uneven, 8000, 5.0)
    assert growth**3 == pytest.approx(found.spectral_radius, rel=0.03)


def test_hardly_any_depth_leaves_the_free_decay():
    free = max(np.exp(-mode.damping_ratio * mode.angular_frequency * 60 / (3 * 9000)) for mode in MODES)
    assert stability(case(), 9000, 1e-6).spectral_radius == pytest.approx(free, rel=1e-4)


def test_slow_spindles_are_bounded_in_size():
    found = stability(case(flutes=1), 120, 0.2)
    assert found.steps * 2 <= 2400
    assert np.isfinite(found.spectral_radius)


@pytest.mark.parametrize(
    ("rpm", "ap_mm"), [(0, 1), (-5, 1), (float("nan"), 1), (9000, 0), (9000, float("inf")), (9000, 1e9)]
)
def test_absurd_points_are_refused(rpm, ap_mm):
    with pytest.raises(SettingError):
        stability(case(), rpm, ap_mm)


both_methods = pytest.mark.parametrize(
    "judged", [stability, lambda some, rpm, ap_mm: stability_map(some, [rpm], [ap_mm])], ids=["plain", "map"]
)


@both_methods
@pytest.mark.parametrize("rpm", [100, 900])
def test_a_mode_that_cannot_be_followed_is_refused(judged, rpm):
    fast = Mode(axis="x", frequency_hz=9e4, damping_ratio=0.01, stiffness_n_per_m=1e6)
    with pytest.raises(SettingError, match="too often"):
        judged(case(modes=(fast,)), rpm, 1.0)


@both_methods
def test_what_grows_beyond_all_numbers_is_refused_or_finite(judged):
    soft = Mode(axis="x", frequency_hz=900.0, damping_ratio=0.01, stiffness_n_per_m=1e-3)
    try:
        assert np.all(np.isfinite(judged(case(modes=(soft,)), 9000, 900.0).spectral_radius))
    except SettingError as exc:
        assert exc.hint


@pytest.mark.parametrize("pitch_deg", [(180.0, 180.0), (120.0, 120.0, 100.0), (0.0, 120.0, 240.0)])
def test_pitches_that_do_not_fit_the_flutes_are_refused(pitch_deg):
    with pytest.raises(SettingError, match="pitch_deg"):
        case(pitch_deg=pitch_deg)


def test_a_case_without_modes_is_refused():
    with pytest.raises(SettingError, match="mode"):
        case(modes=())

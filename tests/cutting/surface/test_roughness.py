"""Roughness: what holds whatever the profile, cut-offs, and what is refused."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shopmon.cutting.surface.profile import Profile, gaussian_weights, long_waves, short_waves, without_form
from shopmon.cutting.surface.roughness import heights, roughness, widths_mm
from shopmon.cutting.surface.theory import against_theory
from shopmon.errors import SettingError


def wall(feed_mm: float, height_um: float, *, length_mm: float = 6.0, noise_um: float = 0.0) -> Profile:
    """Return feed marks with noise."""
    place = np.arange(round(length_mm / 0.0005)) * 0.0005
    noise = noise_um * np.random.default_rng(1).standard_normal(place.size)
    return Profile(heights_um=height_um * (2 * (place / feed_mm % 1) - 1) ** 2 + noise, spacing_mm=0.0005)


def rough(ra_um: float, length_mm: float) -> Profile:
    """Return a surface without any period, smooth over 20 µm."""
    values = np.random.default_rng(2).standard_normal(round(length_mm / 0.001))
    smooth = long_waves(Profile(heights_um=values, spacing_mm=0.001), 0.04).heights_um
    return Profile(heights_um=smooth * ra_um / heights(smooth).Ra_um, spacing_mm=0.001)


@given(st.floats(-50, 50), st.floats(-20, 20), st.floats(0.1, 30))
@settings(max_examples=15, deadline=None)
def test_tilt_offset_and_scale(offset, tilt, scale):
    profile = wall(0.2, 4.0, noise_um=0.05)
    slope = np.linspace(-1, 1, profile.heights_um.size)
    moved = Profile(heights_um=offset + tilt * slope + scale * profile.heights_um, spacing_mm=0.0005)
    first, second = (roughness(each, cutoff_mm=0.8) for each in (profile, moved))
    for name in ("Ra_um", "Rq_um", "Rz_um", "Rt_um"):
        assert getattr(second, name) == pytest.approx(scale * getattr(first, name), rel=1e-6, abs=1e-9)


@given(st.integers(400, 3000), st.floats(0.05, 0.4))
@settings(max_examples=20, deadline=None)
def test_long_and_short_waves_are_the_whole(points, cutoff):
    values = np.random.default_rng(points).standard_normal(points)
    profile = Profile(heights_um=values, spacing_mm=0.002)
    both = long_waves(profile, cutoff).heights_um + short_waves(profile, cutoff).heights_um
    assert both == pytest.approx(values)


@pytest.mark.parametrize(
    ("ra", "iso_4287", "iso_21920"),
    [(0.015, 0.08, 0.08), (0.06, 0.25, 0.25), (0.6, 0.8, 0.8), (4.0, 2.5, 2.5)],
)
def test_cutoffs_of_irregular_surfaces(ra, iso_4287, iso_21920):
    profile = rough(ra, 20.0)
    assert roughness(profile, "ISO 4287").cutoff_mm == iso_4287
    assert roughness(profile, "ISO 21920").cutoff_mm == iso_21920


def test_the_standards_take_different_cutoffs():
    # Ra 2.6 µm is above 2 µm, Rz of about 15 µm below 16 µm
    profile = rough(2.4, 20.0)
    assert roughness(profile, "ISO 4287").cutoff_mm == 2.5
    assert roughness(profile, "ISO 21920").cutoff_mm in (0.8, 2.5)


@pytest.mark.parametrize(("feed", "cutoff"), [(0.1, 0.25), (0.3, 0.8), (0.8, 2.5)])
def test_cutoffs_of_feed_marks_go_by_their_width(feed, cutoff):
    found = roughness(wall(feed, 3.0, length_mm=20, noise_um=0.02), "ISO 4287")
    assert found.periodic and found.cutoff_mm == cutoff
    assert found.RSm_mm == pytest.approx(feed, rel=0.02)


def test_noise_makes_no_marks():
    clean, noisy = (widths_mm(each.heights_um - each.heights_um.mean(), 0.0005, 0.4) for each in (
        wall(0.2, 4.0), wall(0.2, 4.0, noise_um=0.1)))  # fmt: skip
    assert noisy.size == clean.size
    assert noisy == pytest.approx(clean, abs=0.01)
    assert widths_mm(np.zeros(100), 0.001, 0.1).size == 0


def test_a_short_profile_says_so():
    found = roughness(wall(0.2, 4.0, length_mm=3.0), cutoff_mm=0.8)
    assert found.sections == 2 and "2 sampling lengths instead of 5" in found.notes[0]


def test_coarse_points_say_so():
    profile = Profile(heights_um=np.sin(np.arange(6000) * 0.1), spacing_mm=0.002)
    found = roughness(profile, cutoff_mm=0.8)
    assert found.shortest_um is None and "short-wave filter" in found.notes[0]


def test_a_bent_wall_is_made_straight():
    place = np.linspace(-1, 1, 6000)
    bent = Profile(heights_um=40 * place**2 + 5 * place, spacing_mm=0.001)
    assert np.ptp(without_form(bent, 2).heights_um) < 1e-9 < np.ptp(without_form(bent, 1).heights_um)


def test_a_finish_beside_theory():
    said = against_theory(4.5, 2.25, RSm_mm=0.303, feed_per_tooth_mm=0.1, flutes=3)
    assert said.times == pytest.approx(2.0)
    assert said.height == "2 times what geometry alone leaves, about as usual (1.5 to 4 times)."
    assert said.width == "Marks every 0.303 mm, one a turn: one tooth makes the surface (runout)."
    assert "every tooth" in against_theory(1, 1, RSm_mm=0.1, feed_per_tooth_mm=0.1, flutes=3).width
    assert "neither" in against_theory(1, 1, RSm_mm=0.17, feed_per_tooth_mm=0.1, flutes=3).width
    assert against_theory(1, 1).width == ""


@pytest.mark.parametrize(
    "make",
    [
        lambda: Profile(heights_um=np.zeros(10), spacing_mm=0.001),
        lambda: Profile(heights_um=np.full(100, np.nan), spacing_mm=0.001),
        lambda: Profile(heights_um=np.zeros((100, 2)), spacing_mm=0.001),
        lambda: Profile(heights_um=np.zeros(100), spacing_mm=0.0),
        lambda: gaussian_weights(0.8, 0.5),
        lambda: without_form(wall(0.2, 1), 7),
        lambda: roughness(wall(0.2, 1), "DIN 1"),
        lambda: roughness(wall(0.2, 1, length_mm=1.0), cutoff_mm=0.8),
        lambda: roughness(Profile(heights_um=np.zeros(60), spacing_mm=0.001)),
    ],
)
def test_what_cannot_be_measured_is_refused(make):
    with pytest.raises(SettingError):
        make()


def test_a_flat_profile_is_no_error():
    found = roughness(Profile(heights_um=np.zeros(8000), spacing_mm=0.001))
    assert found.Ra_um == found.Rz_um == 0 and found.RSm_mm is None

"""Roughness against ISO 16610-21, ISO 4287 and 21920-2, another library, and measured profiles."""

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter1d

from shopmon.capture.profile_file import read_profile
from shopmon.cutting.finishing.marks import cusp_um
from shopmon.cutting.surface.profile import (
    ALPHA,
    Profile,
    gaussian_weights,
    long_waves,
    short_waves,
    without_form,
)
from shopmon.cutting.surface.roughness import heights, roughness

CUTOFF = 0.8


def waves(
    length_mm: float, *, spacing_mm: float = 0.001, total_mm: float = 16.0, amplitude: float = 1.0
) -> Profile:
    """Return a sine."""
    place = np.arange(round(total_mm / spacing_mm)) * spacing_mm
    return Profile(heights_um=amplitude * np.sin(2 * np.pi * place / length_mm), spacing_mm=spacing_mm)


@pytest.mark.parametrize(
    ("share", "passes"),
    # ISO 16610-21: 2^−(λc/λ)², half at the cut-off
    [(0.25, 1.526e-5), (1 / 3, 0.001953), (0.5, 0.0625), (1, 0.5), (2, 0.84090), (3, 0.92587), (5, 0.97265)],
)
def test_transmission_of_the_gaussian_filter(share, passes):
    profile = waves(share * CUTOFF)
    middle = slice(4000, 12000)

    def amplitude(each: Profile) -> float:
        place = np.arange(each.heights_um.size)[middle] * each.spacing_mm
        angle = 2 * np.pi * place / (share * CUTOFF)
        basis = np.column_stack([np.sin(angle), np.cos(angle)])
        sine, cosine = np.linalg.lstsq(basis, each.heights_um[middle], rcond=None)[0]
        assert abs(cosine) < 1e-3  # no shift of phase
        return sine

    assert amplitude(long_waves(profile, CUTOFF)) == pytest.approx(passes, abs=2e-4)
    assert amplitude(short_waves(profile, CUTOFF)) == pytest.approx(1 - passes, abs=2e-4)


def test_weights_of_the_gaussian_filter():
    # ISO 16610-21: s(0) = 1/(α λc), α = 0.4697; s(λc/2)/s(0) = exp(−π·0.25·π/ln 2) = 0.02843
    weights = gaussian_weights(CUTOFF, 0.001)
    middle = weights.size // 2
    assert pytest.approx(0.4697, abs=5e-5) == ALPHA
    assert weights[middle] / 0.001 == pytest.approx(1 / (0.469719 * CUTOFF), rel=1e-5)
    assert weights[middle + 400] / weights[middle] == pytest.approx(
        np.exp(-(np.pi**2) / (4 * np.log(2))), rel=1e-6
    )
    assert weights.sum() == pytest.approx(1.0)
    assert np.array_equal(weights, weights[::-1])


def test_the_mean_line_is_that_of_another_library():
    rng = np.random.default_rng(1)
    profile = Profile(heights_um=np.cumsum(rng.standard_normal(8000)) * 0.01, spacing_mm=0.001)
    sigma = ALPHA * CUTOFF / np.sqrt(2 * np.pi) / 0.001
    other = gaussian_filter1d(profile.heights_um, sigma, truncate=6)
    inner = slice(1600, -1600)
    assert long_waves(profile, CUTOFF).heights_um[inner] == pytest.approx(other[inner], abs=1e-5)


PHASE = np.linspace(0, 40, 400_000, endpoint=False) % 1
SINE, TRIANGLE, SQUARE = np.sin(2 * np.pi * PHASE), 1 - 4 * np.abs(PHASE - 0.5), np.sign(0.5 - PHASE - 1e-9)


@pytest.mark.parametrize(
    ("shape", "ra", "rq", "skew", "kurtosis"),
    [(SINE, 2 / np.pi, 0.70711, 0, 1.5), (TRIANGLE, 0.5, 0.57735, 0, 1.8), (SQUARE, 1, 1, 0, 1)],
    ids=["sine", "triangle", "square"],
)
def test_parameters_of_simple_profiles(shape, ra, rq, skew, kurtosis):
    # definitions of ISO 4287 and 21920-2, by integration
    found = heights(3 * shape)
    assert (found.Ra_um, found.Rq_um, found.Rt_um) == pytest.approx((3 * ra, 3 * rq, 6), abs=1e-4)
    assert (found.Rsk, found.Rku) == pytest.approx((skew, kurtosis), abs=1e-4)


def test_parameters_of_feed_marks():
    # a row of arcs: Ra 0.25660 H, Rq 0.29814 H, Rsk 0.63888, Rku 2.14286 by integration of the parabola
    marks = (2 * (PHASE - 0.5)) ** 2
    found = heights(marks)
    assert (found.Ra_um, found.Rq_um, found.Rsk, found.Rku) == pytest.approx(
        (0.25660, 0.29814, 0.63888, 2.14286), abs=1e-4
    )


@pytest.mark.parametrize("standard", ["ISO 21920", "ISO 4287"])
def test_roughness_of_a_turned_like_surface(standard):
    # f 0.2 mm, r 0.8 mm: Rz 6.2746 and Ra 1.6088 µm of the true arcs; the filter takes the share off that it
    # should of waves a quarter of the cut-off long (2^−16), and the mean line follows the rest
    feed, radius = 0.2, 0.8
    place = np.arange(6000) * 0.001
    away = (place + feed / 2) % feed - feed / 2
    profile = Profile(heights_um=1000 * (radius - np.sqrt(radius**2 - away**2)), spacing_mm=0.001)
    found = roughness(profile, standard)
    assert found.cutoff_mm == 0.8 and found.sections == 5 and found.evaluation_mm == pytest.approx(4)
    assert found.Rz_um == pytest.approx(cusp_um(feed, radius), rel=0.01)
    assert found.Ra_um == pytest.approx(1.6088, rel=0.005)
    assert found.RSm_mm == pytest.approx(feed, rel=1e-3)
    assert found.periodic


@pytest.mark.parametrize(
    ("name", "ra", "rq", "pt"),
    # figures of shared measured profiles, known from elsewhere; points 0.5 µm apart over 4 mm
    [("Bu_1_56_ak.mat", 8.24, 9.07, 34.0), ("riefen_4mm.mat", 0.140, 0.183, None)],
)
def test_measured_profiles(reference_data, name, ra, rq, pt):
    profile = read_profile(reference_data / "profiles" / name, spacing_mm=0.0005)
    found = heights(without_form(profile).heights_um)
    assert (found.Ra_um, found.Rq_um) == pytest.approx((ra, rq), rel=5e-3)
    if pt is not None:
        assert found.Rt_um == pytest.approx(pt, abs=0.05)

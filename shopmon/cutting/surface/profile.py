"""A measured profile: heights at even steps along a line, form taken out, long and short waves parted.

The filter is that of ISO 16610-21: a Gaussian weighting function that lets half of the amplitude pass at the
cut-off wavelength, with no shift of phase.
"""

from dataclasses import dataclass, replace

import numpy as np

from shopmon.cutting.nouns import require, require_positive

ALPHA = float(np.sqrt(np.log(2) / np.pi))  # 0.4697: half passes at the cut-off
REACH = 1.0  # cut-offs to each side; what is left out beyond is below a millionth
LEAST_POINTS = 50
FINEST = 5  # points per cut-off below which a filter cannot be put on


@dataclass(frozen=True, kw_only=True)
class Profile:
    """Heights along a line.

    Attributes
    ----------
    heights_um
        ``(points,)``, finite.
    spacing_mm
        Between points.
    """

    heights_um: np.ndarray
    spacing_mm: float

    def __post_init__(self):
        require_positive("The spacing of the points (mm)", self.spacing_mm)
        heights = np.asarray(self.heights_um, dtype=float)
        require(heights.ndim == 1, "A profile is one row of heights.", "Give one line of the surface.")
        require(
            heights.size >= LEAST_POINTS,
            f"A profile of {heights.size} points is too short.",
            f"At least {LEAST_POINTS} are needed.",
        )
        require(
            bool(np.isfinite(heights).all()),
            "The profile has points without a height.",
            "Fill or cut them out where it was measured.",
        )
        object.__setattr__(self, "heights_um", heights)

    @property
    def length_mm(self) -> float:
        """Points times spacing."""
        return self.heights_um.size * self.spacing_mm


def without_form(profile: Profile, degree: int = 1) -> Profile:
    """Take out the least-squares line (degree 1), or a curve of degree 2 for a bent wall."""
    require(degree in (0, 1, 2), f"The form is of degree 0, 1 or 2, not {degree!r}.")
    place = np.linspace(-1, 1, profile.heights_um.size)
    form = np.polynomial.Polynomial.fit(place, profile.heights_um, degree)
    return replace(profile, heights_um=profile.heights_um - form(place))


def gaussian_weights(cutoff_mm: float, spacing_mm: float) -> np.ndarray:
    """Return the weights of ISO 16610-21, odd in number and adding up to 1.

    s(x) = exp(−π (x/(α λc))²)/(α λc), from one cut-off on the left to one on the right.
    """
    require_positive("cutoff_mm", cutoff_mm)
    require_positive("spacing_mm", spacing_mm)
    require(
        cutoff_mm >= FINEST * spacing_mm,
        f"Points {spacing_mm:g} mm apart are too coarse for a cut-off of {cutoff_mm:g} mm.",
        "Measure finer, or take a longer cut-off.",
    )
    side = int(REACH * cutoff_mm / spacing_mm)
    place = np.arange(-side, side + 1) * spacing_mm
    weights = np.exp(-np.pi * (place / (ALPHA * cutoff_mm)) ** 2)
    return weights / weights.sum()


def long_waves(profile: Profile, cutoff_mm: float) -> Profile:
    """Return the mean line: what is longer than the cut-off.

    Within one cut-off of an end part of the weights lies outside. There the others are scaled to add up to 1
    (the zeroth moment of ISO 16610-28 is retained); keep half a cut-off off each end, where no more than
    0.4 % of the weights is missing.
    """
    from scipy.signal import fftconvolve

    weights = gaussian_weights(cutoff_mm, profile.spacing_mm)
    require(
        profile.length_mm >= cutoff_mm,
        f"A profile of {profile.length_mm:.3g} mm is too short for a cut-off of {cutoff_mm:g} mm.",
        "Measure a longer line, or take a shorter cut-off.",
    )
    inside = fftconvolve(np.ones(profile.heights_um.size), weights, mode="same")
    offset = profile.heights_um.mean()  # keeps the rounding of the transform small against the heights
    smooth = fftconvolve(profile.heights_um - offset, weights, mode="same") / inside
    return replace(profile, heights_um=smooth[: profile.heights_um.size] + offset)


def short_waves(profile: Profile, cutoff_mm: float) -> Profile:
    """Return what is shorter than the cut-off: the profile less its mean line."""
    return replace(profile, heights_um=profile.heights_um - long_waves(profile, cutoff_mm).heights_um)

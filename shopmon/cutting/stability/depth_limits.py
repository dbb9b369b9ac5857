"""The depth at which a cut first chatters, speed by speed, going deeper from nothing."""

import numpy as np

from shopmon.cutting.nouns import require_positive
from shopmon.cutting.stability.maps import stability_map
from shopmon.cutting.stability.semidiscretization import StabilityCase

GRID, CORRECTIONS, NEAR = 64, 16, 1e-4


def depth_limits(case: StabilityCase, rpm, ap_max_mm: float) -> np.ndarray:
    """Find the first border of stability at each speed.

    Parameters
    ----------
    case
        Tool, material and arc.
    rpm
        Spindle speeds, shape ``(speeds,)``.
    ap_max_mm
        How deep to look. The search steps through 64 depths, closer together near 0; a pocket of chatter
        thinner than a step is passed over.

    Returns
    -------
    numpy.ndarray
        Limit of axial depth, mm, ``(speeds,)``; infinite where it stays quiet down to `ap_max_mm`.
    """
    require_positive("ap_max_mm", ap_max_mm)
    rpm = np.atleast_1d(np.asarray(rpm, dtype=float))
    depths = ap_max_mm * (np.arange(1, GRID + 1) / GRID) ** 2
    growth = np.log(np.maximum(stability_map(case, rpm, depths).spectral_radius, 1e-30))
    grows = growth > 0
    first = np.argmax(grows, axis=1)
    limits = np.full(rpm.size, np.inf)
    found = np.nonzero(grows.any(axis=1))[0]
    if found.size:
        limits[found] = _refined(case, rpm[found], depths, first[found], growth[found])
    return limits


def _refined(case, rpm, depths, first, growth) -> np.ndarray:
    """Close in on the border between two depths, from the quiet side."""
    rows = np.arange(rpm.size)
    low = np.where(first > 0, depths[first - 1], 1e-6 * depths[0])
    high = depths[first]
    below = np.where(first > 0, growth[rows, first - 1], -1.0)
    above = growth[rows, first]
    for _ in range(CORRECTIONS):
        middle = (low * above - high * below) / (above - below)
        open_ = np.nonzero(high - low > NEAR * high)[0]
        if not open_.size:
            break
        radius = stability_map(case, rpm[open_], middle[open_, None]).spectral_radius[:, 0]
        value = np.zeros(rpm.size)
        value[open_] = np.log(np.maximum(radius, 1e-30))
        for end, here, there in ((low, below, above), (high, above, below)):
            hit = open_[(value[open_] > 0) == (end is high)]
            there[hit] /= 2  # the Illinois rule: the end that stays counts half
            end[hit], here[hit] = middle[hit], value[hit]
    return low

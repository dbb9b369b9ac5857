"""Stability lobes by the zeroth-order frequency solution.

Y. Altintas, E. Budak, CIRP Annals 44/1 (1995) 357–362: the periodic cutting forces are replaced by their
average, which gives the border in closed form for any receptance. At low radial immersion it can promise
two to four times the true depth; where the cut is interrupted, semi-discretization decides.
"""

from dataclasses import dataclass
from math import pi

import numpy as np

from shopmon.cutting.geometry import directional_integral
from shopmon.cutting.nouns import require
from shopmon.cutting.stability.semidiscretization import CutCase
from shopmon.cutting.stability.tip_receptance import Receptance

POLISHING = 4


@dataclass(frozen=True, eq=False)
class LobePoints:
    """Border of the averaged cut over the chatter frequency, for both roots of the characteristic equation.

    Attributes
    ----------
    frequency_hz
        Chatter frequency, ``(lines,)``.
    root
        Λ, N/m, ``(lines, 2)``, each column followed by continuity.
    ap_mm
        Depth at the border, ``(lines, 2)``; NaN where the root gives none.
    phase_rad
        Between one wave and the next on the surface, ε in (0, 2π), ``(lines, 2)``.
    """

    frequency_hz: np.ndarray
    root: np.ndarray
    ap_mm: np.ndarray
    phase_rad: np.ndarray

    def rpm(self, flutes: int, lobe: int) -> np.ndarray:
        """Spindle speed of each point on a lobe, 0 the fastest; ``(lines, 2)``."""
        return 120 * pi * self.frequency_hz[:, None] / (flutes * (self.phase_rad + 2 * pi * lobe))


def averaged_directions(cut: CutCase) -> np.ndarray:
    """The matrix α of the averaged cut, ``(2, 2)``."""
    entry, exit_ = (directional_integral(np.array(angle), cut.kr) for angle in cut.entry_exit_rad)
    return 2 * (exit_ - entry)


def lobe_points(cut: CutCase, receptance: Receptance, frequency_hz: np.ndarray) -> LobePoints:
    """Border of the averaged cut at each chatter frequency.

    Parameters
    ----------
    cut
        Tool, material and arc; equal pitch, and helix does not matter here.
    receptance
        Of the tool tip, m/N: frequencies ``(lines,)`` to ``(lines, 2, 2)``.
    frequency_hz
        Ascending, ``(lines,)``.

    Raises
    ------
    SettingError
        For unequal pitch, or a receptance that is not finite.
    """
    require(
        cut.pitch_deg is None,
        "The zeroth-order solution is for equal pitch.",
        "Use semi-discretization for unequal pitch.",
    )
    root = _roots(cut, receptance(frequency_hz))
    return LobePoints(frequency_hz, _followed(root), *_border(cut, _followed(root)))


def _roots(cut: CutCase, receptance: np.ndarray) -> np.ndarray:
    """Both Λ with det(1 + Λ α G) = 0, ``(lines, 2)``; infinite where there is only one."""
    require(bool(np.all(np.isfinite(receptance))), "The receptance holds values that are not finite.")
    oriented = averaged_directions(cut) @ receptance
    trace = oriented[:, 0, 0] + oriented[:, 1, 1]
    product = oriented[:, 0, 0] * oriented[:, 1, 1] - oriented[:, 0, 1] * oriented[:, 1, 0]
    spread = np.sqrt(trace**2 - 4 * product)
    # 1/Λ = (−trace ± spread)/2 is safe where one direction is rigid and the product vanishes
    inverse = np.stack([-trace + spread, -trace - spread], axis=1) / 2
    gone = np.abs(inverse) <= 1e-9 * np.abs(inverse).max(axis=1, keepdims=True)
    return np.where(gone, np.inf, 1 / np.where(gone, 1, inverse))


def _followed(root: np.ndarray) -> np.ndarray:
    """Order the roots by continuity: sorted by size they would change places where they meet."""
    inverse = 1 / root
    gap = inverse[:, 0] - inverse[:, 1]
    turned = np.abs(gap[1:] - gap[:-1]) > np.abs(gap[1:] + gap[:-1])
    swapped = np.concatenate(([False], np.cumsum(turned) % 2 == 1))
    return np.where(swapped[:, None], root[:, ::-1], root)


def _border(cut: CutCase, root: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Depth in mm and phase ε of the surface waves; NaN depth where the root gives none."""
    good = np.isfinite(root) & (root.real < 0)
    real, ratio = np.where(good, root.real, -1.0), np.where(good, root.imag, 0.0)
    ratio = ratio / real
    ap_mm = -2 * pi * real / (cut.flutes * cut.kt_n_per_mm2 * 1e3) * (1 + ratio**2)
    return np.where(good, ap_mm, np.nan), pi - 2 * np.arctan(ratio)


def zeroth_order_limits(
    cut: CutCase, receptance: Receptance, frequency_hz: np.ndarray, rpm
) -> tuple[np.ndarray, np.ndarray]:
    """Limit of depth at each speed: the lower envelope of all lobes and both roots.

    Parameters
    ----------
    cut, receptance, frequency_hz
        As `lobe_points`; the frequencies must be close enough to show every lobe.
    rpm
        Spindle speeds, ``(speeds,)``.

    Returns
    -------
    ap_mm, chatter_hz
        ``(speeds,)`` each; infinite and NaN where no lobe reaches a speed.
    """
    rpm = np.atleast_1d(np.asarray(rpm, dtype=float))
    require(bool(np.all(np.isfinite(rpm) & (rpm > 0))), "rpm must hold numbers above 0 only.")
    points = lobe_points(cut, receptance, frequency_hz)
    tooth_s = 60 / (cut.flutes * rpm)
    speed, line, branch = _crossings(points, tooth_s)
    found_hz, found_mm = _polished(cut, receptance, points, (tooth_s[speed], line, branch))
    limits, chatter = np.full(rpm.size, np.inf), np.full(rpm.size, np.nan)
    order = np.argsort(-found_mm)  # the shallowest is written last
    limits[speed[order]], chatter[speed[order]] = found_mm[order], found_hz[order]
    return limits, chatter


def _crossings(points: LobePoints, tooth_s: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Where ω·T − ε passes a multiple of 2π between two lines: speed, lower line and root of each."""
    swing = points.frequency_hz[:, None] * tooth_s[:, None, None] - points.phase_rad / (2 * pi)
    whole = np.floor(swing)
    real = np.isfinite(points.ap_mm)
    return np.nonzero((whole[:, 1:] != whole[:, :-1]) & (real[1:] & real[:-1]))


def _polished(cut, receptance, points: LobePoints, crossing) -> tuple[np.ndarray, np.ndarray]:
    """Frequency and depth of each crossing, closed in on by the rule of false position."""
    tooth_s, line, branch = crossing
    low, high = points.frequency_hz[line], points.frequency_hz[line + 1]
    phase = points.phase_rad / (2 * pi)
    below, above = low * tooth_s - phase[line, branch], high * tooth_s - phase[line + 1, branch]
    lobe = np.maximum(np.floor(below), np.floor(above))
    below, above = below - lobe, above - lobe
    near = 1 / points.root[line, branch]
    depth = points.ap_mm[line, branch]
    middle = low
    for _ in range(POLISHING):
        middle = (low * above - high * below) / (above - below)
        inverse = 1 / _roots(cut, receptance(middle))
        nearest = np.argmin(np.abs(inverse - near[:, None]), axis=1)
        near = inverse[np.arange(near.size), nearest]
        depth, phase_now = _border(cut, 1 / near)
        value = middle * tooth_s - phase_now / (2 * pi) - lobe
        same = (value > 0) == (above > 0)
        low, below = np.where(same, low, middle), np.where(same, below / 2, value)
        high, above = np.where(same, middle, high), np.where(same, value, above / 2)
    return middle, np.where(np.isfinite(depth), depth, np.inf)

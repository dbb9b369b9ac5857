"""How far an end mill bends: a cantilever of round sections, and what that leaves on a wall.

The fluted part counts as a cylinder of 0.8 times the cutting diameter (common practice, no source). Real tips
give way more: holder and spindle are springs in series, often softer than the tool.
"""

from dataclasses import dataclass
from math import pi

import numpy as np

from shopmon.cutting.forces import EdgeForces, force_per_mm
from shopmon.cutting.geometry import lag_per_mm, tooth_angles
from shopmon.cutting.nouns import EndMillType, require, require_not_negative, require_positive
from shopmon.cutting.stability.semidiscretization import CutCase

FLUTED_SHARE = 0.8
MODULUS_GPA = {"carbide": 600.0, "HSS": 205.0, "steel": 205.0}  # from memory: 580–620, 200–210
HEIGHTS = 60


@dataclass(frozen=True, kw_only=True)
class Section:
    """A round piece of a tool.

    Attributes
    ----------
    length_mm, diameter_mm
        The diameter is the one that bends: for flutes the effective one.
    """

    length_mm: float
    diameter_mm: float

    def __post_init__(self):
        require_positive("length_mm", self.length_mm)
        require_positive("diameter_mm", self.diameter_mm)


@dataclass(frozen=True, kw_only=True)
class Cantilever:
    """A tool clamped at one end.

    Attributes
    ----------
    sections
        From the tip to the holder.
    modulus_gpa
        Young's modulus.
    holder_um_per_n
        How far holder and spindle give way sideways, µm/N.
    """

    sections: tuple[Section, ...]
    modulus_gpa: float = MODULUS_GPA["carbide"]
    holder_um_per_n: float = 0.0

    def __post_init__(self):
        require(len(self.sections) > 0, "A cantilever needs at least one section.")
        require_positive("modulus_gpa", self.modulus_gpa)
        require_not_negative("holder_um_per_n", self.holder_um_per_n)

    @property
    def length_mm(self) -> float:
        """From the tip to the holder."""
        return sum(section.length_mm for section in self.sections)

    def compliance_um_per_n(self, at_mm, load_mm) -> np.ndarray:
        """Bending at one height by a force at another, both from the tip; arrays broadcast.

        The exact integral of the two bending moments over each section's E·I (unit-load theorem).
        """
        at, load = np.broadcast_arrays(np.asarray(at_mm, float), np.asarray(load_mm, float))
        total = np.full(at.shape, self.holder_um_per_n)
        start = 0.0
        for section in self.sections:
            stop = start + section.length_mm
            low, high = np.clip(np.maximum(at, load), start, stop), stop
            inertia = pi * section.diameter_mm**4 / 64
            whole = _moments(high, at, load) - _moments(low, at, load)
            total = total + whole / (self.modulus_gpa * inertia)
            start = stop
        return total

    @property
    def tip_stiffness_n_per_um(self) -> float:
        """Force at the tip over the bending there."""
        return float(1 / self.compliance_um_per_n(0.0, 0.0))


def _moments(place, at, load):
    """Antiderivative of (s − at)(s − load); with E in GPa and mm⁴ the quotient is in µm/N."""
    return place**3 / 3 - (at + load) * place**2 / 2 + at * load * place


def cantilever(mill: EndMillType, stickout_mm: float, holder_um_per_n: float = 0.0) -> Cantilever:
    """The tool as a stepped cantilever: flutes, then neck where there is one, then shank.

    Parameters
    ----------
    mill
        DC is needed; APMX is taken for the fluted length, DN and LU for a neck behind it, DMM for the shank.
        What is missing counts as DC, and without APMX all of the stickout counts as fluted.
    stickout_mm
        From the holder to the tip.
    holder_um_per_n
        As in `Cantilever`.

    Raises
    ------
    SettingError
        Where DC is missing or stickout is not above 0.
    """
    require_positive("stickout_mm", stickout_mm)
    require(mill.DC is not None, "How far a tool bends needs its diameter DC.", "Measure the tool.")
    flutes = min(mill.APMX or stickout_mm, stickout_mm)
    reach = min(mill.LU or flutes, stickout_mm) if mill.DN else flutes
    pieces = [
        (flutes, FLUTED_SHARE * mill.DC),
        (reach - flutes, mill.DN or mill.DC),
        (stickout_mm - max(reach, flutes), mill.DMM or mill.DC),
    ]
    sections = tuple(Section(length_mm=length, diameter_mm=size) for length, size in pieces if length > 1e-9)
    modulus = MODULUS_GPA.get(mill.substrate or "carbide", MODULUS_GPA["carbide"])
    return Cantilever(sections=sections, modulus_gpa=modulus, holder_um_per_n=holder_um_per_n)


@dataclass(frozen=True, kw_only=True, eq=False)
class WallError:
    """What bending leaves on a wall in one pass.

    Attributes
    ----------
    height_mm
        Above the tip, ``(heights,)``.
    left_um
        Metal left on the wall there; negative where the tool was drawn into it, ``(heights,)``.
    """

    height_mm: np.ndarray
    left_um: np.ndarray

    @property
    def most_um(self) -> float:
        """Largest deviation, either way."""
        return float(np.abs(self.left_um).max())

    @property
    def taper_um(self) -> float:
        """Difference between the highest and the lowest place of the pass."""
        return float(np.ptp(self.left_um))

    @property
    def step_um(self) -> float:
        """Step in the wall where a pass meets the next one below it."""
        return float(abs(self.left_um[0] - self.left_um[-1]))


def wall_error(
    tool: Cantilever, cut: CutCase, forces: EdgeForces, feed_per_tooth_mm: float, ap_mm: float
) -> WallError:
    """Deviation of a milled wall from bending alone, without vibration and runout.

    Each height of the wall is made when an edge at that height points at the wall; the tool is then bent by
    all edges in the cut at that moment (after W. A. Kline, R. E. DeVor, I. A. Shareef, J. Eng. Ind. 104,
    1982, 272–278, from memory). Unequal pitches count as equal.

    Raises
    ------
    SettingError
        For a slot, which has a wall on both sides, or a depth beyond the tool.
    """
    require(cut.milling != "slot", "A slot has two walls.", "Ask for climb or conventional milling.")
    require_positive("ap_mm", ap_mm)
    require(
        ap_mm <= tool.length_mm,
        f"ap of {ap_mm:g} mm is above the stickout, {tool.length_mm:g} mm.",
        "Ask for less depth, or for more stickout.",
    )
    height = np.linspace(0, ap_mm, HEIGHTS + 1)
    middle = (height[1:] + height[:-1]) / 2
    lag = lag_per_mm(cut.helix_deg, cut.diameter_mm)
    at_wall = np.pi if cut.milling == "climb" else 0.0
    # a hair inside the arc: the edge that makes the wall is just about to leave it or has just come in
    inside = at_wall + (-1e-9 if cut.milling == "climb" else 1e-9)
    angle = inside + lag * (height[:, None, None] - middle[:, None]) + tooth_angles(cut.flutes)
    across = force_per_mm(angle, cut.entry_exit_rad, forces, feed_per_tooth_mm)[..., 1].sum(axis=-1)
    bent = tool.compliance_um_per_n(height[:, None], middle) * across * (ap_mm / HEIGHTS)
    away = 1.0 if cut.milling == "climb" else -1.0
    return WallError(height_mm=height, left_um=away * bent.sum(axis=1))

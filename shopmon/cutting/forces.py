"""Forces of a rigid milling cut over one turn: linear cutting and edge forces, with helix.

Per height b a tooth at angle φ feels Ft = (Ktc·fz·sin φ + Kte)·b against its motion and Fr likewise inwards
(the linear edge model); over a slanted edge this is integrated exactly. Directions as in `geometry`.
"""

from dataclasses import dataclass
from math import pi

import numpy as np

from shopmon.cutting.geometry import lag_per_mm, tooth_angles
from shopmon.cutting.nouns import Material, require_not_negative, require_positive
from shopmon.cutting.stability.semidiscretization import CutCase
from shopmon.errors import SettingError

LEAST_LAG_RAD = 1e-6  # below it the antiderivatives' difference is rounding


@dataclass(frozen=True, kw_only=True)
class EdgeForces:
    """Coefficients of the linear edge model.

    Attributes
    ----------
    ktc_n_per_mm2, krc_n_per_mm2
        Cutting, tangential and radial.
    kte_n_per_mm, kre_n_per_mm
        Edge, tangential and radial.
    """

    ktc_n_per_mm2: float
    krc_n_per_mm2: float = 0.0
    kte_n_per_mm: float = 0.0
    kre_n_per_mm: float = 0.0

    def __post_init__(self):
        require_positive("ktc_n_per_mm2", self.ktc_n_per_mm2)
        for name in ("krc_n_per_mm2", "kte_n_per_mm", "kre_n_per_mm"):
            require_not_negative(name, getattr(self, name))

    @classmethod
    def of(cls, material: Material) -> "EdgeForces":
        """Coefficients of a material; those nobody measured count as 0, but for the first.

        Raises
        ------
        SettingError
            Where the material has no tangential coefficient.
        """
        if material.ktc_n_per_mm2 is None:
            raise SettingError(
                f"No force coefficients are known for {material.label}.", "Choose a material that has them."
            )
        return cls(
            ktc_n_per_mm2=material.ktc_n_per_mm2,
            krc_n_per_mm2=material.krc_n_per_mm2 or 0.0,
            kte_n_per_mm=material.kte_n_per_mm or 0.0,
            kre_n_per_mm=material.kre_n_per_mm or 0.0,
        )


@dataclass(frozen=True, kw_only=True, eq=False)
class TurnForces:
    """Forces on the tool over one turn, all ``(steps,)``.

    Attributes
    ----------
    rotation_rad
        Of the cutter.
    fx_n, fy_n
        Along the feed and normal to it.
    torque_nm
        That the spindle must give.
    """

    rotation_rad: np.ndarray
    fx_n: np.ndarray
    fy_n: np.ndarray
    torque_nm: np.ndarray

    @property
    def peak_n(self) -> float:
        """Largest resultant in the plane."""
        return float(np.hypot(self.fx_n, self.fy_n).max())

    def mean_power_kw(self, rpm: float) -> float:
        """Mean torque times speed."""
        return float(self.torque_nm.mean()) * 2 * pi * rpm / 60 / 1000


def force_per_mm(
    angle: np.ndarray, arc: tuple[float, float], forces: EdgeForces, feed_mm: float
) -> np.ndarray:
    """Force of a mm of edge at each angle: along x, along y, and tangential; N/mm, ``(..., 3)``."""
    wrapped = np.mod(angle, 2 * pi)
    engaged = (wrapped > arc[0]) & (wrapped < arc[1])
    chip = feed_mm * np.sin(wrapped)
    tangential = forces.ktc_n_per_mm2 * chip + forces.kte_n_per_mm
    radial = forces.krc_n_per_mm2 * chip + forces.kre_n_per_mm
    along = -tangential * np.cos(wrapped) - radial * np.sin(wrapped)
    across = tangential * np.sin(wrapped) - radial * np.cos(wrapped)
    return engaged[..., None] * np.stack([along, across, tangential], axis=-1)


def turn_forces(
    cut: CutCase, forces: EdgeForces, feed_per_tooth_mm: float, ap_mm: float, steps: int = 720
) -> TurnForces:
    """Forces over one turn of a rigid tool without runout.

    Parameters
    ----------
    cut
        Tool and arc; its own coefficients are not used, nor is unequal feed of unequal pitches.
    forces
        Coefficients of the linear edge model.
    feed_per_tooth_mm, ap_mm
        fz and axial depth.
    steps
        Of the turn.
    """
    require_positive("feed_per_tooth_mm", feed_per_tooth_mm)
    require_positive("ap_mm", ap_mm)
    rotation = 2 * pi * np.arange(steps) / steps
    angle = rotation[:, None] + tooth_angles(cut.flutes, cut.pitch_deg)
    lag = lag_per_mm(cut.helix_deg, cut.diameter_mm) * ap_mm
    if abs(lag) < LEAST_LAG_RAD:
        total = force_per_mm(angle, cut.entry_exit_rad, forces, feed_per_tooth_mm)
    else:
        until = _integral(angle, cut.entry_exit_rad, forces, feed_per_tooth_mm)
        total = (until - _integral(angle - lag, cut.entry_exit_rad, forces, feed_per_tooth_mm)) / lag
    along, across, tangential = np.moveaxis(total.sum(axis=1) * ap_mm, -1, 0)
    torque = tangential * cut.diameter_mm / 2 * 1e-3
    return TurnForces(rotation_rad=rotation, fx_n=along, fy_n=across, torque_nm=torque)


def _integral(angle, arc, forces: EdgeForces, feed_mm: float) -> np.ndarray:
    """Antiderivative of `force_per_mm` over the angle, counting only the part in the cut."""
    cutting, edge = forces.ktc_n_per_mm2 * feed_mm, forces.kte_n_per_mm
    cutting_r, edge_r = forces.krc_n_per_mm2 * feed_mm, forces.kre_n_per_mm

    def primitive(at):
        """Antiderivative within one arc."""
        squares, mixed = at / 2 - np.sin(2 * at) / 4, np.sin(at) ** 2 / 2
        sine, cosine = np.sin(at), np.cos(at)
        along = -cutting * mixed - edge * sine - cutting_r * squares + edge_r * cosine
        across = cutting * squares - edge * cosine - cutting_r * mixed - edge_r * sine
        return np.stack([along, across, edge * at - cutting * cosine], axis=-1)

    turns = np.floor(angle / (2 * pi))
    entry, exit_ = (primitive(np.array(bound)) for bound in arc)
    inside = primitive(np.clip(angle - 2 * pi * turns, *arc)) - entry
    return inside + turns[..., None] * (exit_ - entry)

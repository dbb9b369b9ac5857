"""Removal rate, power and torque, from the specific force or from the linear edge model."""

from math import pi

from shopmon.cutting.chips import mean_chip_mm
from shopmon.cutting.forces import EdgeForces
from shopmon.cutting.nouns import Material, require, require_positive


def cutting_speed_m_per_min(diameter_mm: float, rpm: float) -> float:
    """Cutting speed, π D n.

    Examples
    --------
    >>> round(cutting_speed_m_per_min(10, 12000), 2)
    376.99
    """
    return pi * diameter_mm * rpm / 1000


def removal_rate_cm3_per_min(ap_mm: float, ae_mm: float, table_feed: float) -> float:
    """Removal rate, ap · ae · vf, the table feed in mm/min.

    Examples
    --------
    >>> removal_rate_cm3_per_min(2, 5, 1500)
    15.0
    """
    return ap_mm * ae_mm * table_feed / 1000


def power_kw(specific_force_n_per_mm2: float, removal_rate: float) -> float:
    """Specific force times removal rate (cm³/min).

    Examples
    --------
    >>> power_kw(800, 15)
    0.2
    """
    return specific_force_n_per_mm2 * removal_rate / 60000


def torque_nm(power: float, rpm: float) -> float:
    """Mean torque at the spindle from its power in kW."""
    require_positive("rpm", rpm)
    return power * 1000 / (2 * pi * rpm / 60)


def kienzle_n_per_mm2(kc11_n_per_mm2: float, mc: float, chip_mm: float) -> float:
    """Specific cutting force kc = kc1.1 · h^(−mc), h in mm (Kienzle).

    Examples
    --------
    >>> round(kienzle_n_per_mm2(2220, 0.14, 0.1), 1)
    3064.5
    """
    require_positive("kc11_n_per_mm2", kc11_n_per_mm2)
    require_positive("chip_mm", chip_mm)
    require(0 <= mc < 1, f"mc must be from 0 to below 1, not {mc!r}.")
    return kc11_n_per_mm2 * chip_mm**-mc


def linear_from_kienzle(
    kc11_n_per_mm2: float, mc: float, thin_mm: float = 0.02, thick_mm: float = 0.1
) -> tuple[float, float]:
    """Cutting (N/mm²) and edge coefficient (N/mm) that give Kienzle's force at two chip thicknesses."""
    require(0 < thin_mm < thick_mm, f"Chips of {thin_mm!r} and {thick_mm!r} mm do not make a range.")
    thin, thick = (kienzle_n_per_mm2(kc11_n_per_mm2, mc, chip) * chip for chip in (thin_mm, thick_mm))
    cutting = (thick - thin) / (thick_mm - thin_mm)
    return cutting, thin - cutting * thin_mm


def specific_force_n_per_mm2(
    material: Material, feed_per_tooth_mm: float, ae_mm: float, diameter_mm: float
) -> float:
    """Force per area of chip at the mean chip, by Kienzle where the material has it, else Ktc + Kte/hm.

    Raises
    ------
    SettingError
        Where the material has neither.
    """
    chip = mean_chip_mm(feed_per_tooth_mm, ae_mm, diameter_mm)
    if material.kc11_n_per_mm2 is not None and material.mc is not None:
        return kienzle_n_per_mm2(material.kc11_n_per_mm2, material.mc, chip)
    forces = EdgeForces.of(material)
    return forces.ktc_n_per_mm2 + forces.kte_n_per_mm / chip

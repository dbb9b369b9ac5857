"""Axial depths at which a helical end mill keeps the same length of edge in the cut all the time."""

from math import pi, radians, tan

from shopmon.cutting.nouns import require, require_positive


def axial_pitch_mm(diameter_mm: float, flutes: int, helix_deg: float) -> float:
    """Distance between neighbouring edges along the axis, π D/(N tan β).

    Raises
    ------
    SettingError
        For straight flutes, which have none.

    Examples
    --------
    >>> round(axial_pitch_mm(10, 3, 45), 3)
    10.472
    """
    require_positive("diameter", diameter_mm)
    require(int(flutes) == flutes and flutes >= 1, f"flutes must be a whole number from 1, not {flutes!r}.")
    require(
        0 < abs(helix_deg) <= 80,
        f"A helix of {helix_deg!r} degrees has no axial pitch.",
        "Only helical flutes have smooth depths.",
    )
    return pi * diameter_mm / (flutes * tan(radians(abs(helix_deg))))


def smooth_depths_mm(diameter_mm: float, flutes: int, helix_deg: float, most_mm: float) -> tuple[float, ...]:
    """Whole multiples of the axial pitch up to `most_mm`: there the force of equal teeth stays constant.

    Equal pitch only; with one edge the pitch is that of a turn.

    Examples
    --------
    >>> [round(depth, 2) for depth in smooth_depths_mm(6, 3, 45, 20)]
    [6.28, 12.57, 18.85]
    """
    require_positive("most_mm", most_mm)
    pitch = axial_pitch_mm(diameter_mm, flutes, helix_deg)
    return tuple(pitch * count for count in range(1, int(most_mm / pitch * (1 + 1e-12)) + 1))

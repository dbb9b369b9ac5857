"""The finish that geometry alone leaves: feed marks on walls and floors. Measured Ra is usually larger.

Lengths in mm, heights of the profile in µm.
"""

from math import sqrt

import numpy as np

from shopmon.cutting.nouns import require, require_not_negative, require_positive

RA_OF_CUSP = 0.25660  # Ra over height of a profile of arcs: 4/(9√3)
SAMPLES = 4096


def cusp_um(feed_mm: float, radius_mm: float) -> float:
    """Height of the ridges between arcs of a radius, one every `feed_mm`.

    Raises
    ------
    SettingError
        Where the arcs would not meet.

    Examples
    --------
    >>> round(cusp_um(0.2, 0.8), 4)
    6.2746
    """
    require_positive("feed_mm", feed_mm)
    require_positive("radius_mm", radius_mm)
    require(
        feed_mm <= 2 * radius_mm,
        f"Arcs of {radius_mm:g} mm do not meet at {feed_mm:g} mm apart.",
        "Check the feed and the radius.",
    )
    return 1000 * (radius_mm - sqrt(radius_mm**2 - feed_mm**2 / 4))


def ra_um(cusp_height_um: float) -> float:
    """Ra of a profile of equal arcs, from its height."""
    return RA_OF_CUSP * cusp_height_um


def floor_um(feed_per_tooth_mm: float, corner_radius_mm: float, flat_mm: float = 0.0) -> float:
    """Height of the feed marks on a floor, every tooth alike.

    Parameters
    ----------
    feed_per_tooth_mm
        Feed per tooth; give the feed per turn where runout lets one tooth make the floor.
    corner_radius_mm
        Of the tooth.
    flat_mm
        Wiper flat between corner and floor: as wide as the feed, it leaves nothing.
    """
    require_not_negative("flat_mm", flat_mm)
    rest = feed_per_tooth_mm - flat_mm
    return 0.0 if rest <= 0 else cusp_um(rest, corner_radius_mm)


def scallop_um(step_over_mm: float, radius_mm: float) -> float:
    """Height of the ridges a ball end leaves between passes; the same arcs.

    Examples
    --------
    >>> round(scallop_um(0.3, 3.0), 4)
    3.7523
    """
    return cusp_um(step_over_mm, radius_mm)


def path_radius_mm(feed_per_tooth_mm: float, flutes: int, diameter_mm: float, milling: str) -> float:
    """Radius of a tooth's path where it makes the wall: R + fz·N/π conventional, R − fz·N/π climb.

    M. E. Martellotti, Trans. ASME 63 (1941) 677–700: the feed flattens the path one way and sharpens it the
    other.
    """
    shift = feed_per_tooth_mm * flutes / np.pi
    return diameter_mm / 2 + (shift if milling == "conventional" else -shift)


def wall_um(
    feed_per_tooth_mm: float,
    flutes: int,
    diameter_mm: float,
    milling: str,
    offsets_um: tuple[float, ...] | None = None,
) -> float:
    """Height of the feed marks on a side wall.

    Parameters
    ----------
    feed_per_tooth_mm, flutes, diameter_mm
        Of a tool with equal pitch.
    milling
        ``"climb"`` or ``"conventional"``.
    offsets_um
        How far each tooth stands out radially, µm; None means all alike. A tooth that stands back by more
        than fz²/D leaves no mark, so that a few µm of runout let one tooth make the wall.
    """
    require_positive("feed_per_tooth_mm", feed_per_tooth_mm)
    require_positive("diameter_mm", diameter_mm)
    radius = path_radius_mm(feed_per_tooth_mm, flutes, diameter_mm, milling)
    require(
        radius > 0,
        f"fz of {feed_per_tooth_mm:g} mm is too much for a diameter of {diameter_mm:g} mm.",
        "Check the feed per tooth.",
    )
    offsets = np.zeros(flutes) if offsets_um is None else np.asarray(offsets_um, dtype=float)
    require(offsets.shape == (flutes,), f"offsets_um holds {offsets.size} values for {flutes} flutes.")
    return float(np.ptp(_marks_um(feed_per_tooth_mm, offsets, radius).max(axis=0)))


def marking_teeth(feed_per_tooth_mm: float, diameter_mm: float, offsets_um: tuple[float, ...]) -> int:
    """How many teeth leave a mark on the wall."""
    marks = _marks_um(feed_per_tooth_mm, np.asarray(offsets_um, dtype=float), diameter_mm / 2)
    return np.unique(np.argmax(marks, axis=0) % len(offsets_um)).size


def _marks_um(feed_per_tooth_mm: float, offsets_um: np.ndarray, radius_mm: float) -> np.ndarray:
    """How deep each pass of a tooth reaches at places along a turn's feed, ``(passes, places)``.

    The turns before and after are among the passes; the wall is made by whichever reaches deepest.
    """
    flutes = offsets_um.size
    place = np.linspace(0, feed_per_tooth_mm * flutes, SAMPLES * flutes + 1)
    passes = np.arange(-flutes, 2 * flutes + 1)
    away = place - feed_per_tooth_mm * passes[:, None]
    return np.take(offsets_um, passes, mode="wrap")[:, None] - 1000 * away**2 / (2 * radius_mm)

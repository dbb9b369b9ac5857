"""Chip thickness: how thin the chip gets where the tool cuts with little of its width."""

from math import pi, sin

from shopmon.cutting.geometry import entry_exit
from shopmon.cutting.nouns import require_positive


def thinning_factor(ae_mm: float, diameter_mm: float) -> float:
    """Feed per tooth over the thickest chip: 1/sin φe while the arc φe is below a quarter turn, else 1.

    Examples
    --------
    >>> round(thinning_factor(1.0, 10.0), 3)
    1.667
    """
    _, arc = entry_exit("conventional", ae_mm, diameter_mm)
    return 1 / sin(arc) if arc < pi / 2 else 1.0


def mean_chip_mm(feed_per_tooth_mm: float, ae_mm: float, diameter_mm: float) -> float:
    """Mean chip thickness over the arc of the cut: fz·(2 ae/D)/φe.

    Examples
    --------
    >>> round(mean_chip_mm(0.1, 1.0, 10.0), 5)
    0.03108
    """
    require_positive("feed_per_tooth_mm", feed_per_tooth_mm)
    _, arc = entry_exit("conventional", ae_mm, diameter_mm)
    return feed_per_tooth_mm * 2 * ae_mm / diameter_mm / arc

"""Chip thickness: how thin the chip gets where the tool cuts with little of its width."""

from math import acos, sqrt

from shopmon.cutting.nouns import require, require_positive


def _share(ae_mm: float, diameter_mm: float) -> float:
    require_positive("ae", ae_mm)
    require_positive("diameter", diameter_mm)
    require(ae_mm <= diameter_mm, f"ae of {ae_mm:g} mm is more than the diameter of {diameter_mm:g} mm.")
    return ae_mm / diameter_mm


def thinning_factor(ae_mm: float, diameter_mm: float) -> float:
    """Feed per tooth over the thickest chip: 1/(2√(a(1−a))) with a = ae/D below a half, else 1.

    Examples
    --------
    >>> round(thinning_factor(1.0, 10.0), 3)
    1.667
    """
    share = _share(ae_mm, diameter_mm)
    return 1.0 if share >= 0.5 else 1 / (2 * sqrt(share * (1 - share)))


def feed_for_chip_mm(chip_mm: float, ae_mm: float, diameter_mm: float) -> float:
    """Feed per tooth, mm, that makes the thickest chip `chip_mm` thick."""
    require_positive("chip_mm", chip_mm)
    return chip_mm * thinning_factor(ae_mm, diameter_mm)


def mean_chip_mm(feed_per_tooth_mm: float, ae_mm: float, diameter_mm: float) -> float:
    """Mean chip thickness over the arc of the cut: fz·(2 ae/D)/φe.

    Examples
    --------
    >>> round(mean_chip_mm(0.1, 1.0, 10.0), 5)
    0.03108
    """
    require_positive("feed_per_tooth_mm", feed_per_tooth_mm)
    share = _share(ae_mm, diameter_mm)
    return feed_per_tooth_mm * 2 * share / acos(1 - 2 * share)

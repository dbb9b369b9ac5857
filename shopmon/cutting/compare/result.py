"""What a comparison found, whatever was compared."""

from collections.abc import Hashable
from dataclasses import dataclass

CONFIDENCE = 0.9
SURE_P = 0.05
LEAST_EACH = 4  # with three of each even the clearest order has one chance in ten


@dataclass(frozen=True, kw_only=True)
class Comparison:
    """The difference of B from A.

    Attributes
    ----------
    measure
        ``ratio``: value of B over that of A (geometric means, or lives). ``chance``: that one of B ranks
        above one of A.
    effect, bounds
        With its bounds; None on a side that is open.
    p_value
        Of no difference, two-sided, by a rank or survival test within strata.
    units
        How many of A and of B there were: tools where kinds are compared, parts where two tools are, and of
        lives those that ended.
    needed_each
        Of A and of B in all, to settle a difference of this size four times in five; None where the
        difference is too small for any sensible number.
    strata, left_out
        What was compared within; and strata in which only one of the two had been.
    """

    measure: str
    effect: float
    bounds: tuple[float | None, float | None]
    confidence: float
    p_value: float
    units: tuple[int, int]
    needed_each: int | None
    strata: tuple[Hashable, ...]
    left_out: tuple[Hashable, ...]

    @property
    def none(self) -> float:
        """The effect that means no difference."""
        return 1.0 if self.measure == "ratio" else 0.5

    @property
    def settled(self) -> bool:
        """Whether the data settle which is higher."""
        low, high = self.bounds
        outside = (low is not None and low > self.none) or (high is not None and high < self.none)
        return min(self.units) >= LEAST_EACH and self.p_value < SURE_P and outside

"""What a minute in the cut costs in edges, and how two kinds compare by it; money in any one unit."""

from dataclasses import dataclass, replace
from math import gamma

from shopmon.cutting.compare.result import Comparison
from shopmon.cutting.life.weibull import Fit
from shopmon.cutting.nouns import require_not_negative, require_positive


def per_minute(price: float, life_min: float, change_min: float = 0.0, shop_per_hour: float = 0.0) -> float:
    """Return the cost of a minute in the cut: the edge and the time of changing it, over its life."""
    require_not_negative("price", price)
    require_positive("life_min", life_min)
    require_not_negative("change_min", change_min)
    require_not_negative("shop_per_hour", shop_per_hour)
    return (price + change_min * shop_per_hour / 60) / life_min


def per_part(minute: float, cut_time_min: float) -> float:
    """Return what the edges for one part cost, from the cost of a minute and its minutes in the cut."""
    require_positive("cut_time_min", cut_time_min)
    return minute * cut_time_min


@dataclass(frozen=True, kw_only=True)
class Spending:
    """What an edge costs beside its price, and how long a part takes; money in the unit of the prices.

    Attributes
    ----------
    change_min, shop_per_hour
        Minutes to change and measure a tool, and what an hour of the shop costs.
    part_min
        Minutes in the cut that one part takes with A and with B; None where nobody said.
    """

    change_min: float = 0.0
    shop_per_hour: float = 0.0
    part_min: tuple[float, float] | None = None

    def __post_init__(self):
        require_not_negative("The minutes of a tool change", self.change_min)
        require_not_negative("What an hour of the shop costs", self.shop_per_hour)
        for minutes in self.part_min or ():
            require_positive("The minutes in the cut of a part", minutes)

    def edge(self, price: float) -> float:
        """Return what one edge costs with its change."""
        return price + self.change_min * self.shop_per_hour / 60


def cost_per_minute(edge_cost: float, fit: Fit) -> tuple[float, float, float]:
    """Return the cost of a minute in the cut over many edges, with its bounds: low, likeliest, high.

    The mean life of a Weibull distribution is η Γ(1 + 1/β); the bounds are those of η.
    """
    mean = gamma(1 + 1 / fit.shape)
    low, high = fit.scale_bounds_min
    return tuple(per_minute(edge_cost, scale * mean) for scale in (high, fit.scale_min, low))


def compare_cost(price_a: float, price_b: float, lives: Comparison) -> Comparison:
    """Turn a comparison of lives into one of cost per minute: the ratio of B to A.

    How sure it is comes from the lives; prices are known. For the cost of a part, give each price times the
    minutes that a part takes. The p value stays that of equal *lives*.
    """
    require_positive("The price of A", price_a)
    require_positive("The price of B", price_b)
    prices = price_b / price_a
    low, high = lives.bounds
    return replace(
        lives,
        effect=prices / lives.effect,
        bounds=(None if high is None else prices / high, None if low is None else prices / low),
        needed_each=None,
    )

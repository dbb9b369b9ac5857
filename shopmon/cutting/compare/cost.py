"""What a minute in the cut costs in edges, and how two kinds compare by it; money in any one unit."""

from dataclasses import replace

from shopmon.cutting.compare.result import Comparison
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


def compare_cost(price_a: float, price_b: float, lives: Comparison) -> Comparison:
    """Turn a comparison of lives into one of cost per minute: the ratio of B to A.

    How sure it is comes from the lives; prices are known. The p value stays that of equal *lives*.
    """
    require_positive("price_a", price_a)
    require_positive("price_b", price_b)
    prices = price_b / price_a
    low, high = lives.bounds
    return replace(
        lives,
        effect=prices / lives.effect,
        bounds=(None if high is None else prices / high, None if low is None else prices / low),
        needed_each=None,
    )

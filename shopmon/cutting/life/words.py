"""What is said of a tool's life: one sentence, and what it rests on. Times are in the cut."""

from shopmon.cutting.life.lifetimes import CannotTell
from shopmon.cutting.life.weibull import Remaining

BEYOND_SEEN = 3.0  # a bound further out than this many of the longest lives seen is no knowledge
FULL_HOUR_FROM_MIN = 180.0


def minutes_text(minutes: float) -> str:
    """Write minutes with two digits: ``"8 min"``, ``"34 min"``, ``"150 min"``, ``"5.2 h"``."""
    if minutes >= FULL_HOUR_FROM_MIN:
        return f"{_two_digits(minutes / 60)} h"
    return f"{_two_digits(minutes) if minutes >= 1 else 'under 1'} min"


def _two_digits(value: float) -> str:
    rounded = float(f"{value:.2g}")
    return f"{rounded:.0f}" if value >= 10 or rounded.is_integer() else f"{rounded:g}"


def _whole(minutes: float) -> str:
    return f"{float(f'{minutes:.2g}'):.0f}"


def life_sentence(cut_time_min: float, remaining: Remaining | CannotTell, longest_seen_min: float) -> str:
    """Say how long an edge has cut and how much longer it is likely to.

    Parameters
    ----------
    cut_time_min
        What it has cut.
    remaining
        Of that edge, or why there is none.
    longest_seen_min
        The longest life among those that `remaining` rests on, ended or not.

    Examples
    --------
    >>> left = Remaining(age_min=34, lower_min=20, median_min=33, upper_min=50, likely=0.8, ended=6, in_use=2)
    >>> life_sentence(34, left, 71)
    '34 min in the cut, likely 20 to 50 more'
    """
    cut = f"{minutes_text(cut_time_min)} in the cut"
    left = "" if isinstance(remaining, CannotTell) else _range(remaining, longest_seen_min)
    return f"{cut}, likely {left} more" if left else f"{cut}; how much longer cannot be told yet"


def _range(remaining: Remaining, longest_seen_min: float) -> str:
    lower, upper = remaining.lower_min, remaining.upper_min
    open_ended = remaining.age_min + upper > BEYOND_SEEN * longest_seen_min
    in_hours = (lower if open_ended else upper) >= FULL_HOUR_FROM_MIN
    low, high = (
        (_two_digits(lower / 60), _two_digits(upper / 60)) if in_hours else (_whole(lower), _whole(upper))
    )
    unit = " h" if in_hours else " min" if remaining.age_min >= FULL_HOUR_FROM_MIN else ""
    if open_ended:
        return f"at least {low}{unit}" if lower >= 1 else ""
    if lower < 1:
        return f"up to {high}{unit}" if upper >= 1 else "less than 1 min"
    return f"{low} to {high}{unit}"


def basis_sentence(remaining: Remaining | CannotTell) -> str:
    """Say on what `life_sentence` rests."""
    if isinstance(remaining, CannotTell):
        return f"Of this kind {remaining.reason[0].lower()}{remaining.reason[1:]}"
    odds = {0.8: "four times in five", 0.9: "nine times in ten"}
    often = odds.get(remaining.likely, f"in {100 * remaining.likely:.0f} % of cases")
    known = f"{remaining.ended} of this kind that came to their end"
    if remaining.in_use:
        known += f" and {remaining.in_use} that had not"
    few = " With so few the range is wide." if remaining.ended < 5 else ""
    return f"Likely means {often}; from {known}.{few}"

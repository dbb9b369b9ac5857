"""What is said of a tool's life, and what it rests on. Times are in the cut."""

from shopmon.cutting.life.lifetimes import CannotTell
from shopmon.cutting.life.weibull import Remaining

BEYOND_SEEN = 3.0  # a bound further out than this many of the longest lives seen is no knowledge
HOURS_FROM_MIN = 120.0


def more_words(remaining: Remaining | CannotTell, longest_seen_min: float) -> str:
    """Say how much longer an edge is likely to cut; nothing where that cannot be told.

    Parameters
    ----------
    remaining
        Of that edge, or why there is none.
    longest_seen_min
        The longest life among those that `remaining` rests on, ended or not.

    Examples
    --------
    >>> left = Remaining(age_min=34, lower_min=20, median_min=33, upper_min=50, likely=0.8, ended=6, in_use=2)
    >>> more_words(left, 71)
    '20 to 50 min more'
    """
    if isinstance(remaining, CannotTell):
        return ""
    lower, upper = remaining.lower_min, remaining.upper_min
    open_ended = open_at_the_top(remaining, longest_seen_min)
    unit, name = (60.0, "h") if (lower if open_ended else upper) >= HOURS_FROM_MIN else (1.0, "min")
    low, high = _two_digits(lower / unit), _two_digits(upper / unit)
    if open_ended:
        return f"at least {low} {name} more" if lower >= 1 else ""
    if lower < 1:
        return f"up to {high} {name} more" if upper >= 1 else "less than 1 min more"
    return f"{low} to {high} {name} more"


def open_at_the_top(remaining: Remaining, longest_seen_min: float) -> bool:
    """Tell whether the upper bound is so far beyond all that was seen that it is no knowledge."""
    return remaining.age_min + remaining.upper_min > BEYOND_SEEN * longest_seen_min


def _two_digits(value: float) -> str:
    return f"{float(f'{value:.2g}'):g}"


def basis_sentence(remaining: Remaining | CannotTell) -> str:
    """Say on what `more_words` rests."""
    if isinstance(remaining, CannotTell):
        return f"Of this kind {remaining.reason[0].lower()}{remaining.reason[1:]}"
    odds = {0.8: "four times in five", 0.9: "nine times in ten"}
    often = odds.get(remaining.likely, f"in {100 * remaining.likely:.0f} % of cases")
    known = f"{remaining.ended} of this kind that came to their end"
    if remaining.in_use:
        known += f" and {remaining.in_use} that had not"
    few = " With so few the range is wide." if remaining.ended < 5 else ""
    return f"Likely means {often}; from {known}.{few}"

"""What a comparison is said to have found: how much, how sure, and what would settle it."""

from shopmon.cutting.compare.result import LEAST_EACH, Comparison
from shopmon.cutting.life.lifetimes import CannotTell

OPEN_P = 0.3  # above, not even a leaning is said


def verdict(found: Comparison | CannotTell, names: tuple[str, str], what: str, unit: str) -> list[str]:
    """Return the sentences that say what was found.

    Parameters
    ----------
    found
        The comparison of the second against the first.
    names
        Of A and B.
    what
        What was compared, with the words for more of it: ``"lasts longer"``, ``"leaves a higher Ra"``.
    unit
        What was counted, in the plural: ``"tools"``, ``"parts"``, ``"edges"``.
    """
    if isinstance(found, CannotTell):
        return [f"It cannot be told which {what}. {found.reason}"]
    if found.effect == found.none and min(found.units) >= LEAST_EACH:
        return [
            f"No difference was seen: neither {what}.",
            amount_words(found, names),
            *_still(found, names, unit),
        ]
    higher = names[1] if found.effect > found.none else names[0]
    if found.settled:
        first = f"{higher} {what}; chance alone would do as much {_odds(found.p_value)}."
    elif min(found.units) < LEAST_EACH:
        first = f"Not settled: {found.units[0]} and {found.units[1]} {unit} are too few for a verdict."
    elif found.p_value < OPEN_P:
        first = f"Not settled, but it looks as if {higher} {what}: "
        first += f"chance alone would do as much {_odds(found.p_value)}."
    else:
        first = f"Not settled: no sign of which {what}."
    return [first, amount_words(found, names), *([] if found.settled else _still(found, names, unit))]


def amount_words(found: Comparison, names: tuple[str, str]) -> str:
    """Say how large the difference is, with its interval."""
    sure = f"{100 * found.confidence:.0f} % interval"
    low, high = found.bounds
    if found.measure == "chance":
        ends = f"{100 * low:.0f} to {100 * high:.0f} %" if None not in (low, high) else "open"
        return f"Of two, the one by {names[1]} ranks above in {100 * found.effect:.0f} % ({sure} {ends})."
    ends = f"{'below ' if low is None else ''}{_ratio(high if low is None else low)}"
    if low is not None:
        ends += f" to {_ratio(high)}" if high is not None else " or more"
    return f"{names[1]} has {_ratio(found.effect)} times the figure of {names[0]} ({sure} {ends})."


def _ratio(value: float | None) -> str:
    return "any number" if value is None else f"{value:.2g}" if value < 100 else f"{value:.0f}"


def _odds(p_value: float) -> str:
    if p_value < 0.001:
        return "less than once in a thousand times"
    return (
        f"once in {1 / p_value:.0f} times" if p_value < 0.4 else f"in {100 * p_value:.0f} of a hundred times"
    )


def _still(found: Comparison, names: tuple[str, str], unit: str) -> list[str]:
    if found.needed_each is None:
        return ["If the difference is really as small as it looks, no sensible number would show it."]
    more = [max(max(found.needed_each, LEAST_EACH) - have, 0) for have in found.units]
    if not any(more):
        return [f"A few more {unit} of each would tell whether it stays."]
    parts = [f"{count} more of {name}" for count, name in zip(more, names, strict=True) if count]
    each = f"{more[0]} more of each" if more[0] == more[1] else " and ".join(parts)
    return [f"If the difference is as large as it looks, about {each} would settle it (four times in five)."]

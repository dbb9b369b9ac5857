"""What is said of cost."""

from shopmon.cutting.compare.result import LEAST_EACH, Comparison
from shopmon.cutting.compare.words import amount_words
from shopmon.cutting.life.lifetimes import CannotTell

MINUTE, PART = "per minute in the cut", "per part"


def cost_verdict(
    found: Comparison | CannotTell,
    names: tuple[str, str],
    per: str = MINUTE,
    amounts: tuple[str, str] | None = None,
) -> list[str]:
    """Return the sentences on cost: how sure it is follows from the interval alone, as prices are known.

    Parameters
    ----------
    found
        The ratio of B to A.
    names, amounts
        Of A and B; and what each costs, in words, where that is known.
    per
        `MINUTE` or `PART`.
    """
    if isinstance(found, CannotTell):
        return [f"It cannot be told which costs more {per}. {found.reason}"]
    low, high = found.bounds
    dearer = names[1] if found.effect > 1 else names[0]
    clear = (low is not None and low > 1) or (high is not None and high < 1)
    if clear and min(found.units) >= LEAST_EACH:
        first = f"{dearer} costs more {per}."
    else:
        first = f"Not settled: which costs more {per} follows from lives not known well yet."
    told = [f"{names[0]} costs {amounts[0]} {per}, {names[1]} {amounts[1]}."] if amounts else []
    return [first, amount_words(found, names), *told]


def money(cost: tuple[float, float, float], unit: str) -> str:
    """Write an amount with its bounds.

    Examples
    --------
    >>> money((0.21, 0.3, 0.44), "€")
    'about 0.3 € (0.21 to 0.44)'
    """
    low, middle, high = (f"{float(f'{value:.2g}'):g}" for value in cost)
    return f"about {' '.join(filter(None, (middle, unit)))} ({low} to {high})"

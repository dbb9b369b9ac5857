"""What is said of cost."""

from shopmon.cutting.compare.result import LEAST_EACH, Comparison
from shopmon.cutting.compare.words import amount_words
from shopmon.cutting.life.lifetimes import CannotTell


def cost_verdict(found: Comparison | CannotTell, names: tuple[str, str]) -> list[str]:
    """Return the sentences on cost: how sure it is follows from the interval alone, as prices are known."""
    if isinstance(found, CannotTell):
        return [f"It cannot be told which costs more per minute in the cut. {found.reason}"]
    low, high = found.bounds
    dearer = names[1] if found.effect > 1 else names[0]
    clear = (low is not None and low > 1) or (high is not None and high < 1)
    if clear and min(found.units) >= LEAST_EACH:
        first = f"{dearer} costs more per minute in the cut."
    else:
        first = "Not settled: which costs more per minute in the cut follows from lives not known well yet."
    same = "A part takes the same minutes with either, so that the ratio per part is the same."
    return [first, amount_words(found, names), same]

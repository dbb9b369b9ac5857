"""Lengths, feeds and flutes as every page writes them, in mm or in inches."""

from shopmon.dashboards.look.words import NONE, grouped

MM_PER_INCH = 25.4


def size(value_mm: float | None, units: str) -> str:
    r"""Write a dimension of a tool or a cut.

    Examples
    --------
    >>> size(6.0, "metric"), size(6.0, "inch"), size(5.98, "metric")
    ('6\xa0mm', '0.236\xa0in', '5.98\xa0mm')
    """
    if value_mm is None:
        return NONE
    return f"{value_mm / MM_PER_INCH:.3f}\u00a0in" if units == "inch" else f"{value_mm:g}\u00a0mm"


def feed(value_mm_min: float | None, units: str) -> str:
    r"""Write a table feed.

    Examples
    --------
    >>> feed(2160.4, "metric").replace("\u202f", " "), feed(2160.4, "inch")
    ('2 160\xa0mm/min', '85.1\xa0in/min')
    """
    if value_mm_min is None:
        return NONE
    if units == "inch":
        return f"{value_mm_min / MM_PER_INCH:.1f}\u00a0in/min"
    return f"{grouped(value_mm_min)}\u00a0mm/min"

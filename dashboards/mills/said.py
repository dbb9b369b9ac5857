"""What the pages say of a tool: times, sizes, and its life in one sentence."""

import math
from typing import Any

from shopmon.dashboards.look.measures import MM_PER_INCH, size
from shopmon.dashboards.look.words import NONE, flutes_words, grouped, moment

from shopmon.cutting.life.lifetimes import CannotTell
from shopmon.cutting.life.wear import WearForecast
from shopmon.cutting.life.words import basis_sentence, more_words, open_at_the_top
from shopmon.records.cuts.credit import Totals
from shopmon.records.tools.rows import Tool
from shopmon.service.mills.life import Outlook

MM_PER_FOOT = 304.8
# ISO 8688-2:1989 is about high-speed-steel end mills in steel and cast iron; its figures from memory
LABORATORY = (
    ("uniform", 0.3, "averaged over all teeth"),
    ("localized", 0.5, "at the worst place of one tooth"),
)


def duration(seconds: float | None) -> str:
    r"""Write a time in the cut with the digits it deserves.

    Examples
    --------
    >>> duration(12.4), duration(78), duration(2040), duration(7800)
    ('12\xa0s', '1.3\xa0min', '34\xa0min', '2\xa0h 10\xa0min')
    """
    if seconds is None or not math.isfinite(seconds):
        return NONE
    if seconds < 60:
        return f"{seconds:.0f}\u00a0s"
    minutes = seconds / 60
    if minutes < 9.95:
        return f"{minutes:.1f}\u00a0min"
    if minutes < 119.5:
        return f"{minutes:.0f}\u00a0min"
    hours, rest = divmod(round(minutes), 60)
    return f"{hours}\u00a0h {rest}\u00a0min" if rest else f"{hours}\u00a0h"


def wear(value_mm: float, units: str) -> str:
    r"""Write flank wear.

    Examples
    --------
    >>> wear(0.085, "metric"), wear(0.085, "inch")
    ('0.085\xa0mm', '0.0033\xa0in')
    """
    return f"{value_mm / MM_PER_INCH:.4f}\u00a0in" if units == "inch" else f"{value_mm:.3g}\u00a0mm"


def indicator(runout_um: float | None, units: str) -> str:
    r"""Write what a dial indicator reads at this runout: twice the eccentricity.

    Examples
    --------
    >>> indicator(4.0, "metric"), indicator(4.0, "inch")
    ('8\xa0µm', '0.0003\xa0in')
    """
    if runout_um is None:
        return NONE
    return f"{2 * runout_um / 25_400:.4f}\u00a0in" if units == "inch" else f"{2 * runout_um:g}\u00a0µm"


def distance(totals: Totals, units: str) -> str:
    """Write the feed travel in metal, and of how much of the time the feed is known."""
    if not totals.distance_known_s:
        return "not known: no feed was told"
    feet, metres = totals.distance_mm / MM_PER_FOOT, totals.distance_mm / 1000
    said = f"{feet:,.0f}\u00a0ft" if units == "inch" else f"{metres:,.{0 if metres >= 10 else 1}f}\u00a0m"
    return said + _known_part(totals.distance_known_s, totals.cut_time_s)


def volume(totals: Totals, units: str) -> str:
    """Write the metal removed, and of how much of the time feed and depths are known."""
    if not totals.volume_known_s:
        return "not known: feed or depths were not told"
    if units == "inch":
        said = f"{totals.volume_mm3 / MM_PER_INCH**3:,.3g}\u00a0in³"
    else:
        said = f"{totals.volume_mm3 / 1000:,.3g}\u00a0cm³"
    return said + _known_part(totals.volume_known_s, totals.cut_time_s)


def _known_part(known_s: float, all_s: float) -> str:
    return "" if known_s >= 0.995 * all_s else f" (told for {duration(known_s)} of {duration(all_s)})"


def chatter(totals: Totals) -> str:
    """Write how much of the time rang."""
    if not totals.chatter_s:
        return "none"
    return f"{duration(totals.chatter_s)}, {totals.chatter_share:.0%} of the time in the cut"


def kind_words(tool: Tool, units: str) -> str:
    """Say in a line what a tool is."""
    if not tool.is_end_mill:
        return ", ".join(filter(None, (tool.kind, flutes_words(tool.teeth))))
    coating = tool.edge.coating or (tool.type.coating if tool.type else None)
    sizes = size(tool.diameter_mm, units) if tool.diameter_mm else None
    words = (tool.type.label if tool.type else "end mill", sizes, flutes_words(tool.teeth), coating)
    return ", ".join(filter(None, words))


def counted(count: int, one: str, more: str = "") -> str:
    """Write a number of things.

    Examples
    --------
    >>> counted(1, "cut"), counted(3, "entry", "entries")
    ('1 cut', '3 entries')
    """
    return f"{grouped(count, 9)} {one if count == 1 else more or one + 's'}"


def life_words(tool: Tool, outlook: Outlook | None = None) -> str:
    """Say how long the present edge has cut and, where that can be said, how much longer it may.

    Parameters
    ----------
    tool
        As the register tells it.
    outlook
        None where it has not cut yet, or has no type.
    """
    cut_s = tool.edge_totals.cut_time_s
    said = f"{duration(cut_s)} in the cut" if cut_s else "not used yet"
    if tool.edge.number > 1:
        said += f" since regrind {tool.edge.number - 1}"
    if tool.retirement is None and outlook is not None:
        left = more_words(outlook.remaining, outlook.longest_min)
        # one unit is enough where both are minutes
        left = left.replace(" min more", " more") if said.endswith("min in the cut") else left
        said += f", likely {left}" if left else ""
    return said


def life_basis(outlook: Outlook | None) -> str:
    """Say on what `life_words` rests, or why it says no more."""
    if outlook is None:
        return ""
    counts = "" if outlook.chatter_counts == 1 else (
        f" A minute in chatter counted {outlook.chatter_counts:.2g} times: your tools say so."
    )  # fmt: skip
    return f"{basis_sentence(outlook.remaining)} Kind: {outlook.rests_on}.{counts}"


def wear_words(forecast: WearForecast | CannotTell | None, units: str) -> str:
    """Say when flank wear will reach the person's limit."""
    if forecast is None:
        return ""
    if isinstance(forecast, CannotTell):
        return forecast.reason
    if forecast.reached:
        return f"The limit of {wear(forecast.limit_mm, units)} is reached."
    low, high = forecast.lower_min, forecast.upper_min
    when = f"between {low:.0f} and {high:.0f}" if high is not None else f"after {low:.0f}"
    return (
        f"A straight line through {counted(forecast.readings, 'reading')} reaches "
        f"{wear(forecast.limit_mm, units)} {when}\u00a0min in the cut (four times in five). "
        "Wear often grows faster towards the end: look before."
    )


def scale(tool: Tool, outlook: Outlook | None) -> dict[str, float] | None:
    """Return where the marks of the thin scale stand, in percent; None where there is no interval to mark.

    ``high`` is None where the interval is open: the line then runs to the end of the scale.
    """
    if outlook is None or tool.retirement is not None:
        return None
    left = outlook.remaining
    if isinstance(left, CannotTell) or not more_words(left, outlook.longest_min):
        return None
    now = left.age_min
    open_ended = open_at_the_top(left, outlook.longest_min)
    end = now + (3 * left.lower_min if open_ended else left.upper_min)
    whole = 1.06 * end or 1.0
    marks = {"now": now, "low": now + left.lower_min, "high": None if open_ended else end}
    return {name: None if at is None else round(100 * at / whole, 2) for name, at in marks.items()}


def place_words(tool: Tool, in_spindle: str | None) -> str:
    """Say where a tool is."""
    if tool.retirement is not None:
        return f"retired: {tool.retirement.reason}"
    if tool.id == in_spindle:
        return "in the spindle"
    if tool.assembly is None:
        return "on the shelf"
    return f"in {tool.assembly.holder.label}" if tool.assembly.holder else "in a holder"


def cut_option(cut: dict[str, Any]) -> tuple[str, str]:
    """Return id and words of a cut, to choose it from a list of a tool's cuts."""
    when = f"of {moment(cut['started_at'])}" if cut["started_at"] else "(clock not set)"
    return cut["id"], f"before the cut {when}, {duration(cut['cut_time_s'])}"


def assembly_words(tool: Tool, units: str) -> str:
    """Say how a tool is held."""
    made = tool.assembly
    if made is None:
        return "in no holder"
    words = (
        made.holder.label if made.holder else None,
        f"{size(made.stickout_mm, units)} out" if made.stickout_mm else None,
        f"indicator reads {indicator(made.runout_um, units)}" if made.runout_um is not None else None,
    )
    return ", ".join(filter(None, words))


def type_rows(tool: Tool, units: str) -> list[tuple[str, str]]:
    """Return name and value of what is known of a tool's type and edge."""
    kind, edge = tool.type, tool.edge
    if kind is None:
        return [("Flutes", str(tool.teeth))] if tool.teeth else []
    measured = " as measured" if edge.DC else ""
    rows: list[tuple[str, Any]] = [
        ("Diameter DC", tool.diameter_mm and size(tool.diameter_mm, units) + measured),
        ("Corner radius RE", kind.RE is not None and (size(kind.RE, units) if kind.RE else "sharp")),
        ("Flutes NOF", tool.teeth),
        ("Flute length LCF", (edge.LCF or kind.LCF) and size(edge.LCF or kind.LCF, units)),
        ("Deepest cut APMX", kind.APMX and size(kind.APMX, units)),
        ("Overall length OAL", kind.OAL and size(kind.OAL, units)),
        ("Shank DMM", kind.DMM and size(kind.DMM, units)),
        ("Helix angle FHA", kind.FHA and f"{kind.FHA:g}°"),
        ("Pitch", pitch_words(kind)),
        ("Substrate", kind.substrate),
        ("Coating", edge.coating or kind.coating),
        ("Highest speed RPMX", kind.RPMX and f"{grouped(kind.RPMX, 9)}\u00a0rpm"),
        ("Maker", kind.maker),
        ("Price", kind.price),
    ]
    return [(name, str(value)) for name, value in rows if value not in (None, False, "")]


def pitch_words(kind) -> str | None:
    """Say whether the flutes are evenly spaced, with the angles where they are known."""
    angles = ", ".join(f"{angle:g}°" for angle in kind.pitch_deg) if kind.pitch_deg else ""
    return " ".join(filter(None, (kind.pitch, f"({angles})" if angles else ""))) or None

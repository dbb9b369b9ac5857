"""What ``shopmon mills`` prints for a person."""

from shopmon.records.cuts.credit import Totals
from shopmon.records.tools.rows import Tool, ToolRecord
from shopmon.service.mills.comparing import SideBySide


def minutes(seconds: float) -> str:
    """Write a time in the cut.

    Examples
    --------
    >>> minutes(30), minutes(2040)
    ('30 s', '34 min')
    """
    return f"{seconds:.0f} s" if seconds < 60 else f"{seconds / 60:.{1 if seconds < 600 else 0}f} min"


def tool_table(tools: list[Tool], uncredited: list[tuple[str | None, Totals]]) -> str:
    """Return the tools in columns, and what is credited to none of them."""
    if not tools and not uncredited:
        return "No tool is entered yet: shopmon mills add LABEL, or the page End mills."
    rows = [("label", "what", "in the cut", "chatter", "where")]
    rows += [(tool.label, what(tool), *figures(tool.edge_totals), where(tool)) for tool in tools]
    widths = [max(len(row[column]) for row in rows) for column in range(5)]
    lines = ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)) for row in rows]
    for said, totals in uncredited:
        name = f"said to be '{said}'" if said else "of which nobody said the tool"
        lines.append(f"Credited to no tool: {minutes(totals.cut_time_s)} {name}.")
    return "\n".join(line.rstrip() for line in lines)


def tool_text(record: ToolRecord, sheet: dict) -> str:
    """Return what is known of one tool.

    Parameters
    ----------
    record
        From the register.
    sheet
        From `shopmon.service.mills.sheet.tool_sheet`.
    """
    tool = record.tool
    lines = [f"{tool.label}: {what(tool)}; {where(tool)}"]
    regrinds = f" since regrind {tool.edge.number - 1}" if tool.edge.number > 1 else ""
    time, chatter = figures(tool.edge_totals)
    entries = f"{counted(tool.totals.entries, 'entry', 'entries')} into metal"
    used = f"{time} in the cut{regrinds}, {chatter} of it chatter; {entries}"
    lines.append(used if tool.edge_totals.cut_time_s else f"not used yet{regrinds}")
    life = sheet["life"]
    if life:
        more = f"Likely {life['words']}. " if life["words"] else ""
        lines.append(f"{more}{life['basis']} Kind: {life['rests_on']}.")
    for material, totals in record.by_material:
        lines.append(f"  {material or 'nobody said what'}: {', '.join(figures(totals))} chatter")
    for reading in record.readings:
        lines.append(f"  VB {reading.VB_mm:g} mm after {minutes(reading.cut_time_s)} in the cut")
    if sheet["sound"]:
        lines.append("Its sound: " + " ".join(sheet["sound"]["sentences"]))
    if tool.note:
        lines.append(tool.note)
    return "\n".join(line for line in lines if line)


def comparison_text(found: SideBySide) -> str:
    """Return two sides compared, a paragraph for each question."""
    lines = [f"{found.b.label} against {found.a.label}"]
    for answer in found.answers:
        lines.append(f"{answer.name}: {' '.join(answer.sentences)}")
    if found.differed:
        lines.append("What else differed: " + " ".join(found.differed))
    return "\n".join(lines)


def counted(count: int, one: str, more: str = "") -> str:
    """Write a number of things.

    Examples
    --------
    >>> counted(1, "tool"), counted(3, "entry", "entries")
    ('1 tool', '3 entries')
    """
    return f"{count} {one if count == 1 else more or one + 's'}"


def figures(totals: Totals) -> tuple[str, str]:
    """Return time in the cut and share of chatter."""
    return minutes(totals.cut_time_s), f"{totals.chatter_share or 0:.0%}"


def what(tool: Tool) -> str:
    """Say what a tool is."""
    name = tool.type.label if tool.type else tool.kind
    return f"{name}, {tool.teeth} flutes" if tool.teeth else name


def where(tool: Tool) -> str:
    """Say where a tool is; who is in the spindle only the running monitor knows."""
    if tool.retirement:
        return f"retired: {tool.retirement.reason}"
    held = tool.assembly.holder.label if tool.assembly and tool.assembly.holder else None
    return f"in {held}" if held else ("in a holder" if tool.assembly else "on the shelf")

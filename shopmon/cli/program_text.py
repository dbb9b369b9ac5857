"""What ``shopmon program`` prints for a person."""


def as_text(report: dict) -> str:
    """Return the report on a program; ``report`` has the form ``shopmon.program/1``."""
    rows = [("tool", "rpm", "lines", "feed", "rapid", "dwell", "way", "")]
    rows += [_row(section) for section in report["sections"]]
    widths = [max(len(row[column]) for row in rows) for column in range(7)]
    lines = []
    for row in rows:
        cells = "  ".join(cell.rjust(width) for cell, width in zip(row, widths, strict=False))
        lines.append(f"{cells}  {row[7]}".rstrip())
    total = sum(section["feed_s"] for section in report["sections"])
    tools = len({section["tool"] for section in report["sections"]})
    lines += ["", f"{clock(total)} at feed with {tools} tool{'s' if tools != 1 else ''}. {_how(report)}"]
    lines += [f"! {warning}" for warning in report["warnings"]]
    return "\n".join(lines)


def clock(seconds: float) -> str:
    """Write a time as a person reads it.

    >>> clock(9.52), clock(182.4), clock(7325)
    ('9.5 s', '3 min 02 s', '2 h 02 min')
    """
    if seconds < 59.95:
        return f"{seconds:.1f} s"
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes} min {rest:02d} s" if minutes < 60 else f"{minutes // 60} h {minutes % 60:02d} min"


def _row(section: dict) -> tuple[str, ...]:
    return (
        "?" if section["tool"] is None else f"T{section['tool']}",
        "?" if section["rpm"] is None else f"{section['rpm']:.0f}",
        f"{section['start_line']}-{section['end_line']}",
        clock(section["feed_s"]),
        clock(section["rapid_s"]),
        clock(section["dwell_s"]) if section["dwell_s"] else "",
        f"{section['feed_length_mm']:.0f} mm",
        section["note"],
    )


def _how(report: dict) -> str:
    rate = f"{report['rapid_mm_per_min']:g} mm/min{' (assumed)' if report['rapid_assumed'] else ''}"
    if report["acceleration_mm_per_s2"] is None:
        return f"Times are length over feed; rapids at {rate}."
    return f"Times with {report['acceleration_mm_per_s2']:g} mm/s² and rapids at {rate}."

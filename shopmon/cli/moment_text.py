"""One moment of a recording explained to a person."""

HEADS = ("Hz", "order", "dB", "over noise", "over background", "taken for", "why")
PARTS_SHOWN = 8
SAME_HZ = 5.0


def moment_as_text(moment: dict) -> str:
    """Tell a moment as a short table.

    Parameters
    ----------
    moment
        The key ``moment`` of ``shopmon.inspection/1``.
    """
    doubt = ", not sure" if moment["unsure"] else ""
    speed = "no speed heard" if moment["rpm"] is None else f"{moment['rpm']:.0f} rpm"
    text = [f"At {moment['at_s']:.2f} s: {moment['state']}{doubt}, {speed}."]
    if not moment["background_known"]:
        text.append("The sound before the cut is not known.")
    text += ["", *_table(moment["lines"])] if moment["lines"] else []
    return "\n".join([*text, "", *_evidence(moment)])


def _row(line: dict) -> tuple[str, ...]:
    over = line["over_background_db"]
    return (
        f"{line['frequency_hz']:.1f}",
        f"{line['order']:.2f}",
        f"{line['level_db']:.0f}",
        f"{line['over_floor_db']:.0f}",
        "–" if over is None else f"{over:.0f}",
        ("* " if line["counts"] else "") + line["what"],
        line["why"],
    )


def _table(lines: list[dict]) -> list[str]:
    rows = [_row(line) for line in lines]
    widths = [max(len(row[i]) for row in (HEADS, *rows)) for i in range(len(HEADS))]
    said = []
    for row in (HEADS, *rows):
        figures = [cell.rjust(width) for cell, width in zip(row[:5], widths[:5], strict=True)]
        said.append("  ".join([*figures, row[5].ljust(widths[5]), row[6]]).rstrip())
    return [*said, "* speaks for chatter"] if any(line["counts"] for line in lines) else said


def _evidence(moment: dict) -> list[str]:
    evidence = moment["evidence"]
    total = f"Evidence so far {evidence['total']:.2f}; the alarm is raised at {evidence['alarm_at']:.2f}."
    if moment["suspect_hz"] is None:
        return [f"No line speaks for chatter. {total}"]
    suspect_hz = moment["suspect_hz"]
    seen = any(abs(line["frequency_hz"] - suspect_hz) < SAME_HZ for line in moment["lines"])
    said = [
        f"Most suspicious: {suspect_hz:.1f} Hz{'' if seen else ', too faint for the table'}.",
        f"For (+) and against (-) chatter there, {evidence['log_odds']:+.2f} in all (logarithm of the odds):",
    ]
    said += [f"  {part['adds']:+.2f}  {part['what']}" for part in evidence["parts"][:PARTS_SHOWN]]
    return [*said, total]

"""The sections of a program in the words and values of the context."""

import re
from typing import Any

from shopmon.cutting.program.reading import Program
from shopmon.cutting.program.sections import Section
from shopmon.errors import SettingError

SHORT_GAP_S = 2.0  # rapids shorter than this do not end a cut
# of the time at feed, before a cut that ends is called early: approaches in air, and override up to 120 %
LEAST_SHARE = 0.6
LONGEST_NOTE = 60


def facts_of_program(program: Program) -> dict[str, Any]:
    """Return what the list of programs shows, and each section for its page."""
    return {
        "units": program.units,
        "lines": program.lines,
        "tools": list(program.tools),
        "feed_s": round(sum(section.feed_s for section in program.sections), 1),
        "warnings": list(program.warnings),
        "sections": [
            {
                "tool": section.tool,
                "rpm": section.rpm,
                "start_line": section.start_line,
                "end_line": section.end_line,
                "feed_s": round(section.feed_s, 1),
                "note": section.note,
            }
            for section in program.sections
        ],
    }


def section_words(program: Program, number: int) -> str:
    """Write a section as the log does: ``3 of 9: T5 drill 4.2``."""
    section = program.sections[number]
    tool = "" if section.tool is None else f"T{section.tool}"
    what = " ".join(filter(None, (tool, section.note[:LONGEST_NOTE])))
    return f"{number + 1} of {len(program.sections)}{': ' + what if what else ''}"


def context_of(program: Program, number: int, tools: dict[int, str], name: str) -> dict[str, Any]:
    """Return the context of a section: its tool as the register has it, speed and expected cut.

    Parameters
    ----------
    number
        Of the section, from 0.
    tools
        The tool of the register for each T number.
    name
        Of the program.
    """
    section = program.sections[number]
    values: dict[str, Any] = {
        "program_section": section_words(program, number),
        "nominal_rpm": section.rpm or None,
        "expected_cut_s": expected_cut_s(section),
    }
    if section.tool in tools:
        return {**values, "end_mill_id": tools[section.tool]}
    # the register does not know it: said by its number, so that it can be credited by that name later
    said = None if section.tool is None else said_name(section.tool, name)
    return {**values, "end_mill_id": None, "end_mill": said}


def said_name(tool: int, name: str) -> str:
    """Return what a tool is called that nobody has named: its number and its program."""
    return f"T{tool} of {name}"


def expected_cut_s(section: Section) -> float | None:
    """Return what the one cut of a section should come to at least; None where it makes more than one."""
    pieces, gap = [0.0], 0.0
    for span in section.spans:
        if span.kind == "feed":
            if gap >= SHORT_GAP_S and pieces[-1] > 0:
                pieces.append(0.0)
            pieces[-1] += span.seconds
            gap = 0.0
        else:
            gap += span.seconds if span.kind in ("rapid", "dwell") else SHORT_GAP_S
    return round(LEAST_SHARE * pieces[0], 2) if len(pieces) == 1 and pieces[0] > 0 else None


def section_named(program: Program, text: str, now: int | None) -> int:
    """Return the section that a macro means: its number from 1, or the next one of a tool, ``T5``.

    Raises
    ------
    SettingError
        There is none.
    """
    number = re.match(r"\s*(\d+)\s*(?:$|of\b)", text)
    if number and 1 <= int(number.group(1)) <= len(program.sections):
        return int(number.group(1)) - 1
    tool = re.match(r"\s*[Tt]\s*(\d+)\b", text)
    if tool:
        wanted = [k for k, section in enumerate(program.sections) if section.tool == int(tool.group(1))]
        later = [k for k in wanted if now is None or k >= now]
        if wanted:
            return (later or wanted)[0]
    raise SettingError(
        f"The running program has no section {text[:40]!r}.",
        f"Send a number from 1 to {len(program.sections)}, or a tool such as T5.",
    )

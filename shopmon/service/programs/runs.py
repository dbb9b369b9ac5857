"""Lays two cuts of one program section over one another by the program's steps.

Which section a cut is of stands in its context, as it was followed by ear, told by a macro or set right.
Steps alike are told apart by what came before and after: all cuts of one run are placed together.
"""

import re
from dataclasses import dataclass
from typing import Any

from shopmon.cutting.program.sections import Section
from shopmon.cutting.program.steps import Spans, Warp, laid_by_steps, steps_of
from shopmon.errors import ProgramError, ShopmonError
from shopmon.records.programs import RUNNING
from shopmon.service.programs.file import read_program_file

SECTION = re.compile(r"\s*(\d+) of (\d+)\b")
NEIGHBOURS = 40
LONGEST_WAIT_S = 60.0  # within one run of a section
MOST_METAL = 2.2  # over the time at feed: overrides down to 45 %


@dataclass(frozen=True)
class SectionOf:
    """The section that a cut is of: its program and its number from 1, out of how many."""

    program_id: str
    number: int
    of: int


@dataclass(frozen=True)
class ByProgram:
    """How two cuts lie by the program's steps, or why they do not.

    ``warp`` is in seconds from the start of each cut's recording, ``steps`` how many the section has.
    """

    program: str = ""
    section: str = ""
    steps: int = 0
    warp: Warp | None = None
    why_not: str = ""


def section_of(archive: Any, cut: dict[str, Any]) -> SectionOf | None:
    """Return the program section that a cut was credited to; None where it was to none."""
    said = SECTION.match(cut["context"].get("program_section") or "")
    if not said:
        return None
    running = [
        row["value"]["id"] for row in archive.value_history(RUNNING) if row["sequence"] < cut["sequence"]
    ]
    if not running or running[-1] is None:
        return None
    return SectionOf(running[-1], int(said[1]), int(said[2]))


def by_program(archive: Any, first: dict[str, Any], second: dict[str, Any]) -> ByProgram | None:
    """Lay the second cut over the first by the steps of the program.

    Parameters
    ----------
    archive
        The log and the programs.
    first, second
        Cuts as the log has them.

    Returns
    -------
    ByProgram or None
        None where the two are not of the same program, so that nobody would ask for it.
    """
    found = [section_of(archive, cut) for cut in (first, second)]
    if None in found or not _same_program(archive, *found):
        return None
    facts = archive.programs.find(found[0].program_id) or {}
    name, words = facts.get("name", ""), first["context"]["program_section"]
    if found[0].number != found[1].number:
        why = f"The one is section {found[0].number} of the program, the other section {found[1].number}."
        return ByProgram(name, words, why_not=why)
    try:
        section = read_program_file(archive.programs.path(found[0].program_id)).sections[found[0].number - 1]
    except (ProgramError, ShopmonError, IndexError, OSError):
        return ByProgram(
            name, words, why_not="The text of the program is not there any more, or was damaged."
        )
    steps = steps_of(section)
    runs = [_run(archive, cut, section) for cut in (first, second)]
    offsets = [_began_s(cut) for cut in (first, second)]
    warp = laid_by_steps(steps, *runs, tuple(_on_stream(cut) for cut in (first, second)))
    if warp is None:
        why = "No step of the program was heard in both of them."
        return ByProgram(name, words, len(steps), why_not=why)
    return ByProgram(name, words, len(steps), warp.moved(-offsets[0], -offsets[1]))


def _same_program(archive: Any, one: SectionOf, other: SectionOf) -> bool:
    if one.of != other.of:
        return False
    if one.program_id == other.program_id:
        return True
    try:  # the same file may have been loaded twice
        texts = [archive.programs.path(each.program_id).read_bytes() for each in (one, other)]
    except OSError:
        return False
    return texts[0] == texts[1]


def _began_s(cut: dict[str, Any]) -> float:
    return cut["recording_first_sample"] / cut["sample_rate_hz"]


def _on_stream(cut: dict[str, Any]) -> Spans:
    began_s = _began_s(cut)
    return [(start + began_s, end + began_s) for start, end in cut["engaged"] if end > start]


def _run(archive: Any, cut: dict[str, Any], section: Section) -> Spans:
    """Return the engagements of the run of the section that a cut is a part of, s of its stream."""
    before, after = archive.cuts_around(cut, NEIGHBOURS)
    most_s = MOST_METAL * section.feed_s
    spans = _on_stream(cut)
    for others, ahead in ((before, False), (after, True)):
        for other in others:
            theirs = _on_stream(other)
            if other["context"].get("program_section") != cut["context"]["program_section"] or not theirs:
                break
            wait_s = theirs[0][0] - spans[-1][1] if ahead else spans[0][0] - theirs[-1][1]
            both = [*spans, *theirs] if ahead else [*theirs, *spans]
            if not 0 <= wait_s <= LONGEST_WAIT_S or sum(end - start for start, end in both) > most_s:
                break
            spans = both
    return spans

"""Reads a whole program: lines in, sections, times and warnings out."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from shopmon.cutting.program.interpreter import Interpreter
from shopmon.cutting.program.sections import Section, Sections
from shopmon.cutting.program.sources import OpenLines, outline
from shopmon.cutting.program.timing import USUAL_RAPID_MM_PER_MIN, MachineMotion
from shopmon.errors import ProgramError

SCHEMA = "shopmon.program/1"
LARGEST_BYTES = 256 * 2**20
TELL_EVERY = 20_000
AS_IT_COMES = MachineMotion()


@dataclass(frozen=True, kw_only=True)
class Program:
    """An NC program as far as the monitor needs it.

    Attributes
    ----------
    units
        ``"mm"`` or ``"inch"``: what its numbers mean.
    sections
        In the order in which they are run.
    warnings
        What a person should know before believing the times, one sentence each.
    lines
        Of the file.
    machine
        What the times were made with.
    """

    units: str
    sections: tuple[Section, ...]
    warnings: tuple[str, ...]
    lines: int
    machine: MachineMotion

    @property
    def tools(self) -> tuple[int | None, ...]:
        """Tool numbers in the order of their first use."""
        return tuple(dict.fromkeys(section.tool for section in self.sections))


def read_program(
    open_lines: OpenLines,
    machine: MachineMotion = AS_IT_COMES,
    inch: bool | None = None,
    progress: Callable[[int], None] | None = None,
) -> Program:
    """Read a program.

    Parameters
    ----------
    open_lines
        Opens the text anew and gives its lines; called two or three times.
    machine
        For the times.
    inch
        The unit where the program says none; None for mm with a warning.
    progress
        Told, now and then, how many lines were gone through.

    Raises
    ------
    ProgramError
        It cannot be read, or not to its end: one sentence with the line.

    >>> from math import pi
    >>> text = ["G21 G90", "T1 M6", "S8000 M3", "G0 X0 Y0", "G1 Z-1 F600", "X100", "G3 X100 Y20 J10", "M30"]
    >>> (section,) = read_program(lambda: text).sections
    >>> section.tool, section.rpm, round(section.feed_length_mm - 10 * pi, 9), round(section.feed_s - pi, 9)
    (1, 8000.0, 101.0, 10.1)
    """
    told = _telling(open_lines, progress) if progress else open_lines
    seen = outline(told)
    run = Interpreter(told, seen, bool(inch))
    sections = tuple(Sections(machine).gather(run.run()))
    if not sections:
        raise ProgramError("No line of this program cuts.", "Choose the NC program that goes to the control.")
    if not run.modal.unit_said and inch is None:
        run.warn("unit", "The program says neither G20 nor G21; its lengths are taken as mm.")
    _warn_of_gaps(sections, run)
    return Program(
        units="inch" if run.modal.unit_mm > 1 else "mm",
        sections=sections,
        warnings=tuple(run.warn.texts),
        lines=seen.lines,
        machine=machine,
    )


def _telling(open_lines: OpenLines, progress: Callable[[int], None]) -> OpenLines:
    def counted() -> Iterator[str]:
        """Yield the lines, and tell now and then how many have gone by."""
        for number, text in enumerate(open_lines()):
            if number % TELL_EVERY == 0:
                progress(number)
            yield text

    def opened() -> Iterable[str]:
        """Begin again at the first line, counting."""
        return counted()

    return opened


def _warn_of_gaps(sections: tuple[Section, ...], run: Interpreter) -> None:
    """Say what is missing for the times to be credited to a tool."""
    for section in sections:
        if section.tool is None:
            run.warn("tool", f"Line {section.start_line}: it cuts without a tool number (T).")
        if not section.rpm and not run.modal.constant_surface_speed:
            run.warn("rpm", f"Line {section.start_line}: it cuts while the spindle's speed is 0 or not said.")


def program_as_data(program: Program) -> dict[str, Any]:
    """Return a program as ``shopmon.program/1``: times in s to the millisecond, lengths in mm."""
    return {
        "schema": SCHEMA,
        "units": program.units,
        "sections": [_section_as_data(section) for section in program.sections],
        "warnings": list(program.warnings),
        "lines": program.lines,
        "acceleration_mm_per_s2": program.machine.acceleration_mm_per_s2,
        "rapid_mm_per_min": program.machine.rapid_mm_per_min or USUAL_RAPID_MM_PER_MIN,
        "rapid_assumed": program.machine.rapid_mm_per_min is None,
    }


def _section_as_data(section: Section) -> dict[str, Any]:
    return {
        "tool": section.tool,
        "rpm": section.rpm,
        "start_line": section.start_line,
        "end_line": section.end_line,
        "feed_s": round(section.feed_s, 3),
        "rapid_s": round(section.rapid_s, 3),
        "feed_length_mm": round(section.feed_length_mm, 3),
        "dwell_s": round(section.dwell_s, 3),
        "stops": section.stops,
        "note": section.note,
    }

"""Opens the file of an NC program: plain text of bounded size, in whatever line ends and encoding."""

import re
from collections.abc import Callable, Iterator
from pathlib import Path

from shopmon.cutting.program.reading import AS_IT_COMES, LARGEST_BYTES, Program, read_program
from shopmon.cutting.program.sources import OpenLines
from shopmon.cutting.program.timing import MachineMotion
from shopmon.cutting.program.words import LONGEST_LINE
from shopmon.errors import ProgramError

PROBE_BYTES = 65_536
CONTROL_BYTES = bytes(set(range(32)) - {7, 8, 9, 10, 11, 12, 13, 17, 18, 19, 20, 26, 27})
LINE_ENDS = re.compile(r"\r\n|\r|\n")
WIDE_MARKS = (b"\xff\xfe", b"\xfe\xff")


def read_program_file(
    path: Path,
    machine: MachineMotion = AS_IT_COMES,
    inch: bool | None = None,
    progress: Callable[[int], None] | None = None,
) -> Program:
    """Read the NC program in a file.

    Parameters
    ----------
    path
        Of the file.
    machine, inch, progress
        As `read_program` takes them.

    Raises
    ------
    ProgramError
        The file is not there, not readable, too large, binary, or no program that can be followed.
    """
    return read_program(lines_of(path), machine, inch, progress)


def read_program_text(content: bytes) -> Program:
    """Read the NC program in some bytes, checked as a file is.

    Raises
    ------
    ProgramError
        It is no program that can be followed.
    """
    check_text(content[:PROBE_BYTES])
    lines = LINE_ENDS.split(content.decode("utf-8-sig", errors="replace"))
    return read_program(lambda: lines)


def lines_of(path: Path) -> OpenLines:
    """Return what opens the lines of a file anew each time, once it has been looked at.

    Raises
    ------
    ProgramError
        It cannot be opened, or is no plain text of a sensible size.
    """
    try:
        if path.is_dir():
            raise ProgramError(f"{path.name} is a folder, not a program.", "Give the program in it.")
        size = path.stat().st_size
        with open(path, "rb") as file:
            probe = file.read(PROBE_BYTES)
    except OSError as exc:
        raise ProgramError(f"{path} cannot be opened ({exc.strerror}).", "Give another file.") from None
    check_size(size)
    check_text(probe)
    return lambda: _lines(path)


def check_size(size: int, largest: int = LARGEST_BYTES) -> None:
    """Refuse what is longer than a program can sensibly be.

    Raises
    ------
    ProgramError
        It is.
    """
    if size > largest:
        raise ProgramError(
            f"The file holds {size / 2**20:.0f} MB, more than the {largest / 2**20:.0f} MB that are read.",
            "Divide the program, or leave parts of it out.",
        )


def check_text(probe: bytes) -> None:
    """Refuse what is no plain text.

    Raises
    ------
    ProgramError
        Binary, or text of two bytes a letter.
    """
    if probe.startswith(WIDE_MARKS):
        raise ProgramError("The file is text in UTF-16.", "Save it as plain text (ASCII or UTF-8).")
    if b"\0" in probe or len(probe.translate(None, CONTROL_BYTES)) < len(probe):
        raise ProgramError("The file is binary, no NC program.", "Choose the text that goes to the control.")


def _lines(path: Path) -> Iterator[str]:
    try:
        with open(path, encoding="utf-8-sig", errors="replace") as file:
            # never more than a piece of a line that has no end
            yield from iter(lambda: file.readline(LONGEST_LINE + 2), "")
    except OSError as exc:
        raise ProgramError(f"{path} cannot be read ({exc.strerror}).", "Is the disk still there?") from None

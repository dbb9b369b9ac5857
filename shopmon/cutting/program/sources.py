"""The text of a program: its first look, and where its subprograms are."""

import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field

from shopmon.cutting.program.words import FLOW, NUMBERED, check_length, cleaned, read_block
from shopmon.errors import ProgramError

Line = tuple[int, str]
OpenLines = Callable[[], Iterable[str]]
MOST_SUBPROGRAM_LINES = 400_000
LOOKED_AT, LEAST_READABLE = 400, 0.6
NUMBERED_LINE = re.compile(r"/?N0*(\d+)")
TOOL_CHANGE = re.compile(r"M0*6(?![\d.])")
CALLS = re.compile(r"M0*9[78](?!\d)|CALL")
PRINTER = re.compile(r"M(?:104|109|140|190)(?!\d)")
OTHER_LANGUAGES = (
    (re.compile(r"BEGINPGM|TOOLCALL|^\d*L[XYZ][+-]"), "a program in the plain language of one control"),
    (re.compile(r"<!DOCTYPE|<HTML|<\?XML"), "a web page"),
    (re.compile(r"^SOLID|FACETNORMAL"), "a solid model"),
    (re.compile(r"^SECTION$|^ENTITIES$"), "a drawing"),
    (re.compile(r"IMPORT\w+|DEF\w+:|#INCLUDE"), "the source of a computer program"),
    (re.compile(r"[XYZIJRF][+-]?\d+,\d"), "a program with decimal commas"),
    (PRINTER, "a program for a 3D printer"),
)  # fmt: skip


@dataclass
class Outline:
    """What a first look at all lines tells.

    Attributes
    ----------
    changes_tools
        M6 stands somewhere; where it does not, T alone changes the tool.
    calls
        Subprograms are called.
    bodies
        Lines of each subprogram, by number or name.
    """

    changes_tools: bool = False
    calls: bool = False
    lines: int = 0
    bodies: dict[str, list[Line]] = field(default_factory=dict)


def outline(open_lines: OpenLines) -> Outline:
    """Look through the whole program once.

    Parameters
    ----------
    open_lines
        Opens the text anew and gives its lines.

    Raises
    ------
    ProgramError
        It is empty, binary, in another language, or its subprograms are too long to be kept.
    """
    found = Outline()
    probe: list[str] = []
    for number, text in numbered(open_lines()):
        found.lines = number
        if "\0" in text:
            raise ProgramError(
                "The file is binary, no NC program.", "Choose the text file that goes to the control."
            )
        line = cleaned(text)
        if len(probe) < LOOKED_AT and line:
            probe.append(line)
        found.changes_tools = found.changes_tools or ("M" in line and bool(TOOL_CHANGE.search(line)))
        found.calls = found.calls or (("M" in line or "CALL" in line) and bool(CALLS.search(line)))
    if not probe:
        raise ProgramError("The file is empty.", "Choose the NC program that goes to the control.")
    _check_language(probe)
    if found.calls:
        found.bodies = _bodies(open_lines)
    return found


def numbered(lines: Iterable[str]) -> Iterator[Line]:
    """Number lines from 1, and refuse those that are too long."""
    for number, text in enumerate(lines, 1):
        check_length(text, number)
        yield number, text


def is_readable(line: str) -> bool:
    """Whether a cleaned line has a form that is known: words, a percent sign, flow, or a computation."""
    return (
        line.startswith("%")
        or "#" in line
        or "[" in line
        or bool(FLOW.match(line))
        or bool(NUMBERED.fullmatch(line))
        or read_block(line, 0) is not None
    )


def _check_language(probe: list[str]) -> None:
    readable = sum(map(is_readable, probe)) / len(probe)
    seen = next((name for form, name in OTHER_LANGUAGES if any(form.search(line) for line in probe)), None)
    printer = seen == OTHER_LANGUAGES[-1][1]
    if readable >= LEAST_READABLE and not printer:
        return
    kind = f"; it looks like {seen}" if seen else ""
    raise ProgramError(
        f"This is no NC program in ISO 6983 or RS-274{kind}.",
        "Choose the file that your post-processor wrote for G-code (ISO).",
    )


def _bodies(open_lines: OpenLines) -> dict[str, list[Line]]:
    """Collect what follows each O number, up to the next one, and what stands between sub and endsub."""
    bodies: dict[str, list[Line]] = {}
    keeping: str | None = None
    kept = 0
    for number, text in numbered(open_lines()):
        line = cleaned(text)
        name, begins = _begins(line)
        if begins:
            if name in bodies:
                raise ProgramError(
                    f"Line {number}: subprogram {name} is there twice.", "Leave one of the two."
                )
            keeping = name
            bodies[keeping] = []
        elif keeping is not None and line:
            bodies[keeping].append((number, text))
            kept += 1
            if kept > MOST_SUBPROGRAM_LINES:
                # mostly the main program, which is kept too where it carries a number: nobody calls it
                kept -= len(bodies.pop(keeping))
                keeping = None
    return bodies


def _begins(line: str) -> tuple[str, bool]:
    flow = FLOW.match(line)
    if flow:
        return flow.group(1), flow.group(2) == "SUB"
    plain = NUMBERED.match(line)
    return (plain.group(1).lstrip("0") or "0", True) if plain else ("", False)


def lines_from(open_lines: OpenLines, block_number: int) -> list[Line] | None:
    """Return the lines from a block number up to M99, for a call within the program, None without them."""
    found: list[Line] | None = None
    for number, text in numbered(open_lines()):
        line = cleaned(text)
        if found is None:
            match = NUMBERED_LINE.match(line)
            found = [] if match and int(match.group(1)) == block_number else None
        if found is not None:
            found.append((number, text))
            if re.search(r"M0*99(?!\d)", line) or len(found) > MOST_SUBPROGRAM_LINES:
                return found
    return found

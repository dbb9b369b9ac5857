"""Runs through a program as a control would, and yields its moves and events in their order."""

import re
from collections.abc import Iterator
from dataclasses import dataclass

from shopmon.cutting.program.modal import INCH_MM, Modal, set_modes, warn_of_unknown
from shopmon.cutting.program.motion import MOST_REPEATS, Motion
from shopmon.cutting.program.moves import Event, Move
from shopmon.cutting.program.sources import Line, OpenLines, Outline, lines_from, numbered
from shopmon.cutting.program.words import FLOW, NUMBERED, Block, cleaned, comment_of, read_block
from shopmon.errors import ProgramError

DEEPEST_CALL = 10
MOST_BLOCKS = 30_000_000
MOST_UNREADABLE = 20
MOST_WARNINGS = 40
MOST_TOOL = 99_999_999
SHOWN = 40


class Warnings:
    """Sentences for the person, each kind once."""

    def __init__(self):
        self._told: dict[str, str] = {}

    def __call__(self, key: str, text: str) -> None:
        """Take a sentence; a second one of the same key is left out."""
        if key not in self._told and len(self._told) < MOST_WARNINGS:
            self._told[key] = text

    @property
    def texts(self) -> list[str]:
        """The sentences in the order in which they came up."""
        return list(self._told.values())


@dataclass
class Frame:
    """A program or subprogram being run."""

    name: str
    lines: Iterator[Line]
    body: list[Line]
    left: int


class Interpreter:
    """One run through a program.

    Parameters
    ----------
    open_lines
        Opens the text anew.
    outline
        What the first look told.
    inch
        Unit where the program says none.
    """

    def __init__(self, open_lines: OpenLines, outline: Outline, inch: bool = False):
        self.warn = Warnings()
        self.modal = Modal(unit_mm=INCH_MM if inch else 1.0)
        self.line = 0
        self._open_lines = open_lines
        self._outline = outline
        self._motion = Motion(self.modal, self.warn)
        self._frames: list[Frame] = []
        self._blocks = 0
        self._unreadable = 0
        self._begun = False
        self._ended = False
        self._note = ""
        self._rpm: float | None = None

    def run(self) -> Iterator[Move | Event]:
        """Yield moves and events to the end of the program.

        Raises
        ------
        ProgramError
            The program cannot be followed, with its line.
        """
        self._frames = [Frame("", numbered(self._open_lines()), [], 1)]
        while self._frames and not self._ended:
            frame = self._frames[-1]
            found = next(frame.lines, None)
            if found is None:
                self._leave()
                continue
            number, text = found
            if len(self._frames) == 1:
                self.line = number
            line = cleaned(text)
            if not line:
                self._note = comment_of(text) or self._note
            elif line[0] == "%":
                self._ended = line == "%" and self._begun
            else:
                self._count()
                yield from self._take(line, text, number)
        yield Event(self.line, "end")

    def _count(self) -> None:
        self._blocks += 1
        if self._blocks > MOST_BLOCKS:
            raise ProgramError(
                f"The program does not come to an end within {MOST_BLOCKS / 1e6:.0f} million lines.",
                "Look for a subprogram that is repeated too often.",
            )

    def _take(self, line: str, text: str, number: int) -> Iterator[Move | Event]:
        line = f"O{line[1:]}" if line[0] == ":" else line
        flow = FLOW.match(line) if line[0] == "O" else None
        if flow:
            self._flow(flow, number)
            return
        if "#" in line or "[" in line:
            raise ProgramError(
                f"Line {number}: it computes with parameters ({_shown(text)}), which is not followed here.",
                "Let the program be written out with plain numbers.",
            )
        if line[0] == "O" and NUMBERED.match(line):
            if self._begun:  # the next program of the file: this one is over
                self._ended = True
                return
            line = NUMBERED.sub("", line, count=1)
        block = read_block(line, number)
        if block is None:
            self._cannot_read(text, number)
        else:
            yield from self._execute(block, text)

    def _cannot_read(self, text: str, number: int) -> None:
        self._unreadable += 1
        if self._unreadable > MOST_UNREADABLE:
            raise ProgramError(
                f"Line {number}: more than {MOST_UNREADABLE} lines cannot be read as ISO 6983 "
                f"({_shown(text)}).",
                "Choose the file that your post-processor wrote for G-code (ISO).",
            )
        self.warn(
            f"line {number}",
            f"Line {number} cannot be read and is left out ({_shown(text)}); the times may be wrong.",
        )

    def _execute(self, block: Block, text: str) -> Iterator[Move | Event]:
        if block.skippable:
            self.warn("skip", f"Line {block.line}: lines with a slash are counted as run, not as skipped.")
        set_modes(self.modal, block, self.warn)
        unknown = warn_of_unknown(block, self.warn)
        self._set_feed_and_speed(block)
        yield from self._tool(block, text)
        yield from self._spindle(block)
        for event in self._motion.take(block, self.line, unknown):
            self._begun = True
            yield event
        yield from self._stops(block)
        self._calls(block)

    def _set_feed_and_speed(self, block: Block) -> None:
        words, modal = block.words, self.modal
        if "F" in words and 40 not in block.g:
            if not words["F"] > 0:
                raise ProgramError(
                    f"Line {block.line}: a feed of F{words['F']:g} never arrives.", "Look at F."
                )
            modal.feed = words["F"]
        if "S" in words and not {40, 500, 920} & set(block.g):  # there it is no speed, or a limit of it
            if not 0 <= words["S"] <= 1e6:
                raise ProgramError(f"Line {block.line}: S{words['S']:g} is no spindle speed.", "Look at S.")
            modal.rpm = words["S"]
        for letter in "UVWE":
            if letter in words and not (letter == "U" and 40 in block.g):
                self.warn(
                    letter, f"Line {block.line}: the axis {letter} is not known; its moves are not counted."
                )

    def _tool(self, block: Block, text: str) -> Iterator[Event]:
        modal, words = self.modal, block.words
        if "T" in words:
            if not 0 <= words["T"] <= MOST_TOOL or words["T"] != int(words["T"]):
                raise ProgramError(f"Line {block.line}: T{words['T']:g} is no tool number.", "Look at T.")
            modal.selected = int(words["T"])
        changes = 6 in block.m or ("T" in words and not self._outline.changes_tools)
        if not changes:
            return
        if modal.selected is None:
            self.warn("no T", f"Line {block.line}: a tool change without a tool number (T).")
        number = modal.selected
        if not self._outline.changes_tools and number is not None and number >= 100:
            number //= 100  # T0303: tool and offset in one word, as lathes have it
        if 6 not in block.m and number == modal.tool:
            return
        modal.tool = number
        yield Event(self.line, "tool", number, comment_of(text) or self._note)
        self._note = ""

    def _spindle(self, block: Block) -> Iterator[Event]:
        for code in block.m:
            if code in (3, 4):
                self.modal.turning = True
            elif code == 5:
                self.modal.turning = False
        rpm = self.modal.spindle_rpm()
        if rpm != self._rpm:
            self._rpm = rpm
            yield Event(self.line, "spindle", rpm)
        if self.modal.constant_surface_speed:
            self.warn(
                "G96", f"Line {block.line}: under G96 the spindle's speed is not known from the program."
            )

    def _stops(self, block: Block) -> Iterator[Event]:
        for code in block.m:
            if code in (0, 1, 60):
                yield Event(self.line, "stop", 0.0)
            elif code in (2, 30):
                self._ended = True

    def _flow(self, flow: re.Match, number: int) -> None:
        name, word, rest = flow.groups()
        if word == "CALL":
            if rest.strip("[]"):
                self.warn("arguments", f"Line {number}: what is handed to a subprogram ({rest}) is not used.")
            self._enter(name, 1, number)
        elif word == "SUB":
            for _, text in self._frames[-1].lines:
                ended = FLOW.match(cleaned(text))
                if ended and ended.group(1) == name and ended.group(2) == "ENDSUB":
                    return
            raise ProgramError(f"Line {number}: subprogram {name} has no end.", "Look for its endsub.")
        elif word in ("ENDSUB", "RETURN"):
            self._leave()
        else:
            raise ProgramError(
                f"Line {number}: it decides or repeats ({word.lower()}), which is not followed here.",
                "Let the program be written out without it.",
            )

    def _calls(self, block: Block) -> None:
        for code in block.m:
            if code == 99:
                self._return(block)
            elif code in (97, 98):
                self._call(block, code)

    def _call(self, block: Block, code: int) -> None:
        words = block.words
        if "P" not in words:
            raise ProgramError(
                f"Line {block.line}: it calls a program that is not in this file.",
                "Put the subprogram into the file, and call it with M98 P and its number.",
            )
        number, repeats = int(words["P"]), int(words.get("L", 1))
        if code == 97:
            body = lines_from(self._open_lines, number)
            self._enter(f"N{number}", repeats, block.line, body)
            return
        if str(number) not in self._outline.bodies and "L" not in words and number > 9999:
            number, repeats = number % 10000, number // 10000  # P0031234: three times 1234
        self._enter(str(number), repeats, block.line)

    def _enter(self, name: str, repeats: int, line: int, body: list[Line] | None = None) -> None:
        if name in [frame.name for frame in self._frames]:
            raise ProgramError(
                f"Line {line}: subprogram {name} calls itself, so the program never ends.",
                "Look at the calls (M98) in it.",
            )
        if len(self._frames) > DEEPEST_CALL:
            raise ProgramError(
                f"Line {line}: subprograms call one another more than {DEEPEST_CALL} deep.",
                "Look at the calls.",
            )
        body = self._outline.bodies.get(name) if body is None else body
        if body is None:
            raise ProgramError(
                f"Line {line}: subprogram {name} is not in this file.",
                "Put it into the file, after the end of the main program; a very long one is not kept.",
            )
        if repeats > MOST_REPEATS:
            raise ProgramError(
                f"Line {line}: subprogram {name} is repeated {repeats} times, more than {MOST_REPEATS}.",
                "Look at L.",
            )
        if repeats > 0:
            self._frames.append(Frame(name, iter(body), body, repeats))

    def _return(self, block: Block) -> None:
        if len(self._frames) > 1:
            if "P" in block.words:
                raise ProgramError(
                    f"Line {block.line}: it goes back to another line (M99 P), which is not followed.",
                    "Let the subprogram end with M99 alone.",
                )
            self._leave()
        else:
            self._ended = True
            self.warn(
                "M99", f"Line {block.line}: the main program begins again for ever (M99); one run is counted."
            )

    def _leave(self) -> None:
        frame = self._frames[-1]
        frame.left -= 1
        if frame.left > 0:
            frame.lines = iter(frame.body)
        else:
            self._frames.pop()


def _shown(text: str) -> str:
    text = "".join(letter if letter.isprintable() else "?" for letter in text.strip())
    return text if len(text) <= SHOWN else f"{text[:SHOWN]}…"

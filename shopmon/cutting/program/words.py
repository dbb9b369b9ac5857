"""The words of one line of an NC program: comments out, spaces out, letters and numbers apart."""

import re
from dataclasses import dataclass, field

from shopmon.errors import ProgramError

LONGEST_LINE = 2000
COMMENT = re.compile(r"\([^()]*\)")
OPEN_COMMENT = re.compile(r"\(.*|;.*")
WORD = re.compile(r"([A-Z])([+-]?(?:\d+\.?\d*|\.\d+))")
FLOW = re.compile(
    r"O(\d+|<[^>]*>)(SUB|ENDSUB|CALL|RETURN|REPEAT|ENDREPEAT|IF|ELSEIF|ELSE|ENDIF|WHILE|ENDWHILE|DO|BREAK|"
    r"CONTINUE)(.*)"
)
NUMBERED = re.compile(r"[O:](\d+)")
BLANKS = str.maketrans("", "", " \t\r\n\v\f\ufeff\x1a")


@dataclass(slots=True)
class Block:
    """One line, read.

    Attributes
    ----------
    line
        Its number in the file, from 1.
    g, m
        Codes in their order; G codes in tenths, so that G91.1 is 911 and G1 is 10.
    words
        All other words by letter, as written, in the program's unit; of a letter written twice the last.
    plain
        Letters whose number was written without a decimal point.
    skippable
        It begins with a slash: left out when the switch for that is on.
    """

    line: int
    g: list[int] = field(default_factory=list)
    m: list[int] = field(default_factory=list)
    words: dict[str, float] = field(default_factory=dict)
    plain: str = ""
    skippable: bool = False


def cleaned(text: str) -> str:
    """Return a line without comments and blanks, in capitals.

    >>> cleaned("n10 g1 x 1 0 .5 (to the wall) y-.5 ; on")
    'N10G1X10.5Y-.5'
    """
    if "(" in text or ";" in text:
        text = _without_comments(text)
    return text.translate(BLANKS).upper()


def _without_comments(text: str) -> str:
    shorter = COMMENT.sub("", text)
    while shorter != text:  # some programs put brackets in brackets
        text, shorter = shorter, COMMENT.sub("", shorter)
    return OPEN_COMMENT.sub("", text)


def comment_of(text: str) -> str:
    """Return what a line says to the person, without its marks; empty where it says nothing.

    >>> comment_of("T3 M6 (10 mm rougher)")
    '10 mm rougher'
    """
    found = re.search(r"\(([^()]*)\)|;(.*)", text)
    return (found.group(1) or found.group(2) or "").strip() if found else ""


def check_length(text: str, line: int) -> None:
    """Refuse a line that no control would take.

    Raises
    ------
    ProgramError
        It is too long.
    """
    if len(text) > LONGEST_LINE:
        raise ProgramError(
            f"Line {line} is longer than {LONGEST_LINE} characters, which is no NC program.",
            "Choose the file that goes to the control.",
        )


def read_block(text: str, line: int) -> Block | None:
    """Read a cleaned line; None where it is not made of words.

    Parameters
    ----------
    text
        From `cleaned`.
    line
        Its number in the file.
    """
    block = Block(line)
    if text.startswith("/"):
        block.skippable = True
        text = text.lstrip("/")
        if text[:1].isdigit():  # the switch's own number, /2
            text = text[1:]
    length, plain = 0, ""
    for letter, number in WORD.findall(text):
        length += 1 + len(number)
        if letter == "G":
            block.g.append(round(float(number) * 10))
        elif letter == "M":
            block.m.append(int(float(number)))
        elif letter != "N":
            block.words[letter] = float(number)
            if "." not in number:
                plain += letter
    block.plain = plain
    return block if length == len(text) else None

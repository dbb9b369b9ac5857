"""What stays in force from line to line, and what each code changes of it."""

from dataclasses import dataclass, field
from math import nan

from shopmon.cutting.program.words import Block
from shopmon.errors import ProgramError

AXES = "XYZABC"
INCH_MM = 25.4
PLANES = {170: (0, 1, 2), 180: (2, 0, 1), 190: (1, 2, 0)}  # two axes of the plane, axis across
MOTIONS = (0, 10, 20, 30)
CYCLES = (730, 740, 760, 810, 820, 830, 840, 850, 860, 870, 880, 890)
OFFSETS = (*range(540, 600), 541, 591, 592, 593)
# codes that change neither path nor time as it is counted here: compensation off, path modes and the like
HARMLESS_G = {
    51, 80, 90, 100, 110, 150, 170, 180, 190, 220, 230, 250, 400, 401, 490, 500, 501, 610, 611, 620, 630,
    640, 670, 690, 940, 970, 911,
}  # fmt: skip
HARMLESS_M = {
    *range(7, 20), *range(21, 30), *range(31, 60), *range(61, 97),
}  # fmt: skip
COMPENSATION = {410: "left", 411: "left", 420: "right", 421: "right"}
LENGTH_OFFSETS = (430, 431, 432, 440)
# these alter where or how long the tool goes in ways that only the control knows
REFUSED_G = {
    120: "mills circles by a cycle of one control",
    130: "mills circles by a cycle of one control",
    160: "gives positions as angle and radius",
    510: "scales lengths",
    511: "mirrors the path",
    650: "calls a macro of the control",
    660: "calls a macro of the control",
    661: "calls a macro of the control",
}


@dataclass
class Modal:
    """The control's state; lengths in mm, positions NaN where nobody can know them."""

    motion: int | None = None
    plane: tuple[int, int, int] = PLANES[170]
    unit_mm: float = 1.0
    unit_said: bool = False
    absolute: bool = True
    centre_absolute: bool = False
    feed_mode: int = 940
    feed: float | None = None
    rpm: float | None = None
    turning: bool | None = None
    constant_surface_speed: bool = False
    tool: int | None = None
    selected: int | None = None
    to_initial: bool = True
    offset: int | None = None
    compensated: bool = False
    position: list[float] = field(default_factory=lambda: [0.0] * 6)
    shift: list[float] = field(default_factory=lambda: [0.0] * 6)
    cycle_words: dict[str, float] = field(default_factory=dict)

    def spindle_rpm(self) -> float | None:
        """Speed the spindle turns at: 0 when it was stopped, None when nobody said."""
        if self.turning is False:
            return 0.0
        return None if self.constant_surface_speed else self.rpm

    def forget_position(self, axes: str = AXES) -> None:
        """Take it that these axes are where only the machine knows."""
        for letter in axes:
            self.position[AXES.index(letter)] = nan


def set_modes(modal: Modal, block: Block, warn) -> None:
    """Take over the codes of a line that move nothing: plane, unit, distances, feed mode, retract, offsets.

    Raises
    ------
    ProgramError
        A code that would change the path in a way that cannot be followed.
    """
    for code in block.g:
        if code in PLANES:
            modal.plane = PLANES[code]
        elif code in (200, 210):
            modal.unit_mm, modal.unit_said = (INCH_MM if code == 200 else 1.0), True
        elif code in (900, 910):
            modal.absolute = code == 900
        elif code in (901, 911):
            modal.centre_absolute = code == 901
        elif code in (930, 940, 950):
            if code != modal.feed_mode:
                modal.feed_mode, modal.feed = code, None
        elif code in (980, 990):
            modal.to_initial = code == 980
        elif code in (960, 970):
            modal.constant_surface_speed = code == 960
        elif code in OFFSETS:
            _set_offset(modal, code, block.line, warn)
        elif code in COMPENSATION:
            warn(
                "compensation",
                f"Line {block.line}: G{code // 10} goes beside the written path by the radius of the tool, "
                "which is not in the program; times are of the written path.",
            )
        elif code in REFUSED_G:
            raise ProgramError(
                f"Line {block.line}: G{_told(code)} {REFUSED_G[code]}, which is not followed here.",
                "Let the program be written out without it.",
            )


def _set_offset(modal: Modal, code: int, line: int, warn) -> None:
    if modal.offset is not None and code != modal.offset:
        modal.forget_position()
        warn(
            "offset",
            f"Line {line}: the work offset changes to G{_told(code)}; how far apart the two lie is not in "
            "the program, so the rapid between them is not counted.",
        )
    modal.offset = code


def _told(code: int) -> str:
    """Write a code as a person does.

    >>> _told(911), _told(540)
    ('91.1', '54')
    """
    return f"{code // 10}.{code % 10}" if code % 10 else f"{code // 10}"


def warn_of_unknown(block: Block, warn) -> bool:
    """Say which codes are not known; return whether one of the G codes was not."""
    unknown = False
    for code in block.g:
        if not is_known_g(code):
            unknown = True
            warn(f"G{code}", f"Line {block.line}: G{_told(code)} is not known; the times may be wrong.")
    for code in block.m:
        if code not in KNOWN_M:
            warn(f"M{code}", f"Line {block.line}: M{code} is not known and is taken to need no time.")
    return unknown


def is_known_g(code: int) -> bool:
    """Whether what a G code does is known here."""
    return code in KNOWN_G


KNOWN_M = HARMLESS_M | {0, 1, 2, 3, 4, 5, 6, 30, 60, 97, 98, 99}
KNOWN_G = (
    HARMLESS_G
    | set(PLANES)
    | set(MOTIONS)
    | set(CYCLES)
    | set(OFFSETS)
    | set(COMPENSATION)
    | set(LENGTH_OFFSETS)
    | set(REFUSED_G)
    | {
        40, 100, 200, 210, 280, 300, 301, 281, 310, 382, 383, 384, 385, 520, 530, 680, 800, 900, 901, 910,
        911, 920, 921, 922, 923, 930, 940, 950, 960, 970, 980, 990,
    }
)  # fmt: skip

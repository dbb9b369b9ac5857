"""From the words of a line to moves: straight lines, arcs, drilling cycles, reference points."""

from collections.abc import Iterator
from math import cos, hypot, isnan, pi, sin

from shopmon.cutting.program.cycles import Hole, strokes
from shopmon.cutting.program.modal import AXES, CYCLES, MOTIONS, Modal
from shopmon.cutting.program.moves import Arc, Event, Move, arc_from_centre, centre_from_radius
from shopmon.cutting.program.words import Block
from shopmon.errors import ProgramError

STILL = (0.0, 0.0, 0.0)
CENTRES = "IJK"
PLAIN_DWELL_LIMIT = 50
LONGEST_DWELL_S = 3600.0
MOST_REPEATS = 10_000
MOST_TURNS = 10_000  # of one helix


class Motion:
    """Turns words into moves and keeps the position.

    Parameters
    ----------
    modal
        The control's state, changed in place.
    warn
        Called with a key (each is told once) and a sentence.
    """

    def __init__(self, modal: Modal, warn):
        self._modal = modal
        self._warn = warn
        self._moved_in: float | None = None
        self._placed = False
        self._arcs = 0
        self._initial_mm = 0.0

    def take(self, block: Block, line: int, unknown: bool) -> Iterator[Move | Event]:
        """Yield what a line moves, after its modes are set.

        Raises
        ------
        ProgramError
            Something that makes the path or its time unknowable.
        """
        consumed = False
        for code in block.g:
            if code == 40:
                yield Event(line, "dwell", self.dwell_s(block))
                consumed = True
            elif code in (280, 300, 301, 281):
                self._to_reference(block)
                consumed = True
            elif code == 310:
                raise ProgramError(
                    f"Line {line}: G31 moves until a probe touches, which no reader can time.",
                    "Leave probing out of the program to be timed.",
                )
            elif code in (520, 920):
                self._shift(block, code)
                consumed = True
            elif code == 100:
                consumed = True
        self._set_motion(block)
        has_axes = any(letter in block.words for letter in AXES)
        if consumed:
            return
        if unknown and has_axes:
            self._modal.forget_position("".join(letter for letter in AXES if letter in block.words))
            return
        if has_axes and 530 in block.g:
            self._machine_position(block)
        elif has_axes or self._arc_without_end(block):
            yield from self._move(block, line)

    def dwell_s(self, block: Block) -> float:
        """Return the time of a dwell: P, X, U or F in s; P in ms where it is a large whole number."""
        words = block.words
        if "P" in words:
            seconds = words["P"]
            if "P" in block.plain and seconds >= PLAIN_DWELL_LIMIT:
                seconds /= 1000
                self._warn(
                    "dwell",
                    f"Line {block.line}: a dwell of P{words['P']:g}, without a decimal point, is taken as "
                    "milliseconds.",
                )
        else:
            seconds = next((words[letter] for letter in "XUF" if letter in words), 0.0)
        if not 0 <= seconds <= LONGEST_DWELL_S:
            raise ProgramError(f"Line {block.line}: a dwell cannot last {seconds:g} s.", "Look at P there.")
        return seconds

    def _set_motion(self, block: Block) -> None:
        modal = self._modal
        for code in block.g:
            if code in MOTIONS:
                modal.motion = code
            elif code == 800:
                modal.motion = None if modal.motion in CYCLES else modal.motion
            elif code in CYCLES:
                if modal.motion not in CYCLES:
                    modal.cycle_words = {}
                    self._initial_mm = modal.position[modal.plane[2]]
                modal.motion = code
            elif code in (382, 383, 384, 385):
                modal.motion = 10

    def _arc_without_end(self, block: Block) -> bool:
        named = any(code in (20, 30) for code in block.g)
        return (
            self._modal.motion in (20, 30)
            and (named or any(letter in block.words for letter in CENTRES))
            and any(letter in block.words for letter in "IJKR")
        )

    def _move(self, block: Block, line: int) -> Iterator[Move | Event]:
        motion = self._modal.motion
        self._check_unit(block)
        if motion is None:
            self._warn("motion", f"Line {block.line}: it moves before any G0 or G1 was said; taken as rapid.")
            motion = 0
        if motion in CYCLES:
            yield from self._cycle(block, line)
        elif motion in (20, 30):
            yield self._arc(block, line, clockwise=motion == 20)
        else:
            yield self._straight(block, line, feed=motion == 10)
        self._placed = True

    def _check_unit(self, block: Block) -> None:
        unit = self._modal.unit_mm
        if self._moved_in is not None and unit != self._moved_in:
            before, now = ("mm", "inches") if unit > 1 else ("inches", "mm")
            raise ProgramError(
                f"Line {block.line}: the program moved in {before} and moves in {now} from here on.",
                "Write it in one unit: G20 or G21, once, before the first move.",
            )
        self._moved_in = unit

    def _target(self, words: dict[str, float]) -> tuple[list[float], bool]:
        """Move the position to what the words say; return the way of each axis, and whether it is known."""
        modal, known = self._modal, True
        way = [0.0] * 6
        for number, letter in enumerate(AXES):
            if letter not in words:
                continue
            value = words[letter] * (modal.unit_mm if number < 3 else 1.0)
            before = modal.position[number]
            if not modal.absolute:
                way[number], modal.position[number] = value, before + value
            else:
                modal.position[number] = value
                way[number] = value - before
                if isnan(before):
                    way[number], known = 0.0, False
        return way, known

    def _straight(self, block: Block, line: int, feed: bool) -> Move:
        way, known = self._target(block.words)
        length = hypot(way[0], way[1], way[2])
        direction = (way[0] / length, way[1] / length, way[2] / length) if length else STILL
        if not feed:
            return Move(line, False, length, 0.0, direction, direction)
        self._warn_of_start(block, known)
        turned = hypot(way[3], way[4], way[5])
        return Move(line, True, length, self._seconds(block, length, turned), direction, direction)

    def _warn_of_start(self, block: Block, known: bool) -> None:
        if not known:
            self._warn(
                "unplaced",
                f"Line {block.line}: it feeds from a place that is not known; that way is not counted.",
            )
        elif not self._placed:
            self._warn(
                "placed", f"Line {block.line}: it feeds before anything placed the tool; taken as from zero."
            )

    def _seconds(self, block: Block, length_mm: float, turned_deg: float) -> float:
        modal, feed = self._modal, self._modal.feed
        if not length_mm and not turned_deg:
            return 0.0
        if modal.feed_mode == 930:
            if "F" not in block.words:
                raise ProgramError(
                    f"Line {block.line}: under G93 each move needs an F of its own.", "Look at the line."
                )
            return 60.0 / feed
        if feed is None:
            raise ProgramError(
                f"Line {block.line}: it cuts before any feed was said.", "Give F at or before that line."
            )
        if turned_deg:
            self._warn(
                "rotary",
                f"Line {block.line}: a rotary axis turns at feed; its time is taken as in RS-274: F along "
                "the straight axes, or in degrees per minute where it turns alone.",
            )
        if not length_mm:
            return 60.0 * turned_deg / feed
        rate = feed * modal.unit_mm
        if modal.feed_mode == 950:
            if not modal.spindle_rpm():
                raise ProgramError(
                    f"Line {block.line}: it feeds per turn (G95), but no spindle speed is known there.",
                    "Give S before it.",
                )
            rate *= modal.spindle_rpm()
        return 60.0 * length_mm / rate

    def _arc(self, block: Block, line: int, clockwise: bool) -> Move:
        modal, words = self._modal, block.words
        first, second, across = modal.plane
        start = (modal.position[first], modal.position[second])
        way, known = self._target(words)
        end = (modal.position[first], modal.position[second])
        self._warn_of_start(block, known)
        arc = self._closed(block, start, end, clockwise)
        self._arcs += 1
        turned = arc.turned_rad
        turns = words.get("P", 1)
        if turns != int(turns) or not 1 <= turns <= MOST_TURNS:
            raise ProgramError(
                f"Line {block.line}: an arc of {turns:g} turns (P) cannot be meant.",
                f"Give a whole number of turns, at most {MOST_TURNS}.",
            )
        turned += (int(turns) - 1) * (-2 * pi if clockwise else 2 * pi)
        flat, rise = arc.radius_mm * abs(turned), way[across]
        length = hypot(flat, rise)
        seconds = self._seconds(block, length, 0.0)
        if flat <= 1e-9:  # its ends lie on one ray from its centre
            return Move(line, True, length, seconds, STILL, STILL)
        sense = -1.0 if clockwise else 1.0

        def tangent(angle: float) -> tuple[float, float, float]:
            """Return the direction of travel at an angle of the arc, a unit vector."""
            vector = [0.0, 0.0, 0.0]
            vector[first] = -sense * sin(angle) * flat / length
            vector[second] = sense * cos(angle) * flat / length
            vector[across] = rise / length
            return tuple(vector)

        # seen along a helix the path is bent less than its circle
        radius = arc.radius_mm * (length / flat) ** 2
        return Move(line, True, length, seconds, tangent(arc.start_rad), tangent(arc.end_rad), radius)

    def _closed(self, block: Block, start, end, clockwise: bool) -> Arc:
        """The arc as written; the first one of a program tells whether its centres are absolute."""
        modal, words = self._modal, block.words
        if "R" in words:
            centre = centre_from_radius(start, end, words["R"] * modal.unit_mm, clockwise, block.line)
            return arc_from_centre(start, end, centre, clockwise, block.line)
        if not any(letter in words for letter in CENTRES):
            raise ProgramError(f"Line {block.line}: an arc without I, J, K or R.", "Look at the line.")
        try:
            return arc_from_centre(start, end, self._centre(words, start), clockwise, block.line)
        except ProgramError:
            if modal.centre_absolute or self._arcs:
                raise
            modal.centre_absolute = True
            try:
                arc = arc_from_centre(start, end, self._centre(words, start), clockwise, block.line)
            except ProgramError:
                modal.centre_absolute = False
            else:
                self._warn(
                    "centres",
                    f"Line {block.line}: the arc closes only with its centre counted from the origin "
                    "(G90.1), so all are taken so.",
                )
                return arc
            raise

    def _centre(self, words: dict[str, float], start) -> tuple[float, float]:
        modal = self._modal
        letters = [CENTRES[axis] for axis in modal.plane[:2]]
        if modal.centre_absolute:
            given = [
                words[letter] * modal.unit_mm if letter in words else at
                for letter, at in zip(letters, start, strict=True)
            ]
            return given[0], given[1]
        return (
            start[0] + words.get(letters[0], 0.0) * modal.unit_mm,
            start[1] + words.get(letters[1], 0.0) * modal.unit_mm,
        )

    def _cycle(self, block: Block, line: int) -> Iterator[Move | Event]:
        modal, words = self._modal, block.words
        across = modal.plane[2]
        letter = AXES[across]
        modal.cycle_words |= {name: words[name] for name in (letter, "R", "Q") if name in words}
        if "P" in words:
            modal.cycle_words["P"] = self.dwell_s(block)
        repeats = words.get("L", words.get("K", 1.0))
        if not 0 <= repeats <= MOST_REPEATS or repeats != int(repeats):
            raise ProgramError(
                f"Line {block.line}: a cycle cannot be repeated {repeats:g} times.", "Look at L."
            )
        if letter not in modal.cycle_words or "R" not in modal.cycle_words:
            raise ProgramError(
                f"Line {block.line}: the drilling cycle has no {letter} or no R.",
                "Give both in its first line.",
            )
        beside = {name: words[name] for name in AXES if name in words and name != letter}
        for _ in range(int(repeats)):
            yield from self._hole(block, line, beside)

    def _hole(self, block: Block, line: int, beside: dict[str, float]) -> Iterator[Move | Event]:
        modal = self._modal
        across, said = modal.plane[2], modal.cycle_words
        unit = modal.unit_mm
        initial = 0.0 if isnan(self._initial_mm) else self._initial_mm
        retract = said["R"] * unit + (0.0 if modal.absolute else initial)
        bottom = said[AXES[across]] * unit + (0.0 if modal.absolute else retract)
        hole = Hole(
            code=modal.motion,
            retract_mm=retract,
            bottom_mm=bottom,
            peck_mm=abs(said.get("Q", 0.0)) * unit,
            dwell_s=said.get("P", 0.0),
            out_to_mm=max(initial, retract) if modal.to_initial else retract,
        )
        if not isnan(modal.position[across]) and modal.position[across] < retract:
            yield self._along(block, line, across, retract, feed=False)
        if beside:
            yield self._straight(Block(block.line, words=beside), line, feed=False)
        yield self._along(block, line, across, retract, feed=False)
        for kind, value in strokes(hole, block.line):
            if kind in ("dwell", "stop"):
                yield Event(line, kind, value)
            else:
                yield self._along(block, line, across, value, feed=kind == "feed")

    def _along(self, block: Block, line: int, axis: int, level_mm: float, feed: bool) -> Move:
        position = self._modal.position
        way = level_mm - position[axis]
        position[axis] = level_mm
        if isnan(way):
            way = 0.0
        direction = [0.0, 0.0, 0.0]
        direction[axis] = (way > 0) - (way < 0)
        seconds = self._seconds(block, abs(way), 0.0) if feed else 0.0
        return Move(line, feed, abs(way), seconds, tuple(direction), tuple(direction))

    def _to_reference(self, block: Block) -> None:
        letters = "".join(letter for letter in AXES if letter in block.words)
        self._modal.forget_position(letters or AXES)
        self._warn_of_home(block)

    def _machine_position(self, block: Block) -> None:
        self._modal.forget_position("".join(letter for letter in AXES if letter in block.words))
        self._warn_of_home(block)

    def _warn_of_home(self, block: Block) -> None:
        self._warn(
            "home",
            f"Line {block.line}: how far it is to a place of the machine (G28, G30, G53) is not in the "
            "program; such rapids are not counted.",
        )

    def _shift(self, block: Block, code: int) -> None:
        """G92 says where the tool is now; G52 moves the origin by what it says."""
        modal = self._modal
        for number, letter in enumerate(AXES):
            if letter in block.words:
                value = block.words[letter] * (modal.unit_mm if number < 3 else 1.0)
                if code == 920:
                    modal.position[number] = value
                else:
                    modal.position[number] += modal.shift[number] - value
                    modal.shift[number] = value

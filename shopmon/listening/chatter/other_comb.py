"""Whether stray lines belong to another comb, which only looks like a family of chatter.

A neighbour's spindle that turns at half or two thirds of ours, and our own comb where a multiple of its speed
was taken for the rotation, give lines in steps of the rotation as a family of chatter does. But they lie on
the parts exactly and stay there, and are loud from the lowest on. Chatter lies anywhere, comes as near by
rare chance only (or by doubling the period, which locks to half orders), and is loudest near a mode. And a
line of any other comb may have a relative or two by chance, but most of that comb is no relative of it.
Where the rotation is slow, or is a stranger's, all lines may be relatives: then what counts is whether chance
would rather make them multiples of one frequency, or so far apart as they are.
"""

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from shopmon.listening.chatter.family import MANY_FLUTES
from shopmon.listening.chatter.kinship import off_multiple, pair_steps
from shopmon.listening.chatter.strays import Track
from shopmon.listening.scene import Scene

PARTS = (2, 3, 4)
ANY_PARTS = MANY_FLUTES[1:]  # tooth passing may have been taken for the rotation where no flutes are known
READ, READ_SHARE = 0.06, 3e-4  # how well a line is read: of a window's width, and of its frequency
ALIKE = 2.0
MOST_OFF = 4.0  # what one line more than this speaks against a part may be no relative
SURE_NATS, SURE_OF_STRANGERS_NATS = 3.0, 5.0
SOURCES, TIMES = 4, np.arange(1.0, 11.0)
LOWEST_HZ, MOST_NATS, OWN_NATS = 8.0, 4.0, 3.0
BEYOND_FAMILY_NATS, NEAR_TURNS = 2.0, 0.05
LOW_ORDERS, LOW_DB = 2.0, 8.0  # another comb is loud at its lowest lines, chatter near a mode


@dataclass(frozen=True, eq=False)
class ReadLines:
    """Lines, and how well each is read.

    Attributes
    ----------
    frequency_hz, level_db, read_hz
        Shape ``(lines,)``.
    clear
        Which stand out of all that they must, shape ``(lines,)``.
    """

    frequency_hz: np.ndarray
    level_db: np.ndarray
    read_hz: np.ndarray
    clear: np.ndarray

    @classmethod
    def of(cls, tracks: list[Track], window_s: float) -> "ReadLines":
        """Return the lines of tracks that were read from a window of some length."""
        frequency_hz = np.array([track.frequency_hz for track in tracks])
        clear = np.array([track.margin_db > 0 for track in tracks])
        level_db = np.array([track.level_db for track in tracks])
        return cls(frequency_hz, level_db, READ / window_s + READ_SHARE * frequency_hz, clear)

    @cached_property
    def steps_hz(self) -> np.ndarray:
        """Distance and sum of every two, shape ``(2, lines, lines)``."""
        return pair_steps(self.frequency_hz)

    @cached_property
    def within_hz(self) -> np.ndarray:
        """As exactly as these can be read, shape ``(lines, lines)``."""
        return ALIKE * np.hypot(self.read_hz[:, None], self.read_hz)

    def in_steps(self, spacing_hz: float) -> np.ndarray:
        """Which differ by, or add up to, multiples of a spacing, as exactly as they can be read."""
        return (off_multiple(self.steps_hz, spacing_hz) <= self.within_hz).any(axis=0)


def on_other_comb(tracks: list[Track], scene: Scene) -> np.ndarray:
    """Return which lines are better explained by another comb than by chatter, shape ``(tracks,)``.

    Parameters
    ----------
    tracks
        All lines that are followed, strongest first.
    scene
        The spectrum.
    """
    lines, rotation_hz = ReadLines.of(tracks, scene.comb.window_s), scene.comb.rotation_hz
    family = lines.in_steps(rotation_hz)
    members = (family & lines.clear) | np.eye(len(tracks), dtype=bool)
    parts = PARTS if scene.flutes else ANY_PARTS
    on_part = part_comb_nats(lines, members, rotation_hz, parts) > SURE_NATS
    low = on_part & lines.clear & (lines.frequency_hz < LOW_ORDERS * rotation_hz)
    strongest_db = np.where(members, lines.level_db, -np.inf).max(axis=1)
    on_part &= strongest_db < lines.level_db[low].max(initial=-np.inf) + LOW_DB
    shares = comb_shares(lines, rotation_hz)
    strange = strangers_comb_nats(shares, lines, family) > SURE_OF_STRANGERS_NATS
    related_nats = family_nats(lines, rotation_hz, scene.flutes) + BEYOND_FAMILY_NATS
    rather = whole_comb_nats(shares, lines) > np.maximum(related_nats, SURE_OF_STRANGERS_NATS)
    return on_part | strange | rather


def part_comb_nats(
    lines: ReadLines, members: np.ndarray, rotation_hz: float, parts: tuple[int, ...] = PARTS
) -> np.ndarray:
    """Return how much more a comb of a part of the rotation explains than chance, the best part of each line.

    The members of one family all lie equally far from the parts: one coincidence, however many they are. Its
    worth is the logarithm of the parts' distance over how well that is read.

    Parameters
    ----------
    lines
        What is judged.
    members
        Of each line's family, itself among them, shape ``(lines, lines)``.
    rotation_hz
        Rotation frequency.
    parts
        Into how many it is parted.
    """
    together_hz = 1.0 / np.sqrt(members @ lines.read_hz**-2.0)
    best = np.full(together_hz.size, -np.inf)
    for part in parts:
        step_hz = rotation_hz / part
        away = off_multiple(lines.frequency_hz, step_hz) / lines.read_hz
        against = members @ np.clip(away**2 - 1.0, 0.0, MOST_OFF)
        best = np.maximum(best, np.log(step_hz / (math.sqrt(2 * math.pi) * together_hz)) - 0.5 * against)
    return best


def comb_shares(lines: ReadLines, rotation_hz: float) -> np.ndarray:
    """Return what each line is worth as a member of other combs, shape ``(combs, lines)``; none: no combs.

    Every simple part of one of the strongest and of the lowest lines is tried, and that part of the strongest
    which is nearest to the distance of two neighbours. Each line that is a multiple of it is worth the
    logarithm of the odds against it.

    Parameters
    ----------
    lines
        What is judged, strongest first.
    rotation_hz
        Rotation frequency: neighbours of one family lie as far apart as a few turns, and prove no comb.
    """
    clear_hz = lines.frequency_hz[lines.clear]
    source_hz = np.concatenate((clear_hz[:SOURCES], np.sort(clear_hz[SOURCES:])[:SOURCES]))
    base_hz = np.concatenate(((source_hz[:, None] / TIMES).ravel(), _of_neighbours(clear_hz, rotation_hz)))
    base_hz = base_hz[base_hz >= LOWEST_HZ][:, None]
    within_hz = ALIKE * lines.read_hz
    on = off_multiple(lines.frequency_hz, base_hz) <= within_hz
    return on * np.clip(np.log(base_hz / (2.0 * within_hz)), 0.0, MOST_NATS)


def _of_neighbours(clear_hz: np.ndarray, rotation_hz: float) -> np.ndarray:
    """Return the parts of the strongest line nearest to the distances of neighbours, unless in few turns."""
    apart_hz = np.diff(np.sort(clear_hz))
    turns = apart_hz / rotation_hz
    family = (turns < MANY_FLUTES[-1] + 0.5) & (np.abs(turns - np.rint(turns)) < NEAR_TURNS * np.rint(turns))
    apart_hz = apart_hz[~family & (apart_hz >= LOWEST_HZ)]
    return clear_hz[0] / np.maximum(np.rint(clear_hz[0] / apart_hz), 1.0) if apart_hz.size else apart_hz


def strangers_comb_nats(shares: np.ndarray, lines: ReadLines, family: np.ndarray) -> np.ndarray:
    """Return how surely lines that are no relatives of a line make a comb on which it lies, too.

    The logarithm of the number of combs that were tried is taken off. The line itself must lie on it by
    hardly a chance, either.

    Parameters
    ----------
    shares
        From `comb_shares`.
    lines
        What is judged, strongest first.
    family
        Which are relatives of which, shape ``(lines, lines)``.
    """
    if not shares.size:
        return np.zeros(lines.clear.size)
    nats = np.where(shares >= OWN_NATS, shares @ (~family & lines.clear).T, 0.0)
    return nats.max(axis=0) - MOST_NATS - math.log(len(shares))


def whole_comb_nats(shares: np.ndarray, lines: ReadLines) -> np.ndarray:
    """Return how surely all lines, relatives or not, make a comb on which a line lies.

    The best of its lines says nothing, the comb was made of it; and the logarithm of the number of combs that
    were tried is taken off.
    """
    if not shares.size:
        return np.zeros(lines.clear.size)
    clear = shares * lines.clear
    whole = clear.sum(axis=1) - clear.max(axis=1)
    return np.where(shares >= OWN_NATS, whole[:, None], 0.0).max(axis=0) - math.log(len(shares))


def family_nats(lines: ReadLines, rotation_hz: float, flutes: int | None) -> np.ndarray:
    """Return how surely a line's relatives are that: in steps of the rotation or of tooth passing.

    Each that differs from it by a multiple, or adds up to one, is worth the logarithm of the odds against it.

    Parameters
    ----------
    lines
        What is judged.
    rotation_hz
        Rotation frequency.
    flutes
        None where not known: then up to seven are tried.
    """
    others = lines.clear & ~np.eye(lines.clear.size, dtype=bool)
    best = np.zeros(lines.clear.size)
    for teeth in {1, flutes} if flutes else MANY_FLUTES:
        spacing_hz = teeth * rotation_hz
        worth = np.clip(np.log(spacing_hz / (4.0 * lines.within_hz)), 0.0, MOST_NATS)
        best = np.maximum(best, ((lines.in_steps(spacing_hz) & others) * worth).sum(axis=1))
    return best

"""Vibrating systems that would chatter just as was heard: what one chatter line leaves open.

The line is not a natural frequency: it lies above one in slots and conventional milling, below it in climb
milling, and moves with the speed. Nor does it tell the damping, the directions that give way or how far the
depth is over its limit. So shapes of systems are drawn from broad ranges and cut at broad depths; of each,
all natural frequencies are scaled together over a range, and where the line that it would make meets the line
that was heard, it is kept, weighed by how much of the range fits and by how far it would be over its limit.
Whatever stiffness and force there are cancel, as only their ratio counts.

The ranges are our own judgement of small milling machines; no source.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from shopmon.cutting.geometry import directional_integral
from shopmon.cutting.stability.many_cuts import FEW_STEP_RAD, Systems, spectral_radius

SEED = 20
DAMPING = (0.008, 0.06)
KR = (0.1, 0.6)
MOST_OVER = 3.3  # times as deep as where it begins to ring
NEARLY_ALIKE = (0.6, 1.6)  # stiffness in y over that in x where the frequencies are alike
SECOND_PAIR = (0.4, 2.5)  # frequency of the second pair over that of the first
SECOND_STIFFNESS = (0.8, 6.0)
PAIR_SPREAD = 0.3  # of stiffness within the second pair (logarithm)
APART = (0.35, 2.8)  # frequency over that of the first mode where the modes have nothing in common
SOFTER, STIFFER = 0.6, 10.0  # stiffness over that of the first mode there
UNSURE_LINE = 0.004  # share by which a line is off
SCALES = np.exp(np.linspace(np.log(0.45), np.log(1.6), 26))  # first natural frequency over the line
NEAR_LINE = (-0.45, 0.2)  # of a mode from the line (logarithm): none that rings lies farther off …
NEAR_WAVES = (-2.7, 1.8)  # … nor, with many waves between two teeth, so many of them
DEPTHS = (0.9, 12.0)  # force over the least limit of the averaged theory
WILD_LINE = 0.012  # a line found farther off has jumped between two looks


@dataclass(frozen=True, kw_only=True)
class Kind:
    """One way in which a machine may give way.

    Attributes
    ----------
    axes
        Of the modes, such as ``"xy"``; the first is the softest or nearly so. ``"xyxy"`` are two pairs.
    spread
        Of the frequency in y over that in x (logarithm), for a tool that is as good as round; None where
        modes have nothing in common.
    """

    axes: str
    spread: float | None = None


@dataclass(frozen=True, eq=False)
class Plausible:
    """Systems with the force they were found to chatter under, and how plausible each is.

    Attributes
    ----------
    systems, force_n_per_m
        Their cut; the scale of stiffness is arbitrary.
    weight
        From 0 to 1: how well it rings at the line.
    arc_rad
        Of the cut, the same for all.
    """

    systems: Systems
    force_n_per_m: np.ndarray
    weight: np.ndarray
    arc_rad: tuple[float, float]


def plausible_systems(
    frequency_hz: float, rpm: float, flutes: int, arc_rad: tuple[float, float], kind: Kind, count: int
) -> Plausible:
    """Draw systems that ring at a line in a given cut.

    Parameters
    ----------
    frequency_hz, rpm
        The line, and the true speed at which it was heard.
    flutes, arc_rad
        Of the cut.
    kind
        Which of the modes are alike.
    count
        How many to draw; fewer keep a weight.
    """
    shapes, depth = _shapes(kind, count)
    force = depth * least_limit(shapes, flutes, arc_rad)
    looks = len(SCALES)
    where, look = np.nonzero(_near_a_mode(shapes, 60 * frequency_hz / (flutes * rpm)))
    spread = shapes.pick(where).scaled(SCALES[look] * frequency_hz)
    heard = spectral_radius(
        spread, arc_rad, flutes, rpm, force[where], lines=True, rough=True, step_rad=FEW_STEP_RAD
    )
    line, rings = np.full((count, looks), np.nan), np.zeros((count, looks), bool)
    line[where, look] = np.log(np.maximum(heard.line_hz, 1e-3 * frequency_hz) / frequency_hz)
    rings[where, look] = heard.radius > 1
    which, scale, weight = _crossings(line, rings)
    systems, force = shapes.pick(which).scaled(scale * frequency_hz), force[which]
    weight = weight * _checked(systems, arc_rad, flutes, rpm, force, frequency_hz)
    return _thinned(Plausible(systems, force, weight, arc_rad), 2 * count)


def _near_a_mode(shapes: Systems, waves: float) -> np.ndarray:
    """Which looks bring a mode so near to the line that it may be the one that rings, ``(shapes, looks)``."""
    apart = np.log(shapes.frequency_hz[:, :, None] * SCALES)
    low, high = max(NEAR_LINE[0], NEAR_WAVES[0] / waves), min(NEAR_LINE[1], NEAR_WAVES[1] / waves)
    return ((apart > low) & (apart < high)).any(axis=1)


def _thinned(found: Plausible, most: int) -> Plausible:
    """At most so many of the systems, evenly along their weight; together they keep what all weighed."""
    total = float(found.weight.sum())
    if total <= 0 or np.count_nonzero(found.weight) <= most:
        keep = np.flatnonzero(found.weight)
        weight = found.weight[keep]
    else:
        keep = np.searchsorted(np.cumsum(found.weight), (np.arange(most) + 0.5) / most * total)
        weight = np.full(most, total / most)
    return Plausible(found.systems.pick(keep), found.force_n_per_m[keep], weight, found.arc_rad)


def _crossings(line: np.ndarray, rings: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Where between two looks the line may be the one that was heard, and how much of the range fits.

    `line` and `rings` are ``(shapes, looks)``, the line as the logarithm of its ratio to the one heard, NaN
    where nobody looked.
    Between two looks it is taken as straight; the share of it within the error of the line is the weight.
    """
    begin, end = line[:, :-1], line[:, 1:]
    nearest = np.clip(-begin / np.where(end == begin, 1.0, end - begin), 0.0, 1.0)
    nearest = np.where(end == begin, 0.5, nearest)
    miss = begin + nearest * (end - begin)
    width = UNSURE_LINE * np.sqrt(2 * np.pi)
    share = np.minimum(1.0, width / np.maximum(np.abs(end - begin), 1e-12))
    weight = share * np.exp(-0.5 * (miss / UNSURE_LINE) ** 2) * (rings[:, :-1] | rings[:, 1:])
    weight = np.nan_to_num(weight)
    which, place = np.nonzero(weight > 1e-3)
    scale = SCALES[place] * (SCALES[1] / SCALES[0]) ** nearest[which, place]
    return which, scale, weight[which, place]


def _checked(systems, arc_rad, flutes, rpm, force, frequency_hz) -> np.ndarray:
    """Whether a system truly rings there, at that line, but not when cut much less deep; 1 or 0."""
    count = len(force)
    twice = systems.pick(np.tile(np.arange(count), 2))
    forces = np.concatenate((force, force / MOST_OVER))
    heard = spectral_radius(
        twice, arc_rad, flutes, rpm, forces, lines=True, rough=True, step_rad=FEW_STEP_RAD
    )
    radius, less = heard.radius.reshape(2, count)
    near = np.abs(np.log(np.maximum(heard.line_hz[:count], 1e-3) / frequency_hz)) < WILD_LINE
    return 1.0 * ((radius > 1) & (less < 1) & near)


def least_limit(systems: Systems, flutes: int, arc_rad: tuple[float, float]) -> np.ndarray:
    """Force of the averaged theory at which the first mode to do so can begin to ring, whatever the speed."""
    low, high = (directional_integral(np.array(arc), 0.3) for arc in arc_rad)
    average = np.abs(np.diag(high - low)) * flutes / (2 * np.pi)
    average = np.maximum(average, 0.2 * average.max())
    felt = np.array([average["xy".index(name)] for name in systems.axes])
    return (2 * systems.stiffness_n_per_m * systems.damping_ratio / felt).min(axis=1)


@lru_cache(maxsize=32)
def _shapes(kind: Kind, count: int) -> tuple[Systems, np.ndarray]:
    """Shapes whose first mode is at 1 Hz, and the depth at which each is cut over its least limit."""
    rng = np.random.default_rng([SEED, *kind.axes.encode(), round(1000 * (kind.spread or 0))])
    modes = len(kind.axes)
    ratio = np.exp(rng.uniform(*np.log(APART), (count, modes)))
    stiffness = np.exp(rng.uniform(np.log(SOFTER), np.log(STIFFER), (count, modes)))
    ratio[:, 0] = stiffness[:, 0] = 1.0
    if kind.spread is not None:
        ratio[:, 1] = np.exp(kind.spread * rng.standard_normal(count))
        stiffness[:, 1] = np.exp(rng.uniform(*np.log(NEARLY_ALIKE), count))
        second = np.exp(rng.uniform(*np.log(SECOND_PAIR), count))[:, None]
        ratio[:, 2:] = second * ratio[:, :2][:, : modes - 2]
        harder = np.exp(rng.uniform(*np.log(SECOND_STIFFNESS), count))[:, None]
        stiffness[:, 2:] = harder * np.exp(PAIR_SPREAD * rng.standard_normal((count, modes - 2)))
    damping = np.exp(rng.uniform(*np.log(DAMPING), (count, modes)))
    systems = Systems(kind.axes, ratio, damping, stiffness, rng.uniform(*KR, count))
    return systems, np.exp(rng.uniform(*np.log(DEPTHS), count))

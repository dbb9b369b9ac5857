"""Where many shapes of system begin to ring, tabulated once for a cut's arc and number of teeth.

Scale all natural frequencies of a system, and its border moves along the speed; scale its stiffness over the
cutting force, and the border moves along the depth. So the border in depth and the chatter line of each shape
are tabulated over the waves between two teeth, and every system of that shape is read off by interpolation.
What is left after the shape, the two scales, takes no further solution of a delay equation.
"""

from dataclasses import dataclass, replace
from functools import lru_cache
from math import log

import numpy as np

from shopmon.cutting.advising.plausible import least_limit
from shopmon.cutting.advising.prior import PLAIN_KT, Prior
from shopmon.cutting.nouns import Mode
from shopmon.cutting.stability.many_cuts import Systems, spectral_radius

SHAPES = 200
SEED = 11
FEWEST_WAVES, MOST_WAVES, WAVES_STEP = 0.2, 5.0, 0.1  # the last lobe stands for all beyond
STEPS, LARGEST_STEP = 4, 0.9  # of the search for a border, the depth as logarithm
LEAST, MOST = log(0.3), log(60.0)  # depth of a border over the least limit of the averaged theory
OVER = np.log([1.1, 1.9, 3.6])  # depths over the border at which the line is found
JUMP = 0.04  # of the line (logarithm) between neighbours that lie on different lobes


@dataclass(frozen=True, eq=False)
class ShapeTable:
    """Borders and lines of the shapes of a prior, for one arc and number of teeth.

    Attributes
    ----------
    frequency
        Logarithm of the first natural frequency of each shape, Hz, before scaling; ``(shapes,)``.
    border
        Logarithm of the depth, mm, at which each begins to ring, before scaling; ``(shapes, waves)``.
    line
        Logarithm of its line over that first frequency, ``(shapes, depths, waves)``, depths as `OVER`.
    flutes
        Number of teeth.
    """

    frequency: np.ndarray
    border: np.ndarray
    line: np.ndarray
    flutes: int

    def _place(self, shape, pitch, rpm):
        """Lower neighbour in waves, and how far beyond it."""
        waves = 60 * np.exp(self.frequency[shape] + pitch) / (self.flutes * rpm)
        beyond = waves > MOST_WAVES
        waves = np.where(beyond, MOST_WAVES - 1 + np.mod(waves - MOST_WAVES, 1.0), waves)
        place = np.clip((waves - FEWEST_WAVES) / WAVES_STEP, 0.0, self.border.shape[1] - 1.000001)
        lower = place.astype(np.intp)
        return lower, place - lower

    def borders(self, shape: np.ndarray, pitch: np.ndarray, depth: np.ndarray, rpm) -> np.ndarray:
        """Logarithm of the depth, mm, at which systems begin to ring.

        Parameters
        ----------
        shape, pitch, depth
            Index of the shape, and logarithms of the scales of frequency and depth; arrays that broadcast.
        rpm
            Spindle speed.
        """
        lower, part = self._place(shape, pitch, rpm)
        return depth + (1 - part) * self.border[shape, lower] + part * self.border[shape, lower + 1]

    def lines(self, shape, pitch, rpm, over):
        """Logarithm of the line, Hz, at a depth `over` the border (logarithm), and how unsure it is."""
        lower, part = self._place(shape, pitch, rpm)
        level = np.clip(np.searchsorted(OVER, over) - 1, 0, len(OVER) - 2)
        deep = np.clip((over - OVER[level]) / (OVER[level + 1] - OVER[level]), -0.2, 1.5)
        near, next_ = (
            _blend(self.line[shape, level, place], self.line[shape, level + 1, place], deep)
            for place in (lower, lower + 1)
        )
        gap = np.abs(next_ - near)
        between = _blend(near, next_, part)
        unsure = np.where(gap > JUMP, 0.015, 0.1 * gap)
        return self.frequency[shape] + pitch + between, unsure


def _blend(one, other, part):
    """Between two neighbours on one lobe; the nearer of two on different lobes."""
    smooth = (1 - part) * one + part * other
    return np.where(np.abs(other - one) > JUMP, np.where(part < 0.5, one, other), smooth)


@lru_cache(maxsize=4)
def shapes(measured: tuple[Mode, ...] = ()) -> np.ndarray:
    """Standard normal numbers of the shapes, those of the scales being zero; ``(shapes, dimensions)``.

    With measured modes the others keep a scale of their own.
    """
    latent = np.random.default_rng(SEED).standard_normal((SHAPES, Prior().dimensions))
    latent[:, [13, 14, 15] if measured else [0, 1, 13]] = 0.0
    latent.flags.writeable = False
    return latent


@lru_cache(maxsize=4)
def shape_frequencies(prior: Prior) -> np.ndarray:
    """Logarithm of the first natural frequency of each shape, Hz."""
    return np.log(prior.systems(shapes(prior.measured))[0].frequency_hz[:, 0])


def shape_table(prior: Prior, arc_rad: tuple[float, float], flutes: int) -> ShapeTable:
    """Table of the shapes of a prior for a cut.

    It takes some seconds the first time. All tools share it that have no measured or heard modes: what else
    their priors differ in are scales.
    """
    known = prior.measured or prior.heard
    base = replace(prior, kt_n_per_mm2=PLAIN_KT, kt_spread=1.0) if known else Prior()
    plain = _plain_table(base, tuple(round(angle, 3) for angle in arc_rad), flutes)
    own, common = (one.systems(shapes(prior.measured)[:1]) for one in (prior, base))
    pitch = log(own[0].frequency_hz[0, 0] / common[0].frequency_hz[0, 0])
    stiffer = log(own[0].stiffness_n_per_m[0, 0] / common[0].stiffness_n_per_m[0, 0])
    deeper = stiffer - log(own[1][0] / common[1][0])
    return replace(plain, frequency=plain.frequency + pitch, border=plain.border + deeper)


@lru_cache(maxsize=32)
def _plain_table(prior: Prior, arc_rad: tuple[float, float], flutes: int) -> ShapeTable:
    systems, kt = prior.systems(shapes(prior.measured))
    waves = np.arange(FEWEST_WAVES, MOST_WAVES + WAVES_STEP / 2, WAVES_STEP)
    many = systems.pick(np.repeat(np.arange(SHAPES), len(waves)))
    first = many.frequency_hz[:, 0]
    rpm = 60 * first / (flutes * np.tile(waves, SHAPES))
    force = _borders(many, arc_rad, flutes, rpm)
    grid = (SHAPES, len(waves))
    border = (np.log(1e3 / np.repeat(kt, len(waves))) + force).reshape(grid)
    line = [_line(many, arc_rad, flutes, rpm, np.exp(force + over), first).reshape(grid) for over in OVER]
    return ShapeTable(np.log(systems.frequency_hz[:, 0]), border, np.stack(line, axis=1), flutes)


def _line(many, arc_rad, flutes, rpm, force, first):
    found = spectral_radius(many, arc_rad, flutes, rpm, force, lines=True, rough=True)
    return np.log(np.maximum(found.line_hz, 1.0) / first)


def _borders(systems: Systems, arc_rad, flutes: int, rpm: np.ndarray) -> np.ndarray:
    """Force at which each system begins to ring, N/m as logarithm: secant steps in the logarithms."""
    least = np.log(least_limit(systems, flutes, arc_rad))
    force = least + log(1.3)
    moved, growth_before, slope = np.zeros(len(rpm)), np.zeros(len(rpm)), np.full(len(rpm), 0.3)
    for _ in range(STEPS):
        found = spectral_radius(systems, arc_rad, flutes, rpm, np.exp(force), rough=True)
        growth = np.log(np.maximum(found.radius, 1e-9))
        far = np.abs(moved) > 1e-6
        steep = (growth - growth_before) / np.where(far, moved, 1.0)
        slope = np.where(far, np.clip(steep, 0.08, 3.0), slope)
        growth_before = growth
        step = np.clip(growth / slope, -LARGEST_STEP, LARGEST_STEP)
        further = np.clip(force - step, least + LEAST, least + MOST)
        moved, force = further - force, further
    return force

"""Stability of very many different cuts at once, where semi-discretization would take too long.

The force acts, and the past matters, only while a tooth is in the metal. So the motion is collocated there
(a polynomial force on Gauss points, the modes answering exactly), and the time in the air is one exact step:
the map of a tooth period then has a few dozen states, and a batch of maps goes through numpy in one piece.
It is the idea of the temporal finite elements of Bayly, Halley, Mann, Davies, J. Manuf. Sci. Eng. 125 (2003)
220, with polynomials of higher order. Equal pitch, straight edges, no runout.

Many unknown systems are weighed with it; where one system is known, semi-discretization decides.
"""

from dataclasses import dataclass
from functools import lru_cache
from math import ceil, pi

import numpy as np

LEAST_NODES, NODES_PER_RAD = 5, 0.55  # of the leading vibration while a tooth is in the cut
ROUGH_NODES, ROUGH_NODES_PER_RAD = 4, 0.42  # within 2 % of the growth in 19 of 20 cuts
MOST_PHASE_RAD = 320.0  # some 50 waves between two teeth; the nodes of faster motion are too few
PHASE_STEP_RAD, FEW_STEP_RAD = 4.0, 12.0
LEADING = 4.0  # modes up to so many times as stiff (times damping) as the weakest set the number of nodes
SQUARINGS = 8
BATCH_STATES = 400_000
SMALL_ELEMENT = 50  # nodes
SINGLE, PAIR = np.float32, np.complex64  # precise enough: the nodes err more, and twice as fast


@dataclass(frozen=True, eq=False)
class Systems:
    """Many vibrating systems, each with the same number of modes along the same axes.

    Attributes
    ----------
    axes
        Axis of each mode, letters x and y.
    frequency_hz, damping_ratio, stiffness_n_per_m
        Shape ``(systems, modes)``.
    kr
        Radial over tangential coefficient, ``(systems,)``.
    """

    axes: str
    frequency_hz: np.ndarray
    damping_ratio: np.ndarray
    stiffness_n_per_m: np.ndarray
    kr: np.ndarray

    def __len__(self) -> int:
        return len(self.kr)

    def pick(self, index: np.ndarray) -> "Systems":
        """The systems at `index`, in that order; one may come several times."""
        return Systems(
            self.axes,
            self.frequency_hz[index],
            self.damping_ratio[index],
            self.stiffness_n_per_m[index],
            self.kr[index],
        )

    def scaled(self, factor: np.ndarray) -> "Systems":
        """The systems with every natural frequency multiplied; `factor` is ``(systems,)``."""
        return Systems(
            self.axes,
            self.frequency_hz * factor[:, None],
            self.damping_ratio,
            self.stiffness_n_per_m,
            self.kr,
        )

    @property
    def poles(self) -> np.ndarray:
        """Upper pole of each mode, rad/s."""
        zeta = self.damping_ratio
        return 2 * pi * self.frequency_hz * (-zeta + 1j * np.sqrt(1 - zeta**2))

    @property
    def used_axes(self) -> tuple[int, ...]:
        """Axes that have modes: 0 for x, 1 for y."""
        return tuple(index for index, name in enumerate("xy") if name in self.axes)


@dataclass(frozen=True, eq=False)
class Verdicts:
    """What the batch says of each cut.

    Attributes
    ----------
    radius
        Growth of a disturbance over one tooth period; above 1 it chatters. ``(cuts,)``.
    line_hz
        Strongest line of the slowest-dying or growing motion, ``(cuts,)``; None unless asked for.
    """

    radius: np.ndarray
    line_hz: np.ndarray | None = None


@dataclass(frozen=True, eq=False)
class _Grid:
    """Collocation points of one tooth period, all in units of that period."""

    pieces: tuple[tuple[float, float], ...]  # start and length of each smooth piece of the force
    counts: tuple[int, ...]  # nodes of each
    nodes: np.ndarray  # of all pieces, from the start of the period
    weights: np.ndarray
    chip: np.ndarray | None  # displacements to the chip, (axes, nodes); None where every axis is followed
    fixed: np.ndarray  # what is followed to force without kr, (axes, followed, nodes)
    radial: np.ndarray  # what kr multiplies

    @property
    def unknowns(self) -> int:
        """Motion that is followed: the chip alone where one tooth cuts, else every axis."""
        return self.fixed.shape[1] * self.nodes.size


def spectral_radius(
    systems: Systems,
    arc_rad: tuple[float, float],
    flutes: int,
    rpm: np.ndarray,
    force_n_per_m: np.ndarray,
    *,
    lines: bool = False,
    rough: bool = False,
    step_rad: float = PHASE_STEP_RAD,
) -> Verdicts:
    """Decide for each system at its speed and force whether it chatters.

    Parameters
    ----------
    systems
        One per cut.
    arc_rad, flutes
        Entry and exit angle, number of teeth: the same for all.
    rpm
        Spindle speed of each cut, ``(cuts,)``.
    force_n_per_m
        Tangential coefficient times axial depth of each cut, ``(cuts,)``.
    lines
        Whether to find the strongest line too.
    rough
        With fewer nodes, half as much work.
    step_rad
        Cuts whose phase over a tooth period lies within the same step share a grid, fine enough for the
        fastest of them. Few cuts are done sooner in large steps: more nodes, fewer batches.
    """
    rpm = np.broadcast_to(np.asarray(rpm, dtype=float), (len(systems),))
    force = np.broadcast_to(np.asarray(force_n_per_m, dtype=float), (len(systems),))
    phase = 2 * pi * _leading_hz(systems) * 60 / (rpm * flutes)
    bucket = np.ceil(np.minimum(phase, MOST_PHASE_RAD) / step_rad).astype(int)
    radius, line = np.empty(len(systems)), np.empty(len(systems))
    for step in np.unique(bucket):
        grid = _grid(arc_rad, flutes, step * step_rad, systems.used_axes, rough)
        states = 2 * len(systems.axes) + grid.unknowns
        members = np.flatnonzero(bucket == step)
        for part in np.array_split(members, ceil(members.size * states**2 / BATCH_STATES)):
            batch = _Batch(systems.pick(part), grid, 60 / (rpm[part] * flutes), force[part])
            radius[part], line[part] = batch.verdict(lines)
    return Verdicts(radius, line if lines else None)


def _leading_hz(systems: Systems) -> np.ndarray:
    """Fastest of the modes that can lead; stiffer ones follow the force and need no nodes of their own."""
    strength = systems.stiffness_n_per_m * systems.damping_ratio
    leads = strength <= LEADING * strength.min(axis=1, keepdims=True)
    return np.where(leads, systems.frequency_hz, 0.0).max(axis=1)


@lru_cache(maxsize=256)
def _grid(arc, flutes: int, phase_rad: float, axes: tuple[int, ...], rough: bool) -> _Grid:
    """Split the part of a tooth period that is in the cut where a tooth enters or leaves."""
    pitch = 2 * pi / flutes
    whole, rest = divmod((arc[1] - arc[0]) / pitch + 1e-9, 1.0)
    pieces = [(0.0, rest)] if rest > 1e-6 else []
    if whole:
        pieces.append((rest, 1.0 - rest) if pieces else (0.0, 1.0))
    least, dense = (ROUGH_NODES, ROUGH_NODES_PER_RAD) if rough else (LEAST_NODES, NODES_PER_RAD)
    counts = tuple(least + ceil(dense * phase_rad * length) for _, length in pieces)
    points = [_element(count)[:2] for count in counts]
    nodes = np.concatenate([s + n * x for (s, n), (x, _) in zip(pieces, points, strict=True)])
    weights = np.concatenate([n * w for (_, n), (_, w) in zip(pieces, points, strict=True)])
    angles = arc[0] + pitch * (nodes[:, None] + np.arange(flutes))
    directions = _directions(angles, angles < arc[1], axes)
    return _Grid(tuple(pieces), counts, nodes, weights, *directions)


def _directions(angles: np.ndarray, inside: np.ndarray, axes: tuple[int, ...]):
    """Chip from displacement, force from what is followed without and with kr; angles ``(nodes, teeth)``."""
    sine, cosine = np.sin(angles) * inside, np.cos(angles) * inside
    chip, tangent = np.stack([sine, cosine]), np.stack([-cosine, sine])
    pick = list(axes)
    if inside.sum(axis=1).max() == 1:
        chip, tangent = (part.sum(axis=-1)[pick].astype(SINGLE) for part in (chip, tangent))
        return chip, tangent[:, None], -chip[:, None]
    pairs = [np.einsum("ant,bnt->abn", force[pick], chip[pick]) for force in (tangent, -chip)]
    return None, *(pair.astype(SINGLE) for pair in pairs)


def _element(count: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Gauss points and weights on 0…1, and the tensor that integrates a kernel up to each of them and to 1.

    The tensor is ``(count + 1, quadrature, count)``: quadrature weight times Lagrange polynomial.
    """
    return _small_element(count) if count <= SMALL_ELEMENT else _large_element(count)


def _new_element(count: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Work out an element, by the barycentric formula (Wang, Xiang, Math. Comp. 81, 2012; from memory)."""
    nodes, gauss = np.polynomial.legendre.leggauss(count)
    points, weights = (nodes + 1) / 2, gauss / 2
    uppers = np.append(points, 1.0)
    apart = (uppers[:, None] * points)[..., None] - points
    there = apart == 0
    signs = (-1.0) ** np.arange(count)
    terms = signs * np.sqrt((1 - nodes**2) * gauss) / np.where(there, 1.0, apart)
    polynomial = terms / terms.sum(axis=-1, keepdims=True)
    polynomial = np.where(there.any(axis=-1, keepdims=True), there, polynomial)
    return points, weights, (uppers[:, None, None] * weights[:, None] * polynomial).astype(SINGLE)


_small_element = lru_cache(maxsize=64)(_new_element)
_large_element = lru_cache(maxsize=4)(_new_element)  # each holds megabytes, and few questions need any


class _Batch:
    """The maps of one tooth period of many cuts on one grid."""

    def __init__(self, systems: Systems, grid: _Grid, period_s: np.ndarray, force: np.ndarray):
        self.systems, self.grid, self.period_s, self.force = systems, grid, period_s, force
        self.used = systems.used_axes
        self.modes_axis = [self.used.index("xy".index(name)) for name in systems.axes]
        self.turned = (systems.poles * period_s[:, None]).astype(PAIR)
        omega = 2 * pi * systems.frequency_hz
        damped = omega * np.sqrt(1 - systems.damping_ratio**2)
        self.gain = (omega**2 / (systems.stiffness_n_per_m * damped)).astype(SINGLE)
        self._kernels()
        self._answer()

    def _kernels(self) -> None:
        """Displacement at the nodes from the modal state and from the force at the nodes."""
        grid, count, axes, total = self.grid, len(self.force), len(self.used), self.grid.nodes.size
        own = self._turned_by(grid.nodes) * self.gain[:, :, None]
        self.start = np.zeros((count, axes, total, 2 * len(self.modes_axis)), SINGLE)
        self.kernel = np.zeros((count, axes, total, total), SINGLE)
        self.end = np.zeros((count, len(self.modes_axis), total), PAIR)
        for mode, axis in enumerate(self.modes_axis):
            self.start[:, axis, :, 2 * mode] = own[:, mode].imag
            self.start[:, axis, :, 2 * mode + 1] = own[:, mode].real
        first = 0
        for (begin, length), nodes in zip(grid.pieces, grid.counts, strict=True):
            self._piece(begin + length, length, slice(first, first + nodes))
            first += nodes

    def _turned_by(self, ages: np.ndarray) -> np.ndarray:
        """How far each mode has turned and died after so many tooth periods, ``(cuts, modes, ages)``."""
        return np.exp(self.turned[:, :, None] * np.asarray(ages, SINGLE))

    def _piece(self, stop: float, length: float, here: slice) -> None:
        """Add what the force of one smooth piece does, within it and after it."""
        within, after = self._inner(length, here.stop - here.start)
        later = slice(here.stop, None)
        carry = self._turned_by(self.grid.nodes[later] - stop)
        for mode, axis in enumerate(self.modes_axis):
            self.kernel[:, axis, here, here] += within[:, mode]
            self.end[:, mode, here] = self._turned_by([1 - stop])[:, mode] * after[:, mode]
            spread = carry[:, mode, :, None] * (self.gain[:, mode, None] * after[:, mode])[:, None, :]
            self.kernel[:, axis, later, here] += spread.imag

    def _inner(self, length: float, count: int) -> tuple[np.ndarray, np.ndarray]:
        """Within a piece what its own force does: displacement at the nodes, modal answer at its end."""
        points, _, tensor = _element(count)
        ages = (length * np.append(points, 1.0)[:, None] * (1 - points)).astype(SINGLE)[:, None, :]
        rate, turn = (part.reshape(1, -1, 1) for part in (self.turned.real, self.turned.imag))
        size, phase = np.exp(ages * rate), ages * turn
        scale = (length * self.period_s)[:, None].astype(SINGLE)
        sine = size * np.sin(phase)
        real = (size[-1] * np.cos(phase[-1])) @ tensor[-1]
        answer = (sine @ tensor).reshape(count + 1, *self.turned.shape, count)
        after = (real.reshape(answer.shape[1:]) + 1j * answer[-1]) * scale[:, :, None]
        within = np.moveaxis(answer[:-1] * (scale * self.gain)[:, :, None], 0, 2)
        return within, after

    def _answer(self) -> None:
        """Force per followed difference from one tooth before, ``(cuts, axes, followed, nodes)``."""
        shape = (-1, 1, 1, 1)
        kr, force = (part.reshape(shape).astype(SINGLE) for part in (self.systems.kr, self.force))
        self.stiffness = force * (self.grid.fixed + kr * self.grid.radial)

    def _followed(self, motion: np.ndarray) -> np.ndarray:
        """What is followed of displacements ``(cuts, axes, nodes, …)``: the chip, or all of them."""
        chip = self.grid.chip
        if chip is None:
            return motion
        wide = (*chip.shape, *(1,) * (motion.ndim - 3))
        return (chip.reshape(wide) * motion).sum(axis=1)

    def transition(self) -> np.ndarray:
        """Map of modal state and followed motion over one tooth period, ``(cuts, states, states)``."""
        count, size, modal = len(self.force), self.grid.unknowns, 2 * len(self.modes_axis)
        start = self._followed(self.start).reshape(count, size, modal)
        force = self._followed(self.kernel[:, :, :, None, :] * self.stiffness[:, :, None])
        one = np.eye(size, dtype=SINGLE)
        solved = np.linalg.inv(one - force.reshape(count, size, size))
        matrix = np.empty((count, modal + size, modal + size), SINGLE)
        matrix[:, modal:, :modal] = solved @ start
        matrix[:, modal:, modal:] = one - solved
        end = self.end[:, :, None, :] * self.stiffness[:, self.modes_axis]
        end = end.reshape(count, -1, size)
        for part, rows in ((end.real, slice(0, modal, 2)), (end.imag, slice(1, modal, 2))):
            matrix[:, rows, :modal] = part @ matrix[:, modal:, :modal]
            matrix[:, rows, modal:] = -part @ solved
        whole = np.exp(self.turned)
        for mode in range(modal // 2):
            real, imaginary = whole[:, mode].real, whole[:, mode].imag
            matrix[:, 2 * mode, 2 * mode] += real
            matrix[:, 2 * mode, 2 * mode + 1] -= imaginary
            matrix[:, 2 * mode + 1, 2 * mode] += imaginary
            matrix[:, 2 * mode + 1, 2 * mode + 1] += real
        return matrix

    def verdict(self, lines: bool) -> tuple[np.ndarray, np.ndarray]:
        """Spectral radius, and where asked for the strongest line, Hz."""
        matrix = power = self.transition()
        for _ in range(SQUARINGS // 2):
            power = power / (np.abs(power).max(axis=(1, 2), keepdims=True) + SINGLE(1e-30))
            power = power @ power
            power = power @ power
        start = np.random.default_rng(0).standard_normal(matrix.shape[-1])
        multiplier, vector = _dominant(matrix.astype(float), power.astype(float) @ start)
        return np.abs(multiplier), self._line(multiplier, vector) if lines else multiplier.real

    def _line(self, multiplier: np.ndarray, vector: np.ndarray) -> np.ndarray:
        """Strongest line of the displacement: the modes' answer to each line of the force."""
        count, axes, followed, total = self.stiffness.shape
        before = vector[:, 2 * len(self.modes_axis) :].reshape(count, 1, followed, total)
        rate = np.log(multiplier)[:, None]
        force = (self.stiffness * before).sum(axis=2)
        force = force * (np.exp(-rate * self.grid.nodes) * self.grid.weights)[:, None]
        highest = ceil(self.turned.imag.max() * 1.5 / (2 * pi)) + 1
        orders = np.arange(-highest, highest + 1)
        waves = np.exp(-2j * pi * np.outer(self.grid.nodes, orders))
        lines = force @ waves
        laplace = (rate + 2j * pi * orders) / self.period_s[:, None]
        power = np.zeros(laplace.shape)
        for axis in range(axes):
            power += np.abs(self._receptance(axis, laplace) * lines[:, axis]) ** 2
        place = np.argmax(power, axis=1)
        return np.abs(laplace[np.arange(count), place].imag) / (2 * pi)

    def _receptance(self, axis: int, laplace: np.ndarray) -> np.ndarray:
        """Displacement over force along one axis at complex frequencies ``(cuts, lines)``."""
        total = np.zeros(laplace.shape, dtype=complex)
        for mode, own in enumerate(self.modes_axis):
            if own == axis:
                omega = 2 * pi * self.systems.frequency_hz[:, mode, None]
                zeta = self.systems.damping_ratio[:, mode, None]
                stiffness = self.systems.stiffness_n_per_m[:, mode, None]
                total += omega**2 / stiffness / (laplace**2 + 2 * zeta * omega * laplace + omega**2)
        return total


def _dominant(matrix: np.ndarray, vector: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Largest multiplier and its vector from a vector in which only it (or its pair) is left."""
    first = (matrix @ vector[..., None])[..., 0]
    first = first / (np.linalg.norm(first, axis=1, keepdims=True) + 1e-300)
    second = (matrix @ first[..., None])[..., 0]
    third = (matrix @ second[..., None])[..., 0]
    pairs = ((first, first), (first, second), (second, second), (first, third), (second, third))
    ff, fs, ss, ft, st = ((a * b).sum(axis=1) for a, b in pairs)
    area = ff * ss - fs**2
    pair = area > 1e-7 * ff * ss
    area = np.where(pair, area, 1.0)
    slope, constant = -(ff * st - fs * ft) / area, -(ft * ss - fs * st) / area
    root = np.sqrt((slope**2 / 4 - constant).astype(complex))
    larger = np.where(slope > 0, -slope / 2 - root, -slope / 2 + root)
    multiplier = np.where(pair, larger, (fs / (ff + 1e-300)).astype(complex))
    multiplier = np.where(multiplier.imag < 0, multiplier.conj(), multiplier)
    other = np.where(pair, -slope - multiplier, 0.0)
    return multiplier, np.where(pair[:, None], second - other[:, None] * first, first.astype(complex))

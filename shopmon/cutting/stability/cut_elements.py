"""The cutting part of one period, divided where a tooth enters or leaves, and what the teeth do within.

Everything here is an angle of rotation and holds for every speed. The unknowns are *chip coordinates* at the
points of each element: with one straight tooth in the cut its chip direction alone, else the displacement
along each axis that has modes.
"""

from dataclasses import dataclass
from itertools import pairwise
from math import ceil, pi

import numpy as np

from shopmon.cutting.geometry import directional_average, directional_matrix, lag_per_mm, tooth_angles
from shopmon.cutting.stability.collocation import interpolation, radau

LONGEST_SWING_RAD = 40.0  # of the fastest mode within one element
LEAST_POINTS, LEAST_POINTS_HELIX, POINTS_PER_RAD = 8, 5, 0.7  # a helix has more and smoother elements
APART_RAD = 1e-7
LOOKS = 90  # angles of a turn at which the stiffening is looked at


@dataclass(frozen=True)
class Element:
    """A stretch of the period in which the same teeth are in the cut.

    Attributes
    ----------
    start, stop
        Rotation from tooth 0 at angle 0, rad.
    points
        Number of collocation points.
    teeth
        Those in the cut.
    """

    start: float
    stop: float
    points: int
    teeth: tuple[int, ...]

    @property
    def angles(self) -> np.ndarray:
        """Rotation at each point, rad."""
        return self.start + (self.stop - self.start) * (radau(self.points)[0] + 1) / 2


@dataclass(frozen=True, eq=False)
class CutPeriod:
    """Cutting of one period in matrices.

    Attributes
    ----------
    period
        Rotation of one period, rad: a pitch, or a turn where pitches differ.
    elements
        In order; between them no tooth is in the cut.
    node, chip
        Point of each unknown, ``(unknowns,)``, and how it follows from the displacements there,
        ``(unknowns, axes)``.
    now, before
        Force on each axis at each point per unknown of this and of the last period, N/m per mm of depth,
        ``(axes, points, unknowns)``; the force is −(now · r − before · r_before).
    """

    period: float
    elements: tuple[Element, ...]
    node: np.ndarray
    chip: np.ndarray
    now: np.ndarray
    before: np.ndarray

    @property
    def angles(self) -> np.ndarray:
        """Rotation at each point, rad, from the start of the first element."""
        return np.concatenate([element.angles for element in self.elements]) - self.elements[0].start


def cut_period(case, ap_mm: float, swing_per_rad: float) -> CutPeriod:
    """Lay the elements out and find the forces at their points.

    Parameters
    ----------
    case
        A `StabilityCase`.
    ap_mm
        Axial depth; it matters only with a helix.
    swing_per_rad
        Swing of the fastest mode, rad, per rad of rotation: sets the number of points.
    """
    lag = lag_per_mm(case.helix_deg, case.diameter_mm) * ap_mm
    period = 2 * pi if case.pitch_deg else 2 * pi / case.flutes
    elements = _elements(case, lag, period, swing_per_rad)
    scale = case.kt_n_per_mm2 * 1e3  # N/m per mm of depth
    if case.pitch_deg:
        return _unequal(case, lag, elements, scale)
    node, chip, force = [], [], []
    first = 0
    for element in elements:
        chips, forces = _unknowns(case, lag, element)
        node += [np.arange(first, first + element.points)] * chips.shape[1]
        chip += list(np.moveaxis(chips, 1, 0))
        force += list(np.moveaxis(forces, 1, 0))
        first += element.points
    node, chip, force = (np.concatenate(part) for part in (node, chip, force))
    now = np.zeros((len(case.axes), first, node.size))
    now[:, node, np.arange(node.size)] = scale * force.T
    return CutPeriod(period, elements, node, chip, now, now)


def _elements(case, lag: float, period: float, swing_per_rad: float) -> tuple[Element, ...]:
    """Divide the period at every entry and exit of a tooth's lower and upper end; leave out free flight."""
    places, arc = tooth_angles(case.flutes, case.pitch_deg), case.entry_exit_rad
    edges = np.array([angle - place + shift for place in places for angle in arc for shift in {0.0, lag}])
    edges = np.unique(np.round(edges % period, 9))
    edges = edges[np.diff(edges, prepend=edges[-1] - period) > APART_RAD]
    found = []
    for start, stop in zip(edges, [*edges[1:], edges[0] + period], strict=True):
        teeth = _engaged(places + (start + stop) / 2, arc, lag)
        if teeth:
            pieces = ceil((stop - start) * swing_per_rad / LONGEST_SWING_RAD)
            bounds = np.linspace(start, stop, pieces + 1)
            least = LEAST_POINTS_HELIX if lag else LEAST_POINTS
            points = least + ceil(POINTS_PER_RAD * (bounds[1] - bounds[0]) * swing_per_rad)
            found += [Element(float(a), float(b), points, teeth) for a, b in pairwise(bounds)]
    return tuple(found)


def _engaged(angles: np.ndarray, arc: tuple[float, float], lag: float) -> tuple[int, ...]:
    """Teeth of which some height is within the arc."""
    low, high = angles - max(lag, 0.0), angles - min(lag, 0.0)
    turns = np.ceil((low - arc[1]) / (2 * pi))  # of the first arc that ends above the low end
    return tuple(np.nonzero(arc[0] + 2 * pi * turns < high)[0].tolist())


def _forces(case, lag: float, angles: np.ndarray) -> np.ndarray:
    """Directional matrix of a tooth at each angle, averaged over its height, ``(points, axes, axes)``."""
    if lag:
        low, high = angles - max(lag, 0.0), angles - min(lag, 0.0)
        matrix = directional_average(low, high, *case.entry_exit_rad, case.kr)
    else:
        matrix = directional_matrix(angles, case.kr)
    return -matrix[np.ix_(range(angles.size), case.axes, case.axes)]


def stiffening(case, ap_mm: np.ndarray) -> np.ndarray:
    """Most that the teeth stiffen any direction within a turn, per coefficient times depth, ``(depths,)``."""
    rotation = np.linspace(0, 2 * pi, LOOKS, endpoint=False)
    angles = (rotation[:, None] + tooth_angles(case.flutes, case.pitch_deg)).ravel()
    axes, most = len(case.axes), []
    for depth in ap_mm:
        # straight teeth as a very small lag, which leaves out those that are not in the cut
        lag = lag_per_mm(case.helix_deg, case.diameter_mm) * depth or 1e-3
        matrix = _forces(case, lag, angles).reshape(LOOKS, case.flutes, axes, axes).sum(axis=1)
        most.append(max(0.0, float(np.linalg.eigvalsh((matrix + np.swapaxes(matrix, 1, 2)) / 2).max())))
    return np.array(most)


def _unknowns(case, lag: float, element: Element) -> tuple[np.ndarray, np.ndarray]:
    """Chip direction of each unknown at each point, and force per unknown; ``(points, unknowns, axes)``."""
    axes = len(case.axes)
    places = tooth_angles(case.flutes, case.pitch_deg)
    if len(element.teeth) == 1 and axes == 2 and not lag:
        angles = element.angles + places[element.teeth[0]]
        chip = np.stack([np.sin(angles), np.cos(angles)], axis=-1)
        matrix = _forces(case, lag, angles)
        return chip[:, None, :], np.einsum("pij,pj->pi", matrix, chip)[:, None, :]
    matrix = sum(_forces(case, lag, element.angles + places[tooth]) for tooth in element.teeth)
    chip = np.broadcast_to(np.eye(axes), (element.points, axes, axes))
    return chip, np.swapaxes(matrix, 1, 2)


def _unequal(case, lag: float, elements: tuple[Element, ...], scale: float) -> CutPeriod:
    """Unequal pitch: the wave a tooth meets was left by the one before it, one pitch of its own earlier."""
    axes = len(case.axes)
    places, count = tooth_angles(case.flutes, case.pitch_deg), sum(element.points for element in elements)
    first = np.cumsum([0] + [element.points for element in elements])
    now, before = (np.zeros((axes, count, axes, count)) for _ in range(2))
    for element, at in zip(elements, first, strict=False):
        for tooth in element.teeth:
            pitch = np.radians(case.pitch_deg[tooth])
            forces = scale * _forces(case, lag, element.angles + places[tooth])
            for point, (angle, force) in enumerate(zip(element.angles, forces, strict=True), at):
                now[:, point, :, point] += force
                source, turns, weights = _meets(elements, angle - pitch)
                target, sign = (before, 1) if turns else (now, -1)
                columns = slice(first[source], first[source + 1])
                target[:, point, :, columns] += sign * force[:, :, None] * weights
    node = np.tile(np.arange(count), axes)
    chip = np.repeat(np.eye(axes), count, axis=0)
    shape = (axes, count, axes * count)
    return CutPeriod(2 * pi, elements, node, chip, now.reshape(shape), before.reshape(shape))


def _meets(elements: tuple[Element, ...], angle: float) -> tuple[int, int, np.ndarray]:
    """Element and period (0 this one, 1 the last) that hold an earlier angle, and weights of its points."""
    turns = 0 if angle >= elements[0].start - APART_RAD else 1
    angle += 2 * pi * turns
    gaps = [max(element.start - angle, angle - element.stop) for element in elements]
    source = int(np.argmin(gaps))
    element = elements[source]
    local = 2 * (angle - element.start) / (element.stop - element.start) - 1
    return source, turns, interpolation(radau(element.points)[0], np.array([local]))[0]

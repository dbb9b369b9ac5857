"""How probably a cut that rings would be quiet at other speeds, when only its line was heard."""

from dataclasses import dataclass, replace

import numpy as np

from shopmon.cutting.advising.plausible import Kind, Plausible, plausible_systems
from shopmon.cutting.geometry import entry_exit
from shopmon.cutting.stability.many_cuts import FEW_STEP_RAD, spectral_radius

# how a machine may give way and how many systems of each kind are drawn. Most end mills are round, so what
# gives way in x does nearly so in y: drawn as often as modes with nothing in common, they were missed (our
# own judgement, no source)
KINDS = (
    (Kind(axes="xy", spread=0.06), 40),
    (Kind(axes="xy", spread=0.15), 40),
    (Kind(axes="xyxy", spread=0.06), 40),
    (Kind(axes="xyxy", spread=0.15), 20),
    (Kind(axes="xy"), 10),
    (Kind(axes="yx"), 10),
    (Kind(axes="x"), 20),
    (Kind(axes="y"), 20),
)
PER_LOBE, LEAST_SPEEDS, MOST_SPEEDS = 10, 14, 40  # at which every system is asked
BETWEEN = 4  # speeds told for each asked: what a system says varies smoothly between
MOST_LOBES, LEAST_LOBES = 6.0, 3.0  # how far down to look: waves between teeth, and lobes at least
EASY_WAVES, EASY_IN_CUT = 3.0, 6.0  # between teeth, and felt in the cut; beyond each system takes longer
QUICK_IN_CUT = 2.0  # below it takes so little that twice as many are drawn
LEAST_EFFORT = 0.05  # share of the systems that are drawn however long each takes
LESS_DEPTH = np.array([1.0, 0.7, 0.5, 0.35, 0.25])  # share of the depth, tried at the present speed
SPEED_SPREAD = 0.02  # no spindle holds its speed to the point, and the middle of a quiet band is safer
MORE_DRAWN = 3  # where an earlier line will leave few of them
SECOND_LINE, SECOND_STRAY = 0.01, 0.03  # spread of an earlier line, and what is left where it fits nothing
LOCATED = (0.1, 0.5, 0.9)
MARGIN = 0.02  # of the growth per tooth within which quiet and chatter blend
# what is cut when nobody says: milling, ae over diameter, share; our own judgement, no source
USUAL_CUTS = (
    ("climb", 0.08, 0.25),
    ("climb", 0.4, 0.35),
    ("conventional", 0.25, 0.15),
    ("slot", 1.0, 0.25),
)
USUAL_WIDTHS = ((0.06, 0.3), (0.2, 0.3), (0.5, 0.4))


@dataclass(frozen=True, kw_only=True)
class EarlierLine:
    """Another chatter line of the same tool, at another speed.

    Attributes
    ----------
    frequency_hz, rpm
        The line, and the true speed.
    depth_ratio
        Axial depth there over the depth now.
    arc_rad
        Of the cut there; None where it is as now.
    """

    frequency_hz: float
    rpm: float
    depth_ratio: float = 1.0
    arc_rad: tuple[float, float] | None = None


@dataclass(frozen=True, eq=False)
class QuietSpeeds:
    """Speeds with the probability that the cut is quiet there.

    Attributes
    ----------
    rpm
        Ascending, ``(speeds,)``.
    probability
        ``(speeds,)``.
    at_less_depth
        Probability that the cut is quiet at the present speed with the shares `LESS_DEPTH` of its depth.
    mode_hz
        Natural frequency of the mode that rings: the 10th, 50th and 90th of a hundred systems.
    """

    rpm: np.ndarray
    probability: np.ndarray
    at_less_depth: np.ndarray
    mode_hz: tuple[float, float, float]


def usual_arcs(
    milling: str | None, ae_mm: float | None, diameter_mm: float | None
) -> tuple[tuple[tuple[float, float], float], ...]:
    """Arcs the cut may have with what each counts, fewer the more is known."""
    width = None if ae_mm is None or diameter_mm is None else ae_mm / diameter_mm
    if milling == "slot" or (width is not None and width > 0.999):
        return ((entry_exit("slot", 1.0, 1.0), 1.0),)
    if milling is not None:
        widths = USUAL_WIDTHS if width is None else ((width, 1.0),)
        return tuple((entry_exit(milling, share, 1.0), count) for share, count in widths)
    if width is not None:
        kinds = (("climb", 0.75), ("conventional", 0.25))
        return tuple((entry_exit(kind, width, 1.0), count) for kind, count in kinds)
    return tuple((entry_exit(kind, share, 1.0), count) for kind, share, count in USUAL_CUTS)


def candidate_speeds(frequency_hz: float, flutes: int, low_rpm: float, high_rpm: float) -> np.ndarray:
    """Speeds to ask about, evenly spaced in waves per tooth, so that each lobe gets its share."""
    first, last = 60 * frequency_hz / flutes / np.array([high_rpm, low_rpm])
    last = min(last, max(MOST_LOBES, first + LEAST_LOBES))
    count = int(np.clip((last - first) * PER_LOBE, LEAST_SPEEDS, MOST_SPEEDS))
    return 60 * frequency_hz / flutes / np.linspace(last, first, count)


def quiet_speeds(
    frequency_hz: float,
    rpm: float,
    flutes: int,
    arcs: tuple[tuple[tuple[float, float], float], ...],
    speeds_rpm: np.ndarray,
    earlier: tuple[EarlierLine, ...] = (),
) -> QuietSpeeds:
    """Weigh every plausible system's verdict over a range of speeds, at the depth and width that rang.

    Parameters
    ----------
    frequency_hz, rpm, flutes
        What was heard.
    arcs
        From `usual_arcs`.
    speeds_rpm
        To ask about, ascending; the answer tells of speeds between them too.
    earlier
        Lines of the same tool at other speeds: of the systems that ring as was heard now, those count that
        would have rung so there.
    """
    total, less, weights, modes = 0.0, 0.0, 0.0, []
    told_rpm, between = _between(speeds_rpm)
    for arc, share in arcs:
        effort = _effort(60 * frequency_hz / (flutes * rpm), flutes, arc)
        for kind, count in KINDS:
            number = max(1, round(count * share * effort)) * (MORE_DRAWN if earlier else 1)
            found = plausible_systems(frequency_hz, rpm, flutes, arc, kind, number)
            found = replace(found, weight=found.weight * count * share / number)
            found = _heard_before(found, flutes, earlier)
            modes.append(_ringing_modes(found, frequency_hz))
            quiet, weight = _quiet(found, flutes, speeds_rpm, between)
            total = total + quiet
            less = less + _quiet_at_less_depth(found, flutes, rpm)
            weights += weight
    near = np.exp(-0.5 * (np.log(told_rpm / told_rpm[:, None]) / SPEED_SPREAD) ** 2)
    weights = max(weights, 1e-9)
    probability = near @ (total / weights) / near.sum(axis=1)
    return QuietSpeeds(told_rpm, probability, less / weights, _located(modes, frequency_hz))


def _between(speeds_rpm: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """More speeds between those asked about, and how much of each asked one they take, ``(asked, told)``."""
    asked = 1 / speeds_rpm
    places = np.linspace(0, len(asked) - 1, BETWEEN * (len(asked) - 1) + 1)
    shares = np.maximum(0.0, 1 - np.abs(places - np.arange(len(asked))[:, None]))
    return 1 / (asked @ shares), shares


def _effort(waves: float, flutes: int, arc_rad: tuple[float, float]) -> float:
    """Share of the systems to draw, so that no question takes long."""
    teeth = (arc_rad[1] - arc_rad[0]) * flutes / (2 * np.pi)
    in_cut = waves * (teeth if teeth <= 1 else 2)  # with two teeth at work x and y are followed apart
    effort = min(1.0, EASY_WAVES / waves) * min(1.0, EASY_IN_CUT / in_cut) ** 2
    return max(LEAST_EFFORT, effort * (2.0 if in_cut < QUICK_IN_CUT else 1.0))


def _heard_before(found: Plausible, flutes: int, earlier: tuple[EarlierLine, ...]) -> Plausible:
    """Weigh systems by what they would have sounded like at the speeds of earlier lines."""
    weight = found.weight
    for line in earlier:
        if not len(weight):
            break
        force = found.force_n_per_m * line.depth_ratio
        arc = line.arc_rad or found.arc_rad
        there = spectral_radius(found.systems, arc, flutes, line.rpm, force, lines=True)
        off = np.log(np.maximum(there.line_hz, 1e-3) / line.frequency_hz) / SECOND_LINE
        rings = 0.5 + 0.5 * np.tanh(np.log(np.maximum(there.radius, 1e-9)) / MARGIN / 2)
        weight = weight * (SECOND_STRAY + (1 - SECOND_STRAY) * rings * np.exp(-0.5 * off**2))
    return replace(found, weight=weight)


def _ringing_modes(found: Plausible, frequency_hz: float) -> tuple[np.ndarray, np.ndarray]:
    """Natural frequency nearest to the line in each system, and what each counts."""
    hz = found.systems.frequency_hz
    nearest = np.argmin(np.abs(np.log(hz / frequency_hz)), axis=1)
    return np.take_along_axis(hz, nearest[:, None], axis=1)[:, 0], found.weight


def _located(modes: list[tuple[np.ndarray, np.ndarray]], line_hz: float) -> tuple[float, float, float]:
    """Weighted quantiles of the natural frequencies; the line itself where nothing fits."""
    hz, weight = (np.concatenate(part) for part in zip(*modes, strict=True))
    if weight.sum() <= 0:
        return (line_hz,) * 3
    order = np.argsort(hz)
    share = (np.cumsum(weight[order]) - 0.5 * weight[order]) / weight.sum()
    return tuple(float(value) for value in np.interp(LOCATED, share, hz[order]))


def _quiet(found: Plausible, flutes: int, speeds_rpm, between) -> tuple[np.ndarray, float]:
    """Weighted share of quiet systems at each speed told, and their weight."""
    count = len(found.weight)
    many = found.systems.pick(np.repeat(np.arange(count), len(speeds_rpm)))
    force = np.repeat(found.force_n_per_m, len(speeds_rpm))
    speeds = np.tile(speeds_rpm, count)
    radius = spectral_radius(
        many, found.arc_rad, flutes, speeds, force, rough=True, step_rad=FEW_STEP_RAD
    ).radius
    growth = np.log(np.maximum(radius, 1e-9)).reshape(count, len(speeds_rpm)) @ between / MARGIN
    return found.weight @ (0.5 - 0.5 * np.tanh(growth / 2)), float(found.weight.sum())


def _quiet_at_less_depth(found: Plausible, flutes: int, rpm: float) -> np.ndarray:
    """Weighted share of the systems that are quiet at the present speed and each of `LESS_DEPTH`."""
    count, tried = len(found.weight), LESS_DEPTH[1:]
    many = found.systems.pick(np.repeat(np.arange(count), len(tried)))
    force = np.repeat(found.force_n_per_m, len(tried)) * np.tile(tried, count)
    cut = (many, found.arc_rad, flutes, rpm, force)
    radius = spectral_radius(*cut, rough=True, step_rad=FEW_STEP_RAD).radius
    return np.append(0.0, found.weight @ (radius.reshape(count, len(tried)) < 1))

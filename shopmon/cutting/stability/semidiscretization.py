"""Stability of a milling cut by first-order semi-discretization of its delay equation.

After Insperger and Stépán, Int. J. Numer. Meth. Eng. 61 (2004) 117–141: within each step the periodic
coefficients take their average, the delayed motion runs linearly, and the rest is solved exactly; the product
of the steps over one period maps a state (motion now and its past) to the next, and its multipliers decide.
Several modes in x and y, helix and unequal pitch (period of a turn, one delay per distinct pitch) are
included; runout, edge forces and teeth that leave the cut are not, being no part of the linear equation.
"""

from dataclasses import dataclass
from math import ceil, pi

import numpy as np
from scipy.linalg import expm

from shopmon.cutting.geometry import directional_average, entry_exit, lag_per_mm, tooth_angles
from shopmon.cutting.nouns import (
    MOST_AP_MM,
    MOST_RPM,
    MillingKind,
    Mode,
    require,
    require_pitch,
    require_positive,
)

STEP_RAD = 0.07  # fastest natural frequency times step: radius within about 0.05 %
LEAST_STEPS = 40
MOST_STATES = 2400
DENSE_STATES = 160
SLICE_LAG_RAD, LEAST_SLICES = 0.05, 12
MOST_STEP_RAD = 5.0
TOO_WILD = "A cut that deep on modes that soft grows beyond all numbers."
TOO_WILD_HINT = "Check the depth, and that the stiffness is in N/m."


@dataclass(frozen=True, kw_only=True)
class CutCase:
    """A milling cut as far as linear stability knows it, but for what vibrates.

    Attributes
    ----------
    flutes, diameter_mm, helix_deg, pitch_deg
        Of the tool; the diameter matters only with `ae_mm` and helix.
    kt_n_per_mm2, kr
        Tangential coefficient and the ratio of radial to tangential.
    milling, ae_mm
        Arc of the cut; `ae_mm` is ignored for a slot.
    """

    flutes: int
    diameter_mm: float
    kt_n_per_mm2: float
    kr: float
    milling: MillingKind
    ae_mm: float = 0.0
    helix_deg: float = 0.0
    pitch_deg: tuple[float, ...] | None = None

    def __post_init__(self):
        require_positive("diameter_mm", self.diameter_mm)
        require_positive("kt_n_per_mm2", self.kt_n_per_mm2)
        require(np.isfinite(self.kr), f"kr must be a number, not {self.kr!r}.")
        tooth_angles(self.flutes)
        require_pitch(self.flutes, self.pitch_deg)
        lag_per_mm(self.helix_deg, self.diameter_mm)
        _ = self.entry_exit_rad

    @property
    def entry_exit_rad(self) -> tuple[float, float]:
        """Arc of the cut, rad."""
        return entry_exit(self.milling, self.ae_mm, self.diameter_mm)


@dataclass(frozen=True, kw_only=True)
class StabilityCase(CutCase):
    """A milling cut and the modes of the tool tip.

    Attributes
    ----------
    modes
        Of the tool tip, in x and y.
    """

    modes: tuple[Mode, ...]

    def __post_init__(self):
        require(
            len(self.modes) > 0, "Stability needs at least one mode.", "Give a mode for x, for y or for both."
        )
        super().__post_init__()

    @property
    def axes(self) -> tuple[int, ...]:
        """Indexes of the axes that have modes: 0 for x, 1 for y."""
        return tuple(
            index for index, axis in enumerate("xy") if any(mode.axis == axis for mode in self.modes)
        )


@dataclass(frozen=True, kw_only=True)
class Stability:
    """Verdict at one speed and depth.

    Attributes
    ----------
    rpm, ap_mm
        The point.
    spectral_radius
        Growth of a disturbance over one period; above 1 it chatters.
    period_s
        Of the equation: between teeth for equal pitch, else a turn.
    multiplier
        The largest one.
    kind
        ``"quasi-periodic"``, ``"period-doubling"``, ``"period-one"`` (a real multiplier above 1), or None
        where quiet.
    base_hz
        arg(multiplier) / (2π period); all lines lie at ± this + k / period.
    line_hz
        The strongest of them in the displacement, whether it grows or decays.
    steps
        Steps per period that were used.
    """

    rpm: float
    ap_mm: float
    spectral_radius: float
    period_s: float
    multiplier: complex
    kind: str | None
    base_hz: float
    line_hz: float
    steps: int

    @property
    def chatters(self) -> bool:
        """Whether the cut is unstable."""
        return self.spectral_radius > 1

    @property
    def chatter_hz(self) -> float | None:
        """Strongest chatter line, None where quiet."""
        return self.line_hz if self.chatters else None


@dataclass(frozen=True)
class _Grid:
    """Steps of one period and the delays counted in steps."""

    period_s: float
    steps: int
    delays: tuple[int, ...]  # of each tooth


def stability(case: StabilityCase, rpm: float, ap_mm: float, *, step_rad: float = STEP_RAD) -> Stability:
    """Decide whether a cut chatters.

    Parameters
    ----------
    case
        Tool, material and arc.
    rpm, ap_mm
        Spindle speed and axial depth.
    step_rad
        Fastest natural frequency (rad/s) times step; smaller is more exact and slower.

    Raises
    ------
    SettingError
        Where speed or depth are not above 0 or beyond all machining, or a mode is too fast for the speed.
    """
    for name, value, most in (("rpm", rpm, MOST_RPM), ("ap_mm", ap_mm, MOST_AP_MM)):
        require_positive(name, value)
        require(value <= most, f"{name} must be up to {most:g}, not {value:g}.")
    grid = _grid(case, rpm, step_rad)
    fastest = max(mode.frequency_hz for mode in case.modes)
    require(
        2 * pi * fastest * grid.period_s / grid.steps < MOST_STEP_RAD,
        f"A mode of {fastest:g} Hz swings too often in one period at {rpm:g} rpm to be followed.",
        "Lobes are of no use there; leave the mode out.",
    )
    with np.errstate(over="ignore", invalid="ignore"):  # asked about right after
        steps = _Steps(case, grid, ap_mm)
        transition = steps.transition()
    require(bool(np.all(np.isfinite(transition))), TOO_WILD, TOO_WILD_HINT)
    multiplier, vector = _dominant(transition)
    base, line = _lines(steps, multiplier, vector)
    radius = float(abs(multiplier))
    return Stability(
        rpm=rpm,
        ap_mm=ap_mm,
        spectral_radius=radius,
        period_s=grid.period_s,
        multiplier=complex(multiplier),
        kind=_kind(multiplier) if radius > 1 else None,
        base_hz=base,
        line_hz=line,
        steps=grid.steps,
    )


def _grid(case: StabilityCase, rpm: float, step_rad: float) -> _Grid:
    """Choose steps from the fastest mode, such that unequal pitches fall near whole steps."""
    turn = 60 / rpm
    fastest = max(mode.angular_frequency for mode in case.modes)
    axes = len(case.axes)
    if case.pitch_deg is None:
        wanted = max(LEAST_STEPS, ceil(fastest * turn / case.flutes / step_rad))
        steps = min(wanted, MOST_STATES // axes)
        return _Grid(turn / case.flutes, steps, (steps,) * case.flutes)
    pitch = np.array(case.pitch_deg) / 360
    most = int(MOST_STATES / axes / pitch.max())
    wanted = min(max(LEAST_STEPS * case.flutes, ceil(fastest * turn / step_rad)), most)
    counts = np.arange(wanted, wanted + wanted // 3 + 2)
    misfit = [np.abs(pitch * count - np.rint(pitch * count)).max() / count for count in counts]
    steps = int(counts[int(np.argmin(misfit))])
    return _Grid(turn, steps, tuple(round(float(share) * steps) for share in pitch))


class _Steps:
    """The discrete steps of one period, applied to any number of columns at once."""

    def __init__(self, case: StabilityCase, grid: _Grid, ap_mm: float):
        self.grid, self.past = grid, max(grid.delays)
        self.axes = case.axes
        system, force_in, self.shape_out = _modal_matrices(case)
        groups = _coefficients(case, grid, ap_mm)
        total = sum(groups.values())
        own, held, slope = _exact_steps(system, force_in, self.shape_out, total, grid.period_s / grid.steps)
        self.own = own
        self.before = {delay: (slope - held) @ values for delay, values in groups.items()}
        self.after = {delay: -slope @ values for delay, values in groups.items()}
        self.modal = system.shape[0]

    def run(self, modal: np.ndarray, past: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Go through one period.

        Parameters
        ----------
        modal
            Modal state now, ``(states, columns)``.
        past
            Displacements of the steps before, oldest first, ``(past, axes, columns)``.

        Returns
        -------
        modal, track
            The state at the end, and all displacements ``(past + steps + 1, axes, columns)``.
        """
        track = np.empty((self.past + self.grid.steps + 1, *past.shape[1:]), dtype=past.dtype)
        track[: self.past] = past
        track[self.past] = self.shape_out @ modal
        for step in range(self.grid.steps):
            modal = self.own[step] @ modal
            for delay, before in self.before.items():
                place = self.past + step - delay
                modal += before[step] @ track[place] + self.after[delay][step] @ track[place + 1]
            track[self.past + step + 1] = self.shape_out @ modal
        return modal, track

    def transition(self) -> np.ndarray:
        """Matrix that maps the state over one period, ``(states, states)``."""
        axes = len(self.axes)
        size = self.modal + axes * self.past
        start = np.eye(size)
        modal, track = self.run(start[: self.modal], start[self.modal :].reshape(self.past, axes, size))
        return np.concatenate([modal, track[self.grid.steps : self.grid.steps + self.past].reshape(-1, size)])

    def motion(self, vector: np.ndarray) -> np.ndarray:
        """Displacements over the period that starts from a state, ``(steps, axes)``."""
        past = vector[self.modal :].reshape(self.past, len(self.axes), 1)
        _, track = self.run(vector[: self.modal, None], past)
        return track[self.past : -1, :, 0]


def _modal_matrices(case: StabilityCase) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """State matrix, force input and displacement output of the modes; displacements before velocities."""
    count, axes = len(case.modes), case.axes
    system = np.zeros((2 * count, 2 * count))
    force_in, shape_out = np.zeros((2 * count, len(axes))), np.zeros((len(axes), 2 * count))
    system[:count, count:] = np.eye(count)
    for index, mode in enumerate(case.modes):
        axis = axes.index("xy".index(mode.axis))
        system[count + index, index] = -(mode.angular_frequency**2)
        system[count + index, count + index] = -2 * mode.damping_ratio * mode.angular_frequency
        force_in[count + index, axis] = 1 / mode.modal_mass_kg
        shape_out[axis, index] = 1
    return system, force_in, shape_out


def _coefficients(case: StabilityCase, grid: _Grid, ap_mm: float) -> dict[int, np.ndarray]:
    """Force per displacement (N/m) of each step for each distinct delay, ``(steps, axes, axes)``."""
    per_step = 2 * pi * grid.period_s / grid.steps * _turns_per_second(case, grid)
    lag = abs(lag_per_mm(case.helix_deg, case.diameter_mm)) * ap_mm
    slices = max(LEAST_SLICES, ceil(lag / SLICE_LAG_RAD)) if case.helix_deg else 1
    heights = (np.arange(slices) + 0.5) / slices * ap_mm
    lags = heights * lag_per_mm(case.helix_deg, case.diameter_mm)
    groups: dict[int, np.ndarray] = {}
    pick = np.ix_(range(grid.steps), case.axes, case.axes)
    scale = case.kt_n_per_mm2 * 1e6 * ap_mm * 1e-3 / slices
    for place, delay in zip(tooth_angles(case.flutes, case.pitch_deg), grid.delays, strict=True):
        for lag in lags:
            start = (place - lag + per_step * np.arange(grid.steps)) % (2 * pi)
            average = directional_average(start, start + per_step, *case.entry_exit_rad, case.kr)
            groups[delay] = groups.get(delay, 0.0) + scale * average[pick]
    return groups


def _turns_per_second(case: StabilityCase, grid: _Grid) -> float:
    return 1 / (grid.period_s * (case.flutes if case.pitch_deg is None else 1))


def _exact_steps(system, force_in, shape_out, coefficients, step_s):
    """Solve each step exactly: own motion, and the answer to a held and to a linearly rising force.

    One exponential of the system bordered by the force and its slope gives all three (Van Loan's device).
    """
    states, axes = force_in.shape
    values, where = np.unique(coefficients, axis=0, return_inverse=True)
    bordered = np.zeros((len(values), states + 2 * axes, states + 2 * axes))
    bordered[:, :states, :states] = (system + force_in @ values @ shape_out) * step_s
    bordered[:, :states, states : states + axes] = force_in * step_s
    bordered[:, states : states + axes, states + axes :] = np.eye(axes)
    solved = expm(bordered)[where.ravel()]
    return (
        solved[:, :states, :states],
        solved[:, :states, states : states + axes],
        solved[:, :states, states + axes :],
    )


def _dominant(transition: np.ndarray) -> tuple[complex, np.ndarray]:
    """Largest multiplier and its vector; the iterative solver is used where the matrix is large."""
    values, vectors = (
        _iterated(transition) if transition.shape[0] > DENSE_STATES else np.linalg.eig(transition)
    )
    top = int(np.argmax(np.abs(values)))
    return values[top], vectors[:, top].astype(complex)


def _iterated(transition: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Two largest multipliers; a nearly dead cut, whose multipliers crowd around 0, is only told roughly."""
    from scipy.sparse.linalg import ArpackNoConvergence, eigs

    start = np.random.default_rng(0).standard_normal(transition.shape[0])
    for basis, tolerance in ((60, 1e-6), (120, 1e-3)):
        try:
            return eigs(transition, k=2, ncv=basis, tol=tolerance, v0=start, maxiter=100)
        except ArpackNoConvergence:
            continue
    return np.linalg.eig(transition)


def _kind(multiplier: complex) -> str:
    """Name how stability is lost, from where the multiplier leaves the unit circle."""
    if abs(multiplier.imag) > 1e-5 * abs(multiplier):
        return "quasi-periodic"
    return "period-doubling" if multiplier.real < 0 else "period-one"


def _lines(steps: _Steps, multiplier: complex, vector: np.ndarray) -> tuple[float, float]:
    """Base frequency and the strongest line of the growing motion, Hz."""
    count, period = steps.grid.steps, steps.grid.period_s
    base = float(np.angle(multiplier)) / (2 * pi * period)
    growth = np.log(complex(multiplier) or 1e-300)
    shape = steps.motion(vector) * np.exp(-growth * np.arange(count) / count)[:, None]
    power = (np.abs(np.fft.fft(shape, axis=0)) ** 2).sum(axis=1)
    order = np.fft.fftfreq(count, 1 / count)
    return abs(base), float(abs(base + order[int(np.argmax(power))] / period))

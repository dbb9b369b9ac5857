"""Stability of a milling cut over many speeds and depths at once.

Semi-discretization carried to high order: where a tooth is in the cut, the delayed motion is the polynomial
through its values at collocation points instead of a line between steps, and free flight is solved exactly
(the idea of temporal finite elements: Bayly, Halley, Mann, Davies, J. Manuf. Sci. Eng. 125, 2003, 220). What
maps one period to the next is then a matrix of some tens of rows, and its largest multiplier is found by
squaring it and iterating a small subspace. `semidiscretization.stability` solves the same equation in plain
steps and is the check on this.
"""

from dataclasses import dataclass
from math import pi

import numpy as np

from shopmon.cutting.nouns import MOST_AP_MM, MOST_RPM, require
from shopmon.cutting.simulation.modal_steps import eigenvalues
from shopmon.cutting.stability.collocation import answer
from shopmon.cutting.stability.cut_elements import CutPeriod, cut_period, stiffening
from shopmon.cutting.stability.semidiscretization import TOO_WILD, TOO_WILD_HINT, StabilityCase

SPEED_GROUP = 1.15  # speeds within this ratio share their points
BATCH_NUMBERS = 400_000  # of one stack of matrices: what a processor's cache holds
SQUARINGS, SUBSPACE = 5, 8
MOST_SPEEDS = 32  # of one group
MOST_SWING_RAD = 600.0
REAL_SHARE, ROUNDING = 1e-5, 1e-10


@dataclass(frozen=True, kw_only=True, eq=False)
class StabilityMap:
    """Largest multipliers over speeds and depths.

    Attributes
    ----------
    rpm
        Spindle speeds, shape ``(speeds,)``.
    ap_mm
        Axial depths of each speed, shape ``(speeds, depths)``.
    period_s
        Period of the equation at each speed, ``(speeds,)``: between teeth, or a turn where pitches differ.
    multiplier
        Complex, shape ``(speeds, depths)``.
    line_hz
        Strongest line of the growing motion where it chatters, NaN where it does not or was not asked for.
    """

    rpm: np.ndarray
    ap_mm: np.ndarray
    period_s: np.ndarray
    multiplier: np.ndarray
    line_hz: np.ndarray

    @property
    def spectral_radius(self) -> np.ndarray:
        """Growth of a disturbance over one period; above 1 it chatters."""
        return np.abs(self.multiplier)

    @property
    def chatters(self) -> np.ndarray:
        """Where the cut is unstable."""
        return self.spectral_radius > 1

    @property
    def period_doubling(self) -> np.ndarray:
        """Where it chatters through a real multiplier below −1."""
        real = np.abs(self.multiplier.imag) <= REAL_SHARE * self.spectral_radius
        return self.chatters & real & (self.multiplier.real < 0)

    @property
    def base_hz(self) -> np.ndarray:
        """arg(multiplier) / (2π period): all chatter lines lie at ± this + k / period."""
        return np.abs(np.angle(self.multiplier)) / (2 * pi * self.period_s[:, None])


def stability_map(case: StabilityCase, rpm, ap_mm, *, lines: bool = False) -> StabilityMap:
    """Find the largest multiplier at every speed and depth.

    Parameters
    ----------
    case
        Tool, material and arc.
    rpm
        Spindle speeds, shape ``(speeds,)``.
    ap_mm
        Axial depths, shape ``(depths,)`` for every speed, or ``(speeds, depths)``.
    lines
        Whether to find the strongest chatter line too.

    Raises
    ------
    SettingError
        Where a speed or depth is not above 0, or a mode swings too often in one period to be followed.
    """
    rpm, ap_mm = _checked(rpm, ap_mm)
    result = StabilityMap(
        rpm=rpm,
        ap_mm=ap_mm,
        period_s=60 / rpm / (1 if case.pitch_deg else case.flutes),
        multiplier=np.zeros(ap_mm.shape, dtype=complex),
        line_hz=np.full(ap_mm.shape, np.nan),
    )
    for speeds in _groups(rpm):
        for depths, period in _layouts(case, rpm[speeds], ap_mm[speeds]):
            _fill(case, period, result, speeds, depths, lines)
    return result


def _checked(rpm, ap_mm) -> tuple[np.ndarray, np.ndarray]:
    rpm, ap_mm = np.atleast_1d(np.asarray(rpm, dtype=float)), np.atleast_1d(np.asarray(ap_mm, dtype=float))
    for name, values, most in (("rpm", rpm, MOST_RPM), ("ap_mm", ap_mm, MOST_AP_MM)):
        good = np.isfinite(values) & (values > 0) & (values <= most)
        require(bool(np.all(good)), f"{name} must hold numbers above 0, up to {most:g}, and no others.")
    fits = rpm.ndim == 1 and ap_mm.ndim <= 2 and (ap_mm.ndim == 1 or len(ap_mm) == rpm.size)
    require(fits, f"ap_mm of shape {ap_mm.shape} does not fit rpm of shape {rpm.shape}.")
    return rpm, np.broadcast_to(ap_mm, (rpm.size, ap_mm.shape[-1])).copy()


def _groups(rpm: np.ndarray) -> list[np.ndarray]:
    """Indexes of speeds near enough to share their points."""
    if not rpm.size:
        return []
    bucket = np.floor(np.log(rpm / rpm.min()) / np.log(SPEED_GROUP) + 1e-9)
    groups = [np.nonzero(bucket == value)[0] for value in np.unique(bucket)]
    return [part for group in groups for part in np.array_split(group, -(-group.size // MOST_SPEEDS))]


def _layouts(case: StabilityCase, rpm: np.ndarray, ap_mm: np.ndarray):
    """Points that share a period in matrices, and that period; with a helix every depth has its own."""
    swing = _fastest(case, ap_mm) / (2 * pi * rpm.min() / 60)
    arc = case.entry_exit_rad
    cutting = min((arc[1] - arc[0]) * case.flutes, 2 * pi) / (1 if case.pitch_deg else case.flutes)
    require(
        cutting * swing.min() < MOST_SWING_RAD,
        f"A mode of {max(mode.frequency_hz for mode in case.modes):g} Hz swings too often in one period at "
        f"{rpm.min():g} rpm to be followed.",
        "Lobes are of no use there; ask for higher speeds, or leave the mode out.",
    )
    swing = np.minimum(swing, MOST_SWING_RAD / cutting)
    like = ap_mm if case.helix_deg else np.ceil(np.log(swing / swing.min()) / np.log(SPEED_GROUP))
    for value in np.unique(like):
        some = like == value
        yield some, cut_period(case, float(value) if case.helix_deg else 0.0, float(swing[some].max()))


def _fastest(case: StabilityCase, ap_mm: np.ndarray) -> np.ndarray:
    """Fastest swing at each depth, rad/s: a deep cut stiffens a mode by more than its own stiffness."""
    depths, where = np.unique(ap_mm, return_inverse=True)
    most = stiffening(case, depths if case.helix_deg else np.zeros(1))
    cut = (case.kt_n_per_mm2 * 1e3 * most * depths)[where].reshape(ap_mm.shape)
    squares = [mode.angular_frequency**2 * (1 + cut / mode.stiffness_n_per_m) for mode in case.modes]
    return np.sqrt(np.max(squares, axis=0))


def _fill(case, period: CutPeriod, result: StabilityMap, speeds, wanted: np.ndarray, lines: bool) -> None:
    """Solve one layout for a group of speeds and put the multipliers into the result."""
    if not period.elements:
        return
    motion = _Motion(case, period, result.rpm[speeds])
    at, column = np.nonzero(wanted)
    per_batch = max(1, BATCH_NUMBERS // motion.size**2)
    for start in range(0, at.size, per_batch):
        here, there = at[start : start + per_batch], column[start : start + per_batch]
        ap_mm = result.ap_mm[speeds[here], there]
        transition = motion.transition(here, ap_mm)
        require(bool(np.all(np.isfinite(transition))), TOO_WILD, TOO_WILD_HINT)
        multiplier, vector = _dominant(transition)
        result.multiplier[speeds[here], there] = multiplier
        grows = np.abs(multiplier) > 1
        if lines and grows.any():
            found = motion.strongest_line_hz(here[grows], multiplier[grows], vector[grows])
            result.line_hz[speeds[here[grows]], there[grows]] = found


class _Motion:
    """Modes driven by the cut at some speeds: all that the transition over a period is made of.

    Modal states are complex, z' = pole · z + force / (m ω_d), displacement the imaginary part; as real
    columns they stand as all real parts, then all imaginary ones.
    """

    def __init__(self, case: StabilityCase, period: CutPeriod, rpm: np.ndarray):
        turn_rate = 2 * pi * rpm / 60
        self.case, self.period = case, period
        self.pole = eigenvalues(case.modes)
        self.gain = 1 / (np.array([mode.modal_mass_kg for mode in case.modes]) * self.pole.imag)
        self.axis = np.array([case.axes.index("xy".index(mode.axis)) for mode in case.modes])
        self.felt = period.chip[:, self.axis]  # of each mode by each unknown
        self.period_s = period.period / turn_rate
        self.time_s = period.angles / turn_rate[:, None]
        self.own = _rotation(np.exp(self.pole * self.period_s[:, None]))
        swing = np.exp(self.pole * self.time_s[..., None])[:, period.node]
        self.free = np.concatenate([self.felt * swing.imag, self.felt * swing.real], axis=-1)
        kernels = self._kernels(turn_rate)
        self.now, self.end_now = self._driven(*kernels, period.now)
        shared = period.before is period.now
        self.before, self.end_before = (
            (self.now, self.end_now) if shared else self._driven(*kernels, period.before)
        )

    def _driven(self, to_point, to_end, forces) -> tuple[np.ndarray, np.ndarray]:
        """Effect of the unknowns, per mm of depth, on the unknowns and on the modal states at the end."""
        unknowns, ends = 0.0, []
        for mode, (axis, gain) in enumerate(zip(self.axis, self.gain, strict=True)):
            force = gain * forces[axis]
            unknowns = unknowns + (
                self.felt[:, mode, None] * to_point[mode].imag[:, self.period.node] @ force
            )
            ends.append(to_end[mode] @ force)
        whole = np.stack(ends, axis=1)
        return unknowns, np.concatenate([whole.real, whole.imag], axis=1)

    @property
    def size(self) -> int:
        """Rows of the transition."""
        return 2 * len(self.case.modes) + self.period.node.size

    def _kernels(self, turn_rate: np.ndarray):
        """Answer of each mode at each point, and at the period's end, to unit force at each point."""
        count = self.period.angles.size
        to_point = np.zeros((self.pole.size, turn_rate.size, count, count), dtype=complex)
        to_end = np.zeros((self.pole.size, turn_rate.size, count), dtype=complex)
        at = 0
        for element in self.period.elements:
            length = (element.stop - element.start) / turn_rate
            own = slice(at, at + element.points)
            inside = answer(self.pole[:, None], length, element.points)
            to_point[:, :, own, own] = inside
            end_s = (element.stop - self.period.elements[0].start) / turn_rate
            after = np.exp(self.pole[:, None, None] * (self.time_s[:, own.stop :] - end_s[:, None]))
            to_point[:, :, own.stop :, own] = after[..., :, None] * inside[..., -1:, :]
            rest = np.exp(self.pole[:, None] * (self.period_s - end_s))
            to_end[:, :, own] = rest[..., None] * inside[..., -1, :]
            at = own.stop
        return to_point, to_end

    def transition(self, at: np.ndarray, ap_mm: np.ndarray) -> np.ndarray:
        """Maps over one period at some speeds (by index) and depths, ``(points, size, size)``."""
        depth = ap_mm[:, None, None]
        unknowns, states = self.period.node.size, self.own.shape[-1]
        right = np.empty((ap_mm.size, unknowns, self.size))
        right[:, :, :states] = self.free[at]
        right[:, :, states:] = depth * self.before[at]
        chips = np.linalg.solve(np.eye(unknowns) + depth * self.now[at], right)
        whole = np.empty((ap_mm.size, self.size, self.size))
        whole[:, states:] = chips
        whole[:, :states] = -depth * (self.end_now[at] @ chips)
        whole[:, :states, :states] += self.own[at]
        whole[:, :states, states:] += depth * self.end_before[at]
        return whole

    def strongest_line_hz(self, at: np.ndarray, multiplier: np.ndarray, vector: np.ndarray) -> np.ndarray:
        """Strongest line of the displacement of growing motions, Hz, shape ``(points,)``.

        The growth is divided out; what is left repeats over a period but for a phase, and each of its
        harmonics is the force's harmonic times the receptance at that (complex) frequency.
        """
        period_s = self.period_s[at]
        rate = np.log(multiplier) / period_s
        weights = self._weights()
        most = 1.6 * max(mode.frequency_hz for mode in self.case.modes) * period_s.max()
        order = np.arange(-np.ceil(most), np.ceil(most) + 1)
        chips = vector[:, self.own.shape[-1] :]
        force = np.einsum("apu,bu->bap", self.period.now, chips)
        force = force - np.einsum("apu,bu->bap", self.period.before, chips / multiplier[:, None])
        force = force * np.exp(-rate[:, None] * self.time_s[at])[:, None] * weights
        turned = np.exp(-2j * pi * order[:, None] * (self.period.angles / self.period.period))
        harmonics = force @ turned.T
        exponent = rate[:, None] + 2j * pi * order / period_s[:, None]
        moved = np.zeros(harmonics.shape, dtype=complex)
        for mode, index in enumerate(self.axis):
            pole = self.pole[mode]
            receptance = self.gain[mode] * pole.imag / ((exponent - pole) * (exponent - pole.conj()))
            moved[:, index] += receptance * harmonics[:, index]
        strongest = np.argmax((np.abs(moved) ** 2).sum(axis=1), axis=1)
        return np.abs(np.take_along_axis(exponent.imag, strongest[:, None], axis=1)[:, 0]) / (2 * pi)

    def _weights(self) -> np.ndarray:
        """Share of the period that each point stands for."""
        parts = []
        for element in self.period.elements:
            whole = answer(np.array(0.0), np.array(element.stop - element.start), element.points)[-1]
            parts.append(whole / self.period.period)
        return np.concatenate(parts)


def _rotation(decay: np.ndarray) -> np.ndarray:
    """Complex multipliers ``(speeds, modes)`` as real matrices ``(speeds, states, states)``."""
    real, imag = (part[:, :, None] * np.eye(decay.shape[1]) for part in (decay.real, decay.imag))
    return np.concatenate(
        [np.concatenate([real, -imag], axis=2), np.concatenate([imag, real], axis=2)], axis=1
    )


def _dominant(transition: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Largest multiplier of each matrix and its vector; ``(points,)`` and ``(points, size)``."""
    size = transition.shape[-1]
    power = transition
    for _ in range(SQUARINGS):
        power = power / np.maximum(np.abs(power).max(axis=(1, 2), keepdims=True), 1e-300)
        power = power @ power
    start = np.random.default_rng(0).standard_normal((size, min(SUBSPACE, size)))
    space, size_of = np.linalg.qr(power @ start)
    diagonal = np.abs(np.diagonal(size_of, axis1=1, axis2=2))
    # what the powers left nothing of is rounding, and would pass for a multiplier
    space = space * (diagonal > ROUNDING * diagonal[:, :1])[:, None]
    values, vectors = np.linalg.eig(np.swapaxes(space, 1, 2) @ transition @ space)
    values, vectors = values.astype(complex), vectors.astype(complex)
    top = np.argmax(np.abs(values), axis=1)
    rows = np.arange(top.size)
    return values[rows, top], np.einsum("bij,bj->bi", space, vectors[rows, :, top])

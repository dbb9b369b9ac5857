"""Regenerative milling in the time domain: teeth that cut what earlier teeth left, tool modes that answer.

Time goes in steps of constant spindle angle, so that a surface left at an angle is met again at exactly that
angle. Projected on the direction of an angle, a tooth tip stands at p = runout + n(φ)·(displacement + feed);
the material reaches as far as the furthest p that any earlier tooth had there. The chip is what p exceeds it
by, and nothing where it does not: teeth that leave the cut, teeth that never cut, unequal pitch and multiple
regeneration need no rules of their own.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from math import ceil, inf, pi

import numpy as np

from shopmon.cutting.geometry import lag_per_mm, tooth_angles
from shopmon.cutting.nouns import Mode, require, require_positive
from shopmon.cutting.simulation.modal_steps import ModalStep, modal_step

STEP_RAD = 0.2  # of the fastest mode; the growth rate is then right to a few per mille
STEPS_IN_CUT = 16
SLICE_LAG_RAD = 0.12
MOST_SLICES = 8


@dataclass(frozen=True, kw_only=True)
class Cutter:
    """The rotating side of a milling cut.

    Attributes
    ----------
    flutes, diameter_mm, helix_deg, pitch_deg
        As in `EndMillType`.
    offsets_um
        Radial position of each tooth relative to a perfect cutter, µm; empty means none.
    feed_per_tooth_mm
        fz, mm; the table moves ``flutes`` times this per turn.
    """

    flutes: int
    diameter_mm: float
    helix_deg: float = 0.0
    pitch_deg: tuple[float, ...] | None = None
    offsets_um: tuple[float, ...] = ()
    feed_per_tooth_mm: float = 0.05

    def __post_init__(self):
        tooth_angles(self.flutes, self.pitch_deg)
        require_positive("diameter_mm", self.diameter_mm)
        lag_per_mm(self.helix_deg, self.diameter_mm)
        require_positive("feed_per_tooth_mm", self.feed_per_tooth_mm)
        fits = len(self.offsets_um) in (0, self.flutes)
        require(fits, f"offsets_um holds {len(self.offsets_um)} values for {self.flutes} flutes.")


@dataclass(frozen=True, kw_only=True)
class Coefficients:
    """Force coefficients in SI units: cutting N/m², edge N/m."""

    kt: float
    kr: float
    kt_edge: float = 0.0
    kr_edge: float = 0.0


@dataclass(frozen=True, eq=False)
class Motion:
    """What the simulation gives: one row per turn, one column per step of angle.

    Attributes
    ----------
    turn_start_s
        When each turn begins, and the end of the last; shape ``(turns + 1,)``.
    x_m, y_m
        Displacement of the tool tip, shape ``(turns, steps)``.
    fx_n, fy_n
        Cutting force on the tool, same shape.
    """

    turn_start_s: np.ndarray
    x_m: np.ndarray
    y_m: np.ndarray
    fx_n: np.ndarray
    fy_n: np.ndarray

    def times_s(self) -> np.ndarray:
        """Time of every step, shape ``(turns * steps,)``."""
        steps = self.x_m.shape[1]
        return (
            self.turn_start_s[:-1, None] + np.diff(self.turn_start_s)[:, None] * np.arange(steps) / steps
        ).ravel()


def steps_per_turn(cutter: Cutter, modes: tuple[Mode, ...], arc_rad: float, turn_s: float) -> int:
    """Choose steps that resolve the fastest mode and the arc in the cut, a multiple of the flutes.

    Unequal pitch takes the count, up to a third more, that comes nearest to every tooth's place.
    """
    fastest = max((mode.angular_frequency for mode in modes), default=0.0)
    least = max(fastest * turn_s / STEP_RAD, STEPS_IN_CUT * 2 * pi / arc_rad, 8 * cutter.flutes)
    teeth = ceil(least / cutter.flutes)
    if cutter.pitch_deg is None:
        return teeth * cutter.flutes
    angles = tooth_angles(cutter.flutes, cutter.pitch_deg) / (2 * pi)
    counts = np.arange(teeth, teeth + teeth // 3 + 2) * cutter.flutes
    misfit = [np.abs(angles * count - np.rint(angles * count)).max() / count for count in counts]
    return int(counts[int(np.argmin(misfit))])


@dataclass
class CutSimulation:
    """One tool in one engagement after another; call `cut` tooth spacing by tooth spacing.

    Attributes
    ----------
    cutter, modes, coefficients
        What cuts, what answers, what it costs.
    entry_exit_rad
        Arc of the cut.
    steps
        Steps per turn, a multiple of the flutes.
    ap_max_mm
        The largest depth that will be asked for; it sets the slices of the helix.
    separable
        False keeps the surface of the tooth before, whatever happens (chips may become negative): the linear
        equation of the stability theory, for checks against it.
    """

    cutter: Cutter
    modes: tuple[Mode, ...]
    coefficients: Coefficients
    entry_exit_rad: tuple[float, float]
    steps: int
    ap_max_mm: float
    separable: bool = True
    states: tuple[list[complex], list[complex]] = field(init=False)

    def __post_init__(self):
        require_positive("ap_max_mm", self.ap_max_mm)
        lag = abs(lag_per_mm(self.cutter.helix_deg, self.cutter.diameter_mm)) * self.ap_max_mm
        self.slices = min(MOST_SLICES, max(1, ceil(lag / SLICE_LAG_RAD)))
        self.states = tuple([0j] * sum(mode.axis == axis for mode in self.modes) for axis in "xy")
        self.force = [0.0, 0.0]
        self.feed_m = 0.0
        self.active = 0
        self.at = 0
        self.surface = [0.0] * (self.slices * self.steps)
        self._steps_cache: tuple[float, ModalStep, ModalStep] | None = None
        self._tables = [self._table(count) for count in range(self.slices + 1)]

    @property
    def offsets_m(self) -> np.ndarray:
        """Radial offset of each tooth, m."""
        return np.array(self.cutter.offsets_um or [0.0] * self.cutter.flutes) * 1e-6

    def _coverage(self) -> np.ndarray:
        """Share of each step's bin of angle that is in the cut, shape ``(steps,)``."""
        half = pi / self.steps
        centre = 2 * pi * np.arange(self.steps) / self.steps
        centre = np.where(centre > 1.5 * pi, centre - 2 * pi, centre)
        entry, exit_ = self.entry_exit_rad
        inside = np.minimum(centre + half, exit_) - np.maximum(centre - half, entry)
        return np.clip(inside / (2 * half), 0, 1)

    def _edge(self) -> dict[int, tuple[float, ...]]:
        """For each angle step in the cut: sin, cos, then force per chip and per edge in x and in y."""
        force = self.coefficients
        rows = {}
        for key, share in enumerate(self._coverage()):
            if share > 0:
                sine, cosine = np.sin(2 * pi * key / self.steps), np.cos(2 * pi * key / self.steps)
                gains = (
                    -force.kt * cosine - force.kr * sine,
                    -force.kt_edge * cosine - force.kr_edge * sine,
                    force.kt * sine - force.kr * cosine,
                    force.kt_edge * sine - force.kr_edge * cosine,
                )
                rows[key] = (float(sine), float(cosine), *(float(share * gain) for gain in gains))
        return rows

    def _table(self, active: int) -> list[list[tuple]]:
        """List the edge elements in the cut at each step of a turn while `active` slices are in metal."""
        table: list[list[tuple]] = [[] for _ in range(self.steps)]
        rows = self._edge()
        places = np.rint(
            tooth_angles(self.cutter.flutes, self.cutter.pitch_deg) * self.steps / (2 * pi)
        ).astype(int)
        per_slice = lag_per_mm(self.cutter.helix_deg, self.cutter.diameter_mm) * self.ap_max_mm / self.slices
        for level in range(active):
            lag = round((level + 0.5) * per_slice * self.steps / (2 * pi))
            for place, offset in zip(places.tolist(), self.offsets_m.tolist(), strict=True):
                for key, (sine, cosine, *gains) in rows.items():
                    element = (level * self.steps + key, sine, cosine, offset, level, *gains)
                    table[(key - place + lag) % self.steps].append(element)
        return table

    def _weights_m(self, ap_mm: float) -> list[float]:
        """Height of each slice that is in metal, m; new slices get the surface of an undisturbed pass."""
        require(
            ap_mm <= self.ap_max_mm * (1 + 1e-9), f"ap of {ap_mm:g} mm is above ap_max_mm {self.ap_max_mm:g}."
        )
        height = self.ap_max_mm / self.slices
        weights = [min(max(ap_mm - level * height, 0.0), height) * 1e-3 for level in range(self.slices)]
        active = sum(weight > 0 for weight in weights)
        furthest = float(self.offsets_m.max())
        for level in range(self.active, active):
            sine = np.sin(2 * pi * np.arange(self.steps) / self.steps)
            fresh = sine * self.feed_m + furthest
            self.surface[level * self.steps : (level + 1) * self.steps] = fresh.tolist()
        self.active = active
        return weights

    def _modal(self, step_s: float) -> tuple[ModalStep, ModalStep]:
        if self._steps_cache is None or self._steps_cache[0] != step_s:
            self._steps_cache = (
                step_s,
                modal_step(self.modes, "x", step_s),
                modal_step(self.modes, "y", step_s),
            )
        return self._steps_cache[1:]

    def cut(self, ap_mm: float, turn_s: float, gains: list[float], record: tuple[list[float], ...]) -> None:
        """Turn the cutter by ``len(gains)`` steps at one depth and append x, y, fx, fy to `record`.

        Parameters
        ----------
        ap_mm
            Axial depth, 0 in air.
        turn_s
            Duration of a whole turn at the present speed.
        gains
            Force multiplier of each step (1 = the material's coefficients), not beyond the turn.
        record
            Four lists: x, y (m), fx, fy (N).
        """
        weights = self._weights_m(ap_mm)
        table = self._tables[self.active][self.at : self.at + len(gains)]
        along, across = self._modal(turn_s / self.steps)
        feed_step = self.cutter.feed_per_tooth_mm * 1e-3 * self.cutter.flutes / self.steps
        limit = 0.0 if self.separable else -inf
        self._advance(table, gains, weights, along, across, feed_step, limit, record)
        self.at = (self.at + len(gains)) % self.steps

    def _advance(self, table, gains, weights, along, across, feed_step, limit, record):
        """Predict with the held force, find the chips, correct by the change; scalars beat arrays here."""
        (states_x, states_y), (fx, fy), feed, surface = self.states, self.force, self.feed_m, self.surface
        keep_x, keep_y, keep_fx, keep_fy = (values.append for values in record)
        modes_x, modes_y = range(len(states_x)), range(len(states_y))
        for elements, gain in zip(table, gains, strict=True):
            feed += feed_step
            x = y = new_fx = new_fy = 0.0
            for mode in modes_x:
                states_x[mode] = state = along.decay[mode] * states_x[mode] + along.held[mode] * fx
                x += state.imag
            for mode in modes_y:
                states_y[mode] = state = across.decay[mode] * states_y[mode] + across.held[mode] * fy
                y += state.imag
            at = x + feed
            for key, sine, cosine, offset, level, chip_x, edge_x, chip_y, edge_y in elements:
                tip = offset + sine * at + cosine * y
                chip = tip - surface[key]
                if chip > limit:
                    surface[key] = tip
                    weight = weights[level]
                    new_fx += weight * (chip_x * chip + edge_x)
                    new_fy += weight * (chip_y * chip + edge_y)
            new_fx *= gain
            new_fy *= gain
            for mode in modes_x:
                states_x[mode] += along.slope[mode] * (new_fx - fx)
            for mode in modes_y:
                states_y[mode] += across.slope[mode] * (new_fy - fy)
            keep_x(x + along.quick * (new_fx - fx))
            keep_y(y + across.quick * (new_fy - fy))
            fx, fy = new_fx, new_fy
            keep_fx(fx)
            keep_fy(fy)
        self.force, self.feed_m = [fx, fy], feed


def simulate_turns(
    simulation: CutSimulation,
    turn_start_s: np.ndarray,
    depth_mm: Callable[[float], float],
    gains: Callable[[int], np.ndarray] | None = None,
    progress: Callable[[float], None] | None = None,
) -> Motion:
    """Run whole turns of the spindle.

    Parameters
    ----------
    simulation
        Fresh, or left by an earlier call.
    turn_start_s
        Start of each turn and the end of the last, s; shape ``(turns + 1,)``.
    depth_mm
        Axial depth at a time in seconds.
    gains
        Force multipliers of so many steps; None means 1 throughout.
    progress
        Called with the share done, now and then.
    """
    record: tuple[list[float], ...] = ([], [], [], [])
    flutes, piece = simulation.cutter.flutes, simulation.steps // simulation.cutter.flutes
    turns = len(turn_start_s) - 1
    for turn, (start, stop) in enumerate(
        zip(turn_start_s[:-1].tolist(), turn_start_s[1:].tolist(), strict=True)
    ):
        gain = [1.0] * simulation.steps if gains is None else gains(simulation.steps).tolist()
        for tooth in range(flutes):
            ap_mm = depth_mm(start + (stop - start) * tooth / flutes)
            simulation.cut(ap_mm, stop - start, gain[tooth * piece : (tooth + 1) * piece], record)
        if progress is not None and turn % 64 == 0:
            progress(turn / turns)
    x, y, fx, fy = (np.array(values).reshape(turns, simulation.steps) for values in record)
    return Motion(np.asarray(turn_start_s, dtype=float), x, y, fx, fy)

"""How fast the spindle really turns at every moment of a simulated pass."""

from dataclasses import dataclass

import numpy as np

from shopmon.cutting.simulation.plan import PassPlan

GRID_S = 1e-3
DROOP_S = 0.15  # time constant of drive and rotor
WANDER_S = 1.0


@dataclass(frozen=True, eq=False)
class SpeedTrack:
    """True speed and angle over time.

    Attributes
    ----------
    time_s, rpm
        Shape ``(points,)``.
    turns
        Turns since the start of the recording at those times.
    """

    time_s: np.ndarray
    rpm: np.ndarray
    turns: np.ndarray

    def turns_at(self, time_s: np.ndarray) -> np.ndarray:
        """Turns made since the start of the recording."""
        return np.interp(time_s, self.time_s, self.turns)

    def rpm_at(self, time_s: np.ndarray) -> np.ndarray:
        """True speed, rpm."""
        return np.interp(time_s, self.time_s, self.rpm)

    def turn_starts_s(self, start_s: float, end_s: float) -> np.ndarray:
        """Start of each whole turn that covers an interval, and the end of the last, s."""
        first, last = np.floor(self.turns_at(start_s)), np.ceil(self.turns_at(end_s))
        last = min(last, np.floor(self.turns[-1]))
        first = max(first, np.ceil(self.turns[0]))
        return np.interp(np.arange(first, last + 1), self.turns, self.time_s)


def speed_track(plan: PassPlan, rng: np.random.Generator) -> SpeedTrack:
    """Work out the true speed: slip, droop under load, slow wander, spinning up and down.

    Parameters
    ----------
    plan
        The pass.
    rng
        Drives the wander.
    """
    time = np.arange(0, plan.duration_s + 1 + GRID_S, GRID_S)
    spindle = plan.spindle
    loaded = np.zeros(time.shape)
    for engagement in plan.engagements:
        loaded[(time >= engagement.start_s) & (time < engagement.end_s)] = 1
    share = (1 - spindle.droop * first_order(loaded, DROOP_S)) * (1 + spindle.wander * wander(time.size, rng))
    rpm = spindle.true_rpm * share * running(plan, time) * overridden(plan, time)
    turns = np.concatenate(([0.0], np.cumsum((rpm[1:] + rpm[:-1]) / 2) * GRID_S / 60))
    return SpeedTrack(time, rpm, turns + 1e-9 * time)  # strictly rising, so that it can be inverted at rest


def overridden(plan: PassPlan, time_s: np.ndarray) -> np.ndarray:
    """Share of the speed that the override asks for, ramps included; shaped as `time_s`."""
    share = np.ones(time_s.shape)
    for change in plan.spindle.changes:
        done = np.clip((time_s - change.start_s) / change.ramp_s, 0, 1)
        share = share + (change.override - share) * done
    return share


def running(plan: PassPlan, time_s: np.ndarray) -> np.ndarray:
    """Share of the full speed, from standing (0) to running (1), with smooth ramps; shaped as `time_s`."""
    spindle = plan.spindle
    up = np.ones(time_s.shape)
    if spindle.start_s is not None:
        up = np.clip((time_s - spindle.start_s) / spindle.ramp_s, 0, 1)
    down = np.ones(time_s.shape)
    if spindle.stop_s is not None:
        down = np.clip(1 - (time_s - spindle.stop_s) / spindle.ramp_s, 0, 1)
    share = np.minimum(up, down)
    return share * share * (3 - 2 * share)


def first_order(values: np.ndarray, constant_s: float) -> np.ndarray:
    """Lag a curve on the track's grid with one time constant."""
    from scipy.signal import lfilter

    keep = np.exp(-GRID_S / constant_s)
    return lfilter([1 - keep], [1, -keep], values)


def wander(count: int, rng: np.random.Generator) -> np.ndarray:
    """Slow random curve of unit standard deviation (filtered noise), shape ``(count,)``."""
    from scipy.signal import lfilter

    keep = np.exp(-GRID_S / WANDER_S)
    noise = rng.standard_normal(count)
    smooth = lfilter([np.sqrt(1 - keep**2)], [1, -keep], noise)
    return first_order(smooth, WANDER_S / 4)

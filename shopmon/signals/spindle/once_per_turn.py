"""The vibration at once per turn as amplitude and phase, against the pulses of a tachometer."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from shopmon.signals.sensors.tachometer import turn_numbers

PARTS, FEWEST_TURNS = 8, 32


@dataclass(frozen=True)
class OncePerTurn:
    """Vibration at once per turn.

    Attributes
    ----------
    amplitude
        Peak, in the samples' unit.
    phase_deg
        How far the shaft turns from its mark's pulse until the vibration is largest, 0 to 360.
    error
        Standard error of the amplitude, from one part of the run to the next; a phase is off by as much of it
        as the amplitude is of itself.
    rotation_hz
        Mean over these turns.
    turns
        How many there were.
    """

    amplitude: float
    phase_deg: float
    error: float
    rotation_hz: float
    turns: int


def once_per_turn(samples: np.ndarray, sample_rate_hz: float, places: np.ndarray) -> OncePerTurn | None:
    """Measure amplitude and phase at once per turn of a steady run.

    Parameters
    ----------
    samples
        Shape ``(n,)``.
    sample_rate_hz
        Samples per second.
    places
        Where the tachometer's pulses begin, in samples of `samples`, rising.

    Returns
    -------
    OncePerTurn or None
        None where the pulses make no rotation, come in pairs (which of two marks is meant cannot be told), or
        are fewer than 32 turns.

    Notes
    -----
    The angle between two pulses grows evenly; over whole turns the other multiples drop out. Whole parts of
    the run are compared for the error.
    """
    found = turn_numbers(np.asarray(places))
    if found is None:
        return None
    kept, turns = found
    inside = (kept >= 0) & (kept <= samples.size - 1)
    kept, turns = kept[inside], turns[inside]
    if kept.size < 2 or turns[-1] - turns[0] < FEWEST_TURNS:
        return None
    whole = (turns[-1] - turns[0]) // PARTS * PARTS
    edges = turns[0] + np.arange(PARTS + 1) * (whole // PARTS)
    borders = np.ceil(np.interp(edges, turns, kept)).astype(int)
    first, last = borders[0], borders[-1]
    angle = np.interp(np.arange(first, last), kept, turns)
    weighed = (samples[first:last] - samples[first:last].mean()) * np.exp(2j * np.pi * angle)
    parts = np.array([2 * weighed[a - first : b - first].mean() for a, b in pairwise(borders)])
    mean = complex(parts.mean())
    error = float(np.sqrt(np.mean(np.abs(parts - mean) ** 2) / (PARTS - 1)))
    hz = whole / (borders[-1] - borders[0]) * sample_rate_hz
    return OncePerTurn(abs(mean), float(np.degrees(np.angle(mean)) % 360), error, float(hz), int(whole))

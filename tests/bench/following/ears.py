"""What the listener makes of a shift: late, jittery, sometimes wrong.

The errors are our own judgement of an ordinary microphone: edges off by some tens of milliseconds, bites
missed, breaks in engagements, false ones, speeds off by slip, sometimes half or twice, a late standstill.
"""

import numpy as np

from shopmon.listening.following.model import STEP_S, Step
from shopmon.listening.following.observing import RunMaker
from tests.bench.following.machine import Shift


def heard(shift: Shift, seed: int) -> tuple[list[Step], list[tuple[float, float]]]:
    """Return the steps and the engagements that are heard."""
    rng = np.random.default_rng([seed, 99])
    engaged = heard_engagements(shift, rng)
    return steps_of(shift, engaged, rng), engaged


def heard_engagements(shift: Shift, rng: np.random.Generator) -> list[tuple[float, float]]:
    """Return engagements as they are heard, sorted, not overlapping."""
    joined: list[list[float]] = []
    for stretch in shift.stretches:
        if stretch.metal:
            if joined and stretch.start_s - joined[-1][1] < 0.03:
                joined[-1][1] = stretch.end_s
            else:
                joined.append([stretch.start_s, stretch.end_s])
    found = []
    for start, end in joined:
        if end - start < 0.25 and rng.random() < 0.3:
            continue
        start, end = start + rng.normal(0, 0.04), end + rng.normal(0, 0.04)
        if end - start < 0.05:
            continue
        breaks = np.sort(rng.uniform(start, end, rng.poisson(0.01 * max(end - start, 0))))
        for piece_start, piece_end in zip([start, *(breaks + 0.3)], [*breaks, end], strict=True):
            if piece_end - piece_start > 0.05:
                found.append((piece_start, piece_end))
    for time in rng.uniform(0, shift.now_s, rng.poisson(shift.now_s / 400)):  # bangs taken for bites
        found.append((time, time + 0.3))
    merged: list[tuple[float, float]] = []
    for start, end in sorted(found):
        if merged and start < merged[-1][1]:
            merged[-1] = (merged[-1][0], max(end, merged[-1][1]))
        else:
            merged.append((max(start, 0.0), end))
    return merged


def steps_of(shift: Shift, engaged: list[tuple[float, float]], rng: np.random.Generator) -> list[Step]:
    """Return steps; a run's speed is known after a moment, standing is told after a moment."""
    count = int(shift.now_s / STEP_S)
    share = np.zeros(count)
    for start, end in engaged:
        for k in range(int(start / STEP_S), min(int(end / STEP_S) + 1, count)):
            share[k] += max(0.0, min(end, (k + 1) * STEP_S) - max(start, k * STEP_S)) / STEP_S
    rpm = np.zeros(count)
    for stretch in shift.stretches:
        rpm[int(stretch.start_s / STEP_S) : int(stretch.end_s / STEP_S) + 1] = stretch.rpm
    slip = 1 + rng.uniform(-0.02, 0.01)
    runs, steps = RunMaker(), []
    since, factor, deaf = 0.0, 1.0, 1.0
    for k in range(count):
        if k and rpm[k] != rpm[k - 1]:
            since, deaf = 0.0, rng.uniform(0.5, 2.5)
            factor = float(rng.choice([1.0, 0.5, 2.0], p=[0.97, 0.015, 0.015]))
        since += STEP_S
        told = rpm[k] * slip * factor * (1 + rng.normal(0, 0.001)) if rpm[k] and since > deaf else None
        if told and rng.random() < 0.01:
            told = float(rng.uniform(1000, 20000))
        stopped = bool(rpm[k] == 0 and since > deaf)
        unknown = rng.random() < 0.02
        steps.append(
            runs.step(min(float(share[k]), 1.0), None if unknown else stopped, None if unknown else told)
        )
    return steps

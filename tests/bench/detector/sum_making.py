"""Render a case of `sum_drawing`: sines and noise, and what is true of them."""

import numpy as np

from shopmon.cutting.simulation.speed_track import GRID_S, SpeedTrack
from tests.bench.detector.chance import generator, log_uniform
from tests.bench.detector.making import LEAST_CHATTER_S, others, sounds_told, to_integers, told_off, turns_of
from tests.bench.detector.surroundings import SOURCES, automatic_gain, gate, hiss, rms_one

NOTE = "Invented data: a sum of sines and noise. No machine, tool or person is real."
UNHEARD_DB = -4.0  # chatter so far below the comb is not asked for
WALK_STEP_S, SPEED_STEP_S, TRACK_STEP_S = 0.05, 0.25, 0.25
MOST_ORDERS, IDLE_ORDERS = 60, 16
LINES = 3  # of the chatter family, on either side
GROWS_FROM = 0.2  # of the comb


def rendered(case):
    """Render a case.

    Returns
    -------
    samples
        int16, shape ``(frames,)``.
    truth
        As the simulator's, as far as there is anything to tell.
    """
    rng = generator(case.family, case.seed + 10_000_000)
    time = np.arange(round(case.duration_s * case.rate_hz)) / case.rate_hz
    track = track_of(case, rng)
    sound = machine(case, time, track.turns_at(time), rng)
    sound += 10 ** (-case.snr_db / 20) * SOURCES[case.noise](time, case.rate_hz, rng)
    sound += others(case.sounds, time, case.rate_hz, rng)
    return to_integers(recorded(case, sound)), truth_of(case, track)


def recorded(case, sound):
    """Bring a sound to its level, as the recorder does."""
    if case.gain is not None:
        release, strength = case.gain
        sound = automatic_gain(
            sound, case.rate_hz, attack_s=release / 5, release_s=release, strength=strength
        )
    return 10 ** (case.peak_db / 20) * sound / np.abs(sound).max()


def track_of(case, rng):
    """How the spindle turns: droop in the cut, a random walk, now and then an override."""
    turning = case.turning
    time = np.arange(0, case.duration_s + 1, GRID_S)
    share = (1 + turning.error) * (1 - turning.droop * contact(case, time, 0.05))
    share = share + 2e-4 * walk(time, SPEED_STEP_S, rng)
    if turning.override is not None:
        start, asked, length = turning.override
        share = share * (1 + (asked - 1) * np.clip((time - start) / length, 0, 1))
    rotation_hz = turning.rotation_hz * share
    turns = np.concatenate(([0.0], np.cumsum((rotation_hz[1:] + rotation_hz[:-1]) / 2) * GRID_S))
    return SpeedTrack(time, 60 * rotation_hz, turns)


def walk(time_s, step_s, rng):
    """Random walk of unit steps, joined up by straight lines."""
    steps = int(time_s[-1] / step_s) + 2
    return np.interp(time_s, step_s * np.arange(steps), np.cumsum(rng.standard_normal(steps)))


def contact(case, time_s, edge_s):
    """1 while the tool is in metal, with edges."""
    inside = np.zeros(time_s.size)
    for start, end in case.engaged_s:
        rise, fall = (time_s - start) / edge_s, (end - time_s) / min(edge_s, 0.02)
        inside = np.maximum(inside, np.clip(np.minimum(rise, fall), 0, 1))
    return inside


def machine(case, time_s, turns, rng):
    """Spindle, teeth and chatter, in units of the quiet cut."""
    total = np.zeros(time_s.size)
    if case.turning.heard:
        total += log_uniform(rng, (0.01, 0.5)) * comb(case, turns, (0.3, 3), IDLE_ORDERS, rng)
    if case.engaged_s:
        inside = contact(case, time_s, log_uniform(rng, (0.01, 0.4)))
        total += inside * teeth(case, time_s, turns, rng)
        if case.ringing is not None:
            total += inside * chatter(case, time_s, turns, rng)
    return total


def teeth(case, time_s, turns, rng):
    """The teeth: a comb with the noise of chips; the depth may change, and a line may come up."""
    start, end = case.engaged_s[0][0], case.engaged_s[-1][1]
    change = rng.uniform(-0.6, 2) if rng.random() < 0.4 else 0.0
    depth = 1 + change * np.clip((time_s - start) / (end - start), 0, 1)
    total = swelling(time_s, (0, 0.1), (0.5, 4), rng) * comb(case, turns, (0.05, 2.5), MOST_ORDERS, rng)
    total = depth * (total + log_uniform(rng, (0.02, 0.5)) * hiss(time_s, case.rate_hz, rng))
    line = case.comb_line
    if line is not None:
        total += line.amplitude * gate(time_s, line.start_s, np.inf) * np.cos(2 * np.pi * line.order * turns)
    return total


def comb(case, turns, runout, most, rng):
    """Rotation lines of unit power together: tooth passing, the rest by runout, all through resonances."""
    rotation_hz = case.turning.rotation_hz
    order = np.arange(1, min(most, int(0.45 * case.rate_hz / rotation_hz)) + 1)
    other = log_uniform(rng, runout) * scattered(0.1, 1, order.size, rng)
    level = np.where(order % case.flutes == 0, 1.0, other) * scattered(0.4, 1.6, order.size, rng)
    level *= resonances(order * rotation_hz, rng)
    return rms_one(orders_summed(turns, level * np.exp(1j * rng.uniform(0, 2 * np.pi, order.size))))


def scattered(low, high, count, rng):
    """Factors from a range, each as likely as the next."""
    return np.exp(rng.uniform(np.log(low), np.log(high), count))


def resonances(frequency_hz, rng):
    """Amplitude of three random resonances over a slope, at any frequencies."""
    total = 0.15 / np.sqrt(1 + (frequency_hz / 800) ** 2)
    for _ in range(3):
        middle, width = log_uniform(rng, (100, 4000)), log_uniform(rng, (60, 800))
        total += rng.uniform(0.2, 1) / (1 + ((frequency_hz - middle) / width) ** 2)
    return total


def orders_summed(turns, amplitudes):
    """Sum over k = 1, 2, … of Re(a_k exp(2πi k · turns)), by Horner's rule."""
    return np.polyval(np.append(amplitudes[::-1], 0), np.exp(2j * np.pi * turns)).real


def swelling(time_s, depth, rate_hz, rng):
    """A level that goes up and down slowly around 1."""
    turns = rng.uniform(*rate_hz) * time_s + rng.random()
    return 1 + rng.uniform(*depth) * np.sin(2 * np.pi * turns)


def chatter(case, time_s, turns, rng):
    """Chatter that grows from the start of every span up to its level, and holds it."""
    most, growth_s = 10 ** (case.ringing.over_comb_db / 20), log_uniform(rng, (0.02, 0.25))
    level = np.zeros(time_s.size)
    for start, end in case.ringing.spans_s:
        grown = GROWS_FROM * np.exp(np.clip((time_s - start) / growth_s, 0, 30))
        inside = (time_s >= start) & (time_s <= end)
        level = np.where(inside, np.minimum(grown, max(most, GROWS_FROM)), level)
    return level * swelling(time_s, (0, 0.2), (0.5, 8), rng) * family(case, time_s, turns, rng)


def family(case, time_s, turns, rng):
    """The lines of the chatter, unit power: it jitters, its relatives keep their distance from it."""
    angle = 2 * np.pi * chatter_turns(case, time_s, rng)
    total = relatives(case, turns, rng) * np.exp(1j * angle)
    if rng.random() < 0.5:
        for multiple in (2, 3):
            if multiple * case.ringing.frequency_hz < 0.45 * case.rate_hz:
                turned = np.exp(1j * (multiple * angle + rng.uniform(0, 2 * np.pi)))
                total += rng.uniform(0, 0.3) ** (multiple - 1) * turned
    return rms_one(total.real)


def chatter_turns(case, time_s, rng):
    """Periods of the chatter since the start; its frequency walks, and is as drawn when it begins."""
    wander = log_uniform(rng, (1e-5, 6e-4)) * walk(time_s, WALK_STEP_S, rng)
    wander -= np.interp(case.ringing.spans_s[0][0], time_s, wander)
    return np.cumsum(case.ringing.frequency_hz * (1 + wander)) / case.rate_hz


def relatives(case, turns, rng):
    """What the teeth, and perhaps the runout, make of one line: a complex curve that multiplies it."""
    by_teeth = rng.uniform(0.05, 0.7)
    by_runout = rng.uniform(0, 0.4) if rng.random() < 0.7 else 0.0
    steps = [(sign * k * case.flutes, by_teeth**k) for k in range(1, LINES + 1) for sign in (-1, 1)]
    steps += [(sign * k, by_runout**k) for k in range(1, LINES) for sign in (-1, 1)]
    total = np.ones(turns.size, dtype=complex)
    for orders, level in steps:
        loud, angle = rng.uniform(0.3, 1.3), rng.uniform(0, 2 * np.pi)
        if case.ringing.frequency_hz + orders * case.turning.rotation_hz < 0.45 * case.rate_hz:
            total += loud * level * np.exp(1j * (2 * np.pi * orders * turns + angle))
    return total


def truth_of(case, track):
    """What is true, in the form of the simulator's truth."""
    turning = case.turning
    chatter = [event_of(case, span) for span in (case.ringing.spans_s if case.ringing else ())]
    times = np.arange(0, case.duration_s, TRACK_STEP_S)
    return {
        "note": NOTE,
        "seed": case.seed,
        "plan": {"assembly": {"mill": {"pitch_deg": None}}, "spindle": {"droop": turning.droop}},
        "recording": {"duration_s": case.duration_s, "sample_rate_hz": case.rate_hz, "channels": 1},
        "spindle": {
            "nominal_rpm": 60 * turning.rotation_hz,
            "true_rpm": round(60 * turning.rotation_hz * (1 + turning.error), 3),
            "flutes": case.flutes,
            "track": np.round(np.stack([times, track.rpm_at(times)], axis=1), 3).tolist(),
        },
        "engaged": [rounded(span) for span in case.engaged_s],
        "engagements": [{"engaged": rounded(span)} for span in case.engaged_s],
        "chatters": bool(chatter),
        "chatter": chatter,
        "case": described(case, track),
    }


def rounded(span_s):
    """A span to a tenth of a millisecond."""
    return [round(time, 4) for time in span_s]


def event_of(case, span_s):
    """One span of chatter."""
    start, end = rounded(span_s)
    return {"start_s": start, "end_s": end, "frequency_hz": round(case.ringing.frequency_hz, 2)}


def described(case, track):
    """Everything the scoring needs to know of a case, as plain data."""
    return {
        "family": case.family,
        "seed": case.seed,
        "kind": case.kind,
        "marginal": case.ringing is not None and marginal(case.ringing),
        "hidden": False,
        "snr_db": round(case.snr_db, 2),
        "chatter_over_comb_db": None if case.ringing is None else round(case.ringing.over_comb_db, 1),
        "sensor": "microphone",
        "told_rpm": told_off(60 * case.turning.rotation_hz, case),
        "told_flutes": case.flutes if case.flutes_told else None,
        "speed_error": case.told_error,
        "material": "none",
        "physics": case.family + " sum of sines",
        "tags": list(case.tags),
        "sounds": sounds_told(case.sounds),
        "turns": turns_of(track, case.duration_s),
    }


def marginal(ringing):
    """Whether chatter is weak or brief."""
    longest = max(end - start for start, end in ringing.spans_s)
    return ringing.over_comb_db < UNHEARD_DB or longest < LEAST_CHATTER_S

"""Render a drawn case: the teeth as each sensor hears them, the shop, the recorder; and what is true."""

from dataclasses import replace

import numpy as np

from shopmon.cutting.simulation.machine_sound import spindle_sound, surrounding_sound
from shopmon.cutting.simulation.pass_sound import moved, quiet_level, sounded
from shopmon.cutting.simulation.truth import truth_of
from tests.bench.detector.chance import generator
from tests.bench.detector.drawing import verdicts
from tests.bench.detector.families import FAMILIES, MICROPHONE_ROOMS, MOUNTS
from tests.bench.detector.surroundings import SOURCES, automatic_gain, gate
from tests.bench.detector.true_lines import lines_of

AIRBORNE = {"microphone": 1.0, "accelerometer": 0.2, "dead": 0.0}  # how much of the shop's sounds gets there
LEAST_CHATTER_S = 0.6
TURNS_STEP_S = 0.02
PEAK = 0.89
MOST_OVER_DB = 40.0


def rendered(case):
    """Render a case.

    Returns
    -------
    samples
        int16, shape ``(frames,)``, or ``(frames, 2)`` for two sensors.
    truth
        As the simulator tells it, with ``"case"`` added.
    """
    plan = case.plan
    done = moved(plan, case.seed)
    count = round(plan.duration_s * plan.sample_rate_hz)
    rng = generator(case.family, case.seed + 10_000_000)
    heard = [one_sensor(case, done, sensor, count, rng) for sensor in case.sensors]
    truth = truth_of(plan, case.seed, done.track, done.offsets_um, done.cuts, heard[0][2])
    truth["case"] = described(case, truth, done, heard[0][1])
    samples = np.stack([to_integers(sound) for sound, _, _ in heard], axis=1)
    return (samples[:, 0] if len(heard) == 1 else samples), truth


def to_integers(sound):
    """16-bit codes of a sound, full scale being 1."""
    return np.clip(np.round(sound * 32768), -32768, 32767).astype(np.int16)


def one_sensor(case, done, sensor, count, rng):
    """Return what one sensor records, the teeth alone (in units of the quiet cut), and the gain."""
    if sensor == "dead":
        return 2e-5 * rng.standard_normal(count), np.zeros(count), 1.0
    plan = case.plan
    around = surroundings_of(case, sensor)
    teeth = sounded(done, around, count)
    teeth = teeth / (quiet_level(teeth, done.cuts, plan.sample_rate_hz) or 1.0)
    time = np.arange(count) / plan.sample_rate_hz
    own = replace(plan, surroundings=around)
    total = teeth + 10 ** (plan.spindle.level_db / 20) * spindle_sound(own, done.track, time, rng)
    total += surrounding_sound(own, time, rng) + AIRBORNE[sensor] * others(
        case.sounds, time, plan.sample_rate_hz, rng
    )
    sound, gain = recorded(case, total)
    return sound, teeth, gain


def surroundings_of(case, sensor):
    """The surroundings of the plan, through one sensor."""
    family, around = FAMILIES[case.family], case.plan.surroundings
    if sensor == around.sensor:
        return around
    usual = MICROPHONE_ROOMS[family.room] if sensor == "microphone" else MOUNTS[family.mount]
    return replace(around, sensor=sensor, resonances=usual)


def others(sounds, time_s, rate_hz, rng):
    """Everything else that is heard, in units of the quiet cut."""
    total = np.zeros(time_s.size)
    for sound in sounds:
        first = np.searchsorted(time_s, sound.start_s)
        part = time_s[first:] - time_s[first]
        made = SOURCES[sound.name](part, rate_hz, rng)
        total[first:] += 10 ** (sound.level_db / 20) * made * gate(time_s[first:], sound.start_s, sound.end_s)
    return total


def recorded(case, total):
    """Bring a sound to its level, as the recorder does; also returns the gain of the quiet cut."""
    rate, level = case.plan.sample_rate_hz, 10 ** (case.plan.surroundings.level_dbfs / 20)
    if case.agc is not None:
        sound = automatic_gain(total, rate, attack_s=case.agc[0], release_s=case.agc[1])
        return PEAK * sound / max(1.0, float(np.abs(sound).max())), level
    peak = float(np.quantile(np.abs(total), 0.9995))
    gain = min(level, PEAK / float(np.abs(total).max()))
    if case.clip_db is not None:
        gain = 10 ** (case.clip_db / 20) / peak
    return np.clip(gain * total, -1, 1), gain


def described(case, truth, done, teeth):
    """Everything the scoring needs to know of a case, as plain data."""
    plan, told = case.plan, told_rpm(case, truth)
    starts = [interval for cut in done.cuts for interval in cut.chatter_s]
    kind = "chatter" if starts else "stable" if done.cuts else case.kind
    return {
        "family": case.family,
        "seed": case.seed,
        "kind": kind,
        "marginal": marginal(case, truth, done),
        "hidden": hidden(truth),
        "snr_db": round(plan.surroundings.snr_db, 2),
        "chatter_over_comb_db": over_comb_db(done, teeth, starts, plan.sample_rate_hz) if starts else None,
        "sensor": case.sensors[0] if len(case.sensors) == 1 else "+".join(case.sensors),
        "told_rpm": told,
        "told_flutes": plan.flutes if case.flutes_told else None,
        "speed_error": case.told_error,
        "material": plan.material.alloy,
        "physics": case.family + (" frame" if "frame mode" in case.tags else " tool" if done.cuts else ""),
        "tags": list(case.tags),
        "sounds": sounds_told(case.sounds),
        "turns": turns_of(done.track, plan.duration_s),
        "lines": lines_of(done.cuts),
    }


def sounds_told(sounds):
    """Other sounds as plain data."""
    return [[s.name, round(s.level_db, 1), round(s.start_s, 2), round(s.end_s, 2)] for s in sounds]


def turns_of(track, duration_s):
    """Turns of the spindle since the start, every 20 ms: fine enough for a cubic through them."""
    time = np.arange(0, duration_s + 2 * TURNS_STEP_S, TURNS_STEP_S)
    return [round(float(turns), 6) for turns in track.turns_at(time)]


def told_rpm(case, truth):
    """The speed that the monitor is told, rpm: the loaded spindle's first speed, off by the case's error."""
    rpm = case.plan.spindle.true_rpm * (1 - (case.plan.spindle.droop if truth["engagements"] else 0))
    return told_off(rpm, case)


def told_off(rpm, case):
    """A speed as it is told: off by the case's error, up or down by its seed; None where none is told."""
    sign = 1 if case.seed % 2 else -1
    share = {"right": 0.0, "0.5": 0.005, "2": 0.02}.get(case.told_error)
    return None if share is None else round(rpm * (1 + sign * share), 1)


def hidden(truth):
    """Whether chatter lies on the rotation comb, as period doubling of an even number of flutes does."""
    return any(
        entry["chatter"] and entry["measured_on"].startswith("teeth") for entry in truth["engagements"]
    )


def marginal(case, truth, done):
    """Whether motion and theory disagree, or the border is within a tenth of the depth, or it is brief."""
    if not done.cuts:
        return False
    chatter = truth["chatter"]
    if chatter and max(event["end_s"] - event["start_s"] for event in chatter) < LEAST_CHATTER_S:
        return True
    rings = bool(chatter)
    share = 0.9 if rings else 1.1
    theory = any(any(verdicts(case.plan, cut.engagement, share)) for cut in done.cuts)
    return theory != rings


def over_comb_db(done, teeth, intervals, rate_hz):
    """How far what does not repeat with the turn stands over what does, in the sound of the teeth, dB.

    Where the chatter hides on the comb this compares little: it repeats.
    """
    ratios = []
    for start, end in intervals:
        turns = done.track.turn_starts_s(start, end)
        width = (
            max(8, int(np.ceil(0.1 / max(float(np.median(np.diff(turns))), 1e-4)))) if turns.size > 9 else 0
        )
        for first in range(0, max(turns.size - width, 0), max(1, width)) if width else ():
            ratios.append(split_power(teeth, turns[first : first + width + 1], rate_hz))
    if not ratios:
        return 0.0
    other, periodic = np.array(ratios).T
    ratio = np.sum(other) / max(np.sum(periodic), 1e-12)
    return round(float(np.clip(10 * np.log10(ratio + 1e-9), -MOST_OVER_DB, MOST_OVER_DB)), 1)


def split_power(sound, turn_start_s, rate_hz):
    """Power of what does not repeat with the turn, and of what does."""
    steps = max(16, int(rate_hz * float(np.median(np.diff(turn_start_s)))))
    places = np.interp(
        np.arange((turn_start_s.size - 1) * steps) / steps, np.arange(turn_start_s.size), turn_start_s
    )
    rows = np.interp(places * rate_hz, np.arange(sound.size), sound).reshape(-1, steps)
    mean = rows.mean(axis=0)
    other = float(((rows - mean) ** 2).sum() / max(rows.shape[0] - 1, 1) / steps)
    return other, max(float(np.mean(mean**2)) - other / rows.shape[0], 1e-12)

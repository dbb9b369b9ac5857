"""What sounds without a tooth in metal: spindle, drive, bearings, coolant, hum, the machine next door."""

import numpy as np

from shopmon.cutting.simulation.plan import Neighbour, PassPlan
from shopmon.cutting.simulation.speed_track import SpeedTrack, running

TABLE = 2048
BEARING_ORDER = 4.37  # no whole number, so that it never falls on the comb


def tone_table(harmonics: int, fall: float, rng: np.random.Generator) -> np.ndarray:
    """One period, of unit power, of a sound whose harmonics fall off as 1/k to the power `fall`."""
    order = np.arange(1, harmonics + 1)
    level = order**-fall * np.exp(0.5 * rng.standard_normal(harmonics))
    phase = rng.uniform(0, 2 * np.pi, harmonics)
    angle = 2 * np.pi * np.arange(TABLE) / TABLE
    wave = (level[:, None] * np.cos(order[:, None] * angle + phase[:, None])).sum(axis=0)
    return wave / np.sqrt(np.mean(wave**2))


def played(table: np.ndarray, turns: np.ndarray) -> np.ndarray:
    """Read a period at the given number of turns, interpolating."""
    place = (turns - np.floor(turns)) * TABLE
    index = place.astype(np.int32)
    here = table[index]
    return here + (place - index) * (np.append(table[1:], table[0])[index] - here)


def audible_harmonics(rate_hz: float, fundamental_hz: float, most: int) -> int:
    """How many harmonics stay below the band's edge."""
    return max(1, min(most, int(0.45 * rate_hz / max(fundamental_hz, 1e-3))))


def band_noise(
    count: int, low_hz: float, high_hz: float, rate_hz: float, rng: np.random.Generator
) -> np.ndarray:
    """Noise of unit power within a band."""
    from scipy.signal import butter, sosfilt

    high = min(high_hz, 0.45 * rate_hz)
    shape = butter(1, [min(low_hz, 0.5 * high), high], "bandpass", fs=rate_hz, output="sos")
    noise = sosfilt(shape, rng.standard_normal(count))
    return noise / max(np.sqrt(np.mean(noise**2)), 1e-12)


def spindle_sound(
    plan: PassPlan, track: SpeedTrack, time_s: np.ndarray, rng: np.random.Generator
) -> np.ndarray:
    """Sound of the turning spindle; unit power at full speed, silent at rest."""
    spindle, rate = plan.spindle, plan.sample_rate_hz
    turns = track.turns_at(time_s)
    share = running(plan, time_s)
    rotation_hz = spindle.true_rpm / 60
    table = tone_table(audible_harmonics(rate, rotation_hz, 24), 0.8, rng)
    total = 0.7 * played(table, turns)
    if spindle.belt_ratio:
        belt = tone_table(audible_harmonics(rate, rotation_hz * spindle.belt_ratio, 6), 1.0, rng)
        total += 0.35 * played(belt, turns * spindle.belt_ratio)
    if spindle.gear_teeth:
        gear = tone_table(audible_harmonics(rate, rotation_hz * spindle.gear_teeth, 3), 1.0, rng)
        total += 0.35 * played(gear, turns * spindle.gear_teeth)
    rumble = band_noise(time_s.size, 300, 6000, rate, rng)
    total += 0.6 * rumble * (1 + 0.4 * np.cos(2 * np.pi * BEARING_ORDER * turns))
    total *= share**1.5
    if 0 < spindle.drive_hz < 0.45 * rate:
        total += 0.3 * np.sqrt(2) * np.sin(2 * np.pi * spindle.drive_hz * time_s) * (share > 0)
    return total


def neighbour_sound(
    neighbour: Neighbour, rate_hz: float, time_s: np.ndarray, rng: np.random.Generator
) -> np.ndarray:
    """Comb of another machine, with rotation and tooth passing, of unit power while it runs."""
    rotation_hz = neighbour.rpm / 60
    turns = rotation_hz * time_s + 0.02 * np.sin(2 * np.pi * 0.11 * time_s)
    rotation = played(tone_table(audible_harmonics(rate_hz, rotation_hz, 12), 0.7, rng), turns)
    teeth_hz = rotation_hz * neighbour.flutes
    teeth = played(tone_table(audible_harmonics(rate_hz, teeth_hz, 12), 0.8, rng), turns * neighbour.flutes)
    end = np.inf if neighbour.end_s is None else neighbour.end_s
    gate = np.clip((time_s - neighbour.start_s) / 0.2, 0, 1) * np.clip((end - time_s) / 0.2, 0, 1)
    if neighbour.start_s == 0:
        gate[time_s < 0.2] = 1.0
    return gate * (0.6 * rotation + 0.8 * teeth)


def coolant_gate(plan: PassPlan, time_s: np.ndarray) -> np.ndarray:
    """1 while coolant runs, from the lead before each engagement to the trail after, with soft edges."""
    gate, around = np.zeros(time_s.shape), plan.surroundings
    for engagement in plan.engagements:
        since = (time_s - engagement.start_s + around.coolant_lead_s) / 0.3
        until = (engagement.end_s + around.coolant_trail_s - time_s) / 0.3
        gate = np.maximum(gate, np.clip(np.minimum(since, until), 0, 1))
    return gate


def surrounding_sound(plan: PassPlan, time_s: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Room, coolant, hum and neighbours, in units of the quiet cut's level."""
    around, rate, count = plan.surroundings, plan.sample_rate_hz, time_s.size
    airborne = 1.0 if around.sensor == "microphone" else 0.2
    level = 10 ** (-around.snr_db / 20)
    room = 0.8 * band_noise(count, 40, 900, rate, rng) + 0.6 * band_noise(count, 500, 12000, rate, rng)
    total = level * (np.sqrt(0.2) if around.coolant else 1.0) * room
    if around.coolant:
        flutter = 1 + 0.15 * np.sin(2 * np.pi * 0.7 * time_s) * np.sin(2 * np.pi * 2.3 * time_s)
        total += (
            level
            * np.sqrt(0.8)
            * coolant_gate(plan, time_s)
            * flutter
            * band_noise(count, 900, 9000, rate, rng)
        )
    if around.hum_hz:
        hum = played(tone_table(8, 1.0, rng), around.hum_hz * time_s)
        total += 10 ** (around.hum_db / 20) * hum
    for neighbour in around.neighbours:
        total += airborne * 10 ** (neighbour.level_db / 20) * neighbour_sound(neighbour, rate, time_s, rng)
    return total

"""What else may be heard in a shop: voices, music, bangs, machines, air, and what a recorder does.

Every source gives a float64 array shaped as the times it is asked for, of unit power while it sounds (bangs:
unit peak); the caller sets the level relative to the quiet cut.
"""

import numpy as np
from scipy.signal import butter, lfilter, sosfilt

from tests.bench.detector.chance import log_uniform

VOWELS = ((730, 1090, 2440), (270, 2290, 3010), (300, 870, 2240), (530, 1840, 2480), (570, 840, 2410))


def rms_one(values, sounding=None):
    """Scale to unit power, over the stretch where it sounds."""
    part = values if sounding is None or not np.any(sounding) else values[sounding]
    return values / max(float(np.sqrt(np.mean(part**2))), 1e-12)


def gate(time_s, start_s, end_s, edge_s=0.05):
    """1 from start to end, with straight edges."""
    rise = np.ones_like(time_s) if start_s <= 0 else np.clip((time_s - start_s) / edge_s, 0, 1)
    return rise * np.clip((end_s - time_s) / edge_s, 0, 1)


def phase_of(frequency_hz, rate_hz):
    """Turns made at a frequency that may change from sample to sample."""
    return np.cumsum(frequency_hz) / rate_hz


def smooth_noise(count, rate_hz, corner_hz, rng):
    """Random curve of unit power below a corner of a few hertz, drawn coarsely and joined up."""
    step = max(1, int(rate_hz / (20 * corner_hz)))
    coarse = rng.standard_normal(count // step + 40)
    keep = np.exp(-2 * np.pi * corner_hz * step / rate_hz)
    coarse = lfilter([1 - keep], [1, -keep], coarse)[20:]
    return rms_one(np.interp(np.arange(count), np.arange(coarse.size) * step, coarse))


def voice(time_s, rate_hz, rng):
    """Speech-like sound: glottal pulses through formants that move from syllable to syllable."""
    pitch = rng.uniform(85, 240) * np.exp(0.12 * smooth_noise(time_s.size, rate_hz, 1.5, rng))
    source = np.diff(np.floor(phase_of(pitch, rate_hz)), prepend=0.0) + 0.02 * rng.standard_normal(
        time_s.size
    )
    source = lfilter([0.06], [1, -0.94], source)
    total, at = np.zeros_like(time_s), 0
    while at < time_s.size:
        last = min(at + int(rng.uniform(0.12, 0.35) * rate_hz), time_s.size)
        if rng.random() < 0.78:
            total[at:last] += spoken(source[at:last], rate_hz, rng)
        at = last
    return rms_one(total, np.abs(total) > 0)


def spoken(source, rate_hz, rng):
    """One syllable."""
    sound = source
    for formant in VOWELS[rng.integers(len(VOWELS))]:
        centre = formant * rng.uniform(0.9, 1.1)
        radius = np.exp(-np.pi * 90 / rate_hz)
        sound = lfilter(
            [1 - radius], [1, -2 * radius * np.cos(2 * np.pi * centre / rate_hz), radius**2], sound
        )
    return sound * np.hanning(source.size + 2)[1:-1]


def music(time_s, rate_hz, rng):
    """Notes with a few harmonics, each with its own beginning; two at a time."""
    total = np.zeros_like(time_s)
    for _ in range(2):
        at = 0
        while at < time_s.size:
            last = min(at + int(rng.choice([0.2, 0.4, 0.8]) * rate_hz), time_s.size)
            total[at:last] += note(time_s[: last - at], 110 * 2 ** (rng.integers(0, 36) / 12), rng)
            at = last
    return rms_one(total)


def note(time_s, frequency_hz, rng):
    """One note that dies away."""
    order = np.arange(1, 7)
    level = order ** -rng.uniform(0.8, 1.8)
    waves = np.sin(2 * np.pi * frequency_hz * order[:, None] * time_s)
    return np.clip(time_s / 0.01, 0, 1) * np.exp(-time_s / 0.6) * (level @ waves)


def long_notes(time_s, rate_hz, rng):
    """Notes of any pitch that swell and linger, some partials a little out of tune, over one another."""
    total = np.zeros_like(time_s)
    for _ in range(rng.integers(3, 20)):
        since = time_s - rng.uniform(-0.5, time_s[-1])
        swell = np.clip(since / log_uniform(rng, (0.005, 0.3)), 0, 1)
        lasting = np.exp(-np.maximum(since, 0) / log_uniform(rng, (0.2, 4)))
        partials = log_uniform(rng, (80, 3000)) * np.arange(1, rng.integers(2, 7))
        partials = partials * np.where(rng.random(partials.size) < 1 / 3, rng.uniform(0.99, 1.01), 1)
        loud = log_uniform(rng, (0.1, 1))
        total += loud * swell * lasting * tones(time_s, partials[partials < 0.45 * rate_hz], (0.1, 1), rng)
    return rms_one(total)


def tones(time_s, frequencies_hz, level, rng):
    """Steady tones, each of its own level within a range."""
    total = np.zeros_like(time_s)
    for frequency in frequencies_hz:
        wave = np.cos(2 * np.pi * frequency * time_s + rng.uniform(0, 2 * np.pi))
        total += log_uniform(rng, level) * wave
    return total


def whistle(time_s, rate_hz, rng):
    """One steady tone."""
    return rms_one(tones(time_s, [log_uniform(rng, (60, 4000))], (1, 1), rng))


def signal_tones(time_s, rate_hz, rng):
    """Four tones together, on and off, as of a warning signal."""
    on = np.sin(2 * np.pi * (rng.uniform(0.5, 3) * time_s + rng.random())) > 0
    pitch = [log_uniform(rng, (100, 3000)) for _ in range(4)]
    return rms_one(on * tones(time_s, pitch, (0.2, 1), rng), on)


def steady_comb(time_s, rate_hz, rng):
    """Something that turns at one speed: nineteen harmonics, all of much the same strength."""
    return rms_one(tones(time_s, log_uniform(rng, (15, 200)) * np.arange(1, 20), (0.1, 1), rng))


def hum(time_s, rate_hz, rng):
    """Mains hum, either frequency."""
    turns = rng.choice([50, 60]) * time_s
    return rms_one(sum(np.cos(2 * np.pi * k * turns + k) / k for k in range(1, 9)))


def bang(time_s, rate_hz, rng):
    """Something dropped: a click, then modes that ring down; now and then it bounces."""
    total = np.zeros_like(time_s)
    at = rng.uniform(0.5, max(time_s[-1] - 0.4, 0.6))
    height = 1.0
    for _ in range(rng.integers(1, 4)):
        since = time_s - at
        after = since >= 0
        for _ in range(5):
            frequency, decay = rng.uniform(300, 6000), rng.uniform(0.02, 0.25)
            ring = np.exp(-since[after] / decay) * np.sin(2 * np.pi * frequency * since[after])
            total[after] += height * ring
        total[after] += height * np.exp(-since[after] / 0.002) * rng.standard_normal(after.sum())
        at, height = at + rng.uniform(0.06, 0.3), height * rng.uniform(0.3, 0.7)
    return total / max(float(np.abs(total).max()), 1e-12)


def compressor(time_s, rate_hz, rng):
    """A piston compressor with its motor: thuds with a ring, and twice the mains with slip."""
    beat_hz = rng.uniform(9, 24) * (1 + 0.01 * smooth_noise(time_s.size, rate_hz, 0.5, rng))
    thud = np.diff(np.floor(phase_of(beat_hz, rate_hz)), prepend=0.0)
    radius, centre = np.exp(-np.pi * 30 / rate_hz), rng.uniform(60, 260)
    ring = lfilter([1.0], [1, -2 * radius * np.cos(2 * np.pi * centre / rate_hz), radius**2], thud)
    hum = sum(np.sin(2 * np.pi * 99.3 * k * time_s + k) / k for k in (1, 2, 3, 6))
    return rms_one(rms_one(ring) + 0.5 * rms_one(hum))


def hand_tool(time_s, rate_hz, rng):
    """A universal motor with a gear: a whining comb whose speed sags and recovers."""
    speed_hz = rng.uniform(150, 500) * (1 + 0.04 * smooth_noise(time_s.size, rate_hz, 0.8, rng))
    turns = phase_of(speed_hz * np.clip(0.3 + time_s / 0.5, 0, 1), rate_hz)
    order = np.concatenate([np.arange(1, 9), [rng.integers(9, 14)]])
    level = np.append(np.arange(1, 9) ** -0.7, 0.8) * np.exp(0.5 * rng.standard_normal(9))
    phase = rng.uniform(0, 2 * np.pi, 9)
    whine = sum(a * np.cos(2 * np.pi * k * turns + p) for a, k, p in zip(level, order, phase, strict=True))
    return rms_one(rms_one(whine) + 0.4 * banded(time_s.size, 800, 8000, rate_hz, rng))


def other_spindle(time_s, rate_hz, rng):
    """Another machine's spindle that runs up, holds and runs down, or turns on a ramp all the time."""
    top_hz, flutes = rng.uniform(12, 250), int(rng.integers(2, 7))
    shape = np.clip(time_s / rng.uniform(0.5, 3), 0.02, 1) * (1 + 0.02 * np.sin(2 * np.pi * 0.13 * time_s))
    turns = phase_of(top_hz * shape, rate_hz)
    total = np.zeros_like(time_s)
    for order in (*range(1, 9), *(flutes * k for k in range(1, 6))):
        if top_hz * order < 0.4 * rate_hz:
            wave = np.cos(2 * np.pi * order * turns + rng.uniform(0, 6.3))
            total += order**-0.6 * np.exp(0.5 * rng.standard_normal()) * wave
    return rms_one(total)


def axis_drive(time_s, rate_hz, rng):
    """Whine of a feed axis: a steady tone with harmonics while the table moves."""
    tone_hz = rng.uniform(120, 2200)
    return rms_one(sum(np.sin(2 * np.pi * tone_hz * k * time_s + k * k) / k for k in (1, 2, 3)))


def banded(count, low_hz, high_hz, rate_hz, rng):
    """Noise of unit power within a band."""
    shape = butter(1, [low_hz, min(high_hz, 0.45 * rate_hz)], "bandpass", fs=rate_hz, output="sos")
    return rms_one(sosfilt(shape, rng.standard_normal(count)))


def air_blast(time_s, rate_hz, rng):
    """Hiss of a nozzle, with slow swelling."""
    swell = 1 + 0.2 * smooth_noise(time_s.size, rate_hz, 2.0, rng)
    return rms_one(banded(time_s.size, 1500, 14_000, rate_hz, rng) * swell)


def white(time_s, rate_hz, rng):
    """White noise."""
    return rng.standard_normal(time_s.size)


def pink(time_s, rate_hz, rng):
    """Noise that falls by 3 dB per octave (a well-known fit by three poles)."""
    noise = rng.standard_normal(time_s.size)
    return rms_one(
        lfilter(
            [0.049922035, -0.095993537, 0.050612699, -0.004408786],
            [1, -2.494956002, 2.017265875, -0.522189400],
            noise,
        )
    )


def brown(time_s, rate_hz, rng):
    """Noise that falls by 6 dB per octave above 20 Hz."""
    return rms_one(lfilter([1], [1, -np.exp(-2 * np.pi * 20 / rate_hz)], rng.standard_normal(time_s.size)))


def hiss(time_s, rate_hz, rng):
    """Noise about one frequency, as chips and fans make it."""
    middle, half = rng.uniform(500, 4000), rng.uniform(300, 2000)
    return banded(time_s.size, max(50.0, middle - half), middle + half, rate_hz, rng)


SOURCES = {
    "voice": voice,
    "music": music,
    "bang": bang,
    "compressor": compressor,
    "hand tool": hand_tool,
    "other spindle": other_spindle,
    "axis drive": axis_drive,
    "air blast": air_blast,
    "white noise": white,
    "pink noise": pink,
    "brown noise": brown,
    "hiss": hiss,
    "long notes": long_notes,
    "whistle": whistle,
    "signal tones": signal_tones,
    "steady comb": steady_comb,
    "hum": hum,
}


def automatic_gain(samples, rate_hz, *, attack_s, release_s, target=0.1, most=30.0, strength=1.0):
    """What a recorder with automatic gain makes of a sound: it follows the level and evens it out.

    A strength below 1 evens out that share of the level in dB.
    """
    step = max(1, int(0.002 * rate_hz))
    frames = samples[: samples.size // step * step].reshape(-1, step)
    level, followed = np.sqrt(np.mean(frames**2, axis=1)) + 1e-9, []
    state = float(level[: max(1, int(0.2 * rate_hz / step))].mean())
    for value in level.tolist():
        constant = attack_s if value > state else release_s
        state += (value - state) * min(1.0, step / rate_hz / constant)
        followed.append(state)
    gain = np.minimum(target / np.array(followed), most) ** strength
    return samples * np.interp(np.arange(samples.size), (np.arange(gain.size) + 0.5) * step, gain)

"""From motion and force of a cut to what a sensor hears of it."""

from math import ceil

import numpy as np

from shopmon.cutting.simulation.plan import PassPlan
from shopmon.cutting.simulation.time_domain import Motion

# Resonances between cut and sensor: frequency in Hz, damping ratio, share. Invented, of a small machine's
# order.
MICROPHONE_RESONANCES = (
    (150.0, 0.07, 0.7),
    (340.0, 0.06, 0.8),
    (810.0, 0.05, 0.7),
    (2050.0, 0.04, 0.5),
    (4300.0, 0.05, 0.3),
)
SPINDLE_RESONANCES = ((230.0, 0.05, 0.6), (690.0, 0.04, 0.8), (1750.0, 0.03, 0.7), (5200.0, 0.04, 0.5))
DIRECT = 0.35  # share of the force that comes through off every resonance
TIP_WEIGHT = {
    "microphone": 0.06,
    "accelerometer": 0.03,
}  # N per m/s² of the tip: how much its acceleration adds
HISS_SHARE = 0.15  # of the quiet cut's level: chips breaking
RADIATION_HZ = 3000.0


def cut_sound(
    motion: Motion, plan: PassPlan, samples: int, rng: np.random.Generator
) -> tuple[np.ndarray, int]:
    """Turn one engagement into sound at the recording's rate, in units that are the same for all of a plan.

    Parameters
    ----------
    motion
        Of the engagement.
    plan
        For sensor and rate.
    samples
        Length of the recording; nothing is given beyond it.
    rng
        Drives the noise of the chips.

    Returns
    -------
    sound, first_sample
        Shape ``(frames,)`` and where it belongs.
    """
    rate = plan.sample_rate_hz
    first = ceil(motion.turn_start_s[0] * rate)
    last = min(int(motion.turn_start_s[-1] * rate), samples)
    step_rate = motion.x_m.shape[1] / float(np.min(np.diff(motion.turn_start_s)))
    finer = max(1, ceil(0.75 * step_rate / rate))
    time = np.arange(first * finer, last * finer) / (rate * finer)
    x, y, fx, fy = (
        at_times(values, motion, time) for values in (motion.x_m, motion.y_m, motion.fx_n, motion.fy_n)
    )
    tip = radiated(0.8 * x + y, rate * finer)
    force = 0.7 * fx + fy
    heard = through_structure(force, plan, rate * finer) + TIP_WEIGHT[plan.surroundings.sensor] * tip
    hiss = rng.standard_normal(force.size) * np.hypot(fx, fy) * HISS_SHARE
    return decimated(heard + high_passed(hiss, min(2500.0, 0.4 * rate), rate * finer), finer), first


def at_times(values: np.ndarray, motion: Motion, time_s: np.ndarray) -> np.ndarray:
    """Values of a motion at any times, by the cubic through the four steps around (Catmull-Rom)."""
    flat = values.ravel()
    place = np.interp(time_s, motion.turn_start_s, np.arange(len(motion.turn_start_s))) * values.shape[1]
    index = np.clip(place.astype(int), 1, flat.size - 3)
    part = place - index
    before, here, after, beyond = (flat[index + shift] for shift in (-1, 0, 1, 2))
    bend = 2 * before - 5 * here + 4 * after - beyond + part * (3 * (here - after) + beyond - before)
    return here + 0.5 * part * (after - before + part * bend)


def decimated(values: np.ndarray, finer: int) -> np.ndarray:
    """Bring a finely sampled sound to the recording's rate."""
    if finer == 1:
        return values
    from scipy.signal import resample_poly

    return resample_poly(values, 1, finer)


def radiated(displacement_m: np.ndarray, rate_hz: float) -> np.ndarray:
    """Acceleration of a moving body as far as it radiates: level above a few kilohertz, m/s²."""
    from scipy.signal import lfilter

    acceleration = np.gradient(np.gradient(displacement_m)) * rate_hz**2
    keep = np.exp(-2 * np.pi * RADIATION_HZ / rate_hz)
    return lfilter([1 - keep], [1, -keep], acceleration)


def high_passed(values: np.ndarray, corner_hz: float, rate_hz: float) -> np.ndarray:
    """Take away what lies below a corner frequency."""
    from scipy.signal import butter, sosfilt

    return sosfilt(butter(2, corner_hz, "highpass", fs=rate_hz, output="sos"), values)


def through_structure(force_n: np.ndarray, plan: PassPlan, rate_hz: float) -> np.ndarray:
    """Pass the cutting force through table, part and spindle head to the sensor."""
    from scipy.signal import iirpeak, lfilter

    usual = MICROPHONE_RESONANCES if plan.surroundings.sensor == "microphone" else SPINDLE_RESONANCES
    total = DIRECT * high_passed(force_n, 60.0, rate_hz)
    for frequency, damping, share in plan.surroundings.resonances or usual:
        if frequency < 0.45 * rate_hz:
            total += share * lfilter(*iirpeak(frequency, 1 / (2 * damping), fs=rate_hz), force_n)
    return total


def in_room(
    sound: np.ndarray, reverberation_s: float, rate_hz: float, rng: np.random.Generator
) -> np.ndarray:
    """Add a short reverberation: exponentially decaying noise after the direct sound, shape kept."""
    count = int(reverberation_s * rate_hz)
    if count < 2:
        return sound
    from scipy.signal import oaconvolve

    tail = rng.standard_normal(count) * np.exp(-6.9 * np.arange(count) / count)
    tail *= 0.5 / np.sqrt(np.sum(tail**2))
    tail[: int(0.004 * rate_hz)] = 0
    tail[0] = 1.0
    return oaconvolve(sound, tail)[: sound.size]

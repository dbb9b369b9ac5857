"""Simulated sound of an idling spindle's bearing, healthy or with a seeded defect, truth known.

The usual model of a localised defect: clicks at the defect's rate with a random slip from one to the next,
each ringing a resonance, louder where the load presses (Randall, Antoni, *Mech. Syst. Signal Process.* 25,
2011, 485-520). All figures are invented.
"""

from dataclasses import dataclass

import numpy as np

from shopmon.signals.spindle.bearing_tones import BearingTones, bearing_tones


@dataclass(frozen=True)
class BearingCase:
    """One recording to be judged: samples, rate, stated speed, the bearing, and what is true."""

    samples: np.ndarray
    sample_rate_hz: float
    stated_rpm: float
    tones: BearingTones
    rotation_hz: float
    defect: str | None
    click_db: float | None


def draw_case(rng: np.random.Generator, defect: str | None) -> BearingCase:
    """Draw a spindle, a bearing, a speed off by up to 2 % and a defect of any loudness."""
    rate_hz = float(rng.choice([12_000.0, 25_600.0, 48_000.0]))
    balls = int(rng.integers(7, 21))
    pitch = 30.0
    ball = float(rng.uniform(0.45, 0.85)) * np.pi * pitch / balls * 0.9
    tones = bearing_tones(balls, min(ball, 0.4 * pitch), pitch, float(rng.choice([0.0, 15.0, 25.0])))
    rotation_hz = float(np.exp(rng.uniform(np.log(15), np.log(200))))
    seconds = float(rng.uniform(2, 6))
    click_db = None if defect is None else float(rng.uniform(-20, 0))
    samples = healthy_sound(rng, rate_hz, seconds, rotation_hz)
    if defect is not None:
        clicks = defect_clicks(rng, defect, tones, rotation_hz, rate_hz, seconds)
        samples += clicks / clicks.std() * samples.std() * 10 ** (click_db / 20)
    stated_rpm = 60 * rotation_hz * (1 + rng.uniform(-0.02, 0.02))
    return BearingCase(samples, rate_hz, stated_rpm, tones, rotation_hz, defect, click_db)


def healthy_sound(rng, rate_hz: float, seconds: float, rotation_hz: float) -> np.ndarray:
    """Return noise that beats with rotation, mains and something else, and the shaft's tones."""
    count = int(rate_hz * seconds)
    t = np.arange(count) / rate_hz
    turns = rotation_hz * (t + 0.0005 * np.sin(2 * np.pi * 0.7 * t) / (2 * np.pi * 0.7))
    noise = np.convolve(rng.standard_normal(count), [1, 0.6, 0.3], "same")
    beat = (
        1
        + rng.uniform(0, 0.3) * np.cos(2 * np.pi * turns + 1)
        + rng.uniform(0, 0.1) * np.cos(2 * np.pi * 100 * t)
    )
    beat += rng.uniform(0, 0.12) * np.cos(2 * np.pi * rng.uniform(0.8, 12) * rotation_hz * t)
    out = noise * beat
    for order in range(1, 12):
        out += rng.exponential(0.3) * np.cos(2 * np.pi * order * turns + rng.uniform(0, 2 * np.pi))
    for _ in range(rng.integers(0, 4)):
        out += rng.exponential(0.5) * np.cos(2 * np.pi * rng.uniform(50, 0.4 * rate_hz) * t)
    return out


def defect_clicks(rng, defect: str, tones: BearingTones, rotation_hz, rate_hz, seconds) -> np.ndarray:
    """Return the ringing clicks of a defect of the outer race, the inner race or a ball."""
    rate = getattr(tones, defect) * rotation_hz * (1 - rng.uniform(0, 0.012))
    gaps = 1 / rate * (1 + rng.normal(0, 0.01, int(1.2 * rate * seconds) + 10))
    at_s = rng.uniform(0, 1 / rate) + np.cumsum(gaps)
    at_s = at_s[at_s < seconds]
    load = np.ones(at_s.size)
    if defect == "inner":
        load = np.maximum(0.5 + 0.8 * np.cos(2 * np.pi * rotation_hz * at_s), 0.05)
    if defect == "ball":
        load = np.maximum(0.5 + 0.8 * np.cos(2 * np.pi * tones.cage * rotation_hz * at_s), 0.05)
        load *= rng.exponential(1, at_s.size)
    train = np.zeros(int(rate_hz * seconds))
    np.add.at(train, np.minimum((at_s * rate_hz).astype(int), train.size - 1), load)
    ring_hz, ratio = rng.uniform(1500, 0.38 * rate_hz), rng.uniform(0.02, 0.05)
    t = np.arange(int(0.01 * rate_hz)) / rate_hz
    ringing = np.exp(-ratio * 2 * np.pi * ring_hz * t) * np.sin(2 * np.pi * ring_hz * t)
    return np.convolve(train, ringing)[: train.size]

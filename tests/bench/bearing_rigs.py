"""Recordings of bearings drawn by another recipe than `tests/bearing_sound.py`, to judge the judge.

Here everything happens over the shaft's angle, with a wandering speed: rolling elements pass a spot with
slips that add up (as loose rollers do) and jitter that does not, a path of several resonances answers, and
the healthy machine has what real ones have: misalignment's multiples, gears with sidebands, mains, amplitude
modulated lines near the bearing's own tones, knocks at random. All figures are invented.
"""

from dataclasses import dataclass

import numpy as np

from shopmon.signals.spindle.bearing_tones import BearingTones, bearing_tones

RATES_HZ = (12_000.0, 20_000.0, 48_000.0, 97_656.0)
KINDS = ("healthy", "outer", "inner", "ball")


@dataclass(frozen=True)
class Rig:
    """One recording, and what is true of it."""

    samples: np.ndarray
    sample_rate_hz: float
    stated_rpm: float
    tones: BearingTones
    kind: str
    click_db: float | None
    rotation_hz: float


def draw_rig(number: int) -> Rig:
    """Draw recording `number`; its kind goes round."""
    rng = np.random.default_rng([2611, number])
    kind = KINDS[number % len(KINDS)]
    rate_hz = float(rng.choice(RATES_HZ))
    rotation_hz = float(np.exp(rng.uniform(np.log(10), np.log(100))))
    seconds = max(float(np.exp(rng.uniform(np.log(0.5), np.log(10)))), 22 / rotation_hz)
    tones = _tones(rng)
    count = int(rate_hz * seconds)
    speed = 1 + 0.001 * np.cumsum(rng.standard_normal(count // 1000 + 2)) / np.sqrt(count / 1000 + 2)
    turns = np.cumsum(
        rotation_hz / rate_hz * np.interp(np.arange(count), np.arange(speed.size) * 1000, speed)
    )
    samples = _machine(rng, turns, rate_hz, rotation_hz, tones)
    click_db = None
    if kind != "healthy":
        click_db = float(rng.uniform(-20, 5))
        clicks = _clicks(rng, kind, tones, turns, rate_hz)
        samples = samples / samples.std() + clicks / clicks.std() * 10 ** (click_db / 20)
    stated_rpm = 60 * rotation_hz * (1 + float(rng.uniform(-0.02, 0.02)))
    return Rig(samples, rate_hz, stated_rpm, tones, kind, click_db, rotation_hz)


def _tones(rng) -> BearingTones:
    """Return a bearing by its geometry, or by multipliers as a table rounds them."""
    balls, pitch = int(rng.integers(7, 24)), 40.0
    tones = bearing_tones(
        balls, min(0.85, rng.uniform(0.5, 0.95)) * np.pi * pitch / balls * 0.95 if balls > 8 else 8.0,
        pitch, float(rng.choice([0, 15, 25, 40])),
    )  # fmt: skip
    if rng.random() < 0.5:
        return tones
    return BearingTones(outer=round(tones.outer, 2), inner=round(tones.inner, 2))


def _machine(rng, turns, rate_hz: float, rotation_hz: float, tones: BearingTones) -> np.ndarray:
    count = turns.size
    t = np.arange(count) / rate_hz
    out = _coloured(rng, count, rate_hz)
    # rubbing and load: noise louder once per turn, at mains, and like the cage
    out *= 1 + rng.uniform(0, 0.35) * np.cos(2 * np.pi * (turns + rng.random()))
    mains = float(rng.choice([50.0, 60.0]))
    out *= 1 + rng.uniform(0, 0.15) * np.cos(4 * np.pi * mains * t)
    for order in range(1, 16):  # misalignment and imbalance
        out += rng.exponential(0.6 / order**0.5) * np.cos(2 * np.pi * (order * turns + rng.random()))
    for _ in range(rng.integers(0, 3)):  # gears: mesh multiples with sidebands of both shafts
        teeth, other = int(rng.integers(13, 60)), rng.uniform(0.2, 0.9)
        for multiple in range(1, 4):
            depth = rng.uniform(0, 0.8)
            beat = 1 + depth * np.cos(2 * np.pi * turns) + depth * np.cos(2 * np.pi * other * turns)
            out += rng.exponential(0.4) * beat * np.cos(2 * np.pi * (multiple * teeth * turns + rng.random()))
    for multiple in (1, 2, 3, 4, 6):  # mains and magnetic noise
        out += rng.exponential(0.2) * np.cos(2 * np.pi * mains * multiple * t + 6 * rng.random())
    for _ in range(rng.integers(0, 3)):  # carriers that beat near a tone of the bearing, or anywhere
        near = rng.choice([tones.outer, tones.inner, rng.uniform(0.5, 15)]) * rng.uniform(0.97, 1.03)
        carrier = rng.uniform(500, 0.42 * rate_hz)
        beat = 1 + rng.uniform(0, 0.7) * np.cos(2 * np.pi * near * turns)
        beat += rng.uniform(0, 0.15) * np.cos(4 * np.pi * near * turns + 1)
        out += rng.exponential(0.4) * beat * np.cos(2 * np.pi * carrier * t)
    knocks = np.zeros(count)  # a hall, a valve, something loose
    amount = rng.poisson(rng.uniform(0, 8) * count / rate_hz)
    np.add.at(knocks, rng.integers(0, count, amount), rng.standard_t(2, amount))
    if amount:
        knocks = np.convolve(knocks, _ringing(rng, rate_hz), "full")[:count]
        out += rng.uniform(0, 1.0) * knocks / max(knocks.std(), 1e-12)
    return out


def _coloured(rng, count: int, rate_hz: float) -> np.ndarray:
    spectrum = np.fft.rfft(rng.standard_normal(count))
    hz = np.fft.rfftfreq(count, 1 / rate_hz)
    shape = (1 + hz / 300) ** -rng.uniform(0, 0.7)
    for _ in range(rng.integers(1, 5)):
        peak = np.exp(rng.uniform(np.log(400), np.log(0.45 * rate_hz)))
        shape += rng.exponential(0.7) / (1 + ((hz - peak) / (rng.uniform(0.02, 0.15) * peak)) ** 2)
    noise = np.fft.irfft(spectrum * shape, count)
    return noise / noise.std()


def _ringing(rng, rate_hz: float) -> np.ndarray:
    t = np.arange(int(0.02 * rate_hz)) / rate_hz
    out = np.zeros(t.size)
    for _ in range(rng.integers(1, 4)):
        hz = np.exp(rng.uniform(np.log(1000), np.log(min(15_000, 0.42 * rate_hz))))
        out += (
            rng.exponential(1)
            * np.exp(-2 * np.pi * rng.uniform(0.015, 0.06) * hz * t)
            * np.sin(2 * np.pi * hz * t)
        )
    return out


def _clicks(rng, kind: str, tones: BearingTones, turns, rate_hz: float) -> np.ndarray:
    ball = tones.ball or 2 * tones.inner / 3.1
    per_turn = {"outer": tones.outer, "inner": tones.inner, "ball": ball}[kind] * (
        1 - rng.uniform(-0.003, 0.015)
    )
    amount = int(turns[-1] * per_turn) + 5
    slips = rng.uniform(0.0005, 0.004) * np.cumsum(rng.standard_normal(amount))
    at_turn = rng.random() + np.arange(amount) + slips + rng.uniform(0, 0.015) * rng.standard_normal(amount)
    at_turn = at_turn / per_turn
    at_turn = at_turn[(at_turn > 0) & (at_turn < turns[-1])]
    size = rng.lognormal(0, rng.uniform(0.05, 0.4), at_turn.size)
    cage = (tones.cage or 0.4) * at_turn
    if kind == "inner":  # the defect turns through the load zone
        size *= np.maximum(np.cos(np.pi * np.mod(at_turn + 0.5, 1) - np.pi / 2), 0) ** rng.uniform(0.3, 3)
    if kind == "ball":  # turns about two axes: it strikes when it happens to face a race
        size *= np.maximum(np.cos(2 * np.pi * cage), 0) * rng.exponential(1, size.size)
    where = np.interp(at_turn, turns, np.arange(turns.size))
    train = np.zeros(turns.size)
    np.add.at(train, where.astype(int), size)
    return np.convolve(train, _ringing(rng, rate_hz), "full")[: turns.size]

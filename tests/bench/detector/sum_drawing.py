"""Draw a case that owes nothing to the physics of the simulator: a sum of sines and noise.

What is fitted to one simulator leans on its accidents. Here a comb is any comb, chatter any family of lines
off it, and everything else any tone; the ranges are invented, and wider than those of real machines.
"""

from dataclasses import dataclass

import numpy as np

from shopmon.errors import SettingError
from tests.bench.detector.chance import generator, log_uniform
from tests.bench.detector.drawing import KINDS, Sound

SPEEDS, SPEED_SHARES = ("right", "0.5", "2", "unknown"), (0.3, 0.25, 0.2, 0.25)
NOISES = ("white noise", "pink noise", "brown noise", "hiss")
SOUNDS = ("whistle", "signal tones", "steady comb", "bang", "coolant", "hum", "voice")
SPECIAL = (*SOUNDS, "comb line", "slow gain")
LEVELS_DB = {"bang": (-1, 27), "coolant": (-26, 3.5), "long notes": (-15, 15)}
USUAL_LEVEL_DB = (-25, 3)
LEAST_RINGING_S = 0.3
LEAST_APART_HZ = 5.0


@dataclass(frozen=True, kw_only=True)
class Mix:
    """What a family of sums consists of.

    Attributes
    ----------
    shares
        How often each of `KINDS` is drawn.
    notes
        How often music plays.
    """

    shares: tuple[float, ...]
    notes: float


SUMS = {
    "S": Mix(shares=(0.42, 0.36, 0.08, 0.09, 0.05), notes=0.0),
    # no chatter: tones and music, mostly without a spindle
    "T": Mix(shares=(0.0, 0.1, 0.2, 0.3, 0.4), notes=0.6),
}


@dataclass(frozen=True, kw_only=True)
class Turning:
    """How the spindle turns.

    Attributes
    ----------
    rotation_hz
        As set.
    error, droop
        Shares by which it turns faster when idle, and slower when loaded.
    override
        Start s, share of the speed, and length s of a turn of the override; None means none.
    heard
        Whether it turns at all, as far as the microphone knows.
    """

    rotation_hz: float
    error: float
    droop: float
    override: tuple[float, float, float] | None
    heard: bool

    @property
    def loaded_hz(self):
        """Rotation in the cut, before any override."""
        return self.rotation_hz * (1 + self.error) * (1 - self.droop)


@dataclass(frozen=True, kw_only=True)
class Ringing:
    """Chatter: when, at which frequency it begins, and how far it grows over the comb."""

    spans_s: tuple[tuple[float, float], ...]
    frequency_hz: float
    over_comb_db: float


@dataclass(frozen=True, kw_only=True)
class CombLine:
    """A line of the comb that comes up within the cut: order, when, and amplitude relative to the comb."""

    order: int
    start_s: float
    amplitude: float


@dataclass(frozen=True, kw_only=True)
class SumCase:
    """A case before it is rendered.

    Attributes
    ----------
    family, seed, kind
        Where it was drawn, and what it is.
    duration_s, rate_hz
        Of the recording.
    turning, flutes
        The spindle and its tool.
    engaged_s
        When the tool is in metal.
    ringing, comb_line
        Chatter, and a line that is none; None where there is none.
    noise, snr_db
        One of `NOISES`, and how far the cut stands over it.
    sounds
        What else is heard.
    gain
        Time constant in s and strength of an automatic gain; None means none.
    peak_db
        Highest peak, relative to full scale; above 0 it is clipped.
    told_error, flutes_told
        What the monitor is told.
    """

    family: str
    seed: int
    kind: str
    duration_s: float
    rate_hz: float
    turning: Turning
    flutes: int
    engaged_s: tuple[tuple[float, float], ...]
    ringing: Ringing | None
    comb_line: CombLine | None
    noise: str
    snr_db: float
    sounds: tuple[Sound, ...]
    gain: tuple[float, float] | None
    peak_db: float
    told_error: str
    flutes_told: bool

    @property
    def tags(self):
        """What is special."""
        named = {
            "comb line": self.comb_line is not None,
            "slow gain": self.gain is not None,
            "clipped": self.peak_db > 0,
            "override": self.turning.override is not None,
        }
        names = [sound.name for sound in self.sounds] + [name for name, there in named.items() if there]
        return tuple(dict.fromkeys(names))


def drawn(family, seed, *, sensors=1):
    """Draw a case; same family and seed, same case.

    Parameters
    ----------
    family
        Key of `SUMS`.
    seed
        At least 0.
    sensors
        One only: a sum of sines knows no second place to listen from.

    Raises
    ------
    SettingError
        For more than one sensor.
    """
    if sensors != 1:
        raise SettingError(f"Family {family} has one sensor, not {sensors}.", "Draw it with --sensors 1.")
    rng, mix = generator(family, seed), SUMS[family]
    kind = str(rng.choice(KINDS, p=mix.shares))
    duration = round(float(rng.uniform(6, 8)), 2)
    span = float(rng.uniform(1.2, 3)), float(rng.uniform(4.2, duration - 0.3))
    engaged = engagements(span, rng) if kind in ("chatter", "stable") else ()
    turning = turning_of(kind, span, rng)
    rate = float(rng.choice([48_000, 48_000, 44_100, 16_000]))
    special = [str(name) for name in rng.choice(SPECIAL, rng.poisson(1.1))]
    sounding = [name for name in special if name in SOUNDS] + ["long notes"] * (rng.random() < mix.notes)
    comes_up = kind == "stable" and "comb line" in special
    return SumCase(
        family=family,
        seed=int(seed),
        kind=kind,
        duration_s=duration,
        rate_hz=rate,
        turning=turning,
        flutes=int(rng.integers(1, 8)),
        engaged_s=engaged,
        ringing=ringing_of(engaged, turning.loaded_hz, 0.4 * rate, rng) if kind == "chatter" else None,
        comb_line=comb_line_of(span, turning, rate, rng) if comes_up else None,
        noise=str(rng.choice(NOISES)),
        snr_db=float(rng.uniform(-3, 30)),
        sounds=tuple(sound_of(name, duration, engaged, rng) for name in sounding),
        gain=(log_uniform(rng, (0.05, 1)), float(rng.uniform(0.4, 0.9))) if "slow gain" in special else None,
        peak_db=float(rng.uniform(-34.5, 2.5)) + (9.5 if rng.random() < 0.06 else 0.0),
        told_error=str(rng.choice(SPEEDS, p=SPEED_SHARES)),
        flutes_told=bool(rng.random() < 0.85),
    )


def turning_of(kind, span_s, rng):
    """Draw how the spindle turns; now and then the override is turned while it cuts."""
    override = None
    if rng.random() < 0.1:
        start, share = rng.uniform(*span_s), 1 + rng.uniform(-0.1, 0.1)
        override = float(start), float(share), float(rng.uniform(0.3, 2))
    return Turning(
        rotation_hz=log_uniform(rng, (12, 400)),
        error=float(rng.uniform(-0.003, 0.003)),
        droop=float(rng.uniform(0, 0.01)) if rng.random() < 0.6 else 0.0,
        override=override,
        heard=kind != "noise" and not (kind == "idle" and rng.random() < 0.2),
    )


def engagements(span_s, rng):
    """Draw when the tool is in metal: all of a span, or with a gap."""
    start, end = span_s
    if end - start < 2.4 or rng.random() > 0.25:
        return (span_s,)
    gap = float(rng.uniform(start + 1, end - 1))
    return (start, gap), (gap + float(rng.uniform(0.2, 0.8)), end)


def ringing_of(engaged_s, rotation_hz, highest_hz, rng):
    """Draw chatter: from the first contact or later, to the end or not so long."""
    first, last = engaged_s[0][0], engaged_s[-1][1]
    start = first if rng.random() < 0.35 else rng.uniform(first, first + 0.7 * (last - first))
    end = last if rng.random() < 0.7 else rng.uniform(min(start + 0.8, last), last)
    spans = [(float(max(start, a)), float(min(end, b))) for a, b in engaged_s]
    spans = tuple((a, b) for a, b in spans if b - a > LEAST_RINGING_S)
    return Ringing(
        spans_s=spans or engaged_s,
        frequency_hz=chatter_hz(rotation_hz, highest_hz, rng),
        over_comb_db=float(rng.uniform(-8, 30)),
    )


def chatter_hz(rotation_hz, highest_hz, rng):
    """Draw a frequency that is some hertz off the comb."""
    wanted = min(log_uniform(rng, (28, 700) if rng.random() < 0.25 else (500, 4200)), highest_hz)
    if wanted < 0.6 * rotation_hz:
        wanted = float(rng.uniform(0.6, 8)) * rotation_hz
    line = round(wanted / rotation_hz) * rotation_hz
    if abs(wanted - line) >= LEAST_APART_HZ:
        return wanted
    apart = rng.uniform(LEAST_APART_HZ, np.clip(0.5 * rotation_hz, 5.1, 20))
    return line + float(rng.choice([-1, 1]) * apart)


def comb_line_of(span_s, turning, rate_hz, rng):
    """Draw a line of the comb that comes up within the cut."""
    orders = int(min(60, 0.45 * rate_hz / turning.rotation_hz))
    return CombLine(
        order=int(rng.integers(1, max(2, orders // 2))),
        start_s=float(rng.uniform(*span_s)),
        amplitude=float(rng.uniform(0.3, 3)),
    )


def sound_of(name, duration_s, engaged_s, rng):
    """Draw level and time of another sound; it often comes with the cut, as coolant and drives do."""
    low, high = LEVELS_DB.get(name, USUAL_LEVEL_DB)
    first_contact = engaged_s[0][0] if engaged_s else 0.0
    start, end = float(rng.choice([0, rng.uniform(0, duration_s - 0.5), first_contact])), duration_s
    if rng.random() < 0.4:
        end = start + float(rng.uniform(0.3, 2))
    if name in ("bang", "hum", "long notes"):
        start, end = 0.0, duration_s
    if name == "coolant":
        name = str(rng.choice(["white noise", "pink noise", "hiss"]))
    return Sound(name=name, level_db=float(rng.uniform(low, high)), start_s=start, end_s=end)

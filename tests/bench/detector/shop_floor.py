"""Hours in an invented shop, all cuts stable: the same few passes again and again, and all around them.

A pass is simulated once and taken apart: what repeats each turn, and what does not, which is the tool's own
ringing under the noise of the chips. Of this it is found how long a blow rings, and how strong the blows are
within the turn. The pass is put together again at the speed that the spindle has, for as long as it lasts,
with fresh blows. What would take days to simulate is then a matter of minutes.
"""

from dataclasses import dataclass, replace

import numpy as np
from scipy.signal import oaconvolve

from shopmon.cutting.simulation.machine_sound import spindle_sound, surrounding_sound
from shopmon.cutting.simulation.motion import repetition
from shopmon.cutting.simulation.pass_sound import Streams, moved, quiet_level, sounded
from shopmon.cutting.simulation.plan import Engagement, PassPlan
from shopmon.cutting.simulation.speed_track import speed_track
from tests.bench.detector import drawing
from tests.bench.detector.chance import log_uniform
from tests.bench.detector.families import FAMILIES
from tests.bench.detector.making import AIRBORNE
from tests.bench.detector.surroundings import SOURCES, gate

RATE_HZ = 16_000.0  # what the listener looks at of any higher rate, and a third of the cost
PASSES_AN_HOUR = 5
SIMULATED_S, FROM_S, TO_S = 4.4, 1.2, 4.0
WINDOW, FINER = 6144, 4
FAINTEST = 1e-9  # of the strongest bin's power: below this a spectrum is rounding
DEEPER = 1.15  # stays stable up to here
MARGINAL = 0.1  # half of what counts as chatter: such cuts are counted apart
SHARES = {
    "compressor": 0.2,
    "hand tool": 0.1,
    "voice": 0.2,
    "music": 0.08,
    "bang": 0.15,
    "other spindle": 0.12,
}
LOUDEST_DB = {"bang": 18.0}
STRETCH_S = (70.0, 150.0)


@dataclass(frozen=True, eq=False)
class TakenApart:
    """The teeth of a stable pass, in units of the quiet cut.

    Attributes
    ----------
    plan
        What was simulated.
    wave
        What repeats, over one turn, finely.
    blows
        How strong the chance is that strikes the rest within the turn, over one turn.
    ring
        Answer of the rest to one blow, `WINDOW` samples.
    restless
        Motion that does not repeat with the turn over that which does; see `restlessness`.
    """

    plan: PassPlan
    wave: np.ndarray
    blows: np.ndarray
    ring: np.ndarray
    restless: float = 0.0

    def played(self, turns, rng):
        """The sound at successive samples whose angles are given in turns."""
        struck = around_turn(self.blows, turns) * rng.standard_normal(turns.size)
        return around_turn(self.wave, turns) + oaconvolve(struck, self.ring)[: turns.size]


def around_turn(values, turns):
    """Values given over one turn, at any angles."""
    part = (turns - np.floor(turns)) * values.size
    return np.interp(part, np.arange(values.size + 1), np.append(values, values[0]))


def ring_of(power):
    """Answer to one blow that has a given power spectrum and begins at once (minimum phase).

    Parameters
    ----------
    power
        Shape (WINDOW // 2 + 1,), mean of the squared amplitudes per sample.

    Notes
    -----
    By the folded cepstrum: Oppenheim & Schafer, Discrete-Time Signal Processing, section 13.5 (from memory).
    """
    floor = FAINTEST * power.max()
    cepstrum = np.fft.irfft(0.5 * np.log(np.maximum(power, floor)), WINDOW)
    cepstrum[1 : WINDOW // 2] *= 2
    cepstrum[WINDOW // 2 + 1 :] = 0
    return np.fft.irfft(np.exp(np.fft.rfft(cepstrum)), WINDOW)


def stable_pass(family, rng, around):
    """Draw and simulate one stable pass of a family; returns it taken apart."""
    while True:
        try:
            plan, _ = drawing.pass_of(FAMILIES[family], "stable", rng, family)
        except drawing.Undrawable:
            continue
        depth = max(engagement.ap_max_mm for engagement in plan.engagements)
        bite = Engagement(start_s=0.3, end_s=SIMULATED_S - 0.1, ap_start_mm=depth, entry_s=0.1)
        spindle = replace(plan.spindle, changes=(), droop=0.0)
        plan = replace(
            plan, duration_s=SIMULATED_S, sample_rate_hz=RATE_HZ, engagements=(bite,), spindle=spindle,
            surroundings=around,
        )  # fmt: skip
        done = moved(plan, int(rng.integers(1 << 30)))
        silent = not done.cuts or any(cut.chatter_s for cut in done.cuts)
        if not silent and not any(drawing.verdicts(plan, bite, DEEPER)):
            return TakenApart(plan, *parts(done, around), restlessness(done.motions[0]))


def restlessness(motion):
    """Median share of the steady motion that does not repeat with the turn, in units of what does.

    The truth of a cut is its motion: chatter begins at a fifth (`chatter_intervals`). The noise of the chips
    gives some in any cut, the more the nearer its border is.
    """
    found = repetition(motion)
    steady = (found.time_s > FROM_S) & (found.time_s < TO_S)
    return float(np.median(found.ratio[steady]))


def parts(done, around):
    """Take the steady part of the teeth's sound apart: wave, blows and ring of `TakenApart`."""
    count = round(SIMULATED_S * RATE_HZ)
    teeth = sounded(done, around, count)
    teeth /= quiet_level(teeth, done.cuts, RATE_HZ)
    starts = done.track.turn_starts_s(FROM_S, TO_S)
    steps = int(RATE_HZ * float(np.median(np.diff(starts))))
    places = np.interp(np.arange((starts.size - 1) * steps) / steps, np.arange(starts.size), starts) * RATE_HZ
    rows = np.interp(places, np.arange(count), teeth).reshape(-1, steps)
    wave, rest = rows.mean(axis=0), rows - rows.mean(axis=0)
    fine = np.fft.irfft(np.fft.rfft(wave), FINER * steps) * FINER
    return fine, *struck(rest)


def struck(rest):
    """What strikes within the turn and how it rings; `rest` has a turn in each row."""
    line = rest.ravel()
    firsts = range(0, line.size - WINDOW + 1, WINDOW // 4)
    window = np.hanning(WINDOW)
    power = np.mean(
        [np.abs(np.fft.rfft(window * line[first : first + WINDOW])) ** 2 for first in firsts], axis=0
    )
    ring = ring_of(power / np.sum(window**2))
    chance = np.fft.irfft(np.fft.rfft(line) / np.fft.rfft(ring, line.size), line.size)
    return np.sqrt(np.mean(chance.reshape(rest.shape) ** 2, axis=0)), ring


@dataclass(frozen=True, eq=False)
class Stretch:
    """A minute or two at the machine: one tool, one speed told, a few cuts.

    ``samples`` is float32; ``engaged`` in seconds from its beginning; ``kinds`` names what else was heard;
    ``restless`` as in `TakenApart`.
    """

    samples: np.ndarray
    engaged: tuple[tuple[float, float], ...]
    told_rpm: float | None
    told_flutes: int | None
    kinds: tuple[str, ...]
    restless: float = 0.0

    @property
    def marginal(self):
        """Whether its motion comes within a factor of two of chatter."""
        return self.restless > MARGINAL


def hour(number, seconds=3600.0):
    """Yield the stretches of one hour in the shop.

    Parameters
    ----------
    number
        Which hour: machine, room, tools and chance are its own.
    seconds
        How long.
    """
    rng = np.random.default_rng([71, number])
    family = "ABCDE"[number % 5]
    around = replace(
        drawing.room_of(FAMILIES[family], 100.0, rng),
        snr_db=float(rng.uniform(10, 28)),
        level_dbfs=float(rng.uniform(-38, -20)),
        hum_db=float(rng.uniform(-40, -12)),
        neighbours=(),
    )
    passes = [stable_pass(family, rng, around) for _ in range(PASSES_AN_HOUR)]
    done = 0.0
    while done < seconds:
        made = stretch(
            passes[rng.integers(len(passes))], min(rng.uniform(*STRETCH_S), seconds - done + 30), rng
        )
        done += made.samples.size / RATE_HZ
        yield made


def stretch(made, length_s, rng):
    """Render one stretch: the spindle starts, cuts a few times and, mostly, stops."""
    bites = cuts_within(length_s, rng)
    bites = bites or (Engagement(start_s=8.0, end_s=length_s - 6, ap_start_mm=1.0),)
    around = replace(
        made.plan.surroundings,
        coolant=bool(rng.random() < 0.4),
        coolant_lead_s=float(rng.choice([1.0, 0.0, -0.5])),
        coolant_trail_s=float(rng.choice([0.3, 2.0])),
        neighbours=tuple(drawing.neighbour_of(length_s, rng) for _ in range(int(rng.random() < 0.4))),
    )
    spindle = replace(
        made.plan.spindle,
        start_s=float(rng.uniform(0.5, 3)),
        stop_s=bites[-1].end_s + float(rng.uniform(1, 3)) if rng.random() < 0.7 else None,
        droop=float(rng.uniform(0, 0.01)),
        changes=(override_within(bites, rng),) if rng.random() < 0.2 else (),
    )
    plan = replace(
        made.plan,
        duration_s=length_s,
        engagements=bites,
        spindle=spindle,
        surroundings=around,
        sample_rate_hz=RATE_HZ,
    )
    return sounding(made, plan, rng)


def cuts_within(length_s, rng):
    """Draw cuts of a few seconds up to most of a minute, with short ways in air between them."""
    bites, at = [], float(rng.uniform(6, 9))
    while at + 4 < length_s - 6:
        end = min(at + log_uniform(rng, (3, 45)), length_s - 5)
        bites.append(
            Engagement(start_s=at, end_s=end, ap_start_mm=1.0, entry_s=float(rng.uniform(0.03, 0.5)))
        )
        at = end + log_uniform(rng, (0.4, 8))
    return tuple(bites)


def override_within(bites, rng):
    """Draw a turn of the override within the longest cut, by no more than keeps the pass itself."""
    longest = max(bites, key=lambda bite: bite.end_s - bite.start_s)
    change = drawing.speed_change(longest.start_s + 0.5, longest.end_s - 1, rng)
    return replace(change, override=float(np.clip(change.override, 0.9, 1.1)))


def sounding(made, plan, rng):
    """Put the stretch together: teeth, spindle, surroundings, other sounds."""
    count = round(plan.duration_s * RATE_HZ)
    time = np.arange(count) / RATE_HZ
    track = speed_track(plan, Streams.of(int(rng.integers(1 << 30))).speed)
    total = np.zeros(count)
    for bite in plan.engagements:
        first, last = np.searchsorted(time, [bite.start_s, bite.end_s])
        depth = np.array([bite.depth_mm(moment) for moment in np.arange(bite.start_s, bite.end_s, 0.01)])
        shape = np.interp(time[first:last], bite.start_s + 0.01 * np.arange(depth.size), depth)
        total[first:last] += made.played(track.turns_at(time[first:last]), rng) * shape
    total += 10 ** (plan.spindle.level_db / 20) * spindle_sound(plan, track, time, rng)
    total += surrounding_sound(plan, time, rng)
    kinds, noise = other(plan, time, rng)
    total += AIRBORNE[plan.surroundings.sensor] * noise
    level = min(10 ** (plan.surroundings.level_dbfs / 20), 0.89 / float(np.abs(total).max()))
    error = float(rng.choice([0, 0, 0, 0.005, -0.005, 0.02]))
    told = None if rng.random() < 0.15 else round(plan.spindle.true_rpm * (1 + error), 0)
    return Stretch(
        samples=(level * total).astype(np.float32),
        engaged=tuple((bite.start_s, bite.end_s) for bite in plan.engagements),
        told_rpm=told,
        told_flutes=plan.flutes if told else None,
        kinds=kinds,
        restless=made.restless,
    )


def other(plan, time_s, rng):
    """Draw what else is heard in a stretch: names, and the sound in units of the quiet cut."""
    total, kinds = np.zeros(time_s.size), []
    wanted = [
        (name, float(rng.uniform(2, plan.duration_s - 20))) for name in SHARES if rng.random() < SHARES[name]
    ]
    wanted += [("air blast", bite.start_s - 0.3) for bite in plan.engagements if rng.random() < 0.15]
    wanted += [("axis drive", bite.start_s - 0.5) for bite in plan.engagements if rng.random() < 0.1]
    for name, start in wanted:
        end = min(start + float(rng.uniform(3, 20)), plan.duration_s)
        first, last = np.searchsorted(time_s, [start, end])
        made = SOURCES[name](time_s[first:last] - time_s[first], RATE_HZ, rng)
        level_db = float(rng.uniform(-24, LOUDEST_DB.get(name, -2.0)))
        total[first:last] += 10 ** (level_db / 20) * made * gate(time_s[first:last], start, end, 0.1)
        kinds.append(name)
    return tuple(kinds), total

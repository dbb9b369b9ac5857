"""Render a planned pass: simulate each engagement, turn it into sound, add the shop, tell the truth."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from shopmon.cutting.geometry import tooth_angles
from shopmon.cutting.simulation.machine_sound import spindle_sound, surrounding_sound
from shopmon.cutting.simulation.motion import chatter_intervals, contact, repetition
from shopmon.cutting.simulation.plan import Engagement, PassPlan, Surroundings
from shopmon.cutting.simulation.sound import cut_sound, in_room
from shopmon.cutting.simulation.speed_track import SpeedTrack, speed_track
from shopmon.cutting.simulation.time_domain import (
    Coefficients,
    CutSimulation,
    Cutter,
    Motion,
    simulate_turns,
    steps_per_turn,
)
from shopmon.cutting.simulation.truth import CutTruth, full_depth_stability, truth_of
from shopmon.errors import SettingError

TAIL_S = 0.2  # how long the tool rings after it left the metal
PEAK = 0.89  # one decibel under full scale
FRAME_S = 0.05
LOOP_S = 0.5
SLOWEST_TURN_S = 0.65
RELEASE_S = 0.3  # chatter that ends earlier before the metal does must have a reason
LOCKED = 0.5  # share of the twin's tooth-to-tooth motion that must be there as well

Progress = Callable[[float], None]


@dataclass(frozen=True)
class Streams:
    """Independent random streams of one seed, so that a change in one does not move the others."""

    speed: np.random.Generator
    teeth: np.random.Generator
    force: np.random.Generator
    sound: np.random.Generator
    room: np.random.Generator

    @classmethod
    def of(cls, seed: int) -> "Streams":
        """Make the streams of a seed (0 or a positive whole number)."""
        if not isinstance(seed, (int, np.integer)) or seed < 0:
            raise SettingError(f"seed must be a whole number from 0, not {seed!r}.")
        return cls(*(np.random.default_rng(child) for child in np.random.SeedSequence(int(seed)).spawn(5)))


@dataclass(frozen=True, eq=False)
class MovedPass:
    """A pass as far as it moves: what every sensor then hears in its own way.

    Attributes
    ----------
    plan
        What was asked.
    track
        How the spindle turned.
    offsets_um
        Radial place of each tooth.
    motions, cuts
        Motion and truth of each engagement that touched metal.
    streams
        What chance is still drawn from.
    """

    plan: PassPlan
    track: SpeedTrack
    offsets_um: tuple[float, ...]
    motions: list[Motion]
    cuts: list[CutTruth]
    streams: Streams


def render(plan: PassPlan, seed: int = 0, *, progress: Progress | None = None) -> tuple[np.ndarray, dict]:
    """Render a pass as a sensor would hear it.

    Parameters
    ----------
    plan
        What is cut, by what, where.
    seed
        Same plan and seed, same samples.
    progress
        Called with the share done, from 0 to 1.

    Returns
    -------
    samples
        float32, shape ``(frames,)``, full scale being 1.
    truth
        JSON-able, schema ``shopmon.truth/1``.

    Raises
    ------
    SettingError
        Where the seed is no whole number.
    """
    done = moved(plan, seed, progress=progress)
    overlap = round(LOOP_S * plan.sample_rate_hz) if plan.loops else 0
    cutting = sounded(done, plan.surroundings, round(plan.duration_s * plan.sample_rate_hz) + overlap)
    samples, gain = mixed(plan, done.track, cutting, done.cuts, done.streams.room)
    return closed(samples, overlap), truth_of(plan, seed, done.track, done.offsets_um, done.cuts, gain)


def moved(plan: PassPlan, seed: int = 0, *, progress: Progress | None = None) -> MovedPass:
    """Simulate the motion of a planned pass, engagement by engagement.

    Parameters
    ----------
    plan, seed, progress
        As in `render`.
    """
    streams = Streams.of(seed)
    track = speed_track(plan, streams.speed)
    offsets = tooth_offsets_um(plan, streams.teeth)
    motions, cuts = [], []
    for number in range(len(plan.engagements)):
        step = scaled(progress, number, len(plan.engagements))
        motion, found = engaged_motion(plan, number, track, offsets, streams.force, step)
        if motion is not None:
            motions.append(motion)
            cuts.append(found)
    return MovedPass(plan, track, offsets, motions, cuts, streams)


def sounded(done: MovedPass, around: Surroundings, count: int) -> np.ndarray:
    """What a sensor in those surroundings hears of the teeth alone.

    Parameters
    ----------
    done
        The pass as it moved; its streams of chance are used up, so a second sensor hears other chips fly.
    around
        Sensor, resonances and room.
    count
        Length of the result in samples.
    """
    plan, cutting = replace(done.plan, surroundings=around), np.zeros(count)
    for motion in done.motions:
        sound, first = cut_sound(motion, plan, count, done.streams.sound)
        cutting[first : first + sound.size] += sound
    if around.sensor == "microphone":
        cutting = in_room(cutting, around.reverberation_s, plan.sample_rate_hz, done.streams.room)
    return cutting


def closed(samples: np.ndarray, overlap: int) -> np.ndarray:
    """Blend the last `overlap` frames into the first and drop them: the end runs on into the beginning."""
    if not overlap:
        return samples
    rise = np.sin(np.linspace(0, np.pi / 2, overlap, dtype=np.float32)) ** 2
    body, beyond = samples[:-overlap].copy(), samples[-overlap:]
    body[:overlap] = rise * body[:overlap] + (1 - rise) * beyond
    return body


def scaled(progress: Progress | None, number: int, total: int) -> Progress | None:
    """Progress of one of several parts as progress of the whole."""
    return None if progress is None else lambda share: progress((number + share) / total)


def tooth_offsets_um(plan: PassPlan, rng: np.random.Generator) -> tuple[float, ...]:
    """Radial place of each tooth: eccentricity at a random phase plus random scatter, µm."""
    angle = tooth_angles(plan.flutes, plan.assembly.mill.pitch_deg)
    eccentric = (plan.assembly.runout_um or 0.0) * np.cos(angle + rng.uniform(0, 2 * np.pi))
    offsets = eccentric + plan.tooth_scatter_um * rng.standard_normal(plan.flutes)
    return tuple(float(value) for value in np.round(offsets - offsets.mean(), 3))


def cutter_of(plan: PassPlan, offsets_um: tuple[float, ...]) -> Cutter:
    """Tool of the plan as the simulation needs it."""
    mill = plan.assembly.mill
    return Cutter(
        flutes=plan.flutes,
        diameter_mm=mill.DC,
        helix_deg=mill.FHA or 0.0,
        pitch_deg=mill.pitch_deg,
        offsets_um=offsets_um,
        feed_per_tooth_mm=plan.feed_per_tooth_mm,
    )


def coefficients_of(plan: PassPlan) -> Coefficients:
    """Force coefficients of the plan's material in SI units."""
    material = plan.material
    return Coefficients(
        kt=material.ktc_n_per_mm2 * 1e6,
        kr=(material.krc_n_per_mm2 or 0.0) * 1e6,
        kt_edge=(material.kte_n_per_mm or 0.0) * 1e3,
        kr_edge=(material.kre_n_per_mm or 0.0) * 1e3,
    )


def simulated(
    plan: PassPlan,
    engagement: Engagement,
    turn_start_s: np.ndarray,
    offsets_um: tuple[float, ...],
    rng: np.random.Generator,
    progress: Progress | None,
) -> Motion:
    """Simulate one engagement over the given turns."""
    cutter, arc = cutter_of(plan, offsets_um), plan.entry_exit_rad
    steps = steps_per_turn(cutter, plan.modes, arc[1] - arc[0], float(np.median(np.diff(turn_start_s))))
    simulation = CutSimulation(cutter, plan.modes, coefficients_of(plan), arc, steps, engagement.ap_max_mm)
    return simulate_turns(
        simulation,
        turn_start_s,
        engagement.depth_mm,
        lambda count: 1 + plan.force_noise * rng.standard_normal(count),
        progress,
    )


def turning(track: SpeedTrack, start_s: float, end_s: float) -> np.ndarray:
    """Starts of the turns within an interval, s.

    Raises
    ------
    SettingError
        Where the spindle stands or crawls.
    """
    turns = track.turn_starts_s(start_s, end_s)
    if turns.size < 3 or np.max(np.diff(turns)) > SLOWEST_TURN_S:
        raise SettingError(
            f"The spindle stands or crawls during the engagement from {start_s:g} s.",
            "Start the spindle earlier, stop it later or let the engagement last longer.",
        )
    return turns


def engaged_motion(
    plan: PassPlan,
    number: int,
    track: SpeedTrack,
    offsets_um: tuple[float, ...],
    rng: np.random.Generator,
    progress: Progress | None,
) -> tuple[Motion | None, CutTruth | None]:
    """Simulate one engagement and say what is true of it; None where nothing was touched."""
    engagement = plan.engagements[number]
    following = (
        plan.engagements[number + 1].start_s if number + 1 < len(plan.engagements) else plan.duration_s
    )
    turns = turning(track, engagement.start_s, min(engagement.end_s + TAIL_S, following))
    motion = simulated(plan, engagement, turns, offsets_um, rng, progress)
    engaged = contact(motion)
    if engaged is None:
        return None, None
    chatter = chatter_intervals(motion, engaged, 1, engagement.entry_s)
    until = engaged[1] - engagement.entry_s - RELEASE_S
    if (not chatter or chatter[-1][1] < until) and may_hide_in_comb(plan, engagement):
        twin = simulated(plan, engagement, turns, (), rng, None)
        hidden = hidden_chatter(motion, twin, engaged, plan.flutes, engagement.entry_s)
        if hidden:
            start = min(hidden[0][0], chatter[0][0]) if chatter else hidden[0][0]
            return motion, CutTruth(engagement, engaged, [[start, hidden[-1][1]]], twin, plan.flutes)
    return motion, CutTruth(engagement, engaged, chatter, motion, 1)


def hidden_chatter(
    motion: Motion, twin: Motion, engaged: tuple[float, float], flutes: int, entry_s: float
) -> list[list[float]]:
    """Chatter that a twin without runout shows from tooth to tooth, where the pass itself moves likewise."""
    intervals = chatter_intervals(twin, engaged, flutes, entry_s)
    shared = tooth_to_tooth_m(motion, intervals, flutes) > LOCKED * tooth_to_tooth_m(twin, intervals, flutes)
    return intervals if shared else []


def may_hide_in_comb(plan: PassPlan, engagement: Engagement) -> bool:
    """Whether chatter is due that could repeat each turn, on a rotation line that is no tooth-passing line.

    Period doubling does with an even number of equal teeth, and any chatter may lock to a near line. Only a
    twin pass without runout, compared tooth by tooth, shows it.
    """
    if plan.flutes == 1 or plan.assembly.mill.pitch_deg is not None:
        return False
    return full_depth_stability(plan, engagement).chatters


def tooth_to_tooth_m(motion: Motion, intervals: list[list[float]], flutes: int) -> float:
    """Median root mean square of what differs from tooth to tooth within the intervals, m."""
    found = repetition(motion, flutes)
    inside = np.zeros(found.time_s.size, dtype=bool)
    for start, end in intervals:
        inside |= (found.time_s >= start) & (found.time_s <= end)
    return float(np.median(found.other_m[inside])) if np.any(inside) else 0.0


def mixed(
    plan: PassPlan, track: SpeedTrack, cutting: np.ndarray, cuts: list[CutTruth], rng: np.random.Generator
) -> tuple[np.ndarray, float]:
    """Put cut, spindle and surroundings together at their levels; also returns the gain that was applied."""
    time = np.arange(cutting.size) / plan.sample_rate_hz
    reference = quiet_level(cutting, cuts, plan.sample_rate_hz)
    total = cutting / reference
    total += 10 ** (plan.spindle.level_db / 20) * spindle_sound(plan, track, time, rng)
    total += surrounding_sound(plan, time, rng)
    gain = 10 ** (plan.surroundings.level_dbfs / 20)
    if not plan.surroundings.clip:
        gain = min(gain, PEAK / max(float(np.max(np.abs(total))), 1e-12))
    return np.clip(total * gain, -1, 1).astype(np.float32), gain


def quiet_level(cutting: np.ndarray, cuts: list[CutTruth], rate_hz: float) -> float:
    """Level (r.m.s.) of the quiet cut: median of frames in metal before chatter, else their softest fifth."""
    size = max(1, int(FRAME_S * rate_hz))
    frames = cutting[: cutting.size // size * size].reshape(-1, size)
    level = np.sqrt(np.mean(frames**2, axis=1))
    middle = (np.arange(level.size) + 0.5) * FRAME_S
    engaged = np.zeros(level.size, dtype=bool)
    quiet = engaged.copy()
    for cut in cuts:
        inside = (middle > cut.engaged_s[0] + FRAME_S) & (middle < cut.engaged_s[1] - FRAME_S)
        first = cut.chatter_s[0][0] if cut.chatter_s else np.inf
        engaged |= inside
        quiet |= inside & (middle < first - 2 * FRAME_S)
    if np.any(quiet):
        return float(np.median(level[quiet]))
    return float(np.quantile(level[engaged], 0.2)) if np.any(engaged) else 1.0

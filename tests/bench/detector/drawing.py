"""Draw a case at random: a pass of a family's make, what else is heard, and what the monitor is told."""

from dataclasses import dataclass, replace

import numpy as np

from shopmon.cutting.materials import material
from shopmon.cutting.nouns import EndMillType, Mode, ToolAssembly
from shopmon.cutting.simulation.plan import Neighbour, PassPlan, SpeedChange, Spindle, Surroundings
from shopmon.cutting.simulation.truth import stability_case
from shopmon.cutting.stability.semidiscretization import stability
from shopmon.errors import SettingError
from tests.bench.detector.chance import generator, log_uniform
from tests.bench.detector.families import FAMILIES, MICROPHONE_ROOMS, MOUNTS
from tests.bench.detector.layouts import LAYOUTS, SHAPES, from_the_start
from tests.bench.detector.surroundings import SOURCES

KINDS, SHARES = ("chatter", "stable", "air", "idle", "noise"), (0.42, 0.36, 0.09, 0.06, 0.07)
MOST_WAVES = 40.0  # between two teeth: beyond, the linear theory's grid is too coarse
MARGIN = 0.1
AROUND = ("voice", "music", "bang", "compressor", "hand tool", "other spindle", "axis drive", "air blast")
ATTEMPTS = 60


@dataclass(frozen=True, kw_only=True)
class Sound:
    """Something else that is heard: its name, level relative to the quiet cut, and when."""

    name: str
    level_db: float
    start_s: float
    end_s: float


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """A case before it is rendered.

    Attributes
    ----------
    plan, kind, family, seed
        What is done, and where it was drawn.
    sounds
        What else is heard.
    told_error
        ``"right"``, ``"0.5"``, ``"2"`` (per cent) or ``"unknown"``.
    flutes_told
        Whether the number of flutes is given.
    agc
        Attack and release of an automatic gain, s; None means none.
    clip_db
        How far peaks go over full scale; None means that they do not.
    sensors
        One or two; ``"dead"`` is one that gives next to nothing.
    tags
        What is special.
    """

    plan: PassPlan
    kind: str
    family: str
    seed: int
    sounds: tuple[Sound, ...]
    told_error: str
    flutes_told: bool
    agc: tuple[float, float] | None
    clip_db: float | None
    sensors: tuple[str, ...]
    tags: tuple[str, ...]


def drawn(family, seed, *, sensors=1):
    """Draw a case.

    Parameters
    ----------
    family
        Key of `FAMILIES`.
    seed
        Same family and seed, same case.
    sensors
        Two: microphone and accelerometer, every third time one of them dead.
    """
    rng = generator(family, seed)
    kind = str(rng.choice(KINDS, p=SHARES))
    for _ in range(ATTEMPTS):
        try:
            plan, tags = pass_of(FAMILIES[family], kind, rng, f"{family}{seed}")
            break
        except Undrawable:
            continue
    else:
        raise SettingError(f"Nothing could be drawn for family {family} and seed {seed}.")
    sounds = other_sounds(plan, kind, rng)
    told = str(rng.choice(["right", "0.5", "2", "unknown"]))
    flutes_told = bool(rng.random() < (0.5 if told == "unknown" else 0.92))
    agc = ((0.2, 2.0), (0.01, 0.25))[rng.integers(2)] if rng.random() < 0.06 else None
    clip_db = float(rng.uniform(3, 12)) if agc is None and rng.random() < 0.06 else None
    tags = (*tags, *(sound.name for sound in sounds), *room_tags(plan, agc, clip_db))
    return Drawn(
        plan=plan, kind=kind, family=family, seed=int(seed), sounds=sounds, told_error=told,
        flutes_told=flutes_told, agc=agc, clip_db=clip_db, sensors=sensors_of(plan, sensors, rng),
        tags=tuple(dict.fromkeys(tags)),
    )  # fmt: skip


class Undrawable(Exception):
    """What was drawn makes no sense; another draw is tried."""


def room_tags(plan, agc, clip_db):
    """Name what is special about room and recorder."""
    around = plan.surroundings
    named = {
        "coolant": around.coolant and bool(plan.engagements),
        "neighbour": any(neighbour.start_s == 0 for neighbour in around.neighbours),
        "neighbour starts": any(neighbour.start_s > 0 for neighbour in around.neighbours),
        "slow gain": agc is not None and agc[0] > 0.1,
        "fast gain": agc is not None and agc[0] < 0.1,
        "clipped": clip_db is not None,
        "strong hum": around.hum_db > -12,
    }
    return tuple(name for name, there in named.items() if there)


def sensors_of(plan, sensors, rng):
    """Return what is listened through."""
    if sensors == 1:
        return (plan.surroundings.sensor,)
    pair = ["microphone", "accelerometer"]
    if rng.random() < 1 / 3:
        pair[rng.integers(2)] = "dead"
    return tuple(pair)


def pass_of(family, kind, rng, name):
    """Draw the pass: everything that the simulator knows."""
    rpm = float(np.round(log_uniform(rng, family.rpm), 0))
    flutes = int(rng.choice(family.flutes))
    diameter = float(np.round(log_uniform(rng, family.diameter_mm) * 2) / 2)
    milling = str(rng.choice(["climb", "climb", "conventional", "slot"]))
    length = float(rng.uniform(6, 9))
    runout, feed = runout_and_feed(family, diameter, rng)
    plan = PassPlan(
        name=name,
        duration_s=length,
        sample_rate_hz=float(rng.choice([48_000, 48_000, 48_000, 44_100])),
        assembly=ToolAssembly(mill=end_mill(family, flutes, diameter, rng), runout_um=runout),
        material=material(str(rng.choice(family.materials))),
        modes=modes_of(family, rpm * flutes / 60, rng),
        milling=milling,
        ae_mm=diameter if milling == "slot" else float(rng.uniform(0.04, 0.7) * diameter),
        feed_per_tooth_mm=feed,
        tooth_scatter_um=float(rng.choice([0.5, 1.0, 4.0])),
        spindle=spindle_of(rpm, rng),
        surroundings=room_of(family, length, rng),
    )
    if kind in ("chatter", "stable"):
        return cutting(plan, kind, rng)
    return idling(plan, kind, rng)


def runout_and_feed(family, diameter, rng):
    """Draw runout (often as large as the feed, so that some teeth never cut) and feed per tooth."""
    feed = float(np.clip(diameter * log_uniform(rng, (0.002, 0.01)), 0.01, 0.15))
    runout = float(rng.uniform(*family.runout_um))
    if rng.random() < 0.4:
        runout = float(np.clip(1000 * feed * rng.uniform(0.4, 1.2), *family.runout_um))
    return runout, feed


def end_mill(family, flutes, diameter, rng):
    """Draw an end mill, now and then of unequal pitch."""
    pitch = None
    if flutes > 1 and rng.random() < family.variable_pitch:
        angles = 360 / flutes + rng.uniform(-0.12, 0.12, flutes) * 360 / flutes
        whole = np.round(angles, 0)
        pitch = tuple(float(angle) for angle in (*whole[:-1], 360 - whole[:-1].sum()))
    return EndMillType(DC=diameter, NOF=flutes, FHA=float(rng.choice(family.helix_deg)), pitch_deg=pitch)


def modes_of(family, tooth_hz, rng):
    """Draw tool modes and, where the frame gives, a frame mode that is softer."""
    soft = family.frame_hz is not None and rng.random() < family.frame_share
    tool = log_uniform(rng, family.tool_hz)
    main = log_uniform(rng, family.frame_hz) if soft else tool
    if main / tooth_hz > MOST_WAVES or main / tooth_hz < 0.3:
        raise Undrawable
    stiffness = log_uniform(rng, family.stiffness_n_per_m)
    modes = pair(main, log_uniform(rng, family.damping_ratio), stiffness, rng)
    if soft and 4 * main < tool < MOST_WAVES * tooth_hz:
        modes += pair(tool, log_uniform(rng, family.damping_ratio), 8 * stiffness, rng)
    return modes


def pair(frequency, damping, stiffness, rng):
    """One mode along the feed and one across, somewhat apart."""
    apart, harder = rng.uniform(0.9, 1.15), rng.uniform(0.7, 1.6)
    return (
        Mode(axis="x", frequency_hz=frequency, damping_ratio=damping, stiffness_n_per_m=stiffness),
        Mode(
            axis="y",
            frequency_hz=frequency * apart,
            damping_ratio=float(np.clip(damping * rng.uniform(0.7, 1.3), 0.008, 0.09)),
            stiffness_n_per_m=stiffness * harder,
        ),
    )


def spindle_of(rpm, rng):
    """Draw how the spindle turns; the speed is the true one, what is told comes later."""
    return Spindle(
        nominal_rpm=rpm,
        droop=float(rng.uniform(0, 0.012)),
        wander=float(rng.choice([1e-4, 3e-4, 1e-3])),
        level_db=float(rng.uniform(-28, -4)),
        belt_ratio=float(rng.choice([0, 0, 0.62, 0.47])),
        gear_teeth=int(rng.choice([0, 0, 0, 19, 27])),
        drive_hz=float(rng.choice([0, 4000, 8000])),
    )


def room_of(family, length, rng):
    """Draw sensor, noise, coolant, hum and machines nearby."""
    sensor = "accelerometer" if rng.random() < family.accelerometer else "microphone"
    resonances = (MICROPHONE_ROOMS if sensor == "microphone" else MOUNTS)[
        family.room if sensor == "microphone" else family.mount
    ]
    neighbours = tuple(
        neighbour_of(length, rng) for _ in range(int(rng.choice([0, 1, 2], p=[0.6, 0.33, 0.07])))
    )
    return Surroundings(
        sensor=sensor,
        snr_db=float(rng.uniform(-5, 30)) if rng.random() < 0.9 else float(rng.uniform(0, 12)),
        level_dbfs=float(rng.uniform(-45, -12)),
        coolant=bool(rng.random() < 0.35),
        coolant_lead_s=float(rng.choice([0.8, 0.0, 0.0, -0.4])),
        coolant_trail_s=float(rng.choice([0.4, 0.0, 1.5])),
        hum_hz=family.mains_hz,
        hum_db=float(rng.uniform(-40, -4)),
        neighbours=neighbours,
        reverberation_s=float(rng.uniform(*family.reverberation_s)),
        resonances=resonances,
    )


def neighbour_of(length, rng):
    """Draw a machine next door, that may start or stop in mid-recording."""
    start = float(rng.uniform(1, length - 1)) if rng.random() < 0.5 else 0.0
    stops = start == 0.0 and rng.random() < 0.3
    return Neighbour(
        rpm=log_uniform(rng, (500, 9000)),
        flutes=int(rng.integers(1, 7)),
        level_db=float(rng.uniform(-26, 0)),
        start_s=start,
        end_s=float(rng.uniform(2, length - 1)) if stops else None,
    )


def idling(plan, kind, rng):
    """Make a pass without metal: idle spindle, air cut (the feed moves), or no spindle at all."""
    level = float(rng.uniform(-20, 0))
    spindle, tags = replace(plan.spindle, level_db=level), [kind]
    if kind == "noise":
        spindle = replace(spindle, level_db=-120.0, drive_hz=0.0)
    elif kind == "idle" and rng.random() < 0.6:
        up, down = float(rng.uniform(0.3, 1.5)), float(rng.uniform(4, plan.duration_s - 0.5))
        spindle = replace(spindle, start_s=up, stop_s=down, ramp_s=float(rng.uniform(0.4, 2.5)))
        tags.append("spindle ramps")
    elif rng.random() < 0.3:
        spindle = replace(spindle, changes=(speed_change(2.0, plan.duration_s - 1.5, rng),))
        tags.append("override")
    return replace(plan, spindle=spindle), tuple(tags)


def speed_change(first_s, last_s, rng):
    """Draw a turn of the override: mostly a step of 10 %, now and then a long ramp."""
    share = 1 + float(rng.choice([-0.2, -0.1, -0.1, 0.1, 0.1, 0.2])) * float(rng.uniform(0.5, 1))
    ramp = float(rng.uniform(0.1, 0.5)) if rng.random() < 0.6 else float(rng.uniform(1, 3))
    return SpeedChange(start_s=float(rng.uniform(first_s, last_s)), override=share, ramp_s=ramp)


def cutting(plan, kind, rng):
    """Give a pass its engagements, and modes stiff or soft enough for the wanted side of the border."""
    depth = float(np.clip(plan.assembly.mill.DC * log_uniform(rng, (0.04, 0.8)), 0.15, 12))
    shape = str(rng.choice(SHAPES[kind][0], p=SHAPES[kind][1]))
    engagements = LAYOUTS[shape](plan, depth, rng)
    tags = [shape, plan.milling]
    if rng.random() < 0.07:
        engagements = from_the_start(engagements)
        tags.append("no quiet before")
    if shape in ("plain", "ramp") and rng.random() < 0.25:
        inside = engagements[0]
        change = speed_change(inside.start_s + 0.5, inside.end_s - 1.0, rng)
        plan = replace(plan, spindle=replace(plan.spindle, changes=(change,)))
        tags.append("override")
    plan = replace(plan, engagements=engagements)
    scale = border(plan, max(engagement.ap_max_mm for engagement in engagements))
    factor = rng.uniform(1.2, 2.6) if kind == "chatter" else rng.uniform(0.3, 0.85)
    plan = replace(plan, modes=scaled(plan.modes, scale / factor))
    if not 1e5 < plan.modes[0].stiffness_n_per_m < 4e8:
        raise Undrawable
    return plan, (*tags, *tool_tags(plan))


def tool_tags(plan):
    """Name what is special about tool and modes."""
    named = {
        "unequal pitch": plan.assembly.mill.pitch_deg is not None,
        "frame mode": plan.modes[0].frequency_hz < 800,
        "runout over feed": (plan.assembly.runout_um or 0) > 500 * plan.feed_per_tooth_mm,
    }
    return [name for name, there in named.items() if there]


def scaled(modes, factor):
    """The modes, all stiffer by a factor."""
    return tuple(replace(mode, stiffness_n_per_m=mode.stiffness_n_per_m * factor) for mode in modes)


def loaded_rpm(plan):
    """Every speed that the pass dwells at, rpm."""
    return [plan.spindle.true_rpm * (1 - plan.spindle.droop) * share for share in plan.spindle.overrides]


def border(plan, depth_mm):
    """Find the factor of stiffness at which the deepest moment of a pass is on the border, to some 4 %."""
    low, high = 1e-3, 1e3

    def rings(factor):
        case = stability_case(replace(plan, modes=scaled(plan.modes, factor)))
        return stability(case, loaded_rpm(plan)[0], depth_mm, step_rad=0.3).chatters

    guess = 1.0
    step = 8.0
    while low < guess < high and step > 1.04:
        if rings(guess):
            low = guess
        else:
            high = guess
        if low > 1e-3 and high < 1e3:
            step = (high / low) ** 0.5
            guess = low * step
        else:
            guess = guess * step if low == guess else guess / step
    if low == 1e-3 or high == 1e3:
        raise Undrawable
    return (low * high) ** 0.5


def verdicts(plan, engagement, share):
    """Whether linear theory calls a pass unstable, at every speed it dwells at, at a share of its depth."""
    case = stability_case(plan)
    depth = engagement.ap_max_mm * share
    return [stability(case, rpm, depth).chatters for rpm in loaded_rpm(plan)]


def other_sounds(plan, kind, rng):
    """Draw what else is heard; where there is no metal, more of it."""
    often = {"chatter": 0.09, "stable": 0.09, "air": 0.13, "idle": 0.12, "noise": 0.2}[kind]
    sounds = [sound_of(name, plan, rng) for name in AROUND if rng.random() < often]
    if kind == "noise":
        sounds.append(sound_of(str(rng.choice(["white noise", "pink noise", "voice", "music"])), plan, rng))
    if kind == "air":
        sounds.append(sound_of("axis drive", plan, rng))
    return tuple({sound.name: sound for sound in sounds}.values())


def sound_of(name, plan, rng):
    """Draw level and time of one other sound; tied to the first engagement where that is how it comes."""
    assert name in SOURCES
    low, high = {"bang": (3, 24), "axis drive": (-24, -6), "air blast": (-14, 4)}.get(name, (-20, 2))
    start, end = 0.0, plan.duration_s
    if name in ("air blast", "axis drive") and plan.engagements:
        start = max(0.0, plan.engagements[0].start_s + float(rng.choice([-0.8, -0.3, 0.0, 0.3])))
        end = min(plan.duration_s, plan.engagements[-1].end_s + float(rng.choice([-0.2, 0.0, 0.5])))
    elif name not in ("bang", "white noise", "pink noise") and rng.random() < 0.6:
        start = float(rng.uniform(0.8, plan.duration_s - 2))
        end = float(rng.uniform(start + 1, plan.duration_s + 1))
    return Sound(
        name=name, level_db=float(rng.uniform(low, high)), start_s=start, end_s=max(end, start + 0.5)
    )

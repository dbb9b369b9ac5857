"""How often the first speed advised from one line is truly quiet, on systems that the advice does not know.

Machines are those of `bench_learning`, not of the advice's own ranges. Each cuts at a random speed, 1.05 to 3
times as deep as its border there; only cuts count for which some speed within the machine's range is quiet at
that depth. A line is off by 0.3 %. Beside it: the plain rule n = 60 f / (N k), the fastest within the range.
Further: what is gained by offering only the likelier speeds, how the depth fares that is advised instead, and
how many cuts are quiet after a second and third try, each told the lines of those before.
"""

import time

import numpy as np

from shopmon.cutting.advising.one_line import ChatterTone, SpeedLimits, advise
from tests.bench.bench_learning import LINE_ERROR, draw_machine

CASES, FIRST_SEED = 100, 20_000
MOST_WAVES = 20  # between teeth; slower speeds count as none
TRIES, LEAST_CHANCES = 3, (0.0, 0.2, 0.3, 0.4, 0.5, 0.6)


def draw_case(seed):
    """A machine with a ringing cut that some other speed would quieten: speed, depth, line."""
    while True:
        machine, rng = draw_machine(seed)
        seed += 1_000_000
        job = machine.job
        rpm = float(rng.uniform(job.min_rpm, job.max_rpm))
        depths = np.geomspace(job.min_ap_mm, job.max_ap_mm, 60)
        rings = machine.hear(rpm, depths)[0] > 1
        if not rings.any():
            continue
        ap_mm = float(depths[int(np.argmax(rings))] * rng.uniform(1.05, 3.0))
        radius, line = machine.hear(rpm, ap_mm)
        slowest = max(job.min_rpm, 60 * float(line) / (job.flutes * MOST_WAVES))
        if radius <= 1 or slowest >= job.max_rpm:
            continue
        others = machine.hear(np.linspace(slowest, job.max_rpm, 60), ap_mm)[0]
        if (others < 1).any():
            return machine, rpm, ap_mm, float(line) * (1 + LINE_ERROR * rng.standard_normal())


def ask(machine, heard, told=True):
    """Advice on the newest of the lines heard, each with its speed; and what it cost, s of the processor."""
    job = machine.job
    known = {"milling": job.milling, "diameter_mm": job.diameter_mm, "ae_mm": job.ae_mm} if told else {}
    tones = [ChatterTone(frequency_hz=line, rpm=rpm, flutes=job.flutes, **known) for rpm, line in heard]
    begin = time.process_time()
    advice = advise(tones[-1], SpeedLimits(min_rpm=job.min_rpm, max_rpm=job.max_rpm), tuple(tones[-2::-1]))
    return advice, time.process_time() - begin


def first_speed(advice):
    """The first speed among pieces of advice; None where none is offered."""
    return next((entry for entry in advice if entry.action == "speed"), None)


def plain_rule(machine, line_hz):
    """The fastest speed within the range by n = 60 f / (N k)."""
    job = machine.job
    plain = [60 * line_hz / (job.flutes * k) for k in range(1, 60)]
    return next((one for one in plain if job.min_rpm <= one <= job.max_rpm), None)


def quiet(machine, rpm, ap_mm):
    """Whether a cut is truly quiet; None where no speed is offered."""
    return None if rpm is None else bool(machine.hear(rpm, ap_mm)[0] < 1)


def quiet_after(machine, ap_mm, heard, speed, rng):
    """Number of the try that was quiet, each told the lines of those before; None where none was."""
    for number in range(1, TRIES + 1):
        if speed is None:
            return None
        radius, line = (float(one) for one in machine.hear(speed.rpm, ap_mm))
        if radius < 1:
            return number
        heard = [*heard, (speed.rpm, line * (1 + LINE_ERROR * rng.standard_normal()))]
        speed = first_speed(ask(machine, heard)[0]) if number < TRIES else None
    return None


def depth_told(advice):
    """Share of the depth that is advised instead; None where it is left open."""
    reason = next((entry.reason for entry in advice if entry.action == "less-depth"), "")
    return float(reason.split("with ")[1].split(" %")[0]) / 100 if "% of its depth" in reason else None


def share(name, found):
    """Print the share of truly quiet ones, of all and of those offered, with 95 % intervals."""
    offered = [one for one in found if one is not None]
    print(f"{name:>16}: truly quiet", end="")
    for count, of in ((len(found), "all"), (len(offered), "those offered")):
        part = sum(offered) / max(1, count)
        error = 1.96 * np.sqrt(part * (1 - part) / max(1, count))
        print(f" {100 * part:.0f} ± {100 * error:.0f} % of {of} ({count})", end="")
    print()


def main(cases=CASES, first=FIRST_SEED):
    """Print the shares."""
    found = {"told": [], "not told": [], "n = 60 f/(N k)": []}
    chances, depths, tries, seconds = [], [], [], []
    for seed in range(first, first + cases):
        machine, rpm, ap_mm, line = draw_case(seed)
        for name in ("told", "not told"):
            advice, spent = ask(machine, [(rpm, line)], name == "told")
            speed = first_speed(advice)
            found[name].append(quiet(machine, speed and speed.rpm, ap_mm))
            seconds.append(spent)
            if name == "told":
                chances.append(speed.probability_quiet if speed else -1.0)
                part = depth_told(advice)
                depths.append(None if part is None else quiet(machine, rpm, part * ap_mm))
                rng = np.random.default_rng([seed, 2])
                tries.append(quiet_after(machine, ap_mm, [(rpm, line)], speed, rng))
        found["n = 60 f/(N k)"].append(quiet(machine, plain_rule(machine, line), ap_mm))
    print(f"{cases} cuts that some speed would quieten; first speed advised")
    for name, each in found.items():
        share(name, each)
    for least in LEAST_CHANCES:
        likely = [
            one if chance >= least else None for one, chance in zip(found["told"], chances, strict=True)
        ]
        share(f"said >= {100 * least:.0f} %", likely)
    share("less depth, 80 %", depths)
    for number in range(1, TRIES + 1):
        done = sum(one is not None and one <= number for one in tries)
        print(f"quiet after {number} tries: {100 * done / cases:.0f} % of all")
    print(f"processor time of a question: mean {np.mean(seconds):.2f} s, most {max(seconds):.2f} s")

"""How often the first speed advised from one line is truly quiet, on systems that the advice does not know.

Machines are those of `bench_learning`, not of the advice's own ranges. Each cuts at a random speed, 1.05 to 3
times as deep as its border there; only cuts count for which some speed within the machine's range is quiet at
that depth. A line is off by 0.3 %. Beside it: the plain rule n = 60 f / (N k), the fastest within the range.
"""

import time

import numpy as np

from shopmon.cutting.advising.one_line import ChatterTone, SpeedLimits, advise
from tests.bench.bench_learning import LINE_ERROR, draw_machine

CASES, FIRST_SEED = 100, 20_000
MOST_WAVES = 20  # between teeth; slower speeds count as none


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


def first_speeds(machine, rpm, line_hz):
    """First speed told the cut, not told it, and by the plain rule; None where none is offered at all."""
    job = machine.job
    limits = SpeedLimits(min_rpm=job.min_rpm, max_rpm=job.max_rpm)
    known = {"milling": job.milling, "diameter_mm": job.diameter_mm, "ae_mm": job.ae_mm}
    speeds = {}
    for name, told in (("told", known), ("not told", {})):
        advice = advise(ChatterTone(frequency_hz=line_hz, rpm=rpm, flutes=job.flutes, **told), limits)
        speeds[name] = next((entry.rpm for entry in advice if entry.action == "speed"), None)
    plain = [60 * line_hz / (job.flutes * k) for k in range(1, 60)]
    inside = [one for one in plain if job.min_rpm <= one <= job.max_rpm]
    speeds["n = 60 f/(N k)"] = inside[0] if inside else None
    return speeds


def main(cases=CASES, first=FIRST_SEED):
    """Print the shares."""
    quiet, begin = {}, time.process_time()
    for seed in range(first, first + cases):
        machine, rpm, ap_mm, line = draw_case(seed)
        for name, speed in first_speeds(machine, rpm, line).items():
            told = None if speed is None else bool(machine.hear(speed, ap_mm)[0] < 1)
            quiet.setdefault(name, []).append(told)
    print(f"{cases} cuts that some speed would quieten; first speed advised")
    for name, found in quiet.items():
        offered = [one for one in found if one is not None]
        share = sum(offered) / len(found)
        error = 1.96 * np.sqrt(share * (1 - share) / len(found))
        print(f"{name:>16}: truly quiet {100 * share:.0f} ± {100 * error:.0f} % of all", end="")
        print(f", {100 * np.mean(offered):.0f} % of the {len(offered)} offered")
    print(f"processor time: {(time.process_time() - begin) / cases:.1f} s for a case")

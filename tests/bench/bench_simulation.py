"""What simulating costs, beside real time: ``python tests/bench/run.py simulation``."""

import time
from dataclasses import replace

import numpy as np

from shopmon.cutting.simulation.modal_steps import modal_step
from shopmon.cutting.simulation.pass_sound import render, simulated
from shopmon.cutting.simulation.plan import Engagement, PassPlan
from shopmon.cutting.simulation.scenarios import assembly, bending, scenario
from shopmon.cutting.simulation.truth import stability_case
from shopmon.cutting.stability.semidiscretization import stability

CASES = ((500, 1), (3000, 4), (10000, 3), (20000, 2), (24000, 7))


def plan_of(rpm: float, flutes: int) -> PassPlan:
    """Four seconds in the cut at a speed with a number of flutes."""
    plan = scenario("quiet-pass")
    return replace(
        plan, duration_s=4.0, engagements=(Engagement(start_s=0.1, end_s=3.9, ap_start_mm=0.5),),
        assembly=assembly(10, flutes, stickout_mm=30, runout_um=8), modes=bending(1800.0, 0.03, 3e7),
        spindle=replace(plan.spindle, nominal_rpm=float(rpm)),
    )  # fmt: skip


def cpu_s(work) -> float:
    """CPU seconds of one call, the better of two."""
    times = []
    for _ in range(2):
        begin = time.process_time()
        work()
        times.append(time.process_time() - begin)
    return min(times)


def motion_s(plan: PassPlan) -> float:
    """CPU seconds of the bare motion per second of cut."""
    turns = np.arange(0, 2.0, 60 / plan.spindle.nominal_rpm)
    engagement = Engagement(start_s=0, end_s=3, ap_start_mm=0.5)
    return cpu_s(lambda: simulated(plan, engagement, turns, (), np.random.default_rng(0), None)) / float(
        turns[-1]
    )


def loop_s(plan: PassPlan) -> float:
    """CPU seconds, per second, of a bare Python loop that only steps the modes: the floor of the method."""
    fastest = max(mode.angular_frequency for mode in plan.modes)
    steps = int(fastest / 0.2)
    step = modal_step(plan.modes, "x", 1 / steps)

    def loop():
        along = across = 0j
        for _ in range(steps):
            along = step.decay[0] * along + step.held[0]
            across = step.decay[0] * across + step.held[0]

    return cpu_s(loop)


def main() -> None:
    """Print the tables."""
    print("simulated seconds per CPU second (real time = 1); yardstick: a bare loop stepping two modes")
    print(f"{'rpm':>6} {'flutes':>6} {'motion':>8} {'whole render':>13} {'bare loop':>10}")
    for rpm, flutes in CASES:
        plan = plan_of(rpm, flutes)
        rendered = plan.duration_s / cpu_s(lambda plan=plan: render(plan, 1))
        print(f"{rpm:6} {flutes:6} {1 / motion_s(plan):8.1f} {rendered:13.1f} {1 / loop_s(plan):10.1f}")
    print("\nstability of one point, CPU ms; yardstick: eigenvalues of one 400 x 400 matrix in numpy")
    matrix = np.random.default_rng(0).standard_normal((400, 400))
    yard_ms = 1e3 * cpu_s(lambda: np.linalg.eigvals(matrix))
    for rpm, flutes in CASES[1:]:
        case = stability_case(plan_of(rpm, flutes))
        point_ms = 1e3 * cpu_s(lambda case=case, rpm=rpm: stability(case, rpm, 0.5))
        print(f"{rpm:6} {flutes:6} {point_ms:8.1f} {yard_ms:13.1f}")


if __name__ == "__main__":
    main()

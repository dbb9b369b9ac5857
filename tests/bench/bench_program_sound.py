"""A short program followed by real listening: three tools rendered by the simulator, the speed not told.

It stands beside `bench_program_following`, whose listener is invented: here the steps come from the listener
itself. Tools 2 and 3 turn alike.
"""

import numpy as np

from shopmon.cutting.materials import material
from shopmon.cutting.program.reading import read_program
from shopmon.cutting.simulation.pass_sound import render
from shopmon.cutting.simulation.plan import Engagement, PassPlan, Spindle, Surroundings
from shopmon.cutting.simulation.scenarios import assembly, bending
from shopmon.listening.events import CutEnded, Frame
from shopmon.listening.following.model import ProgramModel
from shopmon.listening.following.run import ProgramRun
from tests.listening.hearing import listen

RATE_HZ, SECONDS = 48_000.0, 24.0
# number, speed, diameter, flutes, engagements
TOOLS = (
    (1, 9000, 10, 3, ((6.0, 9.0), (10.0, 13.0), (14.0, 17.0))),
    (2, 12000, 8, 3, ((6.0, 16.0),)),
    (3, 12000, 6, 2, ((6.0, 7.0), (8.5, 9.5), (11.0, 12.0), (13.5, 14.5), (16.0, 17.0))),
)


def plan_of(rpm, diameter, flutes, spans):
    """Return the pass of one tool, from standstill to standstill."""
    return PassPlan(
        name="section",
        duration_s=SECONDS,
        assembly=assembly(diameter, flutes, stickout_mm=3 * diameter, runout_um=8),
        material=material("7075"),
        modes=bending(2000.0, 0.035, 2e7),
        milling="slot",
        ae_mm=diameter,
        feed_per_tooth_mm=0.04,
        engagements=tuple(
            Engagement(start_s=start, end_s=end, ap_start_mm=0.8, entry_s=0.05) for start, end in spans
        ),
        spindle=Spindle(nominal_rpm=rpm, slip=0.012, droop=0.003, start_s=2.0, stop_s=19.0, belt_ratio=0.62),
        surroundings=Surroundings(snr_db=18),
    )


def text_of():
    """Write the program that these passes come of."""
    lines = ["G21 G91"]
    for tool, rpm, _, _, spans in TOOLS:
        lines += [f"T{tool} M6", f"S{rpm} M3", "G0 Z-5"]
        for start, end in spans:
            lines += [f"G1 X{10 * (end - start)} F600", "G0 Z80"]
        lines.append("M5")
    return [*lines, "M30"]


def main():
    """Print each engagement with the tool it was of and the one it is credited to."""
    sounds, truth = [], []
    for number, (tool, rpm, diameter, flutes, spans) in enumerate(TOOLS):
        sound, told = render(plan_of(rpm, diameter, flutes, spans), tool)
        sounds.append(sound)
        truth += [(start + number * SECONDS, end + number * SECONDS, tool) for start, end in told["engaged"]]
    run = ProgramRun(ProgramModel(read_program(text_of).sections))
    run.stream_started(RATE_HZ)
    engaged = []
    for event in listen(np.concatenate(sounds), RATE_HZ):
        if isinstance(event, Frame):
            run.frame(event)
        elif isinstance(event, CutEnded):
            run.cut_ended(str(len(engaged)), event.cut.engaged)
            engaged += [(start / RATE_HZ, end / RATE_HZ) for start, end in event.cut.engaged]
    credits = [each for _, found in run.settle(run.due(all_of_them=True)) for each in found]
    for (start, end), found in zip(engaged, credits, strict=True):
        true = {tool for first, last, tool in truth if first < end and last > start}
        sure = "sure" if found.certain else "left open"
        print(f"{start:6.2f} to {end:6.2f} s, of {true}: {sure}, {found.tool} ({found.probability:.3f})")
    print(
        f"truly engaged {sum(e - s for s, e, _ in truth):.2f} s, heard {sum(e - s for s, e in engaged):.2f} s"
    )


if __name__ == "__main__":
    main()

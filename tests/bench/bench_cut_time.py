"""Cut time of many short engagements (slots, corners, pecks of 0.2 to 3 s) on simulated shifts.

Beside it, in the same run: "spindle on" (all the time it turns) and "loudness above threshold" (levels of
50 ms more than 3 dB over the idle spindle before the first cut). The second table is of a shop in which other
machines start and stop. Options: first seed, number of shifts.
"""

import sys

import numpy as np

from shopmon.cutting.materials import material
from shopmon.cutting.simulation.pass_sound import render
from shopmon.cutting.simulation.plan import Engagement, Neighbour, PassPlan, Spindle, Surroundings
from shopmon.cutting.simulation.scenarios import assembly, bending
from shopmon.listening.events import CutEnded
from tests.listening.hearing import listen, of

FIRST, COUNT = 4000, 12
BUSY, BUSY_COUNT = 5000, 6  # seeds from here on: with neighbours
SNR_DB = (10, 13, 16, 20)
IDLE_S, LONGEST_S = 4.0, 45.0
FRAME_S, LOUDER_DB = 0.05, 3.0


def drawn(seed):
    """Draw a shift of one tool: its plan."""
    rng = np.random.default_rng(seed)
    engagements, at = [], IDLE_S
    shortest, longest = ((0.2, 0.6), (0.3, 1.5), (0.6, 3.0))[seed % 3]
    while at < LONGEST_S - 5:
        seconds = float(rng.uniform(shortest, longest))
        engagements.append(
            Engagement(
                start_s=at,
                end_s=at + seconds,
                ap_start_mm=float(rng.uniform(0.4, 1.2)),
                entry_s=min(float(rng.uniform(0.01, 0.08)), 0.2 * seconds),
            )
        )
        at += seconds + float(np.exp(rng.uniform(np.log(0.3), np.log(4.0))))
    diameter, steel = float(rng.choice([6, 8, 10])), rng.random() < 0.3
    slot = rng.random() < 0.5
    return PassPlan(
        name=f"short-{seed}",
        duration_s=at + 2,
        sample_rate_hz=48000.0,
        assembly=assembly(
            diameter,
            int(rng.integers(2, 5)),
            stickout_mm=3 * diameter,
            runout_um=float(rng.uniform(4, 12)),
        ),
        material=material("316" if steel else "7075"),
        modes=bending(float(rng.uniform(1500, 2600)), 0.035, float(rng.uniform(1.5e7, 3e7))),
        milling="slot" if slot else "climb",
        ae_mm=diameter if slot else float(rng.uniform(0.1, 0.5)) * diameter,
        feed_per_tooth_mm=float(rng.uniform(0.02, 0.05)),
        engagements=tuple(engagements),
        spindle=Spindle(
            nominal_rpm=float(rng.uniform(2500, 4500) if steel else rng.uniform(6000, 16000)),
            slip=float(rng.uniform(-0.005, 0.02)),
            droop=float(rng.uniform(0.001, 0.006)),
            belt_ratio=float(rng.choice([0, 0.62])),
        ),
        surroundings=Surroundings(
            snr_db=float(SNR_DB[seed % 4]),
            coolant=bool(rng.random() < 0.3),
            neighbours=neighbours(seed, at) if seed >= BUSY else (),
        ),
    )  # fmt: skip


def neighbours(seed, until_s):
    """Draw two machines that start and stop in the shift, 3 to 12 dB below the cut."""
    rng = np.random.default_rng([seed, 1])
    starts = rng.uniform(IDLE_S, 0.8 * until_s, 2)
    return tuple(
        Neighbour(
            rpm=float(rng.uniform(900, 9000)),
            flutes=int(rng.integers(2, 9)),
            level_db=float(rng.uniform(-12, -3)),
            start_s=float(start),
            end_s=float(start + rng.uniform(5, 25)),
        )
        for start in starts
    )


def merged(spans):
    """Join spans that overlap."""
    found = []
    for start, end in sorted(spans):
        if found and start <= found[-1][1]:
            found[-1][1] = max(found[-1][1], end)
        else:
            found.append([start, end])
    return found


def total(spans):
    """Seconds of spans."""
    return sum(end - start for start, end in spans)


def overlap(spans, others):
    """Seconds that lie in both."""
    return sum(max(0.0, min(b, d) - max(a, c)) for a, b in spans for c, d in others)


def loud(samples, rate_hz):
    """Spans in which the level is above the threshold."""
    size = int(FRAME_S * rate_hz)
    frames = samples[: len(samples) // size * size].reshape(-1, size).astype(float)
    level = 10 * np.log10(np.mean(frames**2, axis=1) + 1e-15)
    idle = np.median(level[: int((IDLE_S - 0.5) / FRAME_S)])
    above = np.flatnonzero(level > idle + LOUDER_DB)
    return merged([[k * FRAME_S, (k + 1) * FRAME_S] for k in above.tolist()])


def one(seed):
    """Render and listen to one shift; return its row."""
    plan = drawn(seed)
    samples, truth = render(plan, seed)
    rate = plan.sample_rate_hz
    true = merged([list(span) for span in truth["engaged"]])
    events = listen(samples, rate, rpm=plan.spindle.nominal_rpm, flutes=plan.flutes)
    heard = merged([[a / rate, b / rate] for event in of(CutEnded, events) for a, b in event.cut.engaged])
    ways = {"the monitor": heard, "spindle on": [[0.0, plan.duration_s]], "loudness": loud(samples, rate)}
    return {
        "seed": seed,
        "snr_db": plan.surroundings.snr_db,
        "coolant": plan.surroundings.coolant,
        "bites": len(true),
        "true_s": total(true),
        "ways": {
            name: (total(spans), total(true) - overlap(spans, true), total(spans) - overlap(spans, true))
            for name, spans in ways.items()
        },
    }


def main(first=None, count=COUNT):
    """Print both tables, or that of the given seeds."""
    if first is None:
        table(FIRST, COUNT)
        table(BUSY, BUSY_COUNT)
    else:
        table(first, count)


def table(first, count):
    """Print a row for each shift, and what all come to."""
    print(
        "seed  snr coolant bites  true s | monitor: s, error %, missed %, added % | spindle on % | loudness %"
    )
    rows = []
    for seed in range(first, first + count):
        rows.append(one(seed))
        row = rows[-1]
        heard, missed, added = row["ways"]["the monitor"]
        errors = {name: 100 * (way[0] / row["true_s"] - 1) for name, way in row["ways"].items()}
        print(
            f"{seed:<6}{row['snr_db']:>3.0f} {'yes' if row['coolant'] else 'no':>7} {row['bites']:>5} "
            f"{row['true_s']:>7.2f} | {heard:>8.2f} {errors['the monitor']:>+7.1f} "
            f"{100 * missed / row['true_s']:>7.1f} {100 * added / row['true_s']:>7.1f} | "
            f"{errors['spindle on']:>+8.0f} | {errors['loudness']:>+8.1f}",
            flush=True,
        )
    summed(rows)


def summed(rows):
    """Print what all shifts come to, for each way."""
    true = sum(row["true_s"] for row in rows)
    for name in rows[0]["ways"]:
        ways = [row["ways"][name] for row in rows]
        each = sorted(abs(way[0] / row["true_s"] - 1) for way, row in zip(ways, rows, strict=True))
        print(
            f"{name:>12}: all together {100 * (sum(way[0] for way in ways) / true - 1):+.1f} %; "
            f"median shift {100 * each[len(each) // 2]:.1f} % off, worst {100 * each[-1]:.1f} %; "
            f"missed {100 * sum(way[1] for way in ways) / true:.1f} %, "
            f"added {100 * sum(way[2] for way in ways) / true:.1f} %"
        )


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))

"""How well the advice learned from past cuts does on simulated machines that it knows nothing of.

Machines are drawn from ranges of their own, not from the learner's prior: single and double pairs of modes,
soft and stiff, 1 to 7 flutes, aluminium and stainless. The learner is told tool, stickout and material; each
cut it chooses is labelled by the true stability, five labels in a hundred wrong, the line off by 0.3 %. Three
yardsticks begin at the same usual cut and act after each chatter: n = 60 f / (N k), ten per cent less speed,
a fifth less depth. The points advised are judged by semi-discretization.
"""

import json
import os
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from shopmon.cutting.advising.learned_map import Job, advised_point, quiet_map, trial_point
from shopmon.cutting.advising.learning import PastCut, first_belief, learn
from shopmon.cutting.advising.prior import prior_of
from shopmon.cutting.nouns import EndMillType, Material, Mode, ToolAssembly
from shopmon.cutting.stability.many_cuts import Systems, spectral_radius
from shopmon.cutting.stability.semidiscretization import StabilityCase, stability
from shopmon.cutting.stability.shape_library import shape_table

MACHINES, FIRST_SEED = 60, 9500  # those from 9000 to 9352 served to choose how the learner goes about it
AFTER = (1, 2, 4, 8, 16)
STATED = (0.8, 0.9, 0.95)
KEEP = "SHOPMON_BENCH_LEARNING"  # a file of results, one machine a line; a run takes up where it ends
WRONG, LINE_ERROR = 0.05, 0.003


@dataclass(frozen=True, kw_only=True)
class Machine:
    """A simulated machine with the job on it; the learner sees `job`, `assembly` and `material` only."""

    systems: Systems
    kt_n_per_mm2: float
    job: Job
    assembly: ToolAssembly
    material: Material
    usual: tuple[float, float]

    def hear(self, rpm, ap_mm, rough=False):
        """Return growth per tooth and strongest line at speeds and depths, arrays alike."""
        rpm, ap_mm = np.broadcast_arrays(np.asarray(rpm, float), np.asarray(ap_mm, float))
        many = self.systems.pick(np.zeros(rpm.size, dtype=int))
        force = self.kt_n_per_mm2 * 1e3 * ap_mm.ravel()
        cut = (many, self.job.arc_rad, self.job.flutes, rpm.ravel(), force)
        found = spectral_radius(*cut, lines=True, rough=rough)
        return found.radius.reshape(rpm.shape), found.line_hz.reshape(rpm.shape)

    def truly_quiet(self, rpm, ap_mm):
        """Verdict of semi-discretization at one point."""
        modes = tuple(
            Mode(axis=axis, frequency_hz=f, damping_ratio=z, stiffness_n_per_m=k)
            for axis, f, z, k in zip(
                self.systems.axes,
                self.systems.frequency_hz[0],
                self.systems.damping_ratio[0],
                self.systems.stiffness_n_per_m[0],
                strict=True,
            )
        )
        case = StabilityCase(
            modes=modes,
            flutes=self.job.flutes,
            diameter_mm=self.job.diameter_mm,
            kt_n_per_mm2=self.kt_n_per_mm2,
            kr=float(self.systems.kr[0]),
            milling=self.job.milling,
            ae_mm=self.job.ae_mm,
        )
        return not stability(case, rpm, ap_mm, step_rad=0.2).chatters

    def best_removal(self, finely=True):
        """Return the largest speed times depth that is quiet, every lesser depth being quiet too."""
        rpm = np.linspace(self.job.min_rpm, self.job.max_rpm, 40)
        depth = np.geomspace(self.job.min_ap_mm, self.job.max_ap_mm, 36)
        deepest, last = self._reached(rpm, np.broadcast_to(depth, (40, 36)), rough=not finely)
        if finely:
            between = (depth[1] / depth[0]) ** np.linspace(0, 1, 12, endpoint=False)
            finer, _ = self._reached(rpm, np.maximum(deepest, depth[0])[:, None] * between)
            deepest = np.where(last, deepest, finer)
        return float((rpm * deepest).max())

    def _reached(self, rpm, depth, rough=False):
        """Last depth at each speed up to which all are quiet, and whether that is the last of all."""
        radius, _ = self.hear(rpm[:, None], depth, rough)
        count = (radius < 1).cumprod(axis=1).sum(axis=1)
        deepest = np.take_along_axis(depth, np.maximum(count - 1, 0)[:, None], axis=1)[:, 0]
        return np.where(count > 0, deepest, 0.0), count == depth.shape[1]


def draw_machine(seed):
    """Draw a machine on which some cut is quiet and some cut rings."""
    rng = np.random.default_rng(seed)
    while True:
        machine = _draw(rng)
        best = machine.best_removal(finely=False)
        if 0 < best < 0.95 * machine.job.max_rpm * machine.job.max_ap_mm:
            return machine, rng


def _draw(rng):
    diameter, flutes = float(rng.choice([4, 6, 8, 10, 12, 16])), int(rng.integers(1, 8))
    stickout = diameter * rng.uniform(3.0, 5.5)
    steel = bool(rng.random() < 0.4)
    bar = 3 * 5.8e11 * np.pi * (0.8e-3 * diameter) ** 4 / 64 / (1e-3 * stickout) ** 3
    stiffness = min(bar, 6e7) * rng.uniform(0.2, 0.9)
    frequency = float(np.clip(np.exp(rng.normal(np.log(1300), 0.45)) * np.sqrt(10 / diameter), 450, 4000))
    pairs = int(rng.integers(1, 3))
    f = [frequency, frequency * rng.uniform(0.9, 1.12)]
    k = [stiffness, stiffness * rng.uniform(0.7, 1.5)]
    if pairs == 2:
        ratio = float(rng.choice([rng.uniform(0.4, 0.8), rng.uniform(1.3, 2.2)]))
        f += [ratio * f[0], ratio * f[1]]
        k += [k[0] * rng.uniform(1, 5), k[1] * rng.uniform(1, 5)]
    systems = Systems(
        "xy" * pairs,
        np.array([f]),
        np.exp(rng.uniform(np.log(0.01), np.log(0.05), (1, 2 * pairs))),
        np.array([k]),
        np.array([rng.uniform(0.15, 0.55)]),
    )
    milling = str(rng.choice(["climb", "climb", "conventional", "slot"]))
    width = 1.0 if milling == "slot" else float(np.exp(rng.uniform(np.log(0.06), np.log(0.9))))
    top = float(rng.uniform(4000, 9000) if steel else rng.uniform(12000, 30000))
    job = Job(
        flutes=flutes,
        diameter_mm=diameter,
        milling=milling,
        ae_mm=width * diameter,
        min_rpm=0.3 * top,
        max_rpm=top,
        max_ap_mm=1.5 * diameter,
    )
    kt = float(rng.uniform(1900, 3000) if steel else rng.uniform(600, 1300))
    mill = EndMillType(DC=diameter, NOF=flutes)
    told = Material(label="as told", ktc_n_per_mm2=2400.0 if steel else 800.0, source="invented")
    return Machine(
        systems=systems,
        kt_n_per_mm2=kt,
        job=job,
        assembly=ToolAssembly(mill=mill, stickout_mm=float(stickout)),
        material=told,
        usual=(float(rng.uniform(0.5, 0.95) * top), float(rng.uniform(0.1, 0.5) * diameter)),
    )


def label(machine, rng, rpm, ap_mm):
    """Cut, and return whether it truly rang with what the monitor logs of it."""
    radius, line = machine.hear(rpm, ap_mm)
    rang = bool(radius > 1)
    said = rang != bool(rng.random() < WRONG)
    heard = float(line) * (1 + LINE_ERROR * rng.standard_normal()) if rang else None
    if said and heard is None:
        heard = float(np.exp(rng.uniform(np.log(300), np.log(4000))))
    job = machine.job
    cut = PastCut(
        rpm=rpm,
        flutes=job.flutes,
        chattered=said,
        milling=job.milling,
        ae_mm=job.ae_mm,
        diameter_mm=job.diameter_mm,
        ap_mm=ap_mm,
        chatter_hz=heard if said else None,
    )
    return rang, cut


def follow_learner(machine, rng, best):
    """Return rows ``(cuts, stated, quiet, share of the optimum, chattered so far)``, and s of each update."""
    belief, rows, rang = first_belief(prior_of(machine.assembly, machine.material)), [], 0
    seconds = []
    for done in range(max(AFTER) + 1):
        if done in AFTER:
            chart = quiet_map(belief, machine.job)
            for stated in STATED:
                point = advised_point(chart, "most-metal", stated)
                rows.append(_row(machine, done, stated, point, best, rang))
        trial = trial_point(quiet_map(belief, machine.job), belief.cuts)
        truly, cut = label(machine, rng, trial.rpm, trial.ap_mm)
        rang += truly
        begin = time.process_time()
        belief = learn(belief, cut)
        seconds.append(time.process_time() - begin)
    return rows, seconds


def _row(machine, done, stated, point, best, rang):
    if point is None:
        return done, stated, None, 0.0, rang
    quiet = machine.truly_quiet(point.rpm, point.ap_mm)
    return done, stated, quiet, point.rpm * point.ap_mm / best, rang


def follow_rule(machine, rng, best, name):
    """Return rows like `follow_learner` for one of the yardsticks."""
    (rpm, ap_mm), rows, rang = machine.usual, [], 0
    for done in range(max(AFTER) + 1):
        if done in AFTER:
            radius, _ = machine.hear(rpm, ap_mm)
            rows.append((done, name, bool(radius < 1), rpm * ap_mm / best, rang))
        truly, cut = label(machine, rng, rpm, ap_mm)
        rang += truly
        if cut.chattered:
            rpm, ap_mm = STEPS[name](machine.job, rpm, ap_mm, cut.chatter_hz)
    return rows


def _by_line(job, rpm, ap_mm, line_hz):
    speeds = np.array([60 * line_hz / (job.flutes * k) for k in range(1, 60)])
    inside = speeds[(speeds >= job.min_rpm) & (speeds <= job.max_rpm)]
    return (float(inside[0]) if len(inside) else rpm), ap_mm


STEPS = {
    "n = 60 f/(N k)": _by_line,
    "speed - 10 %": lambda job, rpm, ap_mm, line_hz: (max(job.min_rpm, 0.9 * rpm), ap_mm),
    "depth - 20 %": lambda job, rpm, ap_mm, line_hz: (rpm, 0.8 * ap_mm),
}


def table(rows):
    """Print a line per number of cuts and method."""
    print(f"{'cuts':>4} {'method':>16} {'advised':>8} {'quiet %':>8} {'±':>5} {'removal %':>10} {'rang':>5}")
    for done in AFTER:
        for name in dict.fromkeys(row[1] for row in rows):
            own = [row for row in rows if row[0] == done and row[1] == name]
            spoken = [row for row in own if row[2] is not None]
            share = np.mean([row[2] for row in spoken]) if spoken else float("nan")
            error = 1.96 * np.sqrt(max(share * (1 - share), 0.01) / max(1, len(spoken)))
            removal = np.median([row[3] if row[2] else 0.0 for row in own])
            rang = np.median([row[4] for row in own])
            shown = f"stated {100 * name:.0f} %" if isinstance(name, float) else name
            print(
                f"{done:>4} {shown:>16} {len(spoken):>4}/{len(own):<3} {100 * share:>8.1f} "
                f"{100 * error:>5.1f} {100 * removal:>10.1f} {rang:>5.1f}"
            )


def one_machine(seed):
    """Everything about one machine, as plain data."""
    machine, rng = draw_machine(seed)
    best = machine.best_removal()
    begin = time.process_time()
    shape_table(prior_of(machine.assembly, machine.material), machine.job.arc_rad, machine.job.flutes)
    table_s = time.process_time() - begin
    rows, seconds = follow_learner(machine, rng, best)
    for name in STEPS:
        rows += follow_rule(machine, np.random.default_rng([seed, 1]), best, name)
    return {"seed": seed, "rows": rows, "update_s": seconds, "table_s": table_s}


def results(seeds):
    """Results of the machines; those in the file are not done again."""
    file = Path(os.environ[KEEP]) if KEEP in os.environ else None
    kept = [json.loads(line) for line in file.read_text().splitlines()] if file and file.exists() else []
    done = {entry["seed"]: entry for entry in kept}
    for seed in seeds:
        if seed not in done:
            done[seed] = one_machine(seed)
            if file:
                with file.open("a") as out:
                    out.write(json.dumps(done[seed]) + "\n")
    return [done[seed] for seed in seeds]


def picture(rows, file):
    """Plot the share truly quiet over the share stated, with 95 % intervals, after each number of cuts."""
    import plotly.graph_objects as go

    figure = go.Figure(layout={"xaxis_title": "stated, %", "yaxis_title": "truly quiet, %"})
    figure.add_scatter(x=[75, 100], y=[75, 100], mode="lines", name="as stated", line_dash="dot")
    for place, done in enumerate(AFTER):
        points = []
        for stated in STATED:
            quiet = [row[2] for row in rows if row[0] == done and row[1] == stated and row[2] is not None]
            share = np.mean(quiet) if quiet else np.nan
            points.append((share, 1.96 * np.sqrt(max(share * (1 - share), 0.01) / max(1, len(quiet)))))
        share, error = 100 * np.array(points).T
        where = 100 * np.array(STATED) + 0.3 * (place - 2)
        figure.add_scatter(x=where, y=share, error_y={"array": error}, mode="markers", name=f"{done} cuts")
    figure.write_html(file)


def main(machines=MACHINES, first=FIRST_SEED):
    """Print what the learner and the yardsticks reach."""
    found = results(range(first, first + machines))
    rows = [row for entry in found for row in entry["rows"]]
    seconds = [one for entry in found for one in entry["update_s"]]
    tables = [entry["table_s"] for entry in found]
    print(f"{machines} machines; removal counts 0 where the point rings; rang: median of cuts that chattered")
    table(rows)
    if KEEP in os.environ:
        picture(rows, Path(os.environ[KEEP]).with_suffix(".html"))
    print(f"processor time of an update: median {np.median(seconds):.2f} s, most {max(seconds):.2f} s")
    print(f"once for an arc and number of teeth: median {np.median(tables):.1f} s, most {max(tables):.1f} s")

"""How well chatter is told from the teeth on varied simulated passes, beside a plain method on the same.

The passes are drawn at random from seeds of their own; truth is what the simulated motion did. Passes whose
motion and linear stability disagree are left out of both counts: there, whether it rings is a matter of
definition. The plain method is given the true speed, the time of the cut and the threshold that suits these
very passes best: peaks off the tooth-passing harmonics over the strongest one, for a quarter of a second.
"""

import sys
import time
from dataclasses import dataclass, replace

import numpy as np
from scipy import fft

from shopmon.cutting.materials import material
from shopmon.cutting.pass_sound import render
from shopmon.cutting.plan import Engagement, Neighbour, PassPlan, Spindle, Surroundings
from shopmon.cutting.scenarios import assembly, bending
from shopmon.cutting.semidiscretization import stability
from shopmon.cutting.truth import stability_case
from shopmon.errors import SettingError
from shopmon.listening.events import ChatterStarted, CutEnded, Frame
from tests.listening.hearing import listen, of

PASSES, FIRST_SEED = 40, 5000
RATE_HZ = 48_000.0
START_S, END_S, LENGTH_S = 2.0, 7.0, 8.5
EARLY_S = 0.15
PLAIN_WINDOW_S, PLAIN_LAST = 0.4, 5
PLAIN_THRESHOLDS_DB = range(-40, 31, 2)


@dataclass(frozen=True, kw_only=True)
class Case:
    """One pass with what is true of it."""

    samples: np.ndarray
    truth: dict
    seed: int

    @property
    def onset_s(self):
        """When it begins to ring, None when it stays quiet."""
        return self.truth["chatter"][0]["start_s"] if self.truth["chatter"] else None

    @property
    def hidden(self):
        """Whether the chatter lies on the rotation comb."""
        return self.truth["engagements"][0]["measured_on"].startswith("teeth")

    @property
    def clear(self):
        """Whether motion and linear theory agree."""
        verdict = self.truth["engagements"][0]["stability"]["verdict"]
        return (verdict == "chatter") == (self.onset_s is not None)


def log_uniform(rng, low, high):
    """Draw from a range, each factor as likely as the next."""
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def drawn(seed):
    """Draw a pass: tool, part, speed, room, and a depth below or above the border of stability."""
    rng = np.random.default_rng(seed)
    while True:
        plan = drawn_plan(rng, seed)
        limit = limit_mm(plan)
        if 0.15 < limit < 12:
            return at_depth(plan, limit, rng, rings=seed % 2 == 1)


def drawn_plan(rng, seed):
    """Draw everything but the depth."""
    diameter, flutes = float(rng.choice([6, 8, 10, 12])), int(rng.choice([2, 3, 4, 5]))
    milling = str(rng.choice(["climb", "conventional", "slot"]))
    return PassPlan(
        name=f"bench-{seed}",
        description="Drawn at random.",
        duration_s=LENGTH_S,
        assembly=assembly(diameter, flutes, stickout_mm=4 * diameter, runout_um=float(rng.uniform(3, 14))),
        material=material(str(rng.choice(["7075", "6082", "316"]))),
        modes=bending(
            log_uniform(rng, 500, 3000), float(rng.uniform(0.015, 0.04)), log_uniform(rng, 4e6, 2e7)
        ),
        milling=milling,
        ae_mm=diameter if milling == "slot" else float(rng.uniform(0.1, 0.6) * diameter),
        feed_per_tooth_mm=float(rng.uniform(0.02, 0.08)),
        spindle=Spindle(
            nominal_rpm=float(np.round(log_uniform(rng, 3000, 20_000), -1)),
            slip=float(rng.uniform(-0.005, 0.012)),
            droop=float(rng.uniform(0, 0.008)),
            level_db=float(rng.uniform(-25, -8)),
            belt_ratio=float(rng.choice([0, 0.62])),
        ),
        surroundings=drawn_room(rng),
    )


def drawn_room(rng):
    """Draw sensor, noise, coolant and now and then a neighbour's machine."""
    neighbour = Neighbour(
        rpm=float(rng.uniform(700, 6000)),
        flutes=int(rng.integers(1, 6)),
        level_db=float(rng.uniform(-25, -5)),
        start_s=float(rng.choice([0.0, 0.0, 4.5])),
    )
    return Surroundings(
        sensor=str(rng.choice(["microphone", "accelerometer"])),
        snr_db=float(rng.uniform(10, 28)),
        coolant=bool(rng.random() < 0.4),
        neighbours=(neighbour,) if rng.random() < 0.35 else (),
        level_dbfs=float(rng.uniform(-45, -15)),
    )


def limit_mm(plan):
    """Return the border of stability at the plan's speed."""
    low, high = 0.05, 20.0
    case = stability_case(plan)
    for _ in range(9):
        middle = (low * high) ** 0.5
        if stability(case, plan.spindle.true_rpm, middle).chatters:
            high = middle
        else:
            low = middle
    return low


def at_depth(plan, limit, rng, *, rings):
    """Give a plan its bite: well below the border, above it, or rising through it."""
    entry = float(rng.uniform(0.05, 0.4))
    deep = limit * float(rng.uniform(1.2, 2.2) if rings else rng.uniform(0.3, 0.75))
    bite = Engagement(start_s=START_S, end_s=END_S, ap_start_mm=deep, entry_s=entry)
    if rings and rng.random() < 0.5:
        bite = replace(bite, ap_start_mm=0.4 * limit, ap_end_mm=deep, ramp_start_s=2.8, ramp_end_s=5.0)
    return replace(plan, engagements=(bite,))


def cases(count, first_seed):
    """Yield rendered passes; a drawing that the simulator refuses is left out."""
    for seed in range(first_seed, first_seed + count):
        try:
            samples, truth = render(drawn(seed), seed)
        except SettingError as exc:
            print(f"seed {seed} left out: {exc}", file=sys.stderr)
            continue
        if truth["engagements"]:
            yield Case(samples=samples, truth=truth, seed=seed)


def heard(case, told):
    """Return (alarm in s or None, cut time in s, share of frames in the cut whose speed is right)."""
    true = case.truth["engagements"][0]["rpm"]
    off = 0.98 if case.seed % 4 < 2 else 1.02
    nominal = case.truth["spindle"]["nominal_rpm"]
    rpm = {"as told": nominal, "2 % off": round(off * true), "unknown": None}[told]
    flutes = None if told == "unknown" else case.truth["spindle"]["flutes"]
    events = listen(case.samples, RATE_HZ, rpm=rpm, flutes=flutes)
    raised = of(ChatterStarted, events)
    cut_s = sum(event.cut.cut_samples for event in of(CutEnded, events)) / RATE_HZ
    inside = [f.rpm for f in of(Frame, events) if START_S + 1 < f.sample / RATE_HZ < END_S - 0.2]
    right = np.mean([found is not None and abs(found / true - 1) < 0.005 for found in inside])
    return (raised[0].chatter.alarm_sample / RATE_HZ if raised else None), cut_s, float(right)


def plain_excess(case):
    """Return when the plain method looked, s, and how high the highest peak off the harmonics stood, dB."""
    tooth_hz = case.truth["engagements"][0]["rpm"] / 60 * case.truth["spindle"]["flutes"]
    length = int(PLAIN_WINDOW_S * RATE_HZ)
    frequency = np.arange(length // 2 + 1) / PLAIN_WINDOW_S
    off = np.abs(frequency - tooth_hz * np.round(frequency / tooth_hz)) > 4
    band = (frequency > 100) & (frequency < 6000)
    ends, excess = [], []
    for start in range(int(START_S * RATE_HZ), int(END_S * RATE_HZ) - length, int(0.05 * RATE_HZ)):
        piece = case.samples[start : start + length] * np.hanning(length)
        level = 20 * np.log10(np.abs(fft.rfft(piece)) + 1e-12)
        ends.append((start + length) / RATE_HZ)
        excess.append(level[band & off].max() - level[band & ~off].max())
    return ends, excess


def plain_alarm(ends, excess, threshold_db):
    """Return when the threshold has been passed for long enough, None when it never was."""
    row = 0
    for end, height in zip(ends, excess, strict=True):
        row = row + 1 if height > threshold_db else 0
        if row >= PLAIN_LAST:
            return end
    return None


def plain(found):
    """Return the plain method's answers with the threshold that suits best, and that threshold."""
    looks = [plain_excess(case) for case in found]

    def answers(threshold_db):
        return [(case, plain_alarm(*look, threshold_db)) for case, look in zip(found, looks, strict=True)]

    best = max(PLAIN_THRESHOLDS_DB, key=lambda threshold_db: sum(rates(answers(threshold_db))))
    return answers(best), best


def rates(judged):
    """Return sensitivity without early alarms, and specificity."""
    ringing = [(case.onset_s, alarm) for case, alarm in judged if case.onset_s is not None]
    quiet = [alarm for case, alarm in judged if case.onset_s is None]
    good = [alarm is not None and alarm > onset - EARLY_S for onset, alarm in ringing]
    return float(np.mean(good)), quiet.count(None) / len(quiet)


def line(label, judged, cut=None, right=None):
    """Print sensitivity, specificity and delay of one way to listen."""
    sensitivity, specificity = rates(judged)
    ringing = [(case.onset_s, alarm) for case, alarm in judged if case.onset_s is not None]
    alarms = [alarm - onset for onset, alarm in ringing if alarm is not None]
    good = [late for late in alarms if late > -EARLY_S]
    delay = f"{np.median(good):4.2f}/{np.quantile(good, 0.9):4.2f} s" if good else "-"
    text = f"{label:24s} sensitivity {sensitivity:4.2f} of {len(ringing)} ({len(alarms) - len(good)} early)"
    text += f"  specificity {specificity:4.2f} of {len(judged) - len(ringing)}  delay {delay}"
    if cut:
        error = np.abs(np.array(cut) / (END_S - START_S) - 1)
        text += f"  cut time off {100 * np.median(error):.0f}/{100 * np.quantile(error, 0.9):.0f} %"
        text += f"  speed right {100 * np.mean(right):.0f} %"
    print(text, flush=True)


def main(count=PASSES, first_seed=FIRST_SEED):
    """Print the table; delay and cut time as median and 90 % quantile."""
    start = time.monotonic()
    found = list(cases(count, first_seed))
    clear = [case for case in found if case.clear and not case.hidden]
    print(
        f"{len(found)} passes of {LENGTH_S:g} s at 10 to 28 dB, {len(clear)} of them clear and off the comb"
    )
    for told in ("as told", "2 % off", "unknown"):
        answers = [heard(case, told) for case in clear]
        alarms = [(case, answer[0]) for case, answer in zip(clear, answers, strict=True)]
        line(f"listener, speed {told}", alarms, [a[1] for a in answers], [a[2] for a in answers])
    judged, threshold = plain(clear)
    line(f"plain peaks over {threshold} dB", judged)
    hidden = [case for case in found if case.hidden and case.onset_s is not None]
    called = sum(heard(case, "as told")[0] is not None for case in hidden)
    print(f"period doubling on the comb: {called} of {len(hidden)} called")
    print(f"period doubling on the comb: {called} of {len(hidden)} called")
    print(f"{time.monotonic() - start:.0f} s in all")


if __name__ == "__main__":
    main()

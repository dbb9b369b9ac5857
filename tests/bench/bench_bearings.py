"""How well defects of simulated bearings are named, on two recipes that owe one another nothing.

`tests/bearing_sound.py` is what the judging was made with; `bearing_rigs.py` draws harder ones. Each is
printed as how often what was named, and as a curve: what share of the races with a defect would be named at a
bound of the evidence, and how many recordings would be given a race fault that they have not.
"""

import sys
from collections import Counter

import numpy as np

from shopmon.signals.spindle.bearing_signs import bearing_signs
from tests.bearing_sound import draw_case
from tests.bench.bearing_rigs import draw_rig

CASES = 480
KINDS = (None, "outer", "inner", "ball")
LOUDNESS = ((-20, -14), (-14, -7), (-7, 0), (0, 5))
BOUNDS = (9.0, 10.0, 11.0, 12.0, 12.5, 13.0, 14.0, 15.0, 17.0)


def drawn(recipe: str, number: int):
    """Draw one recording of a recipe; return samples, rate, stated speed, bearing, what is true, loudness."""
    if recipe == "rigs":
        rig = draw_rig(number)
        return rig.samples, rig.sample_rate_hz, rig.stated_rpm, rig.tones, rig.kind, rig.click_db
    kind = KINDS[number % len(KINDS)]
    case = draw_case(np.random.default_rng([7, number]), kind)
    return case.samples, case.sample_rate_hz, case.stated_rpm, case.tones, kind or "healthy", case.click_db


def outcome(kind: str, races: dict) -> str:
    """Say in one word what was made of a recording."""
    named = [name for name, tone in races.items() if tone.verdict == "sign"]
    if not named:
        return "doubt" if any(tone.verdict == "cannot-tell" for tone in races.values()) else "quiet"
    return "right" if named == [kind] else "wrong"


def label_of(kind: str, click_db: float | None) -> str:
    """Name the row of a recording."""
    if click_db is None:
        return kind
    low, high = next(span for span in LOUDNESS if click_db <= span[1])
    return f"{kind:8}{low:4d} to {high:3d} dB"


def judge_all(recipe: str, cases: int):
    """Return the table of outcomes, and each race's evidence with whether it has a defect and what all is."""
    table, points = {}, []
    for number in range(cases):
        samples, rate_hz, rpm, tones, kind, click_db = drawn(recipe, number)
        signs = bearing_signs(samples, rate_hz, rpm, tones)
        races = {tone.part.split()[0]: tone for tone in signs.tones if tone.part.endswith("race")}
        table.setdefault(label_of(kind, click_db), Counter())[outcome(kind, races)] += 1
        points += [
            (number, tone.evidence_db, name == kind, kind, click_db, tone.verdict)
            for name, tone in races.items()
        ]
    return table, points


def main():
    """Print both recipes."""
    for recipe in sys.argv[1:2] or ("sound", "rigs"):
        table, points = judge_all(recipe, int(sys.argv[2]) if len(sys.argv) > 2 else CASES)
        print(f"\nrecipe '{recipe}': clicks against all else   right  wrong  doubt  quiet")
        for label, counts in sorted(table.items()):
            words = "".join(f"{counts[key]:7d}" for key in ("right", "wrong", "doubt", "quiet"))
            print(f"{label:41}{words}")
        _curve(points)
        _confidence(points)


def _curve(points) -> None:
    head = "  ".join(f"{low} to {high}" for low, high in LOUDNESS)
    print(f"\nbound, dB   false: healthy  ball  other race   found at {head}")
    for bound in BOUNDS:
        false = Counter()
        for _, evidence, there, kind, _, _ in points:
            if evidence >= bound and not there:
                false["other" if kind in ("outer", "inner") else kind] += 1
        shares = []
        for low, high in LOUDNESS:
            of = [p[1] >= bound for p in points if p[2] and low <= p[4] <= high]
            shares.append(f"{np.mean(of):9.2f}" if of else "        -")
        wrong = f"{false['healthy']:16d}{false['ball']:8d}{false['other']:8d}"
        print(f"{bound:6.1f}{wrong}          {''.join(shares)}")


def _confidence(points) -> None:
    print("\nevidence, dB      share of races with a defect (healthy ones weighed as the others)")
    evidence, defect = np.array([p[1] for p in points]), np.array([float(p[2]) for p in points])
    weight = np.where(defect == 1, 1 / defect.sum(), 1 / (1 - defect).sum())
    for low, high in ((0, 6), (6, 8), (8, 9), (9, 10), (10, 11), (11, 12), (12, 14), (14, 17), (17, 31)):
        chosen = (evidence >= low) & (evidence < high)
        if chosen.any():
            share = (weight * defect)[chosen].sum() / weight[chosen].sum()
            print(f"  {low:2d} to {high:2d}    {share:6.3f}   of {chosen.sum()}")


if __name__ == "__main__":
    main()

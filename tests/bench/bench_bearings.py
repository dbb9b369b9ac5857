"""How well defects of simulated bearings are named: 600 spindles, healthy ones and each kind of defect."""

from collections import Counter

import numpy as np

from shopmon.signals.bearing_signs import bearing_signs
from tests.bearing_sound import draw_case

CASES = 600
KINDS = (None, "outer", "inner", "ball")
LOUDNESS = ((-20, -14), (-14, -7), (-7, 0))


def judged(number: int):
    """Judge one case; return its truth and the verdict and evidence of both races."""
    kind = KINDS[number % len(KINDS)]
    case = draw_case(np.random.default_rng([7, number]), kind)
    signs = bearing_signs(case.samples, case.sample_rate_hz, case.stated_rpm, case.tones)
    races = {tone.part.split()[0]: tone for tone in signs.tones if tone.part.endswith("race")}
    return case, races


def outcome(case, races) -> str:
    """Say in one word what was made of a case."""
    named = [name for name, tone in races.items() if tone.verdict == "sign"]
    if not named:
        return "doubt" if any(tone.verdict == "cannot-tell" for tone in races.values()) else "quiet"
    return "right" if named == [case.defect] else "wrong"


def main():
    """Print how often each kind of case was named, left in doubt, or left alone."""
    rows, points = {}, []
    for number in range(CASES):
        case, races = judged(number)
        label = "healthy" if case.defect is None else case.defect
        if case.defect is not None:
            label += next(f" {low} to {high} dB" for low, high in LOUDNESS if case.click_db <= high)
        rows.setdefault(label, Counter())[outcome(case, races)] += 1
        points += [(tone.evidence_db, name == case.defect) for name, tone in races.items()]
    print(f"{'defect, clicks against all else':34}{'right':>7}{'wrong':>7}{'doubt':>7}{'quiet':>7}")
    for label, counts in sorted(rows.items()):
        print(f"{label:34}" + "".join(f"{counts[key]:7d}" for key in ("right", "wrong", "doubt", "quiet")))
    print("\nevidence, dB      share of races with a defect (healthy ones weighed as the others)")
    evidence, defect = np.array(points).T
    weight = np.where(defect == 1, 1 / defect.sum(), 1 / (1 - defect).sum())
    for low in (0, 6, 8, 9, 10, 11, 12, 14, 17, 20):
        high = {0: 6, 6: 8, 12: 14, 14: 17, 17: 20, 20: 31}.get(low, low + 1)
        chosen = (evidence >= low) & (evidence < high)
        if chosen.any():
            share = (weight * defect)[chosen].sum() / weight[chosen].sum()
            print(f"  {low:2d} to {high:2d}    {share:6.3f}   of {chosen.sum()}")


if __name__ == "__main__":
    main()

"""What soonness costs in accuracy: the same cases at several settings."""

import numpy as np

from tests.bench.detector import running, scoring
from tests.bench.detector.hearing import answers

RATES = (0.01, 0.125, 1.0, 8.0)


def trade(folder, rates=RATES, told="as-drawn", jobs=1):
    """Print sensitivity, specificity and delay of a folder's cases at each setting."""
    wanted, truths = running.chosen(folder)
    print(f"{'setting':>14s}  sensitivity  specificity  balanced  delay median / 90 %   6 dB over")
    for rate in rates:
        given = {"false_alarms_per_hour": rate}
        said = answers(wanted, told, jobs=jobs, settings=given, progress=False)
        judged = [
            scoring.judged(truth, scoring.first_alarm_s(each), each)
            for truth, each in zip(truths, said, strict=True)
        ]
        line(f"{rate:g} an hour", [c for c in judged if c.case["snr_db"] >= 0 and not c.case["hidden"]])


def line(label, cases):
    """Print one setting."""
    hits, ringing, quiet, others = scoring.counted(cases)
    heard = [case for case in cases if case.outcome == "hit"]
    delay = np.array([case.delay_s for case in heard] or [np.nan])
    strong = [c.delay_s for c in heard if c.case["chatter_over_comb_db"] >= scoring.CLEAR_OVER_DB] or [np.nan]
    print(
        f"{label:>14s}  {hits / max(ringing, 1):11.3f}  {quiet / max(others, 1):11.3f}  "
        f"{scoring.balanced(cases):8.3f}  {np.median(delay):8.2f} / {np.quantile(delay, 0.9):.2f} s"
        f"  {np.median(strong):9.2f} s",
        flush=True,
    )

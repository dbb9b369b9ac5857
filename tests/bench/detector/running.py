"""Score a folder."""

from tests.bench.detector import plain, scoring, tables
from tests.bench.detector.corpus import stems, truth_of_stem
from tests.bench.detector.hearing import answers
from tests.bench.detector.looking import spectra


def score(folder, told="as-drawn", only=None, jobs=1, channel=None, lines=0):
    """Listen to every case of a folder (or those of one kind, sensor or tag) and print the tables.

    With `lines`, so many lines of the spectrum are shown of each of the worst cases.
    """
    wanted, truths = chosen(folder, only)
    ours = [
        scoring.judged(truth, scoring.first_alarm_s(said), said)
        for truth, said in zip(truths, answers(wanted, told, jobs=jobs, channel=channel), strict=True)
    ]
    beside, thresholds = plain_judged(wanted, truths)
    print(f"\n{folder}, speed told: {told}")
    bad = tables.show(ours, beside, thresholds)
    if lines:
        spectra(folder, bad, told, lines)
    return ours


def chosen(folder, only=None):
    """Cases of a folder that are not marginal: stems and truths."""
    found = [(stem, truth_of_stem(stem)) for stem in stems(folder)]
    keep = [
        (stem, truth)
        for stem, truth in found
        if not truth["case"]["marginal"]
        and (only is None or only in (truth["case"]["kind"], truth["case"]["sensor"], *truth["case"]["tags"]))
    ]
    print(f"{len(found)} cases in {folder}, {sum(truth['case']['marginal'] for _, truth in found)} marginal")
    return [stem for stem, _ in keep], [truth for _, truth in keep]


def plain_judged(wanted, truths):
    """Both plain methods on the same cases, each with the threshold that suits these best."""
    traced = plain.all_traces(wanted)
    judged, thresholds = {}, {}
    for method in plain.METHODS:

        def cases(alarms):
            return [scoring.judged(truth, alarm) for truth, alarm in zip(truths, alarms, strict=True)]

        def accuracy(alarms, cases=cases):
            return scoring.balanced(
                [c for c in cases(alarms) if c.case["snr_db"] >= 0 and not c.case["hidden"]]
            )

        thresholds[method] = plain.best_threshold_db(traced, method, accuracy)
        judged[method] = cases([plain.alarm_s(trace, method, thresholds[method]) for trace in traced])
    return judged, thresholds

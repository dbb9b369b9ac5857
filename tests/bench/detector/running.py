"""Score a folder, look at one case."""

from pathlib import Path

from shopmon.listening.events import ChatterStarted, Frame, Notice
from tests.bench.detector import plain, scoring, tables
from tests.bench.detector.corpus import samples_of, stems, truth_of_stem
from tests.bench.detector.hearing import answers, told_setup, true_rpm_at
from tests.listening.hearing import listen


def score(folder, told="as-drawn", only=None, jobs=1, channel=None):
    """Listen to every case of a folder (or those of one kind, sensor or tag) and print the tables."""
    wanted, truths = chosen(folder, only)
    ours = [
        scoring.judged(truth, scoring.first_alarm_s(said), said)
        for truth, said in zip(truths, answers(wanted, told, jobs=jobs, channel=channel), strict=True)
    ]
    beside, thresholds = plain_judged(wanted, truths)
    print(f"\n{folder}, speed told: {told}")
    tables.show(ours, beside, thresholds)
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


def look(folder, number, told="as-drawn"):
    """Print what was heard of one case, frame by frame."""
    stem = Path(folder) / str(number)
    truth, samples = truth_of_stem(stem), samples_of(stem)
    rate = truth["recording"]["sample_rate_hz"]
    rpm, flutes = told_setup(truth, told)
    sensor = truth["case"]["sensor"] if samples.ndim == 1 else "microphone"
    case = {key: value for key, value in truth["case"].items() if key != "turns"}
    print(case, f"\nengaged {truth['engaged']}\nchatter {truth['chatter']}\ntold {rpm} rpm, {flutes} flutes")
    for event in listen(samples, rate, rpm=rpm, flutes=flutes, sensor=sensor):
        if isinstance(event, Frame):
            print(frame_line(event, truth, rate))
        elif isinstance(event, Notice):
            print(f"{event.sample / rate:6.2f} NOTICE {event.code}: {event.text}")
        elif isinstance(event, ChatterStarted):
            print(f"{event.sample / rate:6.2f} ALARM {event.chatter}")


def frame_line(frame, truth, rate_hz):
    """One frame as text: state, speed beside the true one, levels, stray tones with their order."""
    time = frame.sample / rate_hz
    true = float(true_rpm_at(truth, time))
    said = "     -" if frame.rpm is None else f"{frame.rpm:6.0f}"
    strays = " ".join(
        f"{tone.frequency_hz:.1f}Hz({60 * tone.frequency_hz / max(true, 1):.2f})@{tone.above_comb_db:+.0f}dB"
        for tone in frame.stray[:4]
    )
    comb = "  -" if frame.comb_db is None else f"{frame.comb_db:4.0f}"
    cut = any(start <= time <= end for start, end in truth["engaged"])
    rings = any(event["start_s"] <= time <= event["end_s"] for event in truth["chatter"])
    return (
        f"{time:6.2f} {'metal' if cut else '  air'} {'rings' if rings else '     '} {frame.state:9s} "
        f"{said} ({frame.rpm_confidence:4.2f}) true {true:6.0f}  "
        f"{frame.level_db:4.0f} dB comb {comb}  {strays}"
    )

"""Look at one case: what was heard, frame by frame, and every line of one moment."""

from pathlib import Path

from shopmon.listening.events import ChatterStarted, Frame, Notice
from tests.bench.detector.corpus import samples_of, truth_of_stem
from tests.bench.detector.hearing import told_setup, true_rpm_at
from tests.listening.hearing import listen, listener
from tests.listening.synthetic import blocks

BLOCK = 1000
AFTER_ONSET_S = 0.8


def opened(folder, number, told):
    """Truth, samples and what the listener is told of a case."""
    stem = Path(folder) / str(number)
    truth, samples = truth_of_stem(stem), samples_of(stem)
    rpm, flutes = told_setup(truth, told)
    sensor = truth["case"]["sensor"] if samples.ndim == 1 else "microphone"
    return truth, samples, {"rpm": rpm, "flutes": flutes, "sensor": sensor}


def look(folder, number, told="as-drawn", at=None):
    """Print what was heard of one case, frame by frame; or every line of one moment."""
    if at is not None:
        show_moment(moment(folder, number, told, at))
        return
    truth, samples, given = opened(folder, number, told)
    rate = truth["recording"]["sample_rate_hz"]
    case = {key: value for key, value in truth["case"].items() if key != "turns"}
    print(case, f"\nengaged {truth['engaged']}\nchatter {truth['chatter']}\ntold {given}")
    for event in listen(samples, rate, **given):
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


def moment(folder, number, told, at_s):
    """Explanation of a moment, None before the first frame."""
    truth, samples, given = opened(folder, number, told)
    rate = truth["recording"]["sample_rate_hz"]
    ears = listener(rate, channels=1 if samples.ndim == 1 else samples.shape[1], **given)
    for block in blocks(samples[: int(at_s * rate)], BLOCK, rate_hz=rate):
        ears.feed(block)
    return ears.explain()


def show_moment(found, most=None):
    """Print the lines of a moment, strongest first where only some are wanted, and what adds up."""
    if found is None:
        print("    nothing was heard yet")
        return
    lines = sorted(found.lines, key=lambda line: -line.level_db)[:most]
    for line in sorted(lines, key=lambda line: line.frequency_hz):
        grown = "   -" if line.over_background_db is None else f"{line.over_background_db:+4.0f}"
        print(
            f"    {line.frequency_hz:8.1f} Hz order {line.order:7.2f} {line.level_db:5.0f} dB "
            f"{line.over_floor_db:+4.0f} over noise {grown} over background  {line.what}: {line.why}"
        )
    parts = ", ".join(f"{what} {adds:+.1f}" for what, adds in found.parts[:5])
    print(
        f"    {found.state}, {found.rpm} rpm; suspect {found.suspect_hz} Hz: {parts}; "
        f"evidence {found.evidence}"
    )


def spectra(folder, cases, told, most):
    """Print the strongest lines of each case at its false alarm, or a little after the onset it missed."""
    for case in cases:
        at = case.alarm_s if case.alarm_s is not None else case.onset_s + AFTER_ONSET_S
        print(f"{case.answer['number']} {case.outcome}, at {at:.2f} s:")
        show_moment(moment(folder, case.answer["number"], told, at), most)

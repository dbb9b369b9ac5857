"""What the listener says of each case, one JSON line each, kept until the engine changes."""

import json
import time
from concurrent.futures import ProcessPoolExecutor
from hashlib import sha256
from pathlib import Path

import numpy as np

import shopmon.listening
import shopmon.signals
from shopmon.listening.events import ChatterEnded, ChatterStarted, CutEnded, Frame, Notice
from tests.bench.detector.corpus import samples_of, truth_of_stem
from tests.bench.detector.making import TURNS_STEP_S
from tests.listening.hearing import listen, of

TOLD = ("as-drawn", "right", "off", "unknown")
OFF = 0.02
SETTLED_S = 0.5
LAGS_S = (0.0, 0.1, 0.2, 0.3, 0.4)  # a frame's speed is that of its window, not of its last sample
ENGINE = (shopmon.signals, shopmon.listening)


def fingerprint(*files):
    """Name a state of some source files."""
    return sha256(b"".join(Path(file).read_bytes() for file in files)).hexdigest()[:12]


def engine_fingerprint():
    """Name the state of everything the listener consists of."""
    folders = [Path(package.__file__).parent for package in ENGINE]
    return fingerprint(*(file for folder in folders for file in sorted(folder.rglob("*.py"))), __file__)


def told_setup(truth, told):
    """Speed and flutes that the monitor is told: as the case was drawn, or the same for all."""
    case = truth["case"]
    if told == "as-drawn":
        return case["told_rpm"], case["told_flutes"]
    if told == "unknown":
        return None, None
    rpm = loaded_rpm(truth)
    if told == "off":
        rpm *= 1 + OFF * (1 if case["seed"] % 2 else -1)
    return round(rpm, 1), truth["spindle"]["flutes"]


def loaded_rpm(truth):
    """Speed of the spindle in the cut, before any turn of the override."""
    spindle = truth["plan"]["spindle"]
    return truth["spindle"]["true_rpm"] * (1 - (spindle["droop"] if truth["engagements"] else 0))


def true_rpm_at(truth, time_s):
    """True speed at any times."""
    turns = np.array(truth["case"]["turns"])
    rpm = 60 * np.gradient(turns) / TURNS_STEP_S
    return np.interp(time_s, np.arange(turns.size) * TURNS_STEP_S, rpm)


def answer(stem, told, settings=None, channel=None):
    """Listen to one case, or to one channel of it; returns plain data."""
    truth, samples = truth_of_stem(stem), samples_of(stem)
    samples = samples if channel is None else samples[:, channel]
    rate = truth["recording"]["sample_rate_hz"]
    rpm, flutes = told_setup(truth, told)
    sensor = truth["case"]["sensor"] if samples.ndim == 1 else "microphone"
    begin = time.process_time()
    events = listen(samples, rate, rpm=rpm, flutes=flutes, sensor=sensor, **(settings or {}))
    spent = time.process_time() - begin
    return {
        "number": int(stem.name),
        "alarms": [
            alarm_of(first.chatter, last.chatter, rate)
            for first, last in zip(of(ChatterStarted, events), of(ChatterEnded, events), strict=True)
        ],
        "engaged": [
            [start / rate, end / rate] for event in of(CutEnded, events) for start, end in event.cut.engaged
        ],
        "speed": speed_of(of(Frame, events), truth, rate),
        "notices": sorted({event.code for event in of(Notice, events)}),
        "cpu_s": round(spent, 3),
    }


def alarm_of(chatter, ended, rate_hz):
    """One alarm: when, at which frequency (and in the end), of what kind, how sure."""
    return {
        "at_s": round(chatter.alarm_sample / rate_hz, 4),
        "frequency_hz": round(chatter.frequency_hz, 2),
        "ended_hz": round(ended.frequency_hz, 2),
        "kind": chatter.kind,
        "confidence": round(chatter.confidence, 3),
    }


def speed_of(frames, truth, rate_hz):
    """Share of frames in settled cut whose speed is right to 0.1 and 0.5 %, or given at all; and outside."""
    time = np.array([frame.sample for frame in frames]) / rate_hz
    said = np.array([np.nan if frame.rpm is None else frame.rpm for frame in frames], dtype=float)
    true = np.stack([true_rpm_at(truth, time - lag) for lag in LAGS_S])
    with np.errstate(divide="ignore", invalid="ignore"):
        error = np.min(np.abs(said / true - 1), axis=0)
    inside = np.zeros(time.size, dtype=bool)
    for start, end in truth["engaged"]:
        inside |= (time > start + SETTLED_S) & (time < end)
    return {
        "frames": int(inside.sum()),
        "within_0.1%": share(error[inside] <= 1e-3),
        "within_0.5%": share(error[inside] <= 5e-3),
        "given": share(np.isfinite(said[inside])),
        "given_outside": share(np.isfinite(said[~inside])),
    }


def share(flags):
    """Share that is true; None of nothing."""
    return round(float(np.mean(flags)), 4) if np.size(flags) else None


def answers(stems, told, *, jobs=1, settings=None, channel=None, progress=True):
    """Answers for all cases, from the file beside the corpus where this engine heard them before."""
    name = engine_fingerprint() + "-" + told + "".join(f"-{k}={v:g}" for k, v in (settings or {}).items())
    name += "" if channel is None else f"-channel{channel}"
    kept = Kept(stems[0].parent / "heard" / f"{name}.jsonl")
    missing = [stem for stem in stems if int(stem.name) not in kept.rows]
    for done, row in enumerate(each(missing, told, settings, channel, jobs)):
        kept.add(row)
        if progress and done % 25 == 24:
            print(f"  heard {done + 1} of {len(missing)}", flush=True)
    return [kept.rows[int(stem.name)] for stem in stems]


def each(stems, told, settings, channel, jobs):
    """Listen to cases one after the other, or several at once."""
    if jobs == 1:
        yield from (answer(stem, told, settings, channel) for stem in stems)
        return
    with ProcessPoolExecutor(jobs) as pool:
        yield from pool.map(answer, stems, *([same] * len(stems) for same in (told, settings, channel)))


class Kept:
    """Rows of a file of JSON lines, by their number."""

    def __init__(self, path):
        self.path, self.rows = path, {}
        if path.exists():
            for line in path.read_text().splitlines():
                row = json.loads(line)
                self.rows[row["number"]] = row

    def add(self, row):
        """Keep a row, in memory and on disk."""
        self.path.parent.mkdir(exist_ok=True)
        self.rows[row["number"]] = row
        with self.path.open("a") as file:
            file.write(json.dumps(row) + "\n")

"""Two plain methods of the literature on the same signals, each helped as far as honesty allows.

Both are told the true speed and flutes, and when the teeth are in metal; where there is no metal at all, a
level gate opens them. Both look every 50 ms at 0.4 s and alarm after three looks in a row over one fixed
threshold, which is chosen on the very signals that it is scored on.

Once-per-revolution variance (T. Schmitz, J. Sound Vib. 262 (2003) 721-730, from memory): samples at the same
angle of each turn agree in a stable cut. Here the true, tracked phase is handed over, at 64 angles instead of
one, and the variance is put in relation to that of the sound, so that gain does not matter.

Peaks off the tooth-passing harmonics: the highest line off them, over the highest on them.
"""

import numpy as np
from scipy import fft
from scipy.interpolate import CubicSpline
from scipy.signal import butter, sosfiltfilt

from tests.bench.detector.corpus import samples_of, truth_of_stem
from tests.bench.detector.hearing import Kept, fingerprint
from tests.bench.detector.making import TURNS_STEP_S

WINDOW_S, HOP_S, IN_A_ROW = 0.4, 0.05, 3
ANGLES, LEAST_TURNS = 64, 6
BAND_HZ = (100.0, 6000.0)
TOLERANCE_HZ = 4.0
GATE_DB = 6.0
THRESHOLDS_DB = np.arange(-60.0, 40.0, 0.5)
METHODS = ("revolution", "peaks")


def traces(stem):
    """Return when each look ended and each method's figure, dB, the lowest of three looks in a row."""
    truth, samples = truth_of_stem(stem), samples_of(stem)
    samples = samples if samples.ndim == 1 else samples[:, 0]
    rate = truth["recording"]["sample_rate_hz"]
    turns = CubicSpline(
        np.arange(len(truth["case"]["turns"])) * TURNS_STEP_S, truth["case"]["turns"], bc_type="natural"
    )
    looks = looks_at(samples, rate, truth)
    edges = (BAND_HZ[0], min(BAND_HZ[1], 0.45 * rate))
    band = sosfiltfilt(butter(3, edges, "bandpass", fs=rate, output="sos"), samples)
    flutes = truth["spindle"]["flutes"]
    revolution = [revolution_db(band, turns, end, rate) for end in looks]
    peaks = [peaks_db(samples, turns, end, rate, flutes) for end in looks]
    return {
        "number": int(stem.name),
        "ends_s": [round(end, 3) for end in looks],
        "revolution": in_a_row(looks, revolution),
        "peaks": in_a_row(looks, peaks),
    }


def looks_at(samples, rate_hz, truth):
    """Ends of the windows that lie within metal, or above the gate where there is no metal."""
    ends = np.arange(WINDOW_S, samples.size / rate_hz, HOP_S)
    if truth["engaged"]:
        inside = [any(a <= end - WINDOW_S and end <= b for a, b in truth["engaged"]) for end in ends]
        return ends[np.array(inside, dtype=bool)].tolist()
    size = int(HOP_S * rate_hz)
    level = 10 * np.log10(
        np.mean(samples[: samples.size // size * size].reshape(-1, size) ** 2, axis=1) + 1e-12
    )
    loud = level > np.quantile(level, 0.1) + GATE_DB
    width = round(WINDOW_S / HOP_S)
    return [
        end for end in ends if loud[max(0, round(end / HOP_S) - width) : round(end / HOP_S)].mean() > 0.75
    ]


def revolution_db(samples, turns, end_s, rate_hz):
    """Variance of samples taken once per revolution over the variance of the sound, dB."""
    last = float(turns(end_s))
    rotation_hz = max(float(turns(end_s, 1)), 0.0)
    count = max(LEAST_TURNS, int(WINDOW_S * rotation_hz))
    if last - count < 0 or rotation_hz < 2:
        return -99.0
    fine = np.linspace(max(end_s - 1.2 * count / rotation_hz - 0.2, 0), end_s, 400)
    wanted = np.floor(last) - count + np.arange(count * ANGLES) / ANGLES
    places = np.interp(wanted, turns(fine), fine) * rate_hz
    rows = np.interp(places, np.arange(samples.size), samples).reshape(count, ANGLES)
    return round(float(10 * np.log10((rows.var(axis=0).mean() + 1e-15) / (rows.var() + 1e-15))), 2)


def peaks_db(samples, turns, end_s, rate_hz, flutes):
    """Highest line off the tooth-passing harmonics over the highest on them, dB."""
    length = int(WINDOW_S * rate_hz)
    last = int(end_s * rate_hz)
    piece = samples[max(0, last - length) : last]
    level = 20 * np.log10(np.abs(fft.rfft(piece * np.hanning(piece.size))) + 1e-12)
    frequency = np.arange(level.size) * rate_hz / piece.size
    tooth_hz = max(float(turns(end_s - WINDOW_S / 2, 1)) * flutes, 4 * TOLERANCE_HZ)
    off = np.abs(frequency - tooth_hz * np.round(frequency / tooth_hz)) > TOLERANCE_HZ
    band = (frequency > BAND_HZ[0]) & (frequency < BAND_HZ[1])
    return round(float(level[band & off].max() - level[band & ~off].max()), 2)


def in_a_row(ends, values):
    """Lowest of the last three looks, nothing (-99) where they do not follow one another."""
    lowest = []
    for at, end in enumerate(ends):
        first = at - IN_A_ROW + 1
        joined = first >= 0 and end - ends[first] < (IN_A_ROW - 0.5) * HOP_S
        lowest.append(min(values[first : at + 1]) if joined else -99.0)
    return lowest


def alarm_s(trace, method, threshold_db):
    """When a method alarms at a threshold, None when it never does."""
    over = np.flatnonzero(np.array(trace[method]) > threshold_db)
    return trace["ends_s"][over[0]] if over.size else None


def all_traces(stems):
    """Traces of all cases, from the file beside the corpus where they were made before."""
    kept = Kept(stems[0].parent / "heard" / f"plain-{fingerprint(__file__)}.jsonl")
    for stem in stems:
        if int(stem.name) not in kept.rows:
            kept.add(traces(stem))
    return [kept.rows[int(stem.name)] for stem in stems]


def best_threshold_db(traced, method, accuracy):
    """The single threshold that gives the highest balanced accuracy on these very signals."""
    scores = [accuracy([alarm_s(trace, method, level) for trace in traced]) for level in THRESHOLDS_DB]
    return float(THRESHOLDS_DB[int(np.argmax(scores))])

"""A slow run-up of the spindle: how fast it turned when, and how loud each multiple of the rotation was then.

The speed is followed through short spectra: in each, every speed is judged by how far its multiples stand
out, and the likeliest path that no spindle could not take is chosen (Viterbi). Then the sound is resampled to
equal angles of the shaft, where the multiples stand still however the speed moves (order tracking by
resampling: K. R. Fyfe, E. D. S. Munck, *Mech. Syst. Signal Process.* 11, 1997, 187-205).
"""

from dataclasses import dataclass

import numpy as np
from scipy import fft

from shopmon.errors import RecordingError, SettingError
from shopmon.signals.spectra import hann_window

FRAME_S, HOP_S = 0.4, 0.1
SPEEDS = 400
TRACKED_ORDERS = 6
OVER_MEDIAN_DB, CAP_DB = 3.0, 20.0
FASTEST_CHANGE = 0.35  # of the speed per second: of a slow run-up, with an override turned by hand
BEYOND = 0.08  # the true speed may leave the stated range by this share
HEARD_DB = 1.5
SHORTEST_S, LEAST_RATIO = 5.0, 1.3
TURNS, MOST_FRAMES = 12, 1500  # turns of one order spectrum
ORDER_REACH = 0.2
MAP_HZ, MAP_ROWS = 10.0, 60
NOTCH_HZ = 1.0


@dataclass(frozen=True, eq=False)
class SpeedTrack:
    """The rotation over a run.

    Attributes
    ----------
    time_s, rotation_hz
        Shape ``(frames,)``.
    heard_db
        By how much the multiples of the rotation stand over other speeds' multiples, mean over the run.
    """

    time_s: np.ndarray
    rotation_hz: np.ndarray
    heard_db: float


@dataclass(frozen=True, eq=False)
class RunUp:
    """What a run-up showed.

    Attributes
    ----------
    rotation_hz
        Shape ``(frames,)``, in the order of the run.
    amplitudes
        Shape ``(frames, orders)``: peak amplitude of each multiple of the rotation, in the samples' unit; NaN
        above the sensor's reach.
    map_rpm, map_hz, map_db
        Speed by frequency, shapes ``(rows,)``, ``(columns,)``, ``(rows, columns)``: mean level, dB re the
        samples' unit.
    steady_hz
        Frequencies of tones that are there at every speed, as far as they could not be taken out.
    """

    rotation_hz: np.ndarray
    amplitudes: np.ndarray
    map_rpm: np.ndarray
    map_hz: np.ndarray
    map_db: np.ndarray
    steady_hz: tuple[float, ...]


def follow_speed(samples: np.ndarray, sample_rate_hz: float, low_rpm: float, high_rpm: float) -> SpeedTrack:
    """Follow the rotation through a run between two speeds, up or down.

    Parameters
    ----------
    samples
        Shape ``(n,)``.
    sample_rate_hz
        Samples per second.
    low_rpm, high_rpm
        Between which the run went, as programmed.

    Raises
    ------
    SettingError
        The speeds cannot be.
    RecordingError
        The run is too short, or the rotation is not heard in it.
    """
    _check(samples, sample_rate_hz, low_rpm, high_rpm)
    size, hop = int(FRAME_S * sample_rate_hz), int(HOP_S * sample_rate_hz)
    speeds = np.geomspace(low_rpm * (1 - BEYOND), high_rpm * (1 + BEYOND), SPEEDS) / 60
    window = hann_window(size)
    starts = np.arange(0, samples.size - size + 1, hop)
    scores = np.empty((starts.size, SPEEDS), np.float32)
    bin_hz = sample_rate_hz / size
    needed = int(min(size // 2, TRACKED_ORDERS * speeds[-1] * 1.1 / bin_hz + 8))
    for row, start in enumerate(starts):
        power = np.abs(fft.rfft(samples[start : start + size] * window)[:needed]) ** 2
        scores[row] = _score(power, bin_hz, speeds)
    path = _likeliest(scores, speeds, HOP_S)
    at = (starts + size / 2) / sample_rate_hz
    own = scores[np.arange(starts.size), path]
    heard_db = float(np.mean(own - np.median(scores, axis=1)))
    if heard_db < HEARD_DB:
        raise RecordingError(
            "The shaft's own tones are not heard in this run: its speed cannot be followed.",
            "Put the sensor nearer to the spindle's nose, or use a tachometer.",
        )
    return SpeedTrack(at, _smooth(speeds[path]), heard_db)


def speed_track(at_s: np.ndarray, rotation_hz: np.ndarray, samples: int, sample_rate_hz: float) -> SpeedTrack:
    """Return the track of a run whose speed is known turn by turn, as a tachometer tells it.

    Parameters
    ----------
    at_s, rotation_hz
        Middle and rate of each turn, shape ``(turns,)``.
    samples, sample_rate_hz
        Length of the run's sound, and its samples per second.
    """
    size, hop = int(FRAME_S * sample_rate_hz), int(HOP_S * sample_rate_hz)
    frames = (np.arange(0, samples - size + 1, hop) + size / 2) / sample_rate_hz
    return SpeedTrack(frames, np.interp(frames, at_s, _smooth(rotation_hz)), np.inf)


def _check(samples, sample_rate_hz: float, low_rpm: float, high_rpm: float) -> None:
    if not (low_rpm > 0 and LEAST_RATIO * low_rpm <= high_rpm < np.inf):
        raise SettingError(
            "A run-up goes from a low speed to one at least 1.3 times as high.", "Give both as programmed."
        )
    if high_rpm / 60 * 3 > 0.45 * sample_rate_hz:
        raise SettingError("The speed is too high for this sensor.", "Take a faster sensor.")
    if samples.ndim != 1 or not np.all(np.isfinite(samples)):
        raise RecordingError("The recording holds values that are no numbers.", "Record it again.")
    if samples.size < SHORTEST_S * sample_rate_hz:
        raise RecordingError(
            "The run-up is too short.", "Take about a minute from the lowest speed to the highest."
        )
    if np.ptp(samples) == 0:
        raise RecordingError(
            "The recording is constant: nothing was measured.", "Check the sensor and its cable."
        )


def _score(power: np.ndarray, bin_hz: float, speeds_hz: np.ndarray) -> np.ndarray:
    """Return, per speed, how far its multiples stand out, less what lies half-way between them."""
    from scipy.ndimage import median_filter, uniform_filter1d

    # a line smears over some bins while the speed moves
    power = uniform_filter1d(power, 3)
    floor = median_filter(power, size=max(15, int(60 / bin_hz)) | 1, mode="nearest")
    excess = np.clip(
        10 * np.log10(np.maximum(power, 1e-30) / np.maximum(floor, 1e-30)) - OVER_MEDIAN_DB, 0, CAP_DB
    )
    score = np.zeros(speeds_hz.size, np.float32)
    for order in range(1, TRACKED_ORDERS + 1):
        score += _read(excess, order * speeds_hz / bin_hz) / TRACKED_ORDERS
        # half the true speed has all of its multiples, and as many that are not there
        score -= 0.5 * _read(excess, (order - 0.5) * speeds_hz / bin_hz) / TRACKED_ORDERS
    return score


def _read(values: np.ndarray, place: np.ndarray) -> np.ndarray:
    return np.interp(place, np.arange(values.size), values, right=0.0)


def _likeliest(scores: np.ndarray, speeds_hz: np.ndarray, hop_s: float) -> np.ndarray:
    """Return the path of greatest total score on which the speed changes no faster than a spindle's may."""
    from scipy.ndimage import maximum_filter1d

    step = np.log(speeds_hz[1] / speeds_hz[0])
    reach = max(1, int(np.ceil(FASTEST_CHANGE * hop_s / step)))
    total = np.empty_like(scores)
    total[0] = scores[0]
    for row in range(1, scores.shape[0]):
        total[row] = scores[row] + maximum_filter1d(total[row - 1], 2 * reach + 1, mode="nearest")
    path = np.empty(scores.shape[0], int)
    path[-1] = int(np.argmax(total[-1]))
    for row in range(scores.shape[0] - 2, -1, -1):
        low = max(0, path[row + 1] - reach)
        path[row] = low + int(np.argmax(total[row, low : path[row + 1] + reach + 1]))
    return path


def _smooth(hz: np.ndarray) -> np.ndarray:
    from scipy.ndimage import gaussian_filter1d, median_filter

    return gaussian_filter1d(median_filter(hz, 5, mode="nearest"), 1.5, mode="nearest")


def run_up(samples: np.ndarray, sample_rate_hz: float, track: SpeedTrack, orders: int = 16) -> RunUp:
    """Measure the multiples of the rotation along a run, and the map of speed and frequency.

    Parameters
    ----------
    samples, sample_rate_hz
        Of the run.
    track
        From `follow_speed`, or of a tachometer.
    orders
        How many multiples.
    """
    from scipy.interpolate import PchipInterpolator
    from scipy.ndimage import spline_filter1d

    samples = without_steady_tones(samples, sample_rate_hz, track, orders)
    fine_s = np.arange(track.time_s[0], track.time_s[-1], 0.01)
    turns = PchipInterpolator(track.time_s, track.rotation_hz).antiderivative()(fine_s)
    turns -= turns[0]
    starts = np.arange(0.0, turns[-1] - TURNS, max(TURNS / 2, turns[-1] / MOST_FRAMES))
    rotation = np.interp(np.interp(starts + TURNS / 2, turns, fine_s), track.time_s, track.rotation_hz)
    spline = spline_filter1d(samples, 3)
    amplitudes = np.full((starts.size, orders), np.nan)
    for row, (start, hz) in enumerate(zip(starts, rotation, strict=True)):
        # about as many samples as there were, so that nothing is folded
        even = start + np.arange(int(TURNS * sample_rate_hz / hz)) / int(TURNS * sample_rate_hz / hz) * TURNS
        highest = min(orders, int(0.4 * sample_rate_hz / hz))
        place = np.interp(even, turns, fine_s) * sample_rate_hz
        amplitudes[row, :highest] = _of_orders(spline, place, highest)
    rpm, hz, level = _speed_map(samples, sample_rate_hz, track, orders)
    return RunUp(rotation, amplitudes, rpm, hz, level, _steady_tones(hz, level))


def without_steady_tones(
    samples: np.ndarray, sample_rate_hz: float, track: SpeedTrack, orders: int
) -> np.ndarray:
    """Return a run without the tones that are there at every speed: mains, fans, the machine next door.

    The multiples of the rotation sweep over such a tone in a moment, so that hardly anything of them goes.
    """
    _, hz, level = _speed_map(samples, sample_rate_hz, track, orders)
    spectrum, bin_hz = fft.rfft(samples - samples.mean()), sample_rate_hz / samples.size
    for tone in _steady_tones(hz, level):
        first, last = (int((tone + side * MAP_HZ) / bin_hz) for side in (-1, 1))
        line = first + int(np.argmax(np.abs(spectrum[first : last + 1])))
        reach = max(1, int(NOTCH_HZ / bin_hz))
        spectrum[max(0, line - reach) : line + reach + 1] = 0
    return fft.irfft(spectrum, samples.size)


def _of_orders(spline: np.ndarray, place: np.ndarray, orders: int) -> np.ndarray:
    """Return the amplitude of each multiple of the rotation: the energy within its reach."""
    from scipy.ndimage import map_coordinates

    by_angle = map_coordinates(spline, [place], order=3, prefilter=False, mode="nearest")
    window = hann_window(by_angle.size)
    reach = round(ORDER_REACH * TURNS)
    power = np.abs(fft.rfft(by_angle * window)[: orders * TURNS + reach + 1]) ** 2
    around = power[np.arange(1, orders + 1)[:, None] * TURNS + np.arange(-reach, reach + 1)].sum(axis=1)
    return np.sqrt(around * 4 / (by_angle.size * np.sum(window**2)))


def _speed_map(samples, sample_rate_hz: float, track: SpeedTrack, orders: int):
    size, hop = int(FRAME_S * sample_rate_hz), int(HOP_S * sample_rate_hz)
    window = hann_window(size)
    top_hz = min(0.45 * sample_rate_hz, orders * float(track.rotation_hz.max()))
    bin_hz = sample_rate_hz / size
    per = max(1, round(MAP_HZ / bin_hz))
    columns = int(top_hz / bin_hz) // per
    edges = np.linspace(track.rotation_hz.min(), track.rotation_hz.max() * (1 + 1e-9), MAP_ROWS + 1)
    total, count = np.zeros((MAP_ROWS, columns)), np.zeros(MAP_ROWS)
    scale = 4 / window.sum() ** 2 / 2
    for row, hz in enumerate(track.rotation_hz):
        start = row * hop
        power = np.abs(fft.rfft(samples[start : start + size] * window)[: columns * per]) ** 2 * scale
        place = min(int(np.searchsorted(edges, hz, side="right")) - 1, MAP_ROWS - 1)
        total[place] += power.reshape(columns, per).max(axis=1)
        count[place] += 1
    there = count > 0
    level = 10 * np.log10(np.maximum(total[there] / count[there, None], 1e-30))
    return 30 * (edges[:-1] + edges[1:])[there], (np.arange(columns) + 0.5) * per * bin_hz, level


def _steady_tones(hz: np.ndarray, level_db: np.ndarray) -> tuple[float, ...]:
    """Return the tones that stand out at nearly every speed."""
    from scipy.ndimage import median_filter

    out = level_db - median_filter(level_db, size=(1, 15), mode="nearest")
    there = np.mean(out > 6.0, axis=0) > 0.8
    return tuple(float(value) for value in hz[there])

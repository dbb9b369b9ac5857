"""What full scale of a channel means: by gravity, by a reference, or by the sheet of the sensor.

A calibration turns shares of full scale into a unit. Gravity is a steady acceleration; that a sensor reads
vibration with the same factor is so for the capacitive ones meant here, not for piezo-electric ones.
"""

from dataclasses import dataclass
from math import isfinite, log10, sqrt

import numpy as np

AXIS_NAMES = ("x", "y", "z")
PLACES = ("x up", "x down", "y up", "y down", "z up", "z down")
REFERENCE_PA = 20e-6
STILL_SHARE, STILL_LEAST = 0.05, 2e-5
OVER_NOISE = 5.0
STUCK, CROSSED = 0.1, 0.5
STATED_WITHIN = 0.1
ALIKE_WITHIN = 0.1
TONE_SHARE, STEADY_DB = 0.9, 0.5


@dataclass(frozen=True, kw_only=True)
class Resting:
    """A sensor at rest for a moment.

    Attributes
    ----------
    mean
        Of each axis, shares of full scale.
    spread
        Standard deviation of each axis over pieces of a tenth of a second, shares of full scale.
    """

    mean: tuple[float, ...]
    spread: tuple[float, ...]


def resting(samples: np.ndarray, sample_rate_hz: float) -> Resting:
    """Average a sensor at rest.

    Parameters
    ----------
    samples
        Shape ``(frames, axes)``, shares of full scale; a second or more.
    sample_rate_hz
        Frames per second.
    """
    samples = np.asarray(samples, float)
    piece = max(1, round(0.1 * sample_rate_hz))
    pieces = max(1, len(samples) // piece)
    means = samples[: pieces * piece].reshape(pieces, -1, samples.shape[1]).mean(axis=1)
    return Resting(mean=tuple(samples.mean(axis=0)), spread=tuple(means.std(axis=0)))


@dataclass(frozen=True, kw_only=True)
class TurnOver:
    """What turning an accelerometer over says.

    Attributes
    ----------
    g_per_full_scale
        What full scale of each axis means, in g.
    offset_g
        What each axis reads without gravity along it.
    residual_g
        Root mean square of what is left of each axis over all places: tilt, cross-talk, noise.
    remarks
        What is wrong, one sentence each; the calibration stands all the same.
    """

    g_per_full_scale: tuple[float, ...]
    offset_g: tuple[float, ...]
    residual_g: tuple[float, ...]
    remarks: tuple[str, ...]


def turn_over(places: dict[str, Resting], stated_g: tuple[float, ...] | None = None) -> TurnOver:
    """Calibrate three axes by gravity.

    Parameters
    ----------
    places
        The sensor at rest with each axis up and down: all six of `PLACES`. An axis that points up reads +1 g.
    stated_g
        What full scale of each axis means by what the sensor or its driver says, for comparison.

    Raises
    ------
    ValueError
        A place is missing, the sensor moved, or an axis does not answer or answers for another one; the
        message is one sentence for the person.
    """
    missing = [name for name in PLACES if name not in places]
    if missing:
        raise ValueError(f"these places are still missing: {', '.join(missing)}")
    means = np.array([places[name].mean for name in PLACES])
    if means.shape[1] != 3:
        raise ValueError(f"turning over needs three axes, and there are {means.shape[1]}")
    # half the difference between up and down: rows are the turned axis, columns the channel
    answer = (means[0::2] - means[1::2]) / 2
    _refuse_moved(places, np.abs(answer).max())
    _refuse_stuck_or_swapped(answer, max(max(places[name].spread) for name in PLACES))
    gain = answer.diagonal()
    offset = np.array([(means[2 * axis, axis] + means[2 * axis + 1, axis]) / 2 for axis in range(3)])
    gravity = np.zeros((6, 3))
    for axis in range(3):
        gravity[2 * axis, axis], gravity[2 * axis + 1, axis] = 1.0, -1.0
    left = (means - offset) / gain - gravity
    g_per_full_scale = 1.0 / gain
    return TurnOver(
        g_per_full_scale=tuple(np.abs(g_per_full_scale).tolist()),
        offset_g=tuple((offset / gain).tolist()),
        residual_g=tuple(np.sqrt((left**2).mean(axis=0)).tolist()),
        remarks=tuple(_remarks(gain, g_per_full_scale, left, stated_g)),
    )


def _refuse_moved(places: dict[str, Resting], one_g: float) -> None:
    for name in PLACES:
        if max(places[name].spread) > max(STILL_SHARE * one_g, STILL_LEAST):
            raise ValueError(f"the sensor moved while it lay with {name}: lay it down and measure that again")


def _refuse_stuck_or_swapped(answer: np.ndarray, noise: float) -> None:
    most = np.abs(answer).max()
    if most < max(1e-6, OVER_NOISE * noise):
        raise ValueError("no axis answers to gravity: this sensor cannot be calibrated by turning it over")
    for channel in range(3):
        if np.abs(answer[:, channel]).max() < STUCK * most:
            raise ValueError(f"axis {AXIS_NAMES[channel]} is stuck: it reads the same in every place")
    best = np.abs(answer).argmax(axis=1)
    for axis in range(3):
        if best[axis] != axis and abs(answer[axis, axis]) < CROSSED * np.abs(answer[axis]).max():
            told, found = AXIS_NAMES[axis], AXIS_NAMES[best[axis]]
            raise ValueError(
                f"axes are exchanged: turning {told} over moves axis {found}; go by the axes "
                "printed on it, or change its wiring or mount matrix"
            )


def _remarks(gain, g_per_full_scale, left, stated_g):
    for axis in np.flatnonzero(gain < 0):
        yield f"Axis {AXIS_NAMES[axis]} points the other way: up reads −1 g."
    size = np.abs(g_per_full_scale)
    if stated_g is not None:
        for axis in range(3):
            reads = stated_g[axis] / size[axis]
            if abs(reads - 1) > STATED_WITHIN:
                yield (
                    f"By the scale that the sensor states, gravity on axis {AXIS_NAMES[axis]} reads "
                    f"{reads:.2f} g: its range or scale is set wrong. This calibration corrects it."
                )
    elif size.max() / size.min() - 1 > ALIKE_WITHIN:
        yield "The axes answer to gravity by more than 10 % differently: look whether it lay straight."
    if np.sqrt((left**2).mean(axis=0)).max() > 0.05:
        yield "More than 0.05 g is left over: it lay tilted by some degrees, or against something that shook."


def from_level(samples: np.ndarray, sample_rate_hz: float, level_db: float = 94.0) -> float:
    """Return what full scale of a microphone means in Pa, from a calibrator's tone.

    Parameters
    ----------
    samples
        Shape ``(frames,)``, shares of full scale; two seconds or more.
    sample_rate_hz
        Frames per second.
    level_db
        What the calibrator gives, dB re 20 µPa (r.m.s.).

    Raises
    ------
    ValueError
        The tone is overloaded, unsteady or drowned; one sentence for the person.
    """
    samples = np.asarray(samples, float) - np.mean(samples)
    if np.abs(samples).max() > 0.98:
        raise ValueError("the input is overloaded: turn it down and measure again")
    rms = float(sqrt(np.mean(samples**2)))
    if rms < 1e-5:
        raise ValueError("nothing is heard: is the calibrator switched on and seated on the microphone?")
    piece = max(1, round(0.1 * sample_rate_hz))
    pieces = samples[: len(samples) // piece * piece].reshape(-1, piece)
    levels = 10 * np.log10((pieces**2).mean(axis=1) + 1e-20)
    if levels.max() - levels.min() > STEADY_DB:
        raise ValueError(
            f"the tone wavers by {levels.max() - levels.min():.1f} dB: hold still and measure again"
        )
    power = np.abs(np.fft.rfft(samples * np.hanning(len(samples)))) ** 2
    peak = int(power.argmax())
    if power[max(0, peak - 3) : peak + 4].sum() < TONE_SHARE * power.sum():
        raise ValueError("there is no clear tone: seat the calibrator and keep the shop quiet")
    return REFERENCE_PA * 10 ** (level_db / 20) / rms


def from_sensitivity_db(sensitivity_db: float) -> float:
    """Return what full scale means in Pa, from the sensitivity of a digital microphone's sheet.

    Parameters
    ----------
    sensitivity_db
        Level of a sine of 94 dB re 20 µPa, dB re full scale as sheets count it: a sine whose peak reaches
        full scale has 0 dB.
    """
    if not (isfinite(sensitivity_db) and -120 < sensitivity_db < 0):
        raise ValueError(f"a sensitivity of {sensitivity_db!r} dB re full scale cannot be")
    return REFERENCE_PA * 10 ** (94.0 / 20) * sqrt(2) / 10 ** (sensitivity_db / 20)


def level_in(unit: str, per_full_scale: float, level_db: float) -> float:
    """Return a level in a unit: dB re 20 µPa for Pa, else the r.m.s. value itself.

    Parameters
    ----------
    unit
        Of the calibration.
    per_full_scale
        What full scale means in it.
    level_db
        r.m.s. level, dB re full scale (a share of full scale of 1 is 0 dB).
    """
    if unit == "Pa":
        return level_db + 20 * log10(per_full_scale / REFERENCE_PA)
    return per_full_scale * 10 ** (level_db / 20)

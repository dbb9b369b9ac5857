"""The spindle check of one idle run: rotation, vibration at its multiples, and signs of the bearings."""

from collections.abc import Sequence
from dataclasses import asdict

import numpy as np

from shopmon.errors import SettingError
from shopmon.service.measured_signal import MeasuredSignal
from shopmon.service.spindle.tach import speed_of
from shopmon.signals.levels import flat_top_share
from shopmon.signals.spindle.balance import missing_for_grade
from shopmon.signals.spindle.bearing_signs import BearingSigns, bearing_signs
from shopmon.signals.spindle.bearing_tones import BearingTones
from shopmon.signals.spindle.once_per_turn import once_per_turn
from shopmon.signals.spindle.rotation_orders import (
    STANDARD_GRAVITY,
    acceleration_rms,
    order_amplitudes,
    refine_rotation,
    velocity_rms_mm_s,
)

SCHEMA = "shopmon.spindle/1"
ORDERS = 10
CLIPPED_SHARE = 1e-5
BEARING_SENSOR_HZ = 4000.0
IN_G = {"g": 1.0, "m/s2": 1 / STANDARD_GRAVITY, "m/s²": 1 / STANDARD_GRAVITY}
CAUTIONS = (
    "No cutter in the spindle, or a short balanced stub rated for the top speed: never a long end mill.",
    "Guards shut; stand clear of the spindle's plane; sensor and cable only on parts that do not turn.",
    "Warm the spindle up first as its maker says. What follows is advice; the maker's manual and qualified "
    "people come first.",
)


def check_spindle(signal: MeasuredSignal, stated_rpm: float, tones: BearingTones | None) -> dict:
    """Judge one idle run; return plain data, ``shopmon.spindle/1``.

    Parameters
    ----------
    signal
        Of a sensor on the spindle's housing, at one steady speed.
    stated_rpm
        As programmed.
    tones
        Of the bearing, None where nothing is known of it.

    Raises
    ------
    RecordingError
        The run cannot be judged: too short, constant, or no numbers.
    """
    told_rpm, told = None, []
    if signal.pulses is not None:
        told_rpm, told = speed_of(signal.pulses, signal.sample_rate_hz, stated_rpm)
    # without a bearing's tones the shaft is found all the same: half a turn belongs to no part
    signs = bearing_signs(
        signal.samples, signal.sample_rate_hz, told_rpm or stated_rpm, tones or BearingTones(cage=0.5)
    )
    rotation_hz = told_rpm / 60 if told_rpm else signs.rotation_hz
    if signs.rotation_heard and not told_rpm:
        rotation_hz = refine_rotation(signal.samples, signal.sample_rate_hz, rotation_hz)
    once = _once(signal) if told_rpm else None
    return {
        "schema": SCHEMA,
        "stated_rpm": stated_rpm,
        "rpm": 60 * rotation_hz if told_rpm or signs.rotation_heard else None,
        "speed_from": "tachometer" if told_rpm else "sound" if signs.rotation_heard else None,
        "unit": signal.unit,
        "duration_s": signal.samples.size / signal.sample_rate_hz,
        "sample_rate_hz": signal.sample_rate_hz,
        "orders": _orders(signal, rotation_hz),
        "once": once,
        "vibration": _vibration(signal),
        "balance": balance_unknown([once]),
        "bearing": _bearing(signs, rotation_hz) if tones else [],
        "notices": [*told, *_notices(signal, signs, tones, told_rpm is not None)],
        "cautions": list(CAUTIONS),
    }


def balance_unknown(phases: Sequence[dict | None]) -> dict:
    """Return what is missing for a balance grade after runs without a trial weight, with or without phase."""
    missing = missing_for_grade(mass_kg=None, phases_known=any(phases), trial_g_mm=None)
    return {"grade_mm_s": None, "missing": list(missing)}


def _orders(signal: MeasuredSignal, rotation_hz: float) -> list[dict]:
    amplitudes = order_amplitudes(signal.samples, signal.sample_rate_hz, rotation_hz, ORDERS)
    return [
        {"order": order, "frequency_hz": order * rotation_hz, "amplitude": float(amplitude)}
        for order, amplitude in enumerate(amplitudes, 1)
    ]


def _once(signal: MeasuredSignal) -> dict | None:
    """Amplitude and phase at once per turn, where the tachometer's pulses are those of one mark."""
    found = once_per_turn(signal.samples, signal.sample_rate_hz, signal.pulses)
    if found is None:
        return None
    values = asdict(found)
    return {"rpm": 60 * values.pop("rotation_hz"), **values}


def _vibration(signal: MeasuredSignal) -> dict:
    velocity = None
    if signal.unit in IN_G:
        velocity = velocity_rms_mm_s(signal.samples * IN_G[signal.unit], signal.sample_rate_hz)
    return {"rms": acceleration_rms(signal.samples), "velocity_rms_mm_s": velocity}


def _bearing(signs: BearingSigns, rotation_hz: float) -> list[dict]:
    return [{**asdict(tone), "order": tone.found_hz / rotation_hz} for tone in signs.tones]


def _notices(
    signal: MeasuredSignal, signs: BearingSigns, tones: BearingTones | None, told: bool
) -> list[dict]:
    found = []
    if not signs.rotation_heard and not told:
        found.append(
            ("rotation-not-heard", "The shaft's own tones do not stand out: the stated speed was used.",
             "Put the sensor nearer to the spindle's nose, or give the true speed.")
        )  # fmt: skip
    if max(signal.clipped_fraction, flat_top_share(signal.samples)) > CLIPPED_SHARE:
        found.append(
            ("sensor-clipped", "The recording is clipped: the tones it shows may be the clipping's.",
             "Lower the gain, or take a sensor with a wider range, and record again.")
        )  # fmt: skip
    if tones and 0.45 * signal.sample_rate_hz < BEARING_SENSOR_HZ:
        found.append(
            ("sensor-deaf-above", f"This recording ends at {0.45 * signal.sample_rate_hz:.0f} Hz; the clicks "
             "of a bearing mostly ring above.", "Take a faster sensor before you trust a quiet result.")
        )  # fmt: skip
    if signal.unit == "FS":
        found.append(
            ("not-calibrated", "Levels are shares of full scale: they compare runs of this sensor only.",
             "Calibrate it on the page Sensors; of a recording say what full scale was.")
        )  # fmt: skip
    found.append(
        ("balance-unknown", "Vibration at once per turn says nothing of a balance grade by itself.",
         "That needs the turning mass, a tachometer for the phase, and a second run with a trial weight.")
    )  # fmt: skip
    return [{"code": code, "text": text, "hint": hint} for code, text, hint in found]


def tones_from_text(text: str) -> BearingTones:
    """Read a bearing, either ``BALLS:BALL_MM:CIRCLE_MM[:ANGLE_DEG]`` or
    ``outer=3.58,inner=5.42[,ball=…,cage=…]``.

    Raises
    ------
    SettingError
        It is neither.
    """
    from shopmon.signals.spindle.bearing_tones import bearing_tones

    try:
        if "=" in text:
            pairs = [pair.split("=") for pair in text.split(",")]
            values = {name.strip(): float(value) for name, value in pairs}
            if len(values) != len(pairs):
                raise ValueError
            return BearingTones(**values)
        parts = [float(part) for part in text.split(":")]
        if len(parts) not in (3, 4) or not parts[0].is_integer() or not np.isfinite(parts).all():
            raise ValueError
        return bearing_tones(int(parts[0]), *parts[1:])
    except SettingError:
        raise
    except (ValueError, TypeError):
        raise SettingError(
            f"--bearing {text!r} is not a bearing.",
            "Write BALLS:BALL_MM:CIRCLE_MM:ANGLE_DEG, such as 12:6.35:40:15, or the multiples of the "
            "rotation, such as outer=3.58,inner=5.42.",
        ) from None

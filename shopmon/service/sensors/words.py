"""What is said of sensors and calibrations, on pages and on the command line."""

from datetime import datetime
from typing import Any

PLACE_WORDS = {f"{axis} {way}": f"{axis} points {way}" for axis in ("x", "y", "z") for way in ("up", "down")}
VERDICTS = {"yes": "Yes", "partly": "In part", "no": "No"}


def meaning(entry: dict[str, Any]) -> str:
    """Write what full scale of a channel means, with what is known of how sure that is.

    Examples
    --------
    >>> meaning({"channel": 1, "unit": "g", "per_full_scale": 15.98, "offset": 0.012, "residual": 0.004})
    'channel 1: full scale is 15.98 g, offset +0.012 g, 0.004 g left over'
    """
    text = f"channel {entry['channel']}: full scale is {entry['per_full_scale']:.4g} {entry['unit']}"
    if entry.get("offset") is not None:
        # adding 0 makes no minus zero of what rounds to it
        text += f", offset {round(entry['offset'], 3) + 0.0:+.3f} {entry['unit']}".replace("-", "−")
    if entry.get("residual") is not None:
        text += f", {entry['residual']:.3f} {entry['unit']} left over"
    return text


def day_of(t: float | None) -> str:
    """Write the day of a calibration."""
    return datetime.fromtimestamp(t).date().isoformat() if t else "clock not set"


def calibration_lines(calibration: dict[str, Any], t: float | None = None) -> list[str]:
    """Write a calibration: how and when, each channel, and what is wrong with it."""
    head = calibration["method"] if t is None else f"{calibration['method']}, {day_of(t)}"
    channels = [meaning(entry) for entry in calibration["channels"]]
    return [f"Calibrated: {head}", *(f"  {line}" for line in channels), *calibration["remarks"]]


def sensor_lines(told: dict[str, Any]) -> list[str]:
    """Write what ``shopmon.sensors/1`` tells of one sensor.

    Parameters
    ----------
    told
        The form of `shopmon.service.sensors.desk.SensorsDesk.as_data`.
    """
    kinds = [channel["kind"] for channel in told["channels"]]
    lines = [f"{told['source']}: {told['device']}", f"  {told['sample_rate_hz']:g} Hz, {', '.join(kinds)}"]
    if told["temperature_c"] is not None:
        lines.append(f"  sensor at {told['temperature_c']:.0f} °C")
    if told["stated_g"]:
        lines.append(f"  range by its own word: ±{told['stated_g'][0]:g} g")
    described = [told["part"], told["mounting"] if "accelerometer" in kinds else None]
    lines.append(
        f"  part: {described[0] or 'not said'}" + (f", fixed: {described[1]}" if described[1] else "")
    )
    if told["calibration"]:
        t = told["history"][0]["t"] if told["history"] else None
        lines += [f"  {line}" for line in calibration_lines(told["calibration"], t)]
    else:
        lines.append("  Not calibrated: levels are relative to full scale only.")
    lines += [f"  {told[name]}" for name in ("level", "doubt", "deaf") if told[name]]
    lines.append("What it may be asked:")
    lines += [
        f"  {answer['question']}: {VERDICTS[answer['verdict']]}. {answer['why']}"
        for answer in told["fitness"]
    ]
    return lines

"""Any moment's spectrum with its lines: frequency, order, level, what each is, and why it counted."""

import base64
from typing import Any

import numpy as np

from shopmon.listening.explanation import times
from shopmon.service.review.picture import OpenSound
from shopmon.service.review.stretch import Stretch
from shopmon.signals.moment_lines import moment_lines, other_rotation_hz
from shopmon.signals.spectrogram import CODE_FLOOR_DB, CODE_STEP_DB, as_codes

SCHEMA = "shopmon.moment/1"
TURNS, SHORTEST_S, LONGEST_S = 40.0, 0.2, 1.6
ON_LINE, ON_LINE_SHARE = 0.8, 7e-4
SAME_LINE = 1.5
UNNAMED = ("stray", "faint", "background", "other comb", "one of many")
LEAST_FRAMES = 256


def window_s(rotation_hz: float | None) -> float:
    """Return over how long a moment is looked at: some forty turns, so that lines are told apart."""
    return 0.4 if not rotation_hz else float(np.clip(TURNS / rotation_hz, SHORTEST_S, LONGEST_S))


def moment(stretch: Stretch, sound: OpenSound, at_s: float, explanation: dict[str, Any]) -> dict[str, Any]:
    """Return ``shopmon.moment/1``, see DEVELOPERS.md.

    Parameters
    ----------
    stretch, sound
        The cut and its recording.
    at_s
        The middle of the stretch of sound that is looked at.
    explanation
        From `Hearings.explain`.
    """
    reader = sound.reader
    rotation_hz = rotation_at(stretch, at_s)
    length_s = window_s(rotation_hz)
    length = min(reader.frames, max(LEAST_FRAMES, round(length_s * reader.sample_rate_hz)))
    first = int(np.clip(round(at_s * reader.sample_rate_hz) - length // 2, 0, reader.frames - length))
    seen = moment_lines(reader.read(first, first + length), reader.sample_rate_hz)
    length_s = length / reader.sample_rate_hz
    lines = _named(seen, stretch, rotation_hz, at_s, length_s)
    heard = explanation.pop("lines", None)
    if heard is not None:
        lines = _merged(lines, heard, length_s)
    return {
        "schema": SCHEMA,
        "id": stretch.id,
        "at_s": round(at_s, 4),
        "window_s": round(length_s, 4),
        "rpm": None if rotation_hz is None else round(60 * rotation_hz, 1),
        "flutes": stretch.flutes,
        "spectrum": {
            "step_hz": seen.step_hz,
            "floor_db": CODE_FLOOR_DB,
            "per_step_db": CODE_STEP_DB,
            "codes": base64.b64encode(as_codes(seen.levels_db).tobytes()).decode("ascii"),
        },
        "lines": lines,
        "explanation": explanation,
        "level_reference": "dB re full scale (uncalibrated)",
    }


def rotation_at(stretch: Stretch, at_s: float) -> float | None:
    """Return the rotation at a time in hertz, None where it is not known."""
    rotation_hz = float(stretch.rotation_hz(np.array([at_s]))[0])
    return rotation_hz if np.isfinite(rotation_hz) and rotation_hz > 0 else None


def _named(seen, stretch: Stretch, rotation_hz: float | None, at_s: float, length_s: float) -> list[dict]:
    """Name each line by where it lies, as far as that alone tells."""
    if rotation_hz is not None:
        rotation_hz = _set_right(seen, rotation_hz, length_s)
    off = np.ones(seen.frequency_hz.size, bool)
    if rotation_hz is not None:
        orders = np.maximum(1, np.rint(seen.frequency_hz / rotation_hz))
        away = np.abs(seen.frequency_hz - orders * rotation_hz)
        off = away > ON_LINE / length_s + ON_LINE_SHARE * seen.frequency_hz
    other_hz = other_rotation_hz(seen.frequency_hz[off], 0.5 / length_s)
    lines = []
    for at, hz in enumerate(seen.frequency_hz.tolist()):
        what, why = _comb_line(round(hz / rotation_hz), stretch.flutes) if not off[at] else ("", "")
        if off[at]:
            what, why = _stray_line(hz, stretch, at_s, other_hz, rotation_hz, length_s)
        lines.append(
            {
                "frequency_hz": round(hz, 2),
                "level_db": round(float(seen.level_db[at]), 2),
                "over_floor_db": round(float(seen.over_floor_db[at]), 1),
                "order": None if rotation_hz is None else round(hz / rotation_hz, 3),
                "what": what,
                "counts": False,
                "why": why,
            }
        )
    return lines


def _set_right(seen, rotation_hz: float, length_s: float) -> float:
    """Bring the rotation onto the strong low lines that lie on it: the track is read over a longer time."""
    orders = np.rint(seen.frequency_hz / rotation_hz)
    near = (orders >= 1) & (np.abs(seen.frequency_hz - orders * rotation_hz) < ON_LINE / length_s)
    if near.sum() < 2:
        return rotation_hz
    weights = np.maximum(seen.over_floor_db[near], 0) * orders[near]
    return float(np.sum(weights * seen.frequency_hz[near] / orders[near]) / np.sum(weights))


def _comb_line(order: int, flutes: int | None) -> tuple[str, str]:
    order = max(1, order)
    if flutes and order % flutes == 0:
        return "tooth passing", f"{times(order // flutes)}tooth passing: every cut makes it"
    return "rotation", f"{times(order)}the rotation: runout makes it"


def _stray_line(hz: float, stretch: Stretch, at_s: float, other_hz, rotation_hz, length_s) -> tuple[str, str]:
    for box in stretch.strays:
        if box.low_hz <= hz <= box.high_hz and box.start_s - length_s <= at_s <= box.end_s + length_s:
            return "stray", "the monitor found a stray tone here"
    if other_hz is not None:
        order = max(1, round(hz / other_hz))
        if abs(hz - order * other_hz) <= 0.5 / length_s * max(1, order / 4):
            return "other rotation", f"{order} times {other_hz:.1f} Hz: something else turns at that"
    if rotation_hz is None:
        return "not named", "the spindle's speed is not known here"
    return "off the comb", "on no multiple of the rotation"


def _merged(lines: list[dict], heard: list[dict], length_s: float) -> list[dict]:
    """Let the listener's word stand for the lines it saw; others stay as they were named by their place."""
    near_hz = SAME_LINE / length_s
    merged = [dict(line) for line in heard]
    for line in lines:
        close = [each for each in heard if abs(each["frequency_hz"] - line["frequency_hz"]) <= near_hz]
        if not close:
            merged.append(line)
        elif line["what"] == "other rotation":
            for each in merged:
                same = abs(each["frequency_hz"] - line["frequency_hz"]) <= near_hz
                if same and not each["counts"] and each["what"] in UNNAMED:
                    each.update(what=line["what"], why=f"{line['why']}; {each['why']}")
    return sorted(merged, key=lambda line: line["frequency_hz"])

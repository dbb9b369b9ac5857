"""Limits of depth from a measured receptance of the tool tip, read from tables of numbers."""

import math
from pathlib import Path

from shopmon.errors import SettingError

FRF_FORM = "DIRECTION:FILE, for example xx:tip-x.csv"
UNIVERSAL = (".uff", ".unv", ".ufb")
DIRECTIONS = ("xx", "yy", "xy", "yx")
LARGEST_BYTES = 50_000_000
COLUMNS = "frequency in Hz, real part and imaginary part in m/N"
AVERAGED = (
    "From averaged cutting forces: with little of the width in the cut they may promise two to four times "
    "the true depth, and they know no period doubling. Fit modes (shopmon speeds --mode) where it matters."
)


def read_response(text: str):
    """Read one measured receptance, written as ``DIRECTION:FILE``: a table, or a universal file.

    Raises
    ------
    RecordingError
        A universal file holds no response that can be used.
    SettingError
        The file is missing, is no table of three columns of numbers, or holds no response that can be.
    """
    import numpy as np

    from shopmon.cutting.nouns import FrequencyResponse

    direction, colon, name = text.partition(":")
    if not colon or direction not in DIRECTIONS or not name:
        raise SettingError(f"--frf {text!r} is no response.", f"Write {FRF_FORM}.")
    if Path(name).suffix.lower() in UNIVERSAL:
        from shopmon.records.response_file import read_response as read_universal

        measured = read_universal(name)
        return FrequencyResponse(
            frequency_hz=measured.frequency_hz,
            receptance_m_per_n=measured.receptance,
            direction=direction,
        )
    rows = [_numbers(number, line, name) for number, line in _lines(name)]
    if not rows:
        raise SettingError(f"{name} holds no numbers.", f"Three columns are needed: {COLUMNS}.")
    table = np.array(rows)
    if np.any(np.diff(table[:, 0]) <= 0):
        at = int(np.argmax(np.diff(table[:, 0]) <= 0)) + 1
        raise SettingError(
            f"{name}: the frequencies do not ascend at {table[at, 0]:g} Hz.",
            "Sort the lines, each frequency once.",
        )
    return FrequencyResponse(
        frequency_hz=table[:, 0], receptance_m_per_n=table[:, 1] + 1j * table[:, 2], direction=direction
    )


def _lines(name: str) -> list[tuple[int, str]]:
    """Lines that are no heading and not empty, with their numbers."""
    path = Path(name)
    try:
        if path.stat().st_size > LARGEST_BYTES:
            raise SettingError(f"{name} is too large for a response.", "Give the table of one response.")
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as exc:
        raise SettingError(f"{name} is no text.", f"Give a table with {COLUMNS}.") from exc
    except OSError as exc:
        raise SettingError(f"{name} cannot be read: {exc.strerror}.", "Check the path.") from exc
    found = [(number, line.strip()) for number, line in enumerate(text.splitlines(), 1) if line.strip()]
    return [(number, line) for number, line in found if not _is_heading(line, number == found[0][0])]


def _is_heading(line: str, first: bool) -> bool:
    return line[0] in "#%;" or (first and not (line[0].isdigit() or line[0] in "+-."))


def _numbers(number: int, line: str, name: str) -> list[float]:
    separator = next((mark for mark in (";", "\t", ",") if mark in line), None)
    parts = [part.strip() for part in line.split(separator)]
    if separator == ";":
        parts = [part.replace(",", ".") for part in parts]
    try:
        values = [float(part) for part in parts[:3]]
    except ValueError:
        values = []
    if len(parts) != 3 or len(values) != 3:
        raise SettingError(f"{name}, line {number}: '{line[:40]}' is not three numbers.", f"Give {COLUMNS}.")
    if not all(math.isfinite(value) for value in values):
        raise SettingError(
            f"{name}, line {number} holds a value that is not finite.",
            "Leave such lines out only outside the modes; else measure again.",
        )
    return values


def frf_result(case, texts: tuple[str, ...], cuts: list[tuple[float, float]], rpm, deepest_mm: float) -> dict:
    """Verdicts and limits of the averaged cut.

    Parameters
    ----------
    case
        The `CutCase` that is judged.
    texts
        Of the measured responses, as for `read_response`.
    cuts, rpm
        Points to judge, and speeds whose limit is asked; None for none.
    deepest_mm
        How deep is looked.
    """
    import numpy as np

    from shopmon.cutting.tip_receptance import receptance_of_responses
    from shopmon.cutting.zeroth_order import zeroth_order_limits

    receptance, lines = receptance_of_responses(tuple(read_response(text) for text in texts))
    result: dict = {"points": [], "method": "averaged forces", "caution": AVERAGED}
    if cuts:
        limits, chatter = zeroth_order_limits(case, receptance, lines, [n for n, _ in cuts])
        result["points"] = [
            {
                "rpm": n, "ap_mm": ap, "spectral_radius": None, "kind": None,
                "verdict": "chatter" if ap > limit else "quiet",
                "chatter_hz": round(float(hz), 2) if ap > limit else None,
                "ap_limit_mm": round(float(limit), 4) if limit <= deepest_mm else None,
            }
            for (n, ap), limit, hz in zip(cuts, limits, chatter, strict=True)
        ]  # fmt: skip
    if rpm is not None:
        limits, _ = zeroth_order_limits(case, receptance, lines, rpm)
        result["limits"] = [
            {"rpm": round(float(n), 3), "ap_limit_mm": round(float(ap), 4) if ap <= deepest_mm else None}
            for n, ap in zip(np.asarray(rpm), limits, strict=True)
        ]
    return result

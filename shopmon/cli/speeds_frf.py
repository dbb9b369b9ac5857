"""Limits of depth from a measured receptance of the tool tip, read from tables of numbers."""

from pathlib import Path

from shopmon.errors import RecordingError, SettingError

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
        The file is missing, is no table of three columns of numbers, or holds no response that can be.
    SettingError
        The text names no direction and file.
    """
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
    return _from_table(Path(name), direction)


def _from_table(path: Path, direction: str):
    import numpy as np

    from shopmon.capture.number_table import number_table
    from shopmon.cutting.nouns import FrequencyResponse

    _, rows = number_table(path, LARGEST_BYTES)
    if rows.shape[1] != 3:
        raise RecordingError(f"{path.name} has {rows.shape[1]} columns, not three.", f"Give {COLUMNS}.")
    for bad, said, hint in (
        (~np.isfinite(rows).all(axis=1), "holds a value that is not finite",
         "Leave such lines out only outside the modes; else measure again."),
        (np.diff(rows[:, 0], prepend=-np.inf) <= 0, "does not ascend in frequency",
         "Sort the rows, each frequency once."),
    ):  # fmt: skip
        if bad.any():
            at = int(np.argmax(bad))
            raise RecordingError(f"{path.name}: row {at + 1}, {rows[at, 0]:g} Hz, {said}.", hint)
    return FrequencyResponse(
        frequency_hz=rows[:, 0], receptance_m_per_n=rows[:, 1] + 1j * rows[:, 2], direction=direction
    )


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

    from shopmon.cutting.stability.tip_receptance import receptance_of_responses
    from shopmon.cutting.stability.zeroth_order import zeroth_order_limits

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

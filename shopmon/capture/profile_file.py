"""Measured surface profiles from files: columns of numbers, SDF (ISO 25178-71) and X3P (ISO 25178-72)."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from shopmon.capture.table_file import SUFFIXES, read_table
from shopmon.cutting.surface.profile import Profile
from shopmon.errors import RecordingError

HEIGHT_UNITS_UM = {"nm": 1e-3, "µm": 1.0, "um": 1.0, "mm": 1e3, "m": 1e6}
MOST_BYTES = 200_000_000


def read_profile(
    path: str | Path, *, spacing_mm: float | None = None, unit: str = "µm", column: str | None = None
) -> Profile:
    """Read a profile.

    Parameters
    ----------
    path
        ``.sdf``, ``.x3p``, or a table: a column of heights, with a first column of positions in mm or none.
    spacing_mm
        Between points; needed where a table has no positions.
    unit
        Of the heights in a table: nm, µm, mm or m. SDF and X3P are in metres by their standards.
    column
        Which one of a table with several, or row of a surface, by number from 1.

    Raises
    ------
    RecordingError
        It cannot be read as one profile.
    SettingError
        The profile is too short, or has points without a height.
    """
    path = Path(path)
    if path.suffix.lower() in (".x3p", ".sdf"):
        return (_x3p if path.suffix.lower() == ".x3p" else _sdf)(path, column)
    if path.suffix.lower() not in SUFFIXES:
        raise RecordingError(
            f"{path.name} is no kind of file that profiles are read from.",
            f"Use .sdf, .x3p or a table ({', '.join(SUFFIXES)}).",
        )
    if unit not in HEIGHT_UNITS_UM:
        raise RecordingError(f"'{unit[:20]}' is no unit of height.", "Use nm, µm, mm or m.")
    table = read_table(path)
    if spacing_mm is None:
        if table.sample_rate_hz is None:
            raise RecordingError(
                f"{path.name} does not say how far apart its points are.", "Give the spacing in mm."
            )
        spacing_mm = 1 / table.sample_rate_hz
    return Profile(heights_um=table.channel(column) * HEIGHT_UNITS_UM[unit], spacing_mm=spacing_mm)


def _x3p(path: Path, wanted: str | None) -> Profile:
    import x3pio

    content = _standard(path, "X3P", x3pio.read, (x3pio.X3pError, ValueError))
    if isinstance(content, x3pio.PointCloud):
        raise RecordingError(f"{path.name} holds a cloud of points.", "Save one profile along a line.")
    if not content.is_regular_grid:
        raise RecordingError(f"{path.name} has uneven steps.", "Save the profile with even steps.")
    row = _row(path, np.atleast_2d(content.layers[0].z), wanted)
    return Profile(heights_um=1e6 * row, spacing_mm=1e3 * content.header.x.increment)


def _sdf(path: Path, wanted: str | None) -> Profile:
    import sdfio

    content = _standard(path, "SDF", sdfio.read, (sdfio.SdfError, ValueError))
    row = _row(path, np.atleast_2d(content.data), wanted)
    return Profile(heights_um=1e6 * row, spacing_mm=1e3 * content.header.x_scale)


def _standard(
    path: Path, name: str, read: Callable[[Path], Any], refused: tuple[type[Exception], ...]
) -> Any:
    """Read a file of a standard with the library that knows it."""
    try:
        if path.stat().st_size > MOST_BYTES:
            raise RecordingError(f"{path.name} is larger than {MOST_BYTES // 1_000_000} MB.", "Cut it down.")
        return read(path)
    except OSError as exc:
        raise RecordingError(f"{path} cannot be read ({exc.strerror}).", "Check the name.") from None
    except (*refused, MemoryError) as exc:
        raise RecordingError(f"{path.name} is no {name} file that can be read.", "Write it anew.") from exc


def _row(path: Path, rows: np.ndarray, wanted: str | None) -> np.ndarray:
    """Return the one row of a surface that is asked for."""
    if wanted is None and len(rows) > 1:
        raise RecordingError(f"{path.name} is a surface of {len(rows)} rows.", "Say which row to take.")
    if wanted is not None and not (wanted.isdigit() and 1 <= int(wanted) <= len(rows)):
        raise RecordingError(f"{path.name} has no row {wanted[:20]!r}.", f"It has 1 to {len(rows)}.")
    return rows[int(wanted or 1) - 1]

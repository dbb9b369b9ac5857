"""Columns of numbers in text, with whatever heading, separator and decimal mark."""

from pathlib import Path

import numpy as np

from shopmon.errors import RecordingError

COMMENTS = "#%"
HEAD_ROWS = 3  # so few rows of another width still belong to the heading
SHOWN = 40


def number_table(path: Path, most_bytes: int) -> tuple[list[str], np.ndarray]:
    """Read a table of numbers.

    Parameters
    ----------
    path
        Of a text: columns parted by tabs, semicolons, commas or blanks. Lines before the first row of
        numbers, and those that begin with # or %, are no data. Where a comma does not part columns it is a
        decimal one.
    most_bytes
        A larger file is refused.

    Returns
    -------
    names, rows
        Cells of the last heading line (empty where there is none); shape ``(rows, columns)``.

    Raises
    ------
    RecordingError
        It is not there, too large, holds no numbers, or a row that is none, which is named.
    """
    try:
        size = path.stat().st_size
        text = path.read_text(encoding="utf-8-sig", errors="replace") if size <= most_bytes else ""
    except OSError as exc:
        raise RecordingError(f"{path} cannot be read ({exc.strerror}).", "Check the name.") from None
    if size > most_bytes:
        raise RecordingError(
            f"{path.name} is larger than {most_bytes // 1_000_000} MB.", "Cut it to a minute."
        )
    names, rows = _parsed(text, path.name)
    if not rows:
        raise RecordingError(f"{path.name} holds no numbers.", "Give a table with one signal per column.")
    return names, np.array(rows)


def _parsed(text: str, name: str) -> tuple[list[str], list[list[float]]]:
    names: list[str] = []
    rows: list[list[float]] = []
    for number, line in enumerate(text.splitlines(), 1):
        cells = _cells(line)
        if not cells or cells[0][:1] in COMMENTS:
            continue
        numbers = _numbers(cells)
        if numbers is None:
            if rows:
                raise RecordingError(
                    f"{name}, line {number}: {line.strip()[:SHOWN]!r} is no row of numbers.",
                    "Mend or remove it.",
                )
            names = cells
        elif rows and len(numbers) != len(rows[0]):
            if len(rows) >= HEAD_ROWS:
                raise RecordingError(
                    f"{name}, line {number} has {len(numbers)} numbers instead of {len(rows[0])}.",
                    "Part the columns by semicolons if a comma stands for the decimal point.",
                )
            rows = [numbers]
        else:
            rows.append(numbers)
    return names, rows


def _cells(line: str) -> list[str]:
    text = line.strip()
    for separator in ("\t", ";", ","):
        if separator in text:
            cells = [cell.strip() for cell in text.split(separator)]
            return cells if separator == "," else [cell.replace(",", ".") for cell in cells]
    return text.split()


def _numbers(cells: list[str]) -> list[float] | None:
    try:
        return [float(cell) for cell in cells]
    except ValueError:
        return None

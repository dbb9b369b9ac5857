"""Measured signals that come as numbers instead of sound: text with columns, NumPy and MATLAB files.

Such files say what their columns are in a hundred ways, or not at all. Nothing is guessed that would change a
result: the rate comes from the person, from a column that counts evenly up in time, or from a field that is
called the sample rate.
"""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from shopmon.capture.number_table import number_table
from shopmon.errors import RecordingError

SUFFIXES = (".csv", ".txt", ".lvm", ".tsv", ".npy", ".mat")
MOST_BYTES = 400_000_000
FEWEST_SAMPLES = 64
RATE_NAMES = {"sr", "fs", "samplerate", "sample_rate", "samplerate_hz", "sample_rate_hz"}
EVEN_STEPS = 0.75  # of a step, by which a rounded time may lie off an even count


@dataclass(frozen=True)
class MeasuredTable:
    """Columns of one length, and their rate where the file tells it.

    Attributes
    ----------
    columns
        Shape ``(channels, samples)``, without a column of time.
    names
        One per channel.
    sample_rate_hz
        None where the file does not say.
    """

    columns: np.ndarray
    names: tuple[str, ...]
    sample_rate_hz: float | None

    def channel(self, wanted: str | None) -> np.ndarray:
        """Return one channel, by its name or its number from 1; the only one when nothing is asked for.

        Raises
        ------
        RecordingError
            There is no such channel, or there are several and none was asked for.
        """
        if wanted is None and len(self.names) == 1:
            return self.columns[0]
        if wanted in self.names:
            return self.columns[self.names.index(wanted)]
        if wanted is not None and wanted.isdigit() and 1 <= int(wanted) <= len(self.names):
            return self.columns[int(wanted) - 1]
        listed = ", ".join(f"{number} ({name})" for number, name in enumerate(self.names, 1))
        if wanted is None:
            raise RecordingError("The file holds several signals.", f"Name one by its number: {listed}.")
        raise RecordingError(
            f"There is no signal {wanted!r} in the file.", f"Name one by its number: {listed}."
        )


def read_table(path: str | Path) -> MeasuredTable:
    """Read a file of numbers.

    Raises
    ------
    RecordingError
        It is not there, too large, no such file, or holds no usable signal.
    """
    path = Path(path)
    try:
        if path.stat().st_size > MOST_BYTES:
            raise RecordingError(
                f"{path.name} is larger than {MOST_BYTES // 1_000_000} MB.", "Cut it to a minute."
            )
        suffix = path.suffix.lower()
        signals, rate = {".npy": _numpy, ".mat": _matlab}.get(suffix, _text)(path)
    except OSError as exc:
        raise RecordingError(f"{path} cannot be read ({exc.strerror}).", "Check the name.") from None
    signals = {name: np.asarray(values, dtype=float) for name, values in signals.items()}
    signals, time_rate = _without_time(signals)
    if path.suffix.lower() == ".npy":  # rows without names: counted as the person will count them
        signals = {f"signal {number}": values for number, values in enumerate(signals.values(), 1)}
    if not signals:
        raise RecordingError(
            f"{path.name} holds no signal of at least {FEWEST_SAMPLES} numbers.",
            "Give a table with one signal per column.",
        )
    longest = max(values.size for values in signals.values())
    signals = {name: values for name, values in signals.items() if values.size == longest}
    columns = np.array(list(signals.values()))
    if not np.isfinite(columns).all():
        raise RecordingError(
            f"{path.name} holds values that are no numbers.", "Remove the rows that hold them."
        )
    return MeasuredTable(columns, tuple(signals), time_rate or rate)


def _without_time(signals: dict[str, np.ndarray]) -> tuple[dict[str, np.ndarray], float | None]:
    """Take out the first column when it counts evenly upwards; its steps are the time between samples."""
    if len(signals) < 2:
        return signals, None
    name, first = next(iter(signals.items()))
    steps = np.diff(first)
    if steps.size == 0 or not np.isfinite(steps).all() or steps.min() < 0 or first[-1] <= first[0]:
        return signals, None
    step = (first[-1] - first[0]) / steps.size
    whole_numbers = np.allclose(first, np.rint(first))
    # loggers round their times, often to six digits: what counts is how far they lie off an even count
    off = np.abs(first - (first[0] + step * np.arange(first.size))).max()
    if whole_numbers or off > EVEN_STEPS * step:
        return signals, None
    return {key: values for key, values in signals.items() if key != name}, round(1 / step, 6)


def _numpy(path: Path):
    try:
        values = np.load(path, allow_pickle=False)
    except ValueError as exc:
        raise RecordingError(
            f"{path.name} is not a NumPy file of plain numbers.", "Save it with numpy.save."
        ) from exc
    if values.dtype.kind not in "iuf" or values.ndim not in (1, 2):
        raise RecordingError(
            f"{path.name} holds no table of numbers.", "Save one or several signals, not more axes."
        )
    rows = np.atleast_2d(values)
    rows = rows if rows.shape[1] >= rows.shape[0] else rows.T
    return _long_enough({f"signal {number}": row for number, row in enumerate(rows, 1)}), None


def _matlab(path: Path):
    from scipy.io import loadmat
    from scipy.io.matlab import MatReadError

    try:
        content = loadmat(path, squeeze_me=True, struct_as_record=False)
    except (ValueError, TypeError, NotImplementedError, MatReadError) as exc:
        raise RecordingError(
            f"{path.name} is not a MATLAB file that can be read here.",
            "Save it in format 7 or older, or as CSV.",
        ) from exc
    signals, rate = {}, None
    for name, value in _fields(content):
        array = np.asarray(value)
        if array.dtype.kind not in "iuf":
            continue
        if array.ndim == 0 and name.split(".")[-1].lower() in RATE_NAMES and array > 0:
            rate = float(array)
        elif array.ndim == 1:
            signals[name] = array
    return _long_enough(signals), rate


def _fields(content, depth: int = 2):
    """Yield names and values of variables and of the fields of structures."""
    items = (
        content.items()
        if isinstance(content, dict)
        else ((n, getattr(content, n)) for n in content._fieldnames)
    )
    for name, value in items:
        if name.startswith("__"):
            continue
        if hasattr(value, "_fieldnames") and depth:
            yield from ((f"{name}.{inner}", field) for inner, field in _fields(value, depth - 1))
        else:
            yield name, value


def _text(path: Path):
    """Take the columns of a text, under the names in its heading where they fit."""
    names, rows = number_table(path, MOST_BYTES)
    labels = names[: rows.shape[1]]
    if len(labels) < rows.shape[1] or len(set(labels)) < len(labels) or not all(labels):
        labels = [f"column {number}" for number in range(1, rows.shape[1] + 1)]
    return _long_enough(dict(zip(labels, rows.T, strict=True))), None


def _long_enough(signals: dict) -> dict:
    return {name: values for name, values in signals.items() if np.size(values) >= FEWEST_SAMPLES}

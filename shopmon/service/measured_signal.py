"""One measured signal from a file, sound or table, in the unit that the person gave."""

import threading
from dataclasses import dataclass
from math import isfinite
from pathlib import Path

import numpy as np

from shopmon.capture.recording import RecordingSource
from shopmon.capture.table_file import SUFFIXES, read_table
from shopmon.errors import RecordingError, SettingError
from shopmon.service.inspection import channels_beside
from shopmon.signals.block import Block, sound_columns
from shopmon.signals.levels import full_scale_runs
from shopmon.signals.sensors.tachometer import edge_places, pulses_in

MOST_S = 120.0


@dataclass(frozen=True)
class MeasuredSignal:
    """Samples of one channel.

    Attributes
    ----------
    samples
        Shape ``(n,)``.
    sample_rate_hz
        Samples per second.
    unit
        Of the samples; ``FS`` is a share of full scale, not calibrated.
    clipped_fraction
        Share of samples at full scale, of sound files.
    pulses
        Where a tachometer's pulses begin, in samples, rising; None without one.
    """

    samples: np.ndarray
    sample_rate_hz: float
    unit: str
    clipped_fraction: float = 0.0
    pulses: np.ndarray | None = None


def read_signal(
    path: str | Path,
    *,
    rate_hz: float | None = None,
    column: str | None = None,
    full_scale: float | None = None,
    unit: str | None = None,
    tach: str | None = None,
) -> MeasuredSignal:
    """Read one signal.

    Parameters
    ----------
    path
        A sound file, or a table (CSV, text, NPY, MAT).
    rate_hz
        Of a table that does not say it; sound files say theirs.
    column
        Which signal of several, by name or number from 1.
    full_scale, unit
        What full scale of a sound file means; a table holds its numbers in `unit` already.
    tach
        Which signal is a tachometer's, by name or number from 1; recordings of the monitor say it themselves.

    Raises
    ------
    RecordingError, SettingError
        The file cannot be read, or what is needed to read it is missing.
    """
    path = Path(path)
    for name, value in (("--rate", rate_hz), ("--full-scale", full_scale)):
        if value is not None and not (isfinite(value) and value > 0):
            raise SettingError(
                f"{name} must be a number above 0, not {value:g}.", "Give it as the file needs it."
            )
    if path.suffix.lower() in SUFFIXES:
        return _from_table(path, rate_hz, column, full_scale, unit, tach)
    if rate_hz is not None:
        raise SettingError(
            "--rate is for tables of numbers: a sound file says its own rate.", "Leave it out."
        )
    if (full_scale is None) != (unit is None):
        raise SettingError(
            "--full-scale and --unit belong together.", "Give both, such as --full-scale 16 --unit g."
        )
    return _from_sound(path, column, full_scale, unit, tach)


def _from_table(path, rate_hz, column, full_scale, unit, tach) -> MeasuredSignal:
    if full_scale is not None:
        raise SettingError("--full-scale is for sound files.", "Give only --unit for a table of numbers.")
    table = read_table(path)
    rate = rate_hz or table.sample_rate_hz
    if rate is None:
        raise SettingError(f"{path.name} does not say its sample rate.", "Give --rate in samples per second.")
    pulses = pulses_in(table.channel(tach)) if tach is not None else None
    return MeasuredSignal(table.channel(column), float(rate), unit or "FS", pulses=pulses)


def _from_sound(path, column, full_scale, unit, tach) -> MeasuredSignal:
    source = RecordingSource(path, real_time=False, channels=channels_beside(path))
    try:
        rate, heard = source.format.sample_rate_hz, len(sound_columns(source.format.channels))
        channel = _channel(column, heard)
        marks = None if tach is None else _channel(tach, heard)
        stop, pieces, taken, clipped = threading.Event(), [], 0, 0
        turning, places = [], []
        for item in source.blocks(stop):
            if isinstance(item, Block):
                samples = item.samples()
                pieces.append(samples[:, channel])
                if marks is not None:
                    turning.append(samples[:, marks])
                elif item.tach_codes is not None:
                    places.append(edge_places(item.tach_codes, taken))
                taken += item.frames
                clipped += full_scale_runs(samples[:, channel])
            if taken >= MOST_S * rate:
                stop.set()
    finally:
        source.close()
    if not pieces:
        raise RecordingError(f"{path.name} holds no sound.", "Record it again.")
    pulses = pulses_in(np.concatenate(turning)) if turning else np.concatenate(places) if places else None
    samples = np.concatenate(pieces).astype(float) * (full_scale or 1.0)
    return MeasuredSignal(samples, rate, unit or "FS", clipped / samples.size, pulses)


def _channel(column: str | None, channels: int) -> int:
    if column is None:
        return 0
    if column.isdigit() and 1 <= int(column) <= channels:
        return int(column) - 1
    raise SettingError(f"There is no channel {column!r}.", f"The recording has {channels}; count from 1.")

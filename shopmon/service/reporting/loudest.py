"""The spectrum where a cut rang loudest, and a piece of its sound to hear."""

import base64
import io
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from shopmon.service.inspection import mixes_sensors
from shopmon.signals.spectra import hann_window, sine_power_spectrum, sine_scaled

WINDOW_S = 0.5
TOP_HZ = 12_000.0
BINS = 360
WHOLE_BYTES = 12 * 2**20
PIECE_S = 30.0
LOWEST_DB = -140.0


@dataclass(frozen=True, kw_only=True)
class Spectrum:
    """The spectrum of a moment, drawn down to `BINS` columns, the strongest line of each.

    ``at_s`` is the middle of the window, from the start of the recording; levels are dB re full scale.
    """

    at_s: float
    hz: np.ndarray
    level_db: np.ndarray
    line_hz: float | None
    line_db: float | None


@dataclass(frozen=True, kw_only=True)
class Sound:
    """Sound as a data URI, and which part of the recording it is."""

    address: str
    from_s: float
    to_s: float
    whole: bool


def loudest_span(cut: dict[str, Any]) -> tuple[float, float]:
    """Return the loudest chatter event, else the longest engagement, else the whole cut, in seconds."""
    if cut["chatter"]:
        worst = max(cut["chatter"], key=lambda span: span.get("level_db") or LOWEST_DB)
        return worst["start_s"], worst["end_s"]
    if cut["engaged"]:
        return tuple(max(cut["engaged"], key=lambda span: span[1] - span[0]))
    return cut["start_s"], cut["end_s"]


def spectrum_at_loudest(path: Path, cut: dict[str, Any]) -> Spectrum | None:
    """Return the spectrum of half a second in the middle of where it rang loudest.

    Raises
    ------
    soundfile.SoundFileError, OSError, RuntimeError
        The recording is damaged.
    """
    import soundfile

    start_s, end_s = loudest_span(cut)
    with soundfile.SoundFile(str(path)) as file:
        rate, length = file.samplerate, round(WINDOW_S * file.samplerate)
        first = round((start_s + end_s) / 2 * rate) - length // 2
        file.seek(max(0, min(first, file.frames - length)))
        begun = file.tell()
        samples = file.read(length, dtype="float64", always_2d=True)[:, 0]
    if len(samples) < length or not np.isfinite(samples).all():
        return None
    power = sine_power_spectrum(samples, sine_scaled(hann_window(length)), length)
    hz = np.arange(len(power)) * rate / length
    level = 10 * np.log10(np.maximum(power, 10 ** (LOWEST_DB / 10)))
    shown = hz <= min(TOP_HZ, rate / 2)
    each = max(1, int(np.ceil(shown.sum() / BINS)))
    starts = np.arange(0, shown.sum(), each)
    line = _line_near(hz, level, cut)
    return Spectrum(
        at_s=(begun + length / 2) / rate,
        hz=hz[starts],
        level_db=np.maximum.reduceat(level[shown], starts),
        line_hz=line[0] if line else None,
        line_db=line[1] if line else None,
    )


def _line_near(hz: np.ndarray, level: np.ndarray, cut: dict[str, Any]) -> tuple[float, float] | None:
    if not cut["chatter"]:
        return None
    worst = max(cut["chatter"], key=lambda span: span.get("level_db") or LOWEST_DB)
    near = np.flatnonzero(np.abs(hz - worst["frequency_hz"]) <= 10.0)
    if not near.size:
        return None
    at = near[np.argmax(level[near])]
    return float(worst["frequency_hz"]), float(level[at])


def sound_of(path: Path, cut: dict[str, Any]) -> Sound:
    """Return the sound of a cut: the whole file where it is small, else a piece around where it rang loudest.

    Raises
    ------
    soundfile.SoundFileError, OSError, RuntimeError
        The recording is damaged.
    """
    import soundfile

    info = soundfile.info(str(path))
    mixed, whole = mixes_sensors(path), path.stat().st_size <= WHOLE_BYTES
    if whole and not mixed:
        kind = "audio/flac" if path.suffix == ".flac" else "audio/wav"
        return Sound(address=_uri(kind, path.read_bytes()), from_s=0.0, to_s=info.duration, whole=True)
    start_s, end_s = loudest_span(cut)
    from_s = 0.0 if whole else max(0.0, (start_s + end_s - PIECE_S) / 2)
    first = round(from_s * info.samplerate)
    frames = info.frames if whole else round(PIECE_S * info.samplerate)
    samples, rate = soundfile.read(str(path), frames=frames, start=first, dtype="int16", always_2d=True)
    out = io.BytesIO()
    soundfile.write(out, samples[:, : 1 if mixed else 2], rate, format="FLAC", subtype="PCM_16")
    return Sound(
        address=_uri("audio/flac", out.getvalue()),
        from_s=from_s,
        to_s=from_s + len(samples) / rate,
        whole=whole,
    )


def _uri(kind: str, content: bytes) -> str:
    return f"data:{kind};base64,{base64.b64encode(content).decode()}"

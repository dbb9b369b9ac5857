"""The sound inputs of this computer, and how loud it is at one of them."""

import time
from dataclasses import dataclass

import numpy as np

from shopmon.capture import portaudio
from shopmon.capture.background import BackgroundCall
from shopmon.capture.codes import full_scale, unpack
from shopmon.capture.inputs import InputDevice
from shopmon.capture.portaudio import BLOCK_FRAMES, InputRequest, OpenInput
from shopmon.errors import DeviceError
from shopmon.signals.block import SCALES, CodeFormat

_SILENT_HINT = "See whether it is muted, switched off or only there in name."


@dataclass(frozen=True, kw_only=True)
class Level:
    """How loud it was at an input for a moment.

    Attributes
    ----------
    peak_db, rms_db
        Greatest and root mean square value of all channels, dB re full scale; None where every sample was 0.
    clipped
        Samples at full scale.
    sample_rate_hz, code_format
        As read back.
    duration_s
        For how long was listened.
    """

    peak_db: float | None
    rms_db: float | None
    clipped: int
    sample_rate_hz: float
    code_format: CodeFormat
    duration_s: float


def list_inputs() -> list[InputDevice]:
    """List the sound inputs there are now.

    Raises
    ------
    DeviceError
        There is no PortAudio, or it fails or does not answer.
    """
    return portaudio.answered(portaudio.list_inputs)


def measure_level(device: str | int | None = None, seconds: float = 1.0) -> Level:
    """Listen at an input for a while and return its level.

    Parameters
    ----------
    device
        Number, name or part of the name of the input; None takes the system's default.
    seconds
        For how long to listen, at most 10 s.

    Raises
    ------
    DeviceError
        There is no such input, it is in use, or it delivers nothing.
    """
    if not 0 < seconds <= 10:
        raise ValueError(f"{seconds!r} s is not between 0 and 10 s")
    request = InputRequest(device=device)
    stream = portaudio.answered(lambda: portaudio.open_input(request), _close)
    try:
        return level_of(stream, seconds)
    finally:
        _close(stream)


def level_of(stream: OpenInput, seconds: float) -> Level:
    """Return the level of a running stream over its next `seconds`.

    Raises
    ------
    DeviceError
        It delivers nothing.
    """
    wanted = max(1, round(seconds * stream.sample_rate_hz))
    codes = unpack(_collect(stream, wanted), stream.code_format, stream.channels)
    samples = codes * SCALES[stream.code_format]
    low, high = full_scale(stream.code_format)
    return Level(
        peak_db=_decibel(np.abs(samples).max()),
        rms_db=_decibel(np.sqrt(np.mean(samples**2))),
        clipped=int(np.count_nonzero((codes <= low) | (codes >= high))),
        sample_rate_hz=stream.sample_rate_hz,
        code_format=stream.code_format,
        duration_s=len(codes) / stream.sample_rate_hz,
    )


def _collect(stream: OpenInput, wanted: int) -> np.ndarray:
    ring, parts, frames = stream.intake.ring, [], 0
    patience_s = time.monotonic() + wanted / stream.sample_rate_hz + 3.0
    while frames < wanted and time.monotonic() < patience_s and not stream.intake.finished:
        ring.wait(0.05)
        while frames < wanted and (taken := ring.take(min(BLOCK_FRAMES, wanted - frames))):
            parts.append(taken.raw)
            frames += taken.raw.size // ring.frame_bytes
    if not parts:
        raise DeviceError(f"{stream.device.name} delivers no sound.", _SILENT_HINT)
    return np.concatenate(parts)


def _decibel(value: float) -> float | None:
    return 20.0 * float(np.log10(value)) if value > 0 else None


def _close(stream: OpenInput) -> None:
    if not BackgroundCall(stream.close, "portaudio-close").wait(2.0):
        portaudio.leave_behind()

"""From what a person typed to a source."""

import os
from pathlib import Path

from shopmon.capture.source import Source
from shopmon.errors import SettingError


def is_path(spec: str) -> bool:
    """Tell whether a source is meant as a file: it has a separator or an extension."""
    separators = [separator for separator in (os.sep, os.altsep) if separator]
    return any(separator in spec for separator in separators) or bool(Path(spec).suffix)


def open_source(
    spec: str,
    *,
    device: str | int | None = None,
    sample_rate_hz: float | None = None,
    channels: int | None = None,
    code_format: str | None = None,
    sensor: str = "microphone",
    real_time: bool = True,
    source_id: str | None = None,
) -> Source:
    """Open what delivers sound.

    Parameters
    ----------
    spec
        ``"mic"``, ``"demo"``, ``"board"``, ``"iio"``, or a path, which has a separator or an extension.
    device
        Input device of a microphone: its number, its name or a part of it; None takes the system's default.
        Of a board: its serial port, serial number or a part of its name. Of a sensor of the kernel: its name.
    sample_rate_hz, channels, code_format
        What to ask a microphone for; None negotiates.
    sensor
        ``"microphone"`` or ``"accelerometer"``.
    real_time
        Whether a recording is played at the speed of its sample clock.
    source_id
        Name of the source in the log, for telling several microphones apart; by default ``"mic"`` or the name
        of the recording. The demo is always ``"demo"``.

    Raises
    ------
    SettingError
        `spec` names no source.
    DeviceError
        There is no PortAudio. A missing microphone is no error here: the source waits for it.
    RecordingError
        The recording cannot be read.
    """
    if spec == "mic":
        from shopmon.capture.microphone import MicrophoneSource  # PortAudio only where it is asked for

        return MicrophoneSource(
            device,
            sample_rate_hz=sample_rate_hz,
            channels=channels,
            code_format=code_format,
            sensor=sensor,
            source_id=source_id or "mic",
        )
    if spec == "demo":
        from shopmon.capture.simulated import DemoSource

        return DemoSource(real_time=real_time)
    if spec == "board":
        return _board(device, source_id)
    if spec == "iio":
        from shopmon.capture.iio.source import IioSource

        return IioSource(None if device is None else str(device), source_id=source_id or "iio")
    if is_path(spec):
        from shopmon.capture.recording import RecordingSource

        return RecordingSource(spec, real_time, sensor=sensor, source_id=source_id)
    raise SettingError(
        f"There is no source named {spec!r}.",
        "Give mic, demo, the name of a sensor in the settings, or the path of a recording (./cut.flac).",
    )


def _board(device: str | int | None, source_id: str | None) -> Source:
    """A board's port is never guessed: opening that of a machine's controller could disturb the machine."""
    from shopmon.capture.sampler.board import BoardSource

    if not isinstance(device, str) or not device.strip():
        raise SettingError(
            "It is not said on which port the sampler board is.",
            'Give device = "/dev/ttyACM0" (or a part of its name) in the settings; see shopmon devices.',
        )
    return BoardSource(device, source_id=source_id or "board")

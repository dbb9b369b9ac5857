"""Self-check of sensors that are no sound card: boards on a serial port, and those that Linux drives."""

import os
from collections.abc import Callable
from pathlib import Path

from shopmon.capture.iio.device import SYSFS, find_accelerometer
from shopmon.capture.sampler.ports import find_port, list_ports
from shopmon.errors import DeviceError
from shopmon.service.selfcheck.finding import Finding
from shopmon.service.settings import Settings, SourceSettings

NAME = "sensors"


def check_wired(settings: Settings, ports: Callable = list_ports, sysfs: Path = SYSFS) -> list[Finding]:
    """See whether those of the settings are there and may be used; no port is opened."""
    findings = []
    for name, source in settings.sources.items():
        if source.kind not in ("board", "iio"):
            continue
        try:
            found = _board(source, ports) if source.kind == "board" else _driven(source, sysfs)
        except DeviceError as exc:
            text = f"Source '{name}' of the settings: {exc.text}"
            findings.append(Finding(name=NAME, verdict="wrong", text=text, hint=exc.hint))
        else:
            text = f"Source '{name}' of the settings is {found}."
            findings.append(Finding(name=NAME, verdict="ok", text=text))
    return findings


def _board(source: SourceSettings, ports: Callable) -> str:
    if not source.device:
        raise DeviceError(
            "It is not said on which port the board is.", 'Add device = "/dev/ttyACM0", or its port.'
        )
    path = find_port(ports(), source.device)
    if not os.access(path, os.R_OK | os.W_OK):
        hint = "Type: sudo adduser $USER dialout   then log out and in again."
        raise DeviceError(f"This user may not use the port {path}.", hint)
    return f"on {path}"


def _driven(source: SourceSettings, sysfs: Path) -> str:
    device = find_accelerometer(source.device, sysfs)
    switches = [device.folder / name / "enable" for name in ("buffer", "buffer0")]
    switch = next((path for path in switches if path.exists()), None)
    if switch and not os.access(switch, os.W_OK):
        hint = "A udev rule gives it to a group; it stands in the notes on accelerometers."
        raise DeviceError(f"This user may not switch on the buffer of {device.name}.", hint)
    return device.name

"""The serial ports of this computer, and which one a person means; none is opened by looking."""

import os
from dataclasses import dataclass

from shopmon.errors import DeviceError

NO_PORT_HINT = "Plug the board in; on Linux this user must also belong to the group dialout."


@dataclass(frozen=True, kw_only=True)
class SerialPort:
    """A serial port as the system lists it.

    Attributes
    ----------
    path
        What is opened, such as ``/dev/ttyACM0``; the number can change when the board is plugged in again.
    name
        What the board says of itself.
    serial_number
        The board's own, None where it tells none.
    """

    path: str
    name: str
    serial_number: str | None = None


def list_ports() -> list[SerialPort]:
    """List the USB serial ports there are now, without opening any.

    A machine's controller may hang on such a port, and opening it can restart some of them.
    """
    from serial.tools import list_ports as system

    return [
        SerialPort(path=port.device, name=port.product or port.description, serial_number=port.serial_number)
        for port in sorted(system.comports())
        if port.vid is not None
    ]


def find_port(ports: list[SerialPort], wanted: str) -> str:
    """Return the path of the port that is meant.

    Parameters
    ----------
    ports
        What there is.
    wanted
        A path (``/dev/…``), a name like ``COM3``, a serial number, or a part of a name that only one has.

    Raises
    ------
    DeviceError
        There is none, or more than one could be meant; the hint lists what there is.
    """
    wanted = wanted.strip()
    if os.sep in wanted:
        if os.path.exists(wanted):
            return wanted
        raise DeviceError(f"There is no port {wanted}.", _there_is(ports))
    key = wanted.casefold()
    named = [port for port in ports if key in (port.path.casefold(), (port.serial_number or "").casefold())]
    found = named or [port for port in ports if key in f"{port.name} {port.serial_number or ''}".casefold()]
    if len(found) == 1:
        return found[0].path
    if found:
        raise DeviceError(f"More than one serial port could be {wanted!r}.", _there_is(found))
    raise DeviceError(f"There is no board {wanted!r}.", _there_is(ports))


def _there_is(ports: list[SerialPort]) -> str:
    if not ports:
        return NO_PORT_HINT
    listed = (
        f"{port.path} = {port.name}" + (f", {port.serial_number}" if port.serial_number else "")
        for port in ports
    )
    return f"There is: {'; '.join(listed)}."

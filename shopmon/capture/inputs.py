"""Which sound inputs there are, and which one a person means."""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from shopmon.errors import DeviceError

NONE_FOUND = "No sound input was found."
NONE_HINT = "Plug in a USB microphone; on Linux this user must also belong to the group audio."
_CARD = re.compile(r"\s*\(hw:(\d+),(\d+)\)$")


@dataclass(frozen=True, kw_only=True)
class InputDevice:
    """A sound input as the system lists it.

    Attributes
    ----------
    index
        Its number now; it can change when devices come and go.
    name
        Its name, with the number of the sound card where the system gives one.
    channels
        How many channels it offers at most.
    default_sample_rate_hz
        The rate it prefers.
    host_api
        The sound system through which it is reached.
    is_default
        It is what the system takes when nobody chooses.
    """

    index: int
    name: str
    channels: int
    default_sample_rate_hz: float
    host_api: str
    is_default: bool = False

    @property
    def lasting_name(self) -> str:
        """The name without the card number, which changes when the device is plugged in again."""
        return _CARD.sub("", self.name)

    @property
    def card(self) -> tuple[int, int] | None:
        """Numbers of the sound card and of the device on it, where the name tells."""
        found = _CARD.search(self.name)
        return (int(found[1]), int(found[2])) if found else None


def find_input(devices: Sequence[InputDevice], wanted: str | int | None) -> InputDevice:
    """Return the input that is meant.

    Parameters
    ----------
    devices
        What there is.
    wanted
        A number, a name, or a part of a name that only one input has; None means the system's default.

    Raises
    ------
    DeviceError
        There is none, or more than one could be meant; the hint lists what there is.
    """
    if not devices:
        raise DeviceError(NONE_FOUND, NONE_HINT)
    if wanted is None:
        return _default(devices)
    if isinstance(wanted, int) or wanted.strip().isdecimal():
        matches = [device for device in devices if device.index == int(wanted)]
        return _only(matches, devices, f"number {int(wanted)}")
    key = wanted.strip().casefold()
    exact = [device for device in devices if key in _names(device)]
    matches = exact or [device for device in devices if any(key in name for name in _names(device))]
    return _only(matches, devices, f"named {wanted!r}")


def _default(devices: Sequence[InputDevice]) -> InputDevice:
    return next((device for device in devices if device.is_default), devices[0])


def _names(device: InputDevice) -> list[str]:
    bare = [device.name, device.lasting_name]
    return [name.casefold() for name in [*bare, *(f"{name}, {device.host_api}" for name in bare)]]


def _only(matches: Sequence[InputDevice], devices: Sequence[InputDevice], meant: str) -> InputDevice:
    if len(matches) == 1:
        return matches[0]
    if matches:
        raise DeviceError(f"More than one sound input is {meant}.", f"Say which: {_listed(matches)}.")
    raise DeviceError(f"There is no sound input {meant}.", f"There is: {_listed(devices)}.")


def _listed(devices: Sequence[InputDevice]) -> str:
    return "; ".join(f"{device.index} = {device.name} ({device.host_api})" for device in devices)

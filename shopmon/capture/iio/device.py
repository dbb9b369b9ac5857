"""One IIO device in sysfs: finding it, switching its buffer on, and reading what its samples mean."""

import os
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from shopmon.capture.iio.layout import Element, ScanLayout, parse_mount_matrix, parse_type
from shopmon.errors import DeviceError

SYSFS, DEV = Path("/sys/bus/iio/devices"), Path("/dev")
AXES = ("in_accel_x", "in_accel_y", "in_accel_z")
TIMESTAMP = "in_timestamp"
GRAVITY = 9.80665
BUFFER_S = 2.0
HIGHEST_RATE_HZ = 1_000_000.0  # what the listener takes
RIGHTS_HINT = (
    "The monitor needs the right to write there: a udev rule for the group, see the notes on accelerometers."
)
NONE_HINT = "See whether its driver is loaded: an overlay in the Pi's configuration brings it."


@dataclass(frozen=True, kw_only=True)
class IioDevice:
    """A device with an accelerometer, as listed.

    Attributes
    ----------
    folder
        Its folder in sysfs.
    name
        What its driver calls it, usually the part's number.
    """

    folder: Path
    name: str


def list_accelerometers(sysfs: Path = SYSFS) -> list[IioDevice]:
    """List the devices that have an accelerometer with a buffer; reading changes nothing."""
    found = []
    for folder in sorted(sysfs.glob("iio:device*")):
        if any(_scan_folder(folder, axis) for axis in AXES):
            found.append(IioDevice(folder=folder, name=_text(folder / "name") or folder.name))
    return found


def find_accelerometer(wanted: str | None, sysfs: Path = SYSFS) -> IioDevice:
    """Return the device that is meant: a name, a part of it, ``iio:device0``; None: the only one.

    Raises
    ------
    DeviceError
        There is none, or more than one could be meant.
    """
    devices = list_accelerometers(sysfs)
    key = (wanted or "").casefold()
    found = [device for device in devices if key in (device.name.casefold(), device.folder.name.casefold())]
    found = found or [device for device in devices if key in device.name.casefold()]
    if len(found) == 1:
        return found[0]
    listed = ", ".join(f"{device.folder.name} = {device.name}" for device in devices)
    meant = f"named {wanted!r}" if wanted else "in this computer"
    if not found:
        raise DeviceError(
            f"There is no accelerometer {meant}.", f"There is: {listed}." if listed else NONE_HINT
        )
    raise DeviceError(f"More than one accelerometer could be {meant}.", f"Say which: {listed}.")


@dataclass(frozen=True, kw_only=True, eq=False)
class Buffer:
    """A buffer that is switched on, and what its samples mean.

    Attributes
    ----------
    layout
        Where the elements lie.
    axes
        Names of the axes, in the order x, y, z of those that are there.
    bits
        Of the samples.
    scales
        What one step of each axis means, in m/s² (the unit of the kernel).
    offsets
        To be added to the samples before scaling.
    rate_hz
        As sysfs says it.
    mount_matrix
        Shape (3, 3), None where none is told.
    stamped
        The scans carry timestamps, in ns.
    """

    layout: ScanLayout
    axes: tuple[str, ...]
    bits: int
    scales: tuple[float, ...]
    offsets: tuple[float, ...]
    rate_hz: float
    mount_matrix: np.ndarray | None
    stamped: bool

    @property
    def full_scales_g(self) -> tuple[float, ...]:
        """What the largest sample of each axis means, in g."""
        return tuple(2 ** (self.bits - 1) * scale / GRAVITY for scale in self.scales)


def switch_on(device: IioDevice) -> Buffer:
    """Choose the axes and the timestamp, and enable the buffer.

    Raises
    ------
    DeviceError
        It may not be written, has no trigger, or says what is not understood.
    """
    folder = device.folder
    buffer = _buffer_folder(folder)
    try:
        _write(buffer / "enable", "0")
        axes = tuple(axis for axis in AXES if _scan_folder(folder, axis))
        stamped = _choose(folder, axes)
        elements = [_element(folder, name) for name in (*axes, *([TIMESTAMP] if stamped else []))]
        made = _meaning(device, axes, elements, stamped)
        _write(buffer / "length", str(max(256, 2 ** int(np.ceil(np.log2(BUFFER_S * made.rate_hz))))))
        _write(buffer / "enable", "1")
    except PermissionError as exc:
        raise DeviceError(f"{exc.filename} may not be written.", RIGHTS_HINT) from None
    except OSError as exc:
        hint = "Some drivers need a trigger: its name belongs into trigger/current_trigger of the device."
        raise DeviceError(
            f"The buffer of {device.name} cannot be switched on: {exc.strerror}.", hint
        ) from None
    except ValueError as exc:
        raise DeviceError(
            f"What {device.name} says of its samples is not understood: {exc}.", _hint(exc, folder)
        ) from None
    return made


def switch_off(device: IioDevice) -> None:
    """Disable the buffer; a device that is gone is no error."""
    try:
        _write(_buffer_folder(device.folder) / "enable", "0")
    except OSError:
        return


def _meaning(device: IioDevice, axes, elements: list[Element], stamped: bool) -> Buffer:
    folder = device.folder
    bits = {element.type.bits for element in elements if element.name != TIMESTAMP}
    if len(bits) != 1 or any(e.type.repeat > 1 or not e.type.signed for e in elements if e.name in axes):
        raise ValueError("its axes are not signed numbers of one width")
    scales = tuple(_of_axis(folder, axis, "scale") for axis in axes)
    if not all(scale is not None and 0 < scale < np.inf for scale in scales):
        raise ValueError("it has no scale that can be")
    told = [rate for rate in _rates(folder) if rate is not None]
    rate = next((rate for rate in told if 0 < rate <= HIGHEST_RATE_HZ), None)
    if rate is None:
        raise ValueError(f"its sampling_frequency is {told[0]:g}" if told else "it has no sampling_frequency")
    matrix = next((_text(folder / f"{name}mount_matrix") for name in ("in_accel_", "in_", "")
                   if _text(folder / f"{name}mount_matrix")), None)  # fmt: skip
    return Buffer(
        layout=ScanLayout(elements),
        axes=axes,
        bits=bits.pop(),
        scales=scales,
        offsets=tuple(_of_axis(folder, axis, "offset") or 0.0 for axis in axes),
        rate_hz=rate,
        mount_matrix=parse_mount_matrix(matrix) if matrix else None,
        stamped=stamped,
    )


def _choose(folder: Path, axes: tuple[str, ...]) -> bool:
    """Enable the axes and the timestamp and nothing else; return whether there is a timestamp."""
    wanted = {*axes, TIMESTAMP}
    scan = _scan_folder(folder, axes[0])
    for switch in scan.glob("*_en"):
        _write(switch, "1" if switch.name.removesuffix("_en") in wanted else "0")
    return (scan / f"{TIMESTAMP}_en").exists()


def _element(folder: Path, name: str) -> Element:
    scan = _scan_folder(folder, name)
    kind, index = parse_type(_text(scan / f"{name}_type") or ""), _text(scan / f"{name}_index") or ""
    if not index.isdigit():
        raise ValueError(f"{name}_index is {index!r}")
    return Element(name=name, index=int(index), type=kind)


def _hint(exc: ValueError, folder: Path) -> str:
    if "sampling_frequency" in str(exc):
        return f"Write one into {folder}/in_accel_sampling_frequency; chatter needs several thousand hertz."
    return f"Look into {folder}: the driver may be of another version, or not loaded whole. Load it again."


def _rates(folder: Path):
    for name in ("in_accel_sampling_frequency", "sampling_frequency", "in_sampling_frequency"):
        yield _number(folder / name)


def _of_axis(folder: Path, axis: str, what: str) -> float | None:
    """The attribute of one axis, else that shared by all axes."""
    own = _number(folder / f"{axis}_{what}")
    return own if own is not None else _number(folder / f"in_accel_{what}")


def _scan_folder(folder: Path, name: str) -> Path | None:
    # since kernel 5.13 the scan elements are also found beside each buffer
    for scan in (folder / "scan_elements", folder / "buffer0"):
        if (scan / f"{name}_en").exists():
            return scan
    return None


def _buffer_folder(folder: Path) -> Path:
    old = folder / "buffer"
    return old if old.exists() else folder / "buffer0"


def _text(path: Path) -> str | None:
    try:
        return path.read_text(encoding="ascii").strip() or None
    except (OSError, UnicodeDecodeError):
        return None


def _number(path: Path) -> float | None:
    text = _text(path)
    try:
        return float(text.split()[0]) if text else None
    except ValueError:
        return None


def _write(path: Path, text: str) -> None:
    # sysfs wants the whole value in one write, and a file that is never made anew
    end = os.open(path, os.O_WRONLY)
    try:
        os.write(end, text.encode("ascii"))
    finally:
        os.close(end)

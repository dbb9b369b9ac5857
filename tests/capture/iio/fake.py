"""A device of the kernel's Industrial I/O that exists as files only: its sysfs folder and a FIFO."""

import ctypes
import os

import numpy as np

AXES = ("x", "y", "z")


class FakeSensor:
    """Writes the files of a device as the kernel documents them.

    Parameters
    ----------
    root
        Where to.
    element
        What the axes' ``_type`` says.
    attributes
        Further files.
    """

    def __init__(self, root, element="le:s16/16>>0", number=0, **attributes):
        self.sysfs, self.dev = root / "sysfs", root / "dev"
        self.folder = self.sysfs / f"iio:device{number}"
        self.files = {
            "name": "adxl355",
            "in_accel_scale": "0.000038245",
            "in_accel_sampling_frequency": "4000",
            "buffer/enable": "0",
            "buffer/length": "2",
            "scan_elements/in_timestamp_en": "0",
            "scan_elements/in_timestamp_index": "3",
            "scan_elements/in_timestamp_type": "le:s64/64>>0",
            "scan_elements/in_temp_en": "1",
            "scan_elements/in_temp_index": "9",
            "scan_elements/in_temp_type": "be:s12/16>>0",
        }
        for index, axis in enumerate(AXES):
            self.files |= {
                f"scan_elements/in_accel_{axis}_en": "0",
                f"scan_elements/in_accel_{axis}_index": str(index),
                f"scan_elements/in_accel_{axis}_type": element,
            }
        for name, text in attributes.items():
            self.files[name.replace("__", "/")] = text
        for name, text in self.files.items():
            if text is not None:
                (self.folder / name).parent.mkdir(parents=True, exist_ok=True)
                (self.folder / name).write_text(f"{text}\n")
        self.dev.mkdir(exist_ok=True)
        os.mkfifo(self.dev / self.folder.name)
        self.end = None

    def read(self, name):
        """Return what a file holds now."""
        return (self.folder / name).read_text().strip()

    def send(self, raw):
        """Put bytes into the buffer, which must be open at its other end."""
        if self.end is None:
            self.end = os.open(self.dev / self.folder.name, os.O_WRONLY)
        while raw:
            raw = raw[os.write(self.end, raw[:4096]) :]

    def gone(self):
        """Take the device away."""
        if self.end is not None:
            os.close(self.end)
        (self.dev / self.folder.name).unlink()
        for path in sorted(self.folder.rglob("*"), reverse=True):
            path.rmdir() if path.is_dir() else path.unlink()
        self.folder.rmdir()


class Scan16(ctypes.LittleEndianStructure):
    """Three axes of 16 bits and a timestamp as the compiler of a driver lays them out."""

    _fields_ = (("axes", ctypes.c_int16 * 3), ("stamp", ctypes.c_int64))


class Scan32(ctypes.LittleEndianStructure):
    """Three axes of 32 bits and a timestamp as the compiler of a driver lays them out."""

    _fields_ = (("axes", ctypes.c_int32 * 3), ("stamp", ctypes.c_int64))


def scans(kind, axes, stamps_ns):
    """Return scans as bytes; the padding holds garbage, as it may in the kernel."""
    size = ctypes.sizeof(kind)
    out = bytearray(b"\xa5" * size * len(axes))
    for number, (row, stamp) in enumerate(zip(axes, stamps_ns, strict=True)):
        scan = kind.from_buffer(out, number * size)
        for axis, value in enumerate(row):
            scan.axes[axis] = int(value)
        scan.stamp = int(stamp)
        del scan
    return bytes(out)


def stamps_at(rate_hz, count, first=0, begin_ns=1_795_000_000_000_000_000):
    """Return times of a steady clock, in ns."""
    return begin_ns + np.round((first + np.arange(count)) * 1e9 / rate_hz).astype(np.int64)

"""How the samples of an IIO buffer lie in memory.

By the kernel's documents ``Documentation/ABI/testing/sysfs-bus-iio`` (entries ``scan_elements/…_type``,
``…_index``, ``…_en``, ``in_accel_scale``, ``in_accel_mount_matrix``), by
``Documentation/driver-api/iio/buffers.rst`` and the function ``iio_compute_scan_bytes`` (all from memory).
Nothing here reads a file.
"""

import re
from dataclasses import dataclass

import numpy as np

_TYPE = re.compile(
    r"(?P<order>be|le):(?P<sign>[su])(?P<bits>\d+)/(?P<storage>\d+)(?:X(?P<repeat>\d+))?(?:>>(?P<shift>\d+))?"
)


@dataclass(frozen=True, kw_only=True)
class ElementType:
    """What ``scan_elements/in_…_type`` says: ``[be|le]:[s|u]bits/storagebits[Xrepeat][>>shift]``.

    Attributes
    ----------
    big_endian, signed
        Byte order, and whether the value is in two's complement.
    bits
        Bits that count, once shifted; those above are undefined.
    storage_bits
        Bits of one value as it is stored.
    repeat
        How many values the element holds.
    shift
        To be shifted right by as much.
    """

    big_endian: bool
    signed: bool
    bits: int
    storage_bits: int
    repeat: int = 1
    shift: int = 0

    def __post_init__(self):
        if self.storage_bits not in (8, 16, 32, 64):
            raise ValueError(f"values of {self.storage_bits} bits are not known")
        if not 1 <= self.bits <= self.storage_bits - self.shift or self.repeat < 1:
            raise ValueError(f"{self.bits} bits shifted by {self.shift} do not fit into {self.storage_bits}")

    @property
    def size(self) -> int:
        """Bytes of the whole element; it is also what its place is aligned to."""
        return self.storage_bits // 8 * self.repeat


def parse_type(text: str) -> ElementType:
    """Read what ``scan_elements/in_…_type`` says.

    Raises
    ------
    ValueError
        It is of no known form.
    """
    found = _TYPE.fullmatch(text.strip())
    if not found:
        raise ValueError(f"the element type {text.strip()!r} is of no known form")
    return ElementType(
        big_endian=found["order"] == "be",
        signed=found["sign"] == "s",
        bits=int(found["bits"]),
        storage_bits=int(found["storage"]),
        repeat=int(found["repeat"] or 1),
        shift=int(found["shift"] or 0),
    )


def parse_mount_matrix(text: str) -> np.ndarray:
    """Read a mount matrix: rows apart by semicolons, numbers by commas; shape (3, 3).

    Raises
    ------
    ValueError
        Not three rows of three numbers.
    """
    matrix = np.array([[float(number) for number in row.split(",")] for row in text.strip().split(";")])
    if matrix.shape != (3, 3) or not np.isfinite(matrix).all():
        raise ValueError(f"the mount matrix {text.strip()!r} has not three rows of three numbers")
    return matrix


@dataclass(frozen=True, kw_only=True)
class Element:
    """One enabled element of a scan."""

    name: str
    index: int
    type: ElementType


class ScanLayout:
    """Where each enabled element lies in a scan.

    The elements follow in the order of their index. Each begins at a multiple of its own size, and the whole
    scan is as long as a multiple of the largest.

    Parameters
    ----------
    elements
        Those that are enabled, the timestamp among them where it is.

    Attributes
    ----------
    offsets
        Byte at which each element begins, by its name.
    scan_bytes
        Length of a scan, padding included.
    """

    def __init__(self, elements: list[Element]):
        if not elements or len({element.index for element in elements}) < len(elements):
            raise ValueError("a scan needs elements of different index")
        self.elements = sorted(elements, key=lambda element: element.index)
        self.offsets: dict[str, int] = {}
        at = 0
        for element in self.elements:
            at = _aligned(at, element.type.size)
            self.offsets[element.name] = at
            at += element.type.size
        self.scan_bytes = _aligned(at, max(element.type.size for element in self.elements))

    def values(self, raw: bytes, name: str) -> np.ndarray:
        """Return one element of whole scans as int64, shape ``(scans, repeat)``.

        Parameters
        ----------
        raw
            Whole scans.
        name
            Of the element.
        """
        kind = next(element.type for element in self.elements if element.name == name)
        scans = np.frombuffer(raw, np.uint8).reshape(-1, self.scan_bytes)
        begin = self.offsets[name]
        piece = np.ascontiguousarray(scans[:, begin : begin + kind.size])
        order = ">" if kind.big_endian else "<"
        stored = piece.view(f"{order}u{kind.storage_bits // 8}").astype(np.uint64)
        stored = (stored >> np.uint64(kind.shift)) << np.uint64(64 - kind.bits)
        if kind.signed:
            return stored.view(np.int64) >> np.int64(64 - kind.bits)
        return (stored >> np.uint64(64 - kind.bits)).astype(np.int64)


def _aligned(at: int, size: int) -> int:
    return -(-at // size) * size


def plain_mounting(matrix: np.ndarray) -> tuple[tuple[int, int], ...] | None:
    """Return a mount matrix that only exchanges and turns axes as (axis, sign) per row; None for others."""
    rounded = np.round(matrix)
    if not np.allclose(matrix, rounded, atol=1e-6) or not np.allclose(rounded @ rounded.T, np.eye(3)):
        return None
    axes = np.abs(rounded).argmax(axis=1)
    return tuple((int(axis), int(rounded[row, axis])) for row, axis in enumerate(axes))


def missing_before(stamps_s: np.ndarray, period_s: float) -> np.ndarray:
    """Return how many scans are missing right before each.

    A scan that is only late is followed by others in their due time; where scans are missing, all later ones
    are late by as much.

    Parameters
    ----------
    stamps_s
        Time of each scan, the first being the last one of before.
    period_s
        Usual time between scans.

    Returns
    -------
    numpy.ndarray
        Shape ``(scans - 1,)``, for all but the first.
    """
    missing = np.zeros(max(0, len(stamps_s) - 1), np.int64)
    for at in np.flatnonzero(np.diff(stamps_s) > 1.5 * period_s):
        after = stamps_s[at + 1 : at + 17]
        late_s = np.median(after - stamps_s[at] - period_s * np.arange(1, after.size + 1))
        missing[at] = max(0, round(late_s / period_s))
    return missing

"""The kernel's documented layout of a buffer, against examples made by hand and by a C compiler's rules."""

import ctypes
import struct

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopmon.capture.iio.layout import (
    Element,
    ElementType,
    ScanLayout,
    missing_before,
    parse_mount_matrix,
    parse_type,
    plain_mounting,
)
from tests.capture.iio.fake import Scan16, Scan32, scans, stamps_at

STAMP = Element(name="in_timestamp", index=3, type=parse_type("le:s64/64>>0"))


def axes_of(text):
    return [Element(name=f"in_accel_{axis}", index=i, type=parse_type(text)) for i, axis in enumerate("xyz")]


def test_the_documents_own_example():
    """Documentation/driver-api/iio/buffers.rst (from memory): 12 bits in two registers, le:s12/16>>4."""
    kind = parse_type("le:s12/16>>4\n")
    assert kind == ElementType(big_endian=False, signed=True, bits=12, storage_bits=16, shift=4)
    layout = ScanLayout([Element(name="in_accel_x", index=0, type=kind)])
    # low byte: D3 D2 D1 D0 and four bits that mean nothing; high byte: D11 … D4
    assert layout.values(bytes([0b0101_1111, 0b1000_0001]), "in_accel_x").tolist() == [[-2048 + 0x15]]
    assert layout.values(bytes([0b1111_0000, 0b0111_1111]), "in_accel_x").tolist() == [[2047]]


@pytest.mark.parametrize(
    ("text", "raw", "value"),
    [
        ("be:s16/16>>0", "fffe", -2),
        ("be:s20/32>>12", "80000fff", -(2**19)),
        ("be:s20/32>>12", "00001abc", 1),
        ("le:u10/16>>0", "ffff", 1023),
        ("le:s13/16>>0", "00f0", -(2**12)),
        ("le:s13/16>>0", "ffef", 4095),
        ("le:s24/32>>8", "ff000080", -(2**23)),
        ("be:s8/8", "80", -128),
        ("le:s64/64>>0", "ffffffffffffff7f", 2**63 - 1),
    ],
)  # fmt: skip
def test_one_value(text, raw, value):
    layout = ScanLayout([Element(name="a", index=0, type=parse_type(text))])
    assert layout.values(bytes.fromhex(raw), "a").tolist() == [[value]]


def test_repeat():
    """sysfs-bus-iio: X and the number of repetitions, for channels of several values such as a quaternion."""
    kind = parse_type("le:s16/32X4>>2")
    assert (kind.repeat, kind.shift, kind.size) == (4, 2, 16)
    layout = ScanLayout([Element(name="in_rot_quaternion", index=0, type=kind), STAMP])
    assert layout.offsets == {"in_rot_quaternion": 0, "in_timestamp": 16}
    raw = struct.pack("<4i", *(4 * value for value in (-1, 2, -32768, 32767))) + bytes(16)
    assert layout.scan_bytes == 32
    assert layout.values(raw, "in_rot_quaternion").tolist() == [[-1, 2, -32768, 32767]]


@pytest.mark.parametrize(("text", "kind"), [("le:s16/16>>0", Scan16), ("le:s32/32>>0", Scan32)])
def test_padding_is_that_of_the_compiler(text, kind):
    layout = ScanLayout([*axes_of(text), STAMP])
    assert layout.scan_bytes == ctypes.sizeof(kind)
    assert layout.offsets["in_timestamp"] == kind.stamp.offset
    rng = np.random.default_rng(1)
    axes = rng.integers(-30_000, 30_000, (50, 3))
    stamps = stamps_at(3200.0, 50)
    raw = scans(kind, axes, stamps)
    for column, axis in enumerate("xyz"):
        assert (layout.values(raw, f"in_accel_{axis}")[:, 0] == axes[:, column]).all()
    assert (layout.values(raw, "in_timestamp")[:, 0] == stamps).all()


@pytest.mark.parametrize(
    ("sizes", "offsets", "total"),
    [
        ([2], [0], 2),
        ([2, 2, 2], [0, 2, 4], 6),
        ([2, 8], [0, 8], 16),
        ([1, 2, 1, 4, 8], [0, 2, 4, 8, 16], 24),
        ([8, 2], [0, 8], 16),
        ([4, 2], [0, 4], 8),
    ],
)
def test_alignment_and_length(sizes, offsets, total):
    elements = [
        Element(name=str(i), index=10 * i, type=parse_type(f"le:s{8 * size}/{8 * size}"))
        for i, size in enumerate(sizes)
    ]
    layout = ScanLayout(elements[::-1])
    assert [layout.offsets[str(i)] for i in range(len(sizes))] == offsets
    assert layout.scan_bytes == total


@given(
    bits=st.integers(1, 32),
    extra=st.integers(0, 31),
    big=st.booleans(),
    signed=st.booleans(),
    seed=st.integers(0, 99),
)
def test_any_type_gives_back_what_was_stored(bits, extra, big, signed, seed):
    storage = next(size for size in (8, 16, 32, 64) if size >= bits + extra)
    rng = np.random.default_rng(seed)
    low, high = (-(2 ** (bits - 1)), 2 ** (bits - 1)) if signed else (0, 2**bits)
    values = rng.integers(low, high, 20)
    noise = rng.integers(0, 2**62, 20)
    raw = b""
    for value, other in zip(values.tolist(), noise.tolist(), strict=True):
        word = (value & (2**bits - 1)) << extra | other & (2**extra - 1)
        word |= other << (bits + extra)
        raw += (word & (2**storage - 1)).to_bytes(storage // 8, "big" if big else "little")
    text = f"{'be' if big else 'le'}:{'s' if signed else 'u'}{bits}/{storage}>>{extra}"
    layout = ScanLayout([Element(name="a", index=0, type=parse_type(text))])
    assert (layout.values(raw, "a")[:, 0] == values).all()


@pytest.mark.parametrize("text", ["", "s12/16>>4", "le:s12/16>>8", "le:s12/24", "le:f32/32>>0", "le:s0/16"])
def test_what_is_not_understood_is_refused(text):
    with pytest.raises(ValueError):
        parse_type(text)


def test_mount_matrix():
    """sysfs-bus-iio: rows apart by semicolons; it is multiplied with the raw vector."""
    matrix = parse_mount_matrix("0, 1, 0; -1, 0, 0; 0, 0, 1\n")
    raw = np.array([3.0, 5.0, 7.0])
    mounted = [sign * raw[axis] for axis, sign in plain_mounting(matrix)]
    assert mounted == (matrix @ raw).tolist() == [5.0, -3.0, 7.0]
    assert plain_mounting(parse_mount_matrix("0.707,0.707,0;-0.707,0.707,0;0,0,1")) is None
    assert plain_mounting(parse_mount_matrix("1,0,0;1,0,0;0,0,1")) is None
    for bad in ("1,0,0;0,1,0", "1,0;0,1", "a,b,c;d,e,f;g,h,i", "nan,0,0;0,1,0;0,0,1"):
        with pytest.raises(ValueError):
            parse_mount_matrix(bad)


@given(st.lists(st.tuples(st.integers(20, 60), st.integers(1, 500)), max_size=5), st.integers(0, 50))
def test_gaps_by_timestamps_have_their_true_length(story, seed):
    period = 1 / 3200
    rng = np.random.default_rng(seed)
    index, truth = [0], {}
    for run, gap in story:
        index += range(index[-1] + 1, index[-1] + 1 + run)
        truth[len(index) - 1] = gap
        index.append(index[-1] + 1 + gap)
        index += range(index[-1] + 1, index[-1] + 20)
    stamps = np.array(index) * period + rng.normal(0, 0.05 * period, len(index))
    missing = missing_before(stamps, period)
    assert {int(at): int(missing[at]) for at in np.flatnonzero(missing)} == truth


def test_a_late_interrupt_is_no_gap():
    stamps = np.arange(100) / 3200
    stamps[50] += 2.4 / 3200
    stamps[51] += 1.4 / 3200
    assert not missing_before(stamps, 1 / 3200).any()

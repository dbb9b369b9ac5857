"""Framing: whatever goes in comes out, and nothing else does."""

import struct
import zlib

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopmon.capture.sampler.frames import (
    HEADER,
    MOST_STUFFED_BYTES,
    BoardFrame,
    FrameCutter,
    pack_frame,
    read_frame,
    stuff,
    unstuff,
)
from tests.capture.sampler.boards import SoftBoard, numbers_of


@given(st.binary(max_size=1200))
def test_stuffing_is_undone_and_leaves_no_zero(plain):
    packed = stuff(plain)
    assert 0 not in packed
    assert unstuff(packed) == plain
    assert len(packed) <= len(plain) + len(plain) // 254 + 1


@pytest.mark.parametrize("length", [253, 254, 255, 508, 509])
def test_stuffing_at_the_border_of_a_run(length):
    plain = b"\x01" * length
    assert unstuff(stuff(plain)) == plain


def test_stuffing_of_published_examples():
    """Examples of an encyclopaedia's article on consistent-overhead byte stuffing, from memory."""
    for plain, packed in [
        ("00", "01 01"),
        ("00 00", "01 01 01"),
        ("00 11 00", "01 02 11 01"),
        ("11 22 00 33", "03 11 22 02 33"),
        ("11 22 33 44", "05 11 22 33 44"),
        ("11 00 00 00", "02 11 01 01 01"),
    ]:
        assert stuff(bytes.fromhex(plain)) == bytes.fromhex(packed)


@st.composite
def frames_of_boards(draw):
    axes, width = draw(st.integers(1, 6)), draw(st.sampled_from([2, 3]))
    count = draw(st.integers(1, 64))
    top = 2 ** (8 * width - 1)
    rng = np.random.default_rng(draw(st.integers(0, 999)))
    edges = sorted(draw(st.sets(st.integers(0, count * 65536 - 1), max_size=10)))
    first = draw(st.integers(0, 2**61))
    return BoardFrame(
        session=draw(st.integers(0, 2**32 - 1)),
        sequence=draw(st.integers(0, 2**32 - 1)),
        first_sample=first,
        dropped=min(first, draw(st.integers(0, 2**32 - 1))),
        sensor_id=draw(st.integers(0, 255)),
        sample_rate_hz=draw(st.integers(1000, 10**9)) / 1000,
        range_g=draw(st.integers(1, 10**6)) / 1000,
        sample_bytes=width,
        temperature_c=draw(st.none() | st.integers(-5000, 15000).map(lambda value: value / 100)),
        tach_connected=draw(st.booleans()),
        edges=tuple(edge / 65536 for edge in edges),
        codes=rng.integers(-top, top, (count, axes)).astype(np.int16 if width == 2 else np.int32),
    )


@given(frames_of_boards())
def test_a_frame_is_read_as_it_was_written(frame):
    read = read_frame(pack_frame(frame)[:-1])
    assert read is not None
    for name in BoardFrame.__dataclass_fields__:
        if name == "codes":
            assert read.codes.dtype == frame.codes.dtype
            assert (read.codes == frame.codes).all()
        else:
            assert getattr(read, name) == getattr(frame, name), name


@given(frames_of_boards(), st.data())
def test_a_frame_with_any_byte_changed_is_refused(frame, data):
    packed = bytearray(pack_frame(frame)[:-1])
    at = data.draw(st.integers(0, len(packed) - 1))
    packed[at] ^= data.draw(st.integers(1, 255))
    assert read_frame(bytes(packed)) is None


@given(frames_of_boards(), st.integers(1, 60))
def test_half_a_frame_is_refused(frame, missing):
    packed = pack_frame(frame)[:-1]
    assert read_frame(packed[:-missing]) is None
    assert read_frame(packed[missing:]) is None


@pytest.mark.parametrize(
    ("field", "value"),
    [(0, 0xA2), (1, 2), (3, 0), (3, 7), (4, 4), (4, 1), (5, 200), (6, 0), (6, 5000), (10, 2**31), (11, 0),
     (11, 2_000_000_000), (12, 0), (14, 1)],
)  # fmt: skip
def test_a_frame_that_makes_no_sense_is_refused_although_its_sum_is_right(field, value):
    plain = unstuff(SoftBoard(frames=4).packed()[:-1])[:-4]
    head = list(HEADER.unpack_from(plain))
    head[field] = value
    plain = HEADER.pack(*head) + plain[HEADER.size :]
    assert read_frame(stuff(plain + struct.pack("<I", zlib.crc32(plain)))) is None


@given(st.lists(st.integers(1, 300), max_size=60), st.binary(max_size=300))
def test_cuts_and_garbage_before_change_nothing(sizes, garbage):
    board = SoftBoard(frames=8)
    data = garbage + b"\0" + b"".join(board.packed() for _ in range(5))
    cutter, frames, at = FrameCutter(), [], 0
    for size in [*sizes, len(data)]:
        frames += cutter.feed(data[at : at + size])
        at += size
    index = np.concatenate([numbers_of(frame.codes) for frame in frames])
    assert (index == np.arange(40)).all()


def test_endless_garbage_without_a_zero_is_not_kept():
    cutter = FrameCutter()
    for _ in range(50):
        assert cutter.feed(b"\x55" * 10_000) == []
        assert len(cutter._rest) <= MOST_STUFFED_BYTES
    board = SoftBoard(frames=8)
    assert cutter.feed(board.packed()) == []
    (frame,) = cutter.feed(board.packed())
    assert frame.sequence == 1


@given(st.binary(max_size=4000))
def test_noise_alone_is_never_a_frame(noise):
    assert FrameCutter().feed(b"\0" + noise + b"\0") == []


def test_a_frame_of_another_version_is_told_from_garbage():
    plain = bytes([0xA2]) + bytes(range(60))
    other = stuff(plain + zlib.crc32(plain).to_bytes(4, "little")) + b"\0"
    cutter = FrameCutter()
    assert cutter.feed(b"\0" + other + b"garbage\0") == []
    assert (cutter.refused, cutter.foreign) == (2, 1)

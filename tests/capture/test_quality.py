"""Clipping and standing still, told the same however the samples are cut into blocks."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopmon.capture.codes import unpack
from shopmon.capture.quality import ClipCounter, ConstantWatch

cuts = st.lists(st.integers(1, 50), max_size=40)


def pieces(codes, sizes):
    begin = 0
    for size in [*sizes, len(codes)]:
        yield codes[begin : begin + size]
        begin += size


def clipped_by_hand(column, high=32767):
    full = [1 if code >= high else -1 if code <= -high else 0 for code in column]
    near = [(full[i - 1] if i else 0, full[i + 1] if i + 1 < len(full) else 0) for i in range(len(full))]
    return sum(1 for here, around in zip(full, near, strict=True) if here and here in around)


@given(
    columns=st.lists(
        st.tuples(*[st.sampled_from([-32768, -32767, 0, 5, 32766, 32767])] * 2), min_size=1, max_size=100
    ),
    sizes=cuts,
)
def test_clipped_samples_are_those_with_a_neighbour_at_the_same_end(columns, sizes):
    codes = np.array(columns, np.int16)
    counter = ClipCounter("int16", 2)
    counted = sum(counter.count(piece) for piece in pieces(codes, sizes))
    assert counted == sum(clipped_by_hand(codes[:, channel].tolist()) for channel in range(2))


@pytest.mark.parametrize(
    ("code_format", "dtype", "full"),
    [
        ("int16", np.int16, 32767),
        ("int24", np.int32, 2**23 - 1),
        ("int24", np.int32, 32767 << 8),  # 16 bits behind a wider format
        ("int32", np.int32, 2**31 - 1),
        ("int32", np.int32, 32767 << 16),
        ("float32", np.float32, 1.0),
    ],
)
def test_full_scale_of_every_format(code_format, dtype, full):
    codes = np.array([[full], [full], [0]], dtype)
    assert ClipCounter(code_format, 1).count(codes) == 2
    assert ClipCounter(code_format, 1).count(-codes) == 2
    assert ClipCounter(code_format, 1).count((codes * 0.99).astype(dtype)) == 0


def test_floats_that_may_exceed_one_clip_only_where_they_stop_at_it():
    over, at = np.array([[0.5], [1.5], [3.0], [-2.0], [-2.5]], np.float32), np.ones((4, 1), np.float32)
    assert ClipCounter("float32", 1, open_ended=True).count(over) == 0
    assert ClipCounter("float32", 1, open_ended=True).count(at) == 4
    assert ClipCounter("float32", 1).count(over) == 4  # a lossy codec overshoots what was clipped before it


def test_a_run_does_not_reach_across_a_restart():
    counter, one = ClipCounter("int16", 1), np.full((1, 1), 32767, np.int16)
    assert counter.count(one) == 0
    counter.restart()
    assert counter.count(one) == 0
    assert counter.count(one) == 2


def silence_by_hand(column, limit):
    events, run = [], 0
    for index, code in enumerate(column):
        same = index > 0 and code == column[index - 1]
        if not same and run >= limit:
            events.append("input-back")
        run = run + 1 if same else 1
        if run == limit:
            events.append("input-silent")
    return events


@given(
    runs=st.lists(st.tuples(st.integers(0, 3), st.integers(1, 25)), min_size=1, max_size=30),
    sizes=cuts,
)
def test_standing_still_is_noticed_once_and_so_is_its_end(runs, sizes):
    column = np.concatenate([np.full(length, value, np.int16) for value, length in runs])
    watch = ConstantWatch(10.0, 1, constant_s=1.0)
    codes = [notice.code for piece in pieces(column[:, None], sizes) for notice in watch.feed(piece)]
    assert codes == silence_by_hand(column.tolist(), 10)


def test_a_dead_channel_is_named():
    watch = ConstantWatch(100.0, 3)
    codes = np.random.default_rng(1).integers(-9, 9, (300, 3))
    codes[:, 1] = 0
    notices = watch.feed(codes)
    assert [notice.code for notice in notices] == ["input-silent"]
    assert notices[0].text.startswith("Channel 2 of the input")
    assert notices[0].hint
    assert watch.feed(np.zeros((300, 3)))[0].text.startswith("Channels 1, 3 of the input")


@given(st.lists(st.tuples(*[st.integers(-(2**23), 2**23 - 1)] * 2), min_size=1, max_size=20))
def test_packed_24_bit_codes_keep_value_and_sign(frames):
    codes = [code for frame in frames for code in frame]
    raw = b"".join(code.to_bytes(3, "little", signed=True) for code in codes)
    unpacked = unpack(np.frombuffer(raw, np.uint8), "int24", 2)
    assert unpacked.dtype == np.int32
    assert unpacked.reshape(-1).tolist() == codes


@pytest.mark.parametrize(("code_format", "dtype"), [("int16", np.int16), ("int32", np.int32)])
def test_whole_codes_are_taken_as_they_are(code_format, dtype):
    codes = np.array([[1, -2], [3, -4], [-5, 6]], dtype)
    assert np.array_equal(unpack(codes.reshape(-1).view(np.uint8), code_format, 2), codes)

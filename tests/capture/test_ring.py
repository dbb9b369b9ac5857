"""The ring against a plain model, and between two threads."""

import threading
from collections import deque

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopmon.capture.ring import MAX_GAPS, Ring

steps = st.lists(
    st.one_of(
        st.tuples(st.just("write"), st.integers(1, 40)),
        st.tuples(st.just("take"), st.integers(1, 60)),
    ),
    max_size=200,
)


def numbers(begin: int, frames: int) -> np.ndarray:
    return np.arange(begin, begin + frames, dtype=np.int32)


@given(steps=steps, capacity=st.integers(1, 100))
def test_like_a_plain_queue_that_refuses_what_does_not_fit(steps, capacity):
    ring, model, offered, lost = Ring(capacity, 4), deque(), 0, 0
    for action, frames in steps:
        if action == "write":
            fits = frames <= capacity - len(model)
            assert ring.write(numbers(offered, frames)) is fits
            if fits:
                model.extend(range(offered, offered + frames))
            else:
                lost += frames
            offered += frames
        else:
            taken = ring.take(frames)
            if not model:
                assert taken is None
                continue
            got = taken.raw.view(np.int32)
            assert got.tolist() == [model.popleft() for _ in got]
            assert got.tolist() == list(range(taken.first_sample, taken.first_sample + len(got)))
            assert 1 <= len(got) <= frames
        assert ring.waiting_frames == len(model)
        assert ring.lost_frames == lost
        assert ring.offered_frames == offered


@given(steps=steps, capacity=st.integers(1, 100))
def test_every_loss_is_reported_where_it_is(steps, capacity):
    ring, offered, expected, reported = Ring(capacity, 4), 0, 0, 0

    def drain(frames):
        nonlocal expected, reported
        while (taken := ring.take(frames)) is not None:
            assert taken.first_sample == expected + taken.lost
            expected = taken.first_sample + taken.raw.size // 4
            reported += taken.lost

    for action, frames in steps:
        if action == "write":
            ring.write(numbers(offered, frames))
            offered += frames
        else:
            drain(frames)
    drain(1000)
    ring.write(numbers(offered, 1))
    drain(1000)
    assert reported == ring.lost_frames
    assert expected == offered + 1


def test_more_losses_than_can_be_noted_become_one():
    ring, offered, expected = Ring(1000, 4), 0, 0
    for _ in range(MAX_GAPS + 20):
        assert not ring.write(numbers(offered, 1001))
        offered += 1001
        ring.write(numbers(offered, 1))
        offered += 1
    while (taken := ring.take(1000)) is not None:
        assert taken.raw.view(np.int32)[0] == taken.first_sample
        assert taken.first_sample == expected + taken.lost
        expected = taken.first_sample + taken.raw.size // 4
    assert ring.write(numbers(offered, 1))
    last = ring.take(1)
    assert last.first_sample == offered == expected + last.lost


def test_keeps_odd_frame_sizes_whole():
    ring = Ring(5, 9)
    for value in range(40):
        assert ring.write(bytes([value]) * 9 * 3)
        assert ring.take(9).raw.tobytes() == bytes([value]) * 27


@pytest.mark.parametrize(("capacity", "frame_bytes"), [(0, 2), (10, 0), (-1, 2)])
def test_refuses_to_hold_nothing(capacity, frame_bytes):
    with pytest.raises(ValueError, match="holds nothing"):
        Ring(capacity, frame_bytes)


def test_two_threads_lose_nothing_unseen():
    ring, total, block = Ring(4096, 4), 400_000, 97
    data = numbers(0, total)

    def write():
        for begin in range(0, total, block):
            ring.write(data[begin : begin + block])

    writer = threading.Thread(target=write)
    writer.start()
    expected, reported = 0, 0
    while writer.is_alive() or ring.waiting_frames:
        ring.wait(0.01)
        while (taken := ring.take(1000)) is not None:
            got = taken.raw.view(np.int32)
            assert np.array_equal(got, numbers(taken.first_sample, len(got)))
            assert taken.first_sample == expected + taken.lost
            expected, reported = taken.first_sample + len(got), reported + taken.lost
    writer.join()
    ring.write(numbers(total, 1))
    last = ring.take(1)
    assert last.first_sample == total
    assert reported + last.lost == ring.lost_frames


def test_waiting_ends_when_something_is_written():
    ring = Ring(10, 2)
    threading.Timer(0.05, ring.write, [b"ab"]).start()
    ring.wait(60)
    assert ring.take(1).raw.tobytes() == b"ab"

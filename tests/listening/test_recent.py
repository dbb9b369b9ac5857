"""The newest samples are the same as if all had been kept."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from shopmon.listening.intake.recent import Recent


@settings(max_examples=50)
@given(st.integers(5, 40), st.lists(st.integers(1, 5), min_size=1, max_size=60), st.data())
def test_the_newest_are_those_pushed_last(length, pushes, data):
    recent, whole = Recent(2, length), np.zeros((2, length), dtype=np.float32)
    for count in pushes:
        new = np.arange(2 * count, dtype=np.float32).reshape(2, count) + whole.shape[1]
        recent.push(new)
        whole = np.concatenate((whole, new), axis=1)
    back = data.draw(st.integers(0, length - 1))
    count = data.draw(st.integers(1, length - back))
    end = whole.shape[1] - back
    assert np.array_equal(recent.last(count, back), whole[:, end - count : end])


def test_filled_again_it_goes_on():
    recent = Recent(1, 4)
    recent.push(np.ones((1, 3), dtype=np.float32))
    other = Recent(1, 4)
    other.fill(recent.last(4).copy())
    for each in (recent, other):
        each.push(np.full((1, 2), 2, dtype=np.float32))
    assert np.array_equal(other.last(4), recent.last(4))

"""Lines lose their skirts, and paths over candidates are as cheap as the cheapest way."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopmon.signals.comb.search import peaks_near, smooth_path_step


def test_a_skirt_is_no_line():
    height = np.zeros(50)
    height[20:25] = [10, 30, 50, 30, 10]
    near = peaks_near(height)
    assert list(near[20:25]) == [0, 50, 50, 50, 0]


@given(
    scores=st.lists(st.floats(-50, 50), min_size=8, max_size=40),
    reach=st.integers(1, 3),
    price=st.floats(0.01, 5),
)
def test_a_path_comes_from_the_best_near_one_less_its_price(scores, reach, price):
    values = np.array(scores)
    got = smooth_path_step(values, reach, price)
    for i in range(values.size):
        near = range(max(0, i - reach), min(values.size, i + reach + 1))
        assert got[i] == pytest.approx(max(values[j] - price * abs(i - j) for j in near))

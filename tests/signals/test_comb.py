"""The comb's likelihood finds the rotation and neither its half nor its double."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shopmon.signals.comb import CombGrid, comb_gain, peaks_near, smooth_path_step

BIN_HZ = 1.0


def spectrum(rotation_hz, rng, flutes=3, runout=0.5):
    """Heights above the floor of a comb in noise."""
    height = 10 * np.log10(rng.exponential(size=4000) + 1e-9) + 1.6
    for order in range(1, int(3900 / rotation_hz) + 1):
        level = 25.0 if order % flutes == 0 else 25.0 * runout
        at = int(np.rint(order * rotation_hz / BIN_HZ))
        height[at - 1 : at + 2] = np.maximum(height[at - 1 : at + 2], [level - 6, level, level - 6])
    return height


def best_hz(rotation_hz, flutes, seed):
    """The speed that the likelihood prefers where neither speed nor flutes are known."""
    height = spectrum(rotation_hz, np.random.default_rng(seed), flutes)
    candidates = 20 * np.exp(1e-3 * np.arange(3200))
    scores = CombGrid(candidates, BIN_HZ, 3800, 40, None, 0.5)(comb_gain(peaks_near(height), 7.0))
    return candidates[np.argmax(scores)]


@settings(max_examples=40, deadline=None)
@given(rotation_hz=st.floats(50, 400), flutes=st.integers(1, 5), seed=st.integers(0, 1000))
def test_the_true_speed_scores_best(rotation_hz, flutes, seed):
    assert best_hz(rotation_hz, flutes, seed) == pytest.approx(rotation_hz, rel=0.012)


@settings(max_examples=40, deadline=None)
@given(rotation_hz=st.floats(25, 50), flutes=st.integers(1, 5), seed=st.integers(0, 1000))
def test_a_slow_spindle_is_taken_for_its_tooth_passing_at_worst(rotation_hz, flutes, seed):
    # flutes unknown: forty harmonics of a slow spindle end below the band, so tooth passing explains more
    factor = best_hz(rotation_hz, flutes, seed) / rotation_hz
    assert min(abs(factor - 1), abs(factor / flutes - 1)) < 0.012


def test_one_loud_line_buys_no_comb():
    height = np.zeros(4000)
    height[1437] = 60
    candidates = 190 * np.exp(5e-4 * np.arange(200))
    assert CombGrid(candidates, BIN_HZ, 3800, 30, None)(comb_gain(peaks_near(height), 6.0)).max() < 0


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

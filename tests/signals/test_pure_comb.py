"""Lines of a comb of its own are told from a family that steps by a frequency it is no multiple of."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from shopmon.signals.comb.pure import pure_comb

RESOLVED_HZ = 1.0


def nats(lines_hz, worth=1.0):
    return pure_comb(np.array(lines_hz), np.full(len(lines_hz), worth), RESOLVED_HZ)[0]


@settings(deadline=None)
@given(st.floats(60.0, 350.0), st.integers(1, 9), st.integers(4, 12))
def test_successive_multiples_of_one_frequency_are_no_chance(rotation_hz, first, count):
    assert nats(rotation_hz * np.arange(first, first + count)) > count - 3


@settings(deadline=None)
@given(st.floats(120.0, 350.0), st.floats(0.37, 0.45), st.integers(3, 8), st.integers(4, 8))
def test_a_family_beside_the_multiples_is_less_so(rotation_hz, part, first, count):
    orders = np.arange(first, first + count)
    assert nats(rotation_hz * (orders + part)) < nats(rotation_hz * orders)


@given(st.lists(st.floats(30.0, 6000.0), max_size=2))
def test_two_lines_say_nothing(lines_hz):
    assert nats(lines_hz) == 0.0


def test_lines_that_are_hardly_there_say_nothing():
    assert nats(100.0 * np.arange(1, 9), worth=0.01) == 0.0


def test_the_order_of_the_lines_is_all_the_same():
    lines_hz = np.array([310.0, 620.2, 155.1, 930.1, 700.0])
    assert nats(lines_hz) == nats(lines_hz[::-1])


def test_only_the_multiples_belong_to_the_comb():
    lines_hz = np.array([26.2, 52.4, 78.6, 104.8, 131.0, 2716.0, 2363.7, 3068.3])
    found, members = pure_comb(lines_hz, np.ones(lines_hz.size), RESOLVED_HZ)
    assert found > 4.0
    assert members.tolist() == [True] * 5 + [False] * 3


def test_where_there_is_no_comb_nothing_belongs_to_it():
    found, members = pure_comb(np.array([310.0, 731.7]), np.ones(2), RESOLVED_HZ)
    assert found == 0.0
    assert not members.any()

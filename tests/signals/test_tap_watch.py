"""Catching hits as they come: nothing depends on the blocks, the quiet before is kept, noise is learned."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shopmon.errors import SettingError
from shopmon.signals.tap.watch import PRE_ROLL_S, TapWatch

RATE = 8000.0


def clicks(*at_s, length_s=4.0, noise=1e-3):
    """Return quiet with a dying tone at each time."""
    rng = np.random.default_rng(0)
    samples = noise * rng.standard_normal(int(length_s * RATE))
    t = np.arange(int(0.2 * RATE)) / RATE
    for at in at_s:
        begin = int(at * RATE)
        samples[begin : begin + t.size] += np.exp(-40 * t) * np.cos(2 * np.pi * 700 * t)
    return samples[:, None]


def caught(samples, sizes, record_s=0.25):
    watch, found, begin = TapWatch(RATE, record_s), [], 0
    for size in sizes:
        found += watch.feed(samples[begin : begin + size])
        begin += size
    return watch, found + watch.feed(samples[begin:])


def test_each_hit_comes_once_with_the_quiet_before_it():
    _, found = caught(clicks(1.0, 2.0, 3.0), [])
    assert [each.at_sample for each in found] == [8000, 16000, 24000]
    for each in found:
        assert each.start == int(PRE_ROLL_S * RATE)
        assert each.record.shape == (each.start + int(0.25 * RATE), 1)
        assert np.abs(each.record[: each.start]).max() < 0.01 < np.abs(each.record[each.start :]).max()


@settings(max_examples=25, deadline=None)
@given(st.lists(st.integers(1, 4000), max_size=30))
def test_the_sizes_of_the_blocks_change_nothing(sizes):
    samples = clicks(1.0, 1.9)
    _, one = caught(samples, [])
    _, other = caught(samples, sizes)
    assert [each.at_sample for each in one] == [each.at_sample for each in other]
    assert all(np.array_equal(a.record, b.record) for a, b in zip(one, other, strict=True))


def test_while_the_noise_is_learned_nothing_is_caught():
    watch, found = caught(clicks(0.2, length_s=0.45), [])
    assert (watch.phase, found, watch.trigger) == ("quiet", [], np.inf)


def test_noise_that_begins_is_learned_once_it_is_said_to_be_none():
    samples = clicks(4.5, length_s=5.0)
    rng = np.random.default_rng(1)
    samples[int(1.5 * RATE) :, 0] += 0.05 * rng.standard_normal(samples.shape[0] - int(1.5 * RATE))
    watch, found = TapWatch(RATE, 0.25), []
    for begin in range(0, samples.shape[0], 400):
        for each in watch.feed(samples[begin : begin + 400]):
            found.append(each.at_sample)
            if np.abs(each.record).max() < 0.5:
                watch.noise(each.record)
    assert abs(found[-1] - 4.5 * RATE) < 20
    assert sum(at < 4.4 * RATE for at in found) <= 8


def test_after_a_good_hit_a_faint_knock_is_none():
    watch = TapWatch(RATE, 0.25)
    watch.feed(clicks(length_s=1.0))
    watch.good(1.0)
    assert watch.trigger == pytest.approx(0.1)


@pytest.mark.parametrize(("rate", "length"), [(0.0, 0.5), (RATE, 0.0), (float("nan"), 0.5)])
def test_what_cannot_be_is_refused(rate, length):
    with pytest.raises(SettingError):
        TapWatch(rate, length)

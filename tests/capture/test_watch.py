"""The watchdog, the clock and the tally, with times passed in."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopmon.capture.watch import CATCH_UP_S, LATE_S, LatenessWatch, Tally, Watchdog

BLOCK_S = 1024 / 48_000


def test_the_dog_barks_after_its_limit():
    dog = Watchdog(1.0, 5.0)
    turns = np.arange(0, 10, 0.05)
    lost = [now for now in turns if dog.is_lost(now, callbacks=1 + int(min(now, 3.0) * 47))]
    assert lost[0] == pytest.approx(4.0, abs=0.1)


def test_the_first_callback_may_take_longer():
    dog = Watchdog(1.0, 5.0)
    lost = [now for now in np.arange(0, 10, 0.05) if dog.is_lost(now, callbacks=0)]
    assert lost[0] == pytest.approx(5.0, abs=0.1)


def test_a_computer_that_stood_still_does_not_lose_the_device():
    dog = Watchdog(1.0, 5.0)
    assert not dog.is_lost(0.0, 10)
    assert not dog.is_lost(0.05, 11)
    assert not dog.is_lost(60.0, 11)  # nobody ran for a minute, the callback neither
    assert not dog.is_lost(60.05, 14)


def lags(sample_rate_hz=48_000.0, seconds=30.0, drift=0.0, delay_s=lambda at_s: 0.0, missing=lambda at_s: 0):
    """Walk through callbacks; return the (time, seconds missing) that were told."""
    watch, told = LatenessWatch(sample_rate_hz), []
    for number in range(1, int(seconds / BLOCK_S)):
        due_s = number * BLOCK_S * (1 + drift)
        at_s = 1000.0 + due_s + delay_s(due_s)
        found = watch.missing_s(at_s, number * 1024 - missing(due_s))
        if found:
            told.append((due_s, found))
    return told


@given(st.lists(st.floats(0, LATE_S / 2), min_size=10, max_size=10))
def test_jitter_is_no_loss(jitter):
    assert lags(delay_s=lambda at_s: jitter[int(at_s * 47) % 10]) == []


def test_sound_that_comes_late_in_a_burst_is_no_loss():
    assert lags(delay_s=lambda at_s: max(0.0, 11.5 - at_s) if at_s > 10 else 0.0) == []


@pytest.mark.parametrize("drift", [-1e-3, 1e-3])
def test_a_quartz_that_is_off_is_no_loss(drift):
    assert lags(seconds=600, drift=drift) == []


def test_sound_that_never_comes_is_told_once_with_its_amount():
    told = lags(missing=lambda at_s: 24_000 if at_s > 10 else 0)
    assert len(told) == 1
    at_s, missing_s = told[0]
    assert missing_s == pytest.approx(0.5, abs=0.03)
    assert 10 + CATCH_UP_S <= at_s <= 10 + CATCH_UP_S + 0.1


def test_each_later_loss_is_told_again():
    told = lags(missing=lambda at_s: 24_000 * int(at_s // 10))
    assert [round(missing_s, 1) for _, missing_s in told] == [0.5, 0.5]


def test_a_tally_tells_at_once_then_sums_up():
    tally = Tally(10.0)
    assert tally.release(0.0) == 0
    tally.add(3)
    assert tally.release(1.0) == 3
    tally.add(2)
    tally.add(5)
    assert tally.release(2.0) == 0
    assert tally.release(11.0) == 7
    assert tally.release(99.0) == 0

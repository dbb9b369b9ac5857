"""Calls that may never come back."""

import threading

import pytest

from shopmon.capture.background import BackgroundCall


def test_gives_the_value_or_the_error():
    call = BackgroundCall(lambda: 7, "seven")
    assert call.wait(10)
    assert call.done
    assert call.result() == 7
    call = BackgroundCall(lambda: 1 / 0, "zero")
    assert call.wait(10)
    with pytest.raises(ZeroDivisionError):
        call.result()


def test_what_comes_after_all_is_disposed_of():
    gate, disposed = threading.Event(), threading.Event()
    call = BackgroundCall(gate.wait, "late")
    assert not call.done
    assert not call.wait(0.01)
    call.abandon(lambda value: disposed.set())
    assert not disposed.is_set()
    gate.set()
    assert disposed.wait(10)


def test_what_had_come_already_is_disposed_of_too():
    call, disposed = BackgroundCall(lambda: 7, "seven"), []
    call.wait(10)
    call.abandon(disposed.append)
    assert disposed == [7]


def test_an_error_leaves_nothing_to_dispose_of():
    call, disposed = BackgroundCall(lambda: 1 / 0, "zero"), []
    call.wait(10)
    call.abandon(disposed.append)
    assert disposed == []

"""Pulses of a GPIO line: stamped by the kernel, told late and in heaps, in their places all the same."""

import threading

import numpy as np
import pytest

from shopmon.capture import tach_line
from shopmon.capture.source import SourceNotice
from shopmon.capture.tach_line import TachLineSource, open_line
from shopmon.errors import DeviceError
from shopmon.signals.block import Block
from shopmon.signals.sensors.tachometer import edge_places, turns_of


class Spindle:
    """Stands in for the line and the clock: each wait lets time pass and edges come, late by chance."""

    def __init__(self, rotation_hz=200.0, seconds=3.0):
        self.now_s, self.closed = 50.0, 0
        self.pending = 50.0003 + np.arange(int(seconds * rotation_hz)) / rotation_hz
        self.late = np.random.default_rng(0)
        self.stop = self

    def watch(self, pin, told):
        self.told = told
        return self

    def close(self):
        self.closed += 1

    def clock(self):
        return self.now_s

    def is_set(self):
        return self.now_s > 53.5

    def wait(self, seconds=0.0):
        end = self.now_s + seconds
        while self.pending.size and self.pending[0] < end - 0.02:
            self.now_s = max(self.now_s, self.pending[0] + self.late.exponential(0.002))
            self.told(int((self.pending[0] + 1e6) * 1e9))  # the kernel's clock is another one
            self.pending = self.pending[1:]
        self.now_s = max(self.now_s, end)
        return False


def test_the_rotation_is_exact_although_edges_are_told_late():
    spindle = Spindle()
    source = TachLineSource(17, watch=spindle.watch, clock=spindle.clock)
    items = list(source.blocks(spindle.stop))
    blocks = [item for item in items if isinstance(item, Block)]
    assert items[0].code == "device-opened"
    assert [block.first_sample for block in blocks] == [800 * n for n in range(len(blocks))]
    assert blocks[0].sound_columns == ()
    places = np.concatenate([edge_places(b.tach_codes, b.first_sample) for b in blocks])
    assert places.size > 590
    assert np.diff(places[20:]) == pytest.approx(8000 / 200, rel=1e-3)
    assert turns_of(places[-80:], 8000.0).rotation_hz == pytest.approx(200.0, rel=1e-5)
    source.close()
    source.close()
    assert spindle.closed == 1


def test_a_line_that_cannot_be_had_is_said():
    def refuse(pin, told):
        raise DeviceError("Line 17 cannot be watched.", "See it.")

    stop = threading.Event()
    source = TachLineSource(17, watch=refuse)
    items = source.blocks(stop)
    first = next(items)
    assert isinstance(first, SourceNotice)
    assert first.code == "device-lost"
    stop.set()
    assert list(items) == []


def test_without_the_library_the_hint_says_how_to_get_it(monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "lgpio", None)
    with pytest.raises(DeviceError, match="pip install"):
        open_line(17, lambda stamp: None)


def test_the_library_is_asked_for_a_pulled_up_line(monkeypatch):
    calls = []

    class Gpio:
        FALLING_EDGE, SET_PULL_UP, error = 2, 32, type("error", (Exception,), {})

        def gpiochip_open(self, number):
            return 5

        def gpio_claim_alert(self, *asked):
            calls.append(asked)

        def callback(self, chip, pin, edge, function):
            function(chip, pin, 0, 123)
            return type("Call", (), {"cancel": lambda self: calls.append("cancel")})()

        def gpiochip_close(self, chip):
            calls.append(("close", chip))

    monkeypatch.setitem(__import__("sys").modules, "lgpio", Gpio())
    stamps = []
    open_line(17, stamps.append).close()
    assert stamps == [123]
    assert calls == [(5, 17, 2, 32), "cancel", ("close", 5)]
    assert tach_line.RATE_HZ == 8000.0

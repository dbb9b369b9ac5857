"""The lamp on mock pins."""

import sys
import threading

import pytest
from gpiozero import Device
from gpiozero.pins.mock import MockFactory

from shopmon.errors import SettingError
from shopmon.service.lamp import StateLamp, pattern
from shopmon.service.live_feed import LiveFeed
from tests.waiting import until

PIN = 17


@pytest.fixture
def pins():
    factory = MockFactory()
    yield factory
    factory.reset()


@pytest.fixture
def lit(pins):
    """A lamp, its feed and its pin."""
    feed = LiveFeed()
    lamp = StateLamp(feed, PIN, pin_factory=pins)
    yield lamp, feed, pins.pin(PIN)
    lamp.close()


def test_cutting_is_steady_chatter_blinks_and_everything_else_is_dark(lit):
    lamp, feed, pin = lit
    for state, shown in (
        ("cutting", "steady"),
        ("chatter", "blinking"),
        ("air-cut", "dark"),
        ("chatter", "blinking"),
    ):
        feed.publish("state", {"state": state})
        until(lambda shown=shown: lamp.shown == shown)
        assert shown != "steady" or pin.state
    # a blinking pin goes both ways
    until(lambda: pin.state)
    until(lambda: not pin.state)
    feed.publish("state", {"state": "spinning"})
    until(lambda: lamp.shown == "dark")
    assert not pin.state


@pytest.mark.parametrize("state", ["no-input", "stopped", "spinning", "air-cut", "", "something new"])
def test_no_other_state_lights_the_lamp(state):
    assert pattern(state) == "dark"


def test_the_lamp_goes_dark_when_the_monitor_falls_silent(pins):
    feed = LiveFeed()
    lamp = StateLamp(feed, PIN, pin_factory=pins, silent_s=0.05)
    feed.publish("state", {"state": "cutting"})
    seen = [pins.pin(PIN)]
    until(lambda: lamp.shown == "dark" and not seen[0].state)
    lamp.close()


def test_closing_puts_it_out_gives_the_pin_back_and_ends_the_thread(pins):
    feed = LiveFeed()
    lamp = StateLamp(feed, PIN, pin_factory=pins)
    feed.publish("state", {"state": "cutting"})
    until(lambda: lamp.shown == "steady")
    lamp.close()
    lamp.close()
    assert feed.subscribers == 0
    assert "lamp" not in {thread.name for thread in threading.enumerate()}
    StateLamp(feed, PIN, pin_factory=pins).close()


def test_the_end_of_the_feed_puts_it_out(pins):
    feed = LiveFeed()
    lamp = StateLamp(feed, PIN, pin_factory=pins)
    feed.publish("state", {"state": "cutting"})
    until(lambda: lamp.shown == "steady")
    feed.close()
    until(lambda: lamp.shown == "dark")
    lamp.close()


@pytest.mark.parametrize("pin", [99, -1, "nonsense", None])
def test_a_pin_that_is_none_is_refused_with_a_hint(pins, pin):
    with pytest.raises(SettingError, match="no lamp on GPIO pin") as caught:
        StateLamp(LiveFeed(), pin, pin_factory=pins)
    assert "gpio_pin" in caught.value.hint


def test_a_pin_in_use_is_refused(pins):
    feed = LiveFeed()
    lamp = StateLamp(feed, PIN, pin_factory=pins)
    with pytest.raises(SettingError, match="17"):
        StateLamp(feed, PIN, pin_factory=pins)
    assert feed.subscribers == 1
    lamp.close()


def test_a_computer_without_pins_is_told_plainly(monkeypatch):
    monkeypatch.setattr(Device, "pin_factory", None)
    monkeypatch.setenv("GPIOZERO_PIN_FACTORY", "nonesuch")
    with pytest.raises(SettingError, match="no lamp on GPIO pin 17") as caught:
        StateLamp(LiveFeed(), PIN)
    assert "Raspberry Pi" in caught.value.hint


def test_a_missing_library_is_told_with_how_to_get_it(monkeypatch):
    monkeypatch.setitem(sys.modules, "gpiozero", None)
    with pytest.raises(SettingError, match="gpiozero") as caught:
        StateLamp(LiveFeed(), PIN)
    assert "shopmon[lamp]" in caught.value.hint


def test_it_says_that_it_is_no_safety_device():
    assert "no safety device" in StateLamp.__doc__

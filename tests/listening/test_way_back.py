"""A neighbour that starts while the own comb is quiet for a moment is no step of the speed."""

import numpy as np
import pytest

from shopmon.listening.events import ChatterStarted, Frame
from shopmon.listening.rotation.way_back import WayBack
from tests.listening.hearing import listen, listener, of
from tests.listening.synthetic import RATE_HZ, blocks, comb, gate, machine

SECONDS, ROTATION_HZ = 12.0, 180.0


def rpm_after(events, time_s):
    return np.array(
        [frame.rpm for frame in of(Frame, events) if frame.rpm and frame.sample > time_s * RATE_HZ]
    )


def test_the_speed_comes_back_to_the_comb_that_stands_as_it_stood():
    sound = machine(SECONDS, ROTATION_HZ, flutes=2, engaged=((2.0, 5.0), (5.5, 11.0)))
    neighbour = gate(SECONDS, ((5.1, SECONDS),)) * comb(
        ROTATION_HZ * 4 / 3, SECONDS, flutes=2, level=0.04, seed=7
    )
    events = listen(sound + neighbour, rpm=60 * ROTATION_HZ, flutes=2)
    late = rpm_after(events, 8.0)
    assert late.size
    assert np.median(np.abs(late / (60 * ROTATION_HZ) - 1)) < 2e-3


def test_a_step_of_the_override_is_still_followed():
    before = machine(5.0, ROTATION_HZ, flutes=2, engaged=((2.0, 5.0),))
    after = machine(7.0, 1.2 * ROTATION_HZ, flutes=2, engaged=((0.0, 6.0),))
    events = listen(np.concatenate([before, after]), rpm=60 * ROTATION_HZ, flutes=2)
    late = rpm_after(events, 7.5)
    assert late.size
    assert np.median(np.abs(late / (60 * 1.2 * ROTATION_HZ) - 1)) < 2e-3


def turned(start_s, share, ramp_s, seconds=13.0, flutes=2):
    """A cut whose override is turned: the teeth go on at another speed, after a ramp."""
    time = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    ramp = np.clip((time - start_s) / ramp_s, 0, 1)
    turns = np.cumsum(ROTATION_HZ * (1 + (share - 1) * ramp)) / RATE_HZ
    rng = np.random.default_rng(4)
    teeth = sum(
        (0.06 if order % flutes == 0 else 0.02) / order**0.5 * np.cos(2 * np.pi * order * turns + phase)
        for order, phase in enumerate(rng.uniform(0, 2 * np.pi, 24), 1)
    )
    return teeth * (0.15 + 0.85 * (time > 2.0)) + 2e-3 * rng.standard_normal(time.size)


@pytest.mark.parametrize("told", [True, False])
@pytest.mark.parametrize(("share", "ramp_s"), [(1.03, 0.3), (0.97, 0.5), (0.9, 0.2), (0.9, 2.0), (1.15, 0.4)])
def test_a_spindle_on_its_way_to_another_speed_is_no_chatter(told, share, ramp_s):
    known = {"rpm": 60 * ROTATION_HZ, "flutes": 2} if told else {}
    events = listen(turned(6.0, share, ramp_s), **known)
    assert not of(ChatterStarted, events)
    late = rpm_after(events, 9.0 + ramp_s)
    assert late.size
    assert np.median(np.abs(late / (60 * share * ROTATION_HZ) - 1)) < 2e-3


@pytest.mark.parametrize("astray", [0.7, 1.37, 2.8])
def test_led_astray_the_listener_finds_back_to_the_speed_told(astray):
    """Music may look like a step, again and again; the search hears the told speed all along."""
    sound = machine(9.0, ROTATION_HZ, flutes=2, engaged=((2.0, 8.5),))
    ears = listener(rpm=60 * ROTATION_HZ * 1.01, flutes=2)
    events = []
    for block in blocks(sound):
        if block.first_sample == 16_000 * 4:
            ears.chain.speed.tracker.aim(astray * ROTATION_HZ, 2)
        events += ears.feed(block)
    late = rpm_after(events, 7.0)
    assert late.size
    assert np.median(np.abs(late / (60 * ROTATION_HZ) - 1)) < 2e-3


def test_the_watch_survives_a_snapshot():
    watch = WayBack()
    watch.leave(42.0, 9.0)
    again = WayBack()
    again.restore(watch.snapshot())
    assert again.snapshot() == watch.snapshot()

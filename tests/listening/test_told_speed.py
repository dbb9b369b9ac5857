"""A told speed is believed only as long as the sound does not speak plainly for another one."""

import numpy as np
import pytest

from shopmon.cutting.simulation.pass_sound import render
from shopmon.cutting.simulation.scenarios import scenario
from shopmon.listening.events import Frame, Notice
from shopmon.listening.listener import Listener
from shopmon.listening.rotation.search import SpeedSearch
from shopmon.listening.setup import ListenerSettings, Setup
from tests.listening.hearing import codes, cuts, listen
from tests.listening.synthetic import RATE_HZ, blocks, comb, machine


@pytest.fixture(scope="module")
def ringing():
    return render(scenario("pass-that-rings"), 3)


def _heard(ringing, factor):
    samples, truth = ringing
    rate_hz = truth["recording"]["sample_rate_hz"]
    listener = Listener(ListenerSettings(), rate_hz, 1)
    told = factor * truth["spindle"]["nominal_rpm"]
    listener.change_setup(Setup(nominal_rpm=told, flutes=truth["spindle"]["flutes"]), 0)
    events = [e for block in blocks(np.asarray(samples), rate_hz=rate_hz) for e in listener.feed(block)]
    codes = {event.code for event in events if isinstance(event, Notice)}
    return codes, [event for event in events if isinstance(event, Frame)]


def test_the_old_number_left_in_after_a_tool_change_is_doubted(ringing):
    codes, frames = _heard(ringing, 1.2)
    assert "speed-contradicted" in codes
    assert any(frame.unsure and frame.rpm for frame in frames)


@pytest.mark.parametrize("factor", [1.0, 0.98, 1.02])
def test_a_speed_that_is_a_few_percent_off_is_not(ringing, factor):
    codes, _ = _heard(ringing, factor)
    assert "speed-contradicted" not in codes


def test_a_neighbour_that_starts_is_not_taken_for_a_spindle_that_has_just_cut():
    sound = machine(11.0, engaged=((2.0, 4.5),), rate_hz=RATE_HZ)
    louder = 2.0 * comb(254.0, sound.size / RATE_HZ, rate_hz=RATE_HZ)[: sound.size]
    louder[: int(6 * RATE_HZ)] = 0
    events = listen((sound + louder).astype(np.float32), rpm=12_000, flutes=3)
    assert "speed-contradicted" not in codes(events)
    assert all(end < 4.7 * RATE_HZ for cut in cuts(events) for _, end in cut.engaged)


@pytest.mark.parametrize("times", [1, 2, 3, 4, 6])
@pytest.mark.parametrize("off", [0.98, 1.0, 1.02])
def test_tooth_passing_of_the_told_speed_is_the_told_speed(times, off):
    search = SpeedSearch(8000.0, 8.0, 400.0)
    search.clear(flutes=6)
    assert search.is_told(20.3, 20.3 * times * off)


@pytest.mark.parametrize("ratio", [0.5, 0.67, 1.1, 1.5, 2.5, 5.0])
def test_other_speeds_are_not_the_told_one(ratio):
    search = SpeedSearch(8000.0, 8.0, 400.0)
    search.clear(flutes=None)
    assert not search.is_told(20.3, 20.3 * ratio)

"""What the input cannot tell is said: how high it reaches, and when its steps are too coarse."""

import re

import numpy as np
import pytest
from scipy import signal

from shopmon.listening.events import Notice
from tests.listening.hearing import codes, listen, of
from tests.listening.synthetic import RATE_HZ, machine

RPM, FLUTES = 12_000, 3
SOUND = machine(5.0, engaged=((1.5, 4.0),))


def reach_hz(events):
    """The figure in the notice, None where there is none."""
    texts = [event.text for event in of(Notice, events) if event.code == "sensor-deaf-above"]
    return float(re.search(r"about (\d+) Hz", texts[0]).group(1)) if texts else None


@pytest.mark.parametrize("edge_hz", [1500.0, 2500.0])
def test_a_sensor_that_hears_nothing_above_an_edge_is_told(edge_hz):
    taps = signal.firwin(801, edge_hz, fs=RATE_HZ)
    heard = signal.lfilter(taps, 1.0, SOUND) + 1e-6 * np.random.default_rng(0).standard_normal(SOUND.size)
    assert reach_hz(listen(heard, rpm=RPM, flutes=FLUTES)) == pytest.approx(edge_hz, abs=350.0)


def test_a_low_sample_rate_is_told_and_a_usual_one_is_not():
    slow = machine(4.0, rate_hz=6_000.0)
    assert reach_hz(listen(slow, 6_000.0, rpm=RPM, flutes=FLUTES)) == pytest.approx(2500.0, abs=100.0)
    assert reach_hz(listen(SOUND, rpm=RPM, flutes=FLUTES)) is None


def test_a_gentle_slope_is_no_edge():
    b, a = signal.butter(1, 300.0, fs=RATE_HZ)
    assert reach_hz(listen(signal.lfilter(b, a, SOUND), rpm=RPM, flutes=FLUTES)) is None


def test_a_sound_within_a_few_steps_is_told_whatever_the_steps():
    for step in (2.0**-15, 2.0**-23):
        coarse = np.round(SOUND / np.abs(SOUND).max() * 6) * step
        assert "level-too-coarse" in codes(listen(coarse, rpm=RPM, flutes=FLUTES))
    fine = np.round(SOUND / np.abs(SOUND).max() * 600) * 2.0**-15
    assert "level-too-coarse" not in codes(listen(fine, rpm=RPM, flutes=FLUTES))

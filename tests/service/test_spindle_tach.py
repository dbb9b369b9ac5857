"""The tachometer in a spindle check: the truth where it agrees, two marks a turn, lost and double pulses."""

import numpy as np
import pytest

from shopmon.service.spindle.tach import speed_of

RATE = 25_600.0


def pulses(rotation_hz, seconds=4.0, marks=(0.0,)):
    turns = np.arange(int(rotation_hz * seconds))[:, None] + np.array(marks)
    return turns.ravel() / rotation_hz * RATE + 7.0


def codes(notices):
    return [notice["code"] for notice in notices]


def test_one_mark_tells_the_speed():
    rpm, notices = speed_of(pulses(98.8), RATE, 6000.0)
    assert rpm == pytest.approx(5928.0, rel=1e-4) and notices == []


@pytest.mark.parametrize("marks", [(0.0, 0.5), (0.0, 0.4)])
def test_two_marks_a_turn_are_said(marks):
    rpm, notices = speed_of(pulses(98.8, marks=marks), RATE, 6000.0)
    assert rpm == pytest.approx(5928.0, rel=1e-3) and codes(notices) == ["tach-two-a-turn"]


def test_lost_pulses_are_repaired_and_said():
    places = np.delete(pulses(98.8), [40, 90, 91])
    rpm, notices = speed_of(places, RATE, 6000.0)
    assert rpm == pytest.approx(5928.0, rel=1e-3) and "tach-repaired" in codes(notices)


def test_a_speed_far_from_what_was_asked_is_said_and_not_taken():
    rpm, notices = speed_of(pulses(75.0), RATE, 6000.0)
    assert rpm is None and codes(notices) == ["tach-disagrees"]


def test_no_pulses_are_said():
    rpm, notices = speed_of(np.empty(0), RATE, 6000.0)
    assert rpm is None and codes(notices) == ["tach-unsteady"]

"""Following the rotation: through an override step, a ramp, chatter far above the comb, and mains hum."""

import numpy as np
import pytest

from shopmon.listening.events import Frame
from tests.listening.hearing import alarms, cuts, listen, of
from tests.listening.synthetic import RATE_HZ, gate, tone

SECONDS, FLUTES = 7.0, 3


def _cut(rotation_hz, *, extra=(), hum=0.0, seed=0):
    """Return a cut from 2 to 6.5 s at a rotation given per sample, shape (frames,)."""
    rng = np.random.default_rng(seed)
    turn = 2 * np.pi * np.cumsum(rotation_hz) / RATE_HZ
    idle, cut = np.zeros(turn.size), np.zeros(turn.size)
    for order in range(1, 31):
        line = np.cos(order * turn + rng.uniform(0, 2 * np.pi)) / np.sqrt(order)
        cut += 0.05 * (1.0 if order % FLUTES == 0 else 0.5) * line
        idle += 0.006 * line * (order < 12)
    seconds = turn.size / RATE_HZ
    engaged = gate(seconds, ((2.0, 6.5),))
    stray = sum((tone(hz, seconds, level) for hz, level in extra), np.zeros(turn.size))
    mains = sum((tone(50.0 * k, seconds, hum / k) for k in range(1, 9)), np.zeros(turn.size))
    return idle + engaged * (cut + stray) + mains + 0.004 * rng.standard_normal(turn.size)


def _heard(sound, told_hz):
    events = listen(sound, rpm=60 * told_hz, flutes=FLUTES)
    return [(f.sample / RATE_HZ, (f.rpm or 0.0) / 60) for f in of(Frame, events)]


def _steady(rotation_hz):
    return np.full(int(SECONDS * RATE_HZ), rotation_hz)


@pytest.mark.parametrize("told", [1.0, 0.97, 1.03])
def test_chatter_far_above_the_comb_does_not_pull_the_speed(told):
    # a family within 8 Hz of rotation lines, 20 dB above them
    family = tuple((86.7 * (order - 0.09), 0.5) for order in (14, 17, 20))
    frames = _heard(_cut(_steady(86.7), extra=family), 86.7 * told)
    late = [hz for at, hz in frames if 3.0 < at < 6.4]
    assert late == pytest.approx([86.7] * len(late), rel=1e-3)


@pytest.mark.parametrize("step", [0.9, 1.1, 1.19])
def test_a_stepped_override_is_found_again_within_a_second(step):
    speed = _steady(205.0)
    speed[int(4.0 * RATE_HZ) :] *= step
    frames = _heard(_cut(speed, hum=0.02), 205.0)
    late = [hz for at, hz in frames if 5.0 < at < 6.4]
    assert late == pytest.approx([205.0 * step] * len(late), rel=1e-3)


def test_a_slow_ramp_is_followed_beyond_the_first_reach():
    at = np.arange(int(SECONDS * RATE_HZ)) / RATE_HZ
    speed = 205.0 * (1 + 0.04 * np.clip(at - 3.0, 0, 3.0))
    frames = _heard(_cut(speed), 205.0)
    for when, hz in frames:
        if 3.0 < when < 6.4:
            true = speed[int((when - 0.2) * RATE_HZ)]
            assert hz == pytest.approx(true, rel=6e-3)
    assert frames[-12][1] == pytest.approx(205.0 * 1.12, rel=1e-3)


def test_mains_hum_is_no_stepped_speed_when_the_comb_goes():
    sound = _cut(_steady(170.0), hum=0.03)
    sound[int(4.0 * RATE_HZ) :] = _cut(_steady(0.0), hum=0.03)[int(4.0 * RATE_HZ) :]
    late = [hz for at, hz in _heard(sound, 170.0) if at > 4.5 and hz]
    assert all(hz == pytest.approx(170.0, rel=0.036) for hz in late)


def _drowned(rotation_hz, chatter_hz, droop=0.011, members=(0, 1, 2), seed=3):
    """Return a cut from 2 to 6.5 s that rings 30 dB over a comb lost in noise, the spindle slowed by it."""
    rng = np.random.default_rng(seed)
    at = np.arange(int(SECONDS * RATE_HZ)) / RATE_HZ
    turn = 2 * np.pi * np.cumsum(rotation_hz * (1 - droop * np.clip((at - 2.0) / 0.2, 0, 1))) / RATE_HZ
    idle = sum(np.cos(order * turn + order) / order for order in range(1, 9))
    ringing = sum(
        np.cos(2 * np.pi * chatter_hz * at + FLUTES * k * turn + k) * 10 ** (-0.3 * k) for k in members
    )
    quiet = (at < 2.1) | (at > 6.4)
    sound = 0.004 * idle * quiet + 0.15 * gate(SECONDS, ((2.1, 6.4),)) * ringing
    return sound + 0.004 * rng.standard_normal(at.size)


@pytest.mark.parametrize("told", [1.0, 0.98, 1.02])
def test_where_ringing_drowns_the_comb_its_steps_give_the_speed(told):
    frames = _heard(_drowned(121.3, 1041.0), 121.3 * told)
    late = [hz for at, hz in frames if 3.2 < at < 6.2]
    assert late == pytest.approx([121.3 * 0.989] * len(late), rel=1e-3)


def test_a_cut_that_rings_from_first_touch_is_alarmed_at_a_speed_not_told():
    events = listen(_drowned(121.3, 1041.0), rpm=None, flutes=FLUTES)
    assert alarms(events)
    assert 2.1 * RATE_HZ < alarms(events)[0].alarm_sample < 4.0 * RATE_HZ


@pytest.mark.parametrize("told", [205.0, None])
def test_a_stepped_override_neither_ends_the_cut_nor_rings(told):
    speed = _steady(205.0)
    speed[int(4.0 * RATE_HZ) :] *= 0.92
    events = listen(_cut(speed), rpm=60 * told if told else None, flutes=FLUTES)
    (cut,) = cuts(events)
    assert cut.engaged[-1][1] > 6.3 * RATE_HZ
    assert not alarms(events)
    late = [f.rpm / 60 for f in of(Frame, events) if f.rpm and 5.4 < f.sample / RATE_HZ < 6.4]
    assert late == pytest.approx([205.0 * 0.92] * len(late), rel=1e-3)

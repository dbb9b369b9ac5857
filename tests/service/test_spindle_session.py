"""The guided spindle check: run by run, from blocks as a source delivers them."""

from dataclasses import replace

import numpy as np
import pytest

from shopmon.errors import RecordingError, SettingError
from shopmon.service.spindle.one_run import tones_from_text
from shopmon.service.spindle.session import CheckPlan, SpindleSession
from shopmon.signals.block import Channel
from shopmon.signals.sensors.tachometer import edge_codes
from tests import run_ups
from tests.dashboards.fake_checks import RATE, blocks, idle

TWO = ((640.0, 0.03, 1.0), (1130.0, 0.02, 0.7))


def run(session, samples, rate=RATE):
    session.begin()
    for block in blocks(samples, rate):
        session.take(block)


def rising(seconds=30.0):
    sound = run_ups.sound(run_ups.ramp(3000.0, 12_000.0, seconds), TWO)
    return (0.8 * sound / np.abs(sound).max())[:, None]


def test_speed_by_speed_and_a_run_up():
    session = SpindleSession(CheckPlan(speeds_rpm=(3000.0, 12_000.0), run_up_rpm=(3000.0, 12_000.0)))
    assert session.said == "Set 3000 rpm, no cut, and touch when it turns."
    run(session, idle(50.0))
    assert (session.status, session.next_rpm) == ("ready", 12_000.0)
    run(session, idle(199.0))
    assert session.wants_run_up
    session.begin()
    parts = list(blocks(rising(), run_ups.RATE))
    for block in parts[:-1]:
        session.take(block)
    assert session.status == "recording" and session.left_s() > 80
    session.end()
    session.take(parts[-1])
    assert session.status == "ready" and "done" in session.said
    result = session.result()
    assert result["schema"] == "shopmon.spindle-check/1"
    assert [step["rpm"] for step in result["steps"]] == pytest.approx([3000.0, 11_940.0], rel=1e-3)
    assert [mode["frequency_hz"] for mode in result["run_up"]["resonances"]] == pytest.approx(
        [640, 1130], rel=0.05
    )
    assert result["run_up"]["reached_rpm"] == pytest.approx([3000.0, 12_000.0], rel=0.03)
    # 640 Hz is three teeth passing at 12 800, out of reach, and twice that at 6 400
    assert any(
        each["flutes"] == 3 and each["low_rpm"] < 6400 < each["high_rpm"]
        for each in result["run_up"]["avoid"]
    )
    assert len(result["balance"]["missing"]) == 3 and result["balance"]["grade_mm_s"] is None
    levels = np.array(result["run_up"]["map"]["level_db"])
    assert levels.max() == 0 and levels.min() >= -50 and levels.size < 20_000


def test_what_full_scale_means_gives_the_units():
    plain, scaled = (
        SpindleSession(CheckPlan(speeds_rpm=(3000.0,), **options))
        for options in ({}, {"per_full_scale": 16.0, "unit": "g"})
    )
    for session in (plain, scaled):
        run(session, idle(50.0))
    one, other = plain.result()["steps"][0], scaled.result()["steps"][0]
    assert other["orders"][0]["amplitude"] == pytest.approx(16 * one["orders"][0]["amplitude"])
    assert one["vibration"]["velocity_rms_mm_s"] is None
    # 0.05 of full scale at 50 Hz, 16 g: v = a / (2 π f)
    assert other["vibration"]["velocity_rms_mm_s"] == pytest.approx(
        16 * 0.05 / 2**0.5 * 9806.65 / 314.16, rel=0.05
    )


def test_a_run_with_a_gap_is_run_again():
    session = SpindleSession(CheckPlan(speeds_rpm=(3000.0,)))
    session.begin()
    for number, block in enumerate(blocks(idle(50.0))):
        if number != 20:
            session.take(block)
    assert session.status == "failed" and "lost" in session.error.text
    run(session, idle(50.0))
    assert session.status == "ready" and session.next_rpm is None


def test_a_clipped_sensor_and_a_bearing_are_told():
    plan = CheckPlan(speeds_rpm=(3000.0,), tones=tones_from_text("12:6.35:40:15"))
    session = SpindleSession(plan)
    run(session, np.clip(40 * idle(50.0), -1.0, 1.0))
    step = session.result()["steps"][0]
    assert "sensor-clipped" in [notice["code"] for notice in step["notices"]]
    assert {part["part"] for part in step["bearing"]} == {"outer race", "inner race", "ball", "cage"}


def test_five_minutes_are_enough():
    session = SpindleSession(CheckPlan(speeds_rpm=(3000.0, 6000.0)))
    session.used_s = 301.0
    with pytest.raises(SettingError, match="five minutes"):
        session.begin()


def test_nothing_is_no_check():
    with pytest.raises(RecordingError):
        SpindleSession(CheckPlan(speeds_rpm=(3000.0,))).result()


def test_a_run_up_in_which_nothing_turns_is_said():
    session = SpindleSession(CheckPlan(speeds_rpm=(3000.0, 12_000.0), run_up_rpm=(3000.0, 12_000.0)))
    run(session, idle(50.0))
    run(session, idle(200.0))
    noise = 0.1 * np.random.default_rng(0).standard_normal(((125 * 3200), 1))
    run(session, noise, 3200.0)
    assert session.status == "failed" and session.error.hint


@pytest.mark.parametrize(
    "bad",
    [{"speeds_rpm": ()}, {"speeds_rpm": (6000.0, 3000.0)}, {"speeds_rpm": (0.0,)}, {"speeds_rpm": (1e6,)},
     {"speeds_rpm": (3000.0,), "run_up_rpm": (3000.0, 3100.0)}],
)  # fmt: skip
def test_plans_that_cannot_be(bad):
    with pytest.raises(SettingError):
        CheckPlan(**bad)


def with_pulses(samples, places, rate):
    """Yield samples as blocks with a tachometer's column; `places` in samples."""
    for block in blocks(samples, rate):
        column = edge_codes([place - block.first_sample for place in places], block.frames, "int32")
        sound = (block.codes * 2**30).astype(np.int32)
        yield replace(
            block, codes=np.column_stack([sound, column]), code_format="int32",
            channels=(*block.channels, Channel(kind="tachometer")),
        )  # fmt: skip


def test_a_tachometer_is_the_truth_of_the_speed():
    session = SpindleSession(CheckPlan(speeds_rpm=(6000.0,)))
    session.begin()
    for block in with_pulses(idle(98.8, 10.2), np.arange(1000) / 98.8 * RATE, RATE):
        session.take(block)
    step = session.result()["steps"][0]
    assert (step["stated_rpm"], step["speed_from"]) == (6000.0, "tachometer")
    assert step["rpm"] == pytest.approx(5928.0, rel=1e-4)
    # 0.05 sin(angle + 1), the mark at angle 0: largest a quarter turn less one radian later, half as loud
    assert step["once"]["amplitude"] == pytest.approx(0.025, rel=0.02)
    assert step["once"]["phase_deg"] == pytest.approx(90 - np.degrees(1), abs=1.0)
    assert "phase" not in " ".join(session.result()["balance"]["missing"])


def rising_with(places, rate=run_ups.RATE):
    session = SpindleSession(CheckPlan(speeds_rpm=(3000.0, 12_000.0), run_up_rpm=(3000.0, 12_000.0)))
    session.steps = [{}, {}]
    session.begin()
    parts = list(with_pulses(rising(), places, rate))
    for block in parts[:-1]:
        session.take(block)
    session.end()
    session.take(parts[-1])
    assert session.status == "ready", session.said
    return session.run_up


def turning(seconds=30.0):
    """Return where the marks pass in the run-up of these tests, in samples."""
    hz = run_ups.ramp(3000.0, 12_000.0, seconds)
    return np.searchsorted(np.cumsum(hz) / run_ups.RATE, np.arange(1, int(hz.sum() / run_ups.RATE)))


def test_a_run_up_follows_the_tachometer_where_there_is_one():
    told = rising_with(np.delete(turning(), [200, 201, 900]))
    assert told["speed_from"] == "tachometer" and told["notices"] == []
    # the first look is 0.4 s long, and the speed rises by 300 rpm a second
    assert told["reached_rpm"] == pytest.approx([3060.0, 12_000.0], rel=0.005)
    assert [mode["frequency_hz"] for mode in told["resonances"]] == pytest.approx([640, 1130], rel=0.03)


@pytest.mark.parametrize(
    ("change", "code", "by"),
    [(lambda p: np.sort([*p, *(p[1:] + p[:-1]) / 2]), "tach-two-a-turn", "tachometer"),
     (lambda p: p[:3], "tach-unsteady", "sound"),
     (lambda p: p[::2], "tach-disagrees", "sound")],
)  # fmt: skip
def test_what_a_tachometer_gets_wrong_in_a_run_up_is_said(change, code, by):
    told = rising_with(change(turning()))
    assert [notice["code"] for notice in told["notices"]] == [code]
    assert told["speed_from"] == by
    assert told["reached_rpm"] == pytest.approx([3000.0, 12_000.0], rel=0.03)

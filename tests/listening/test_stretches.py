"""A logged cut taken apart by its speed."""

import pytest

from shopmon.listening.engagement.stretches import stretches
from tests.service.logged_cuts import analysis


def told(*parts, **doubts) -> list[tuple]:
    return [(part.rpm, part.verdict, part.chatter_hz) for part in stretches(analysis(*parts, **doubts))]


def test_a_cut_at_one_speed_is_one_trial():
    assert told((4.0, 12_000.0, None)) == [(12_000.0, "quiet", None)]
    assert told((4.0, 12_000.0, 1432.6)) == [(12_000.0, "chatter", 1432.6)]


def test_a_turn_of_the_override_parts_the_cut():
    assert told((3.0, 12_000.0, 1432.6), (3.0, 13_200.0, None), (3.0, 14_400.0, 1500.0)) == [
        (12_000.0, "chatter", 1432.6),
        (13_200.0, "quiet", None),
        (14_400.0, "chatter", 1500.0),
    ]


def test_droop_and_single_wrong_readings_part_nothing():
    data = analysis((4.0, 12_000.0, None))
    for step, point in enumerate(data["spindle"]["track"]):
        point[1] *= 1 + 0.004 * (step % 3 - 1)
    data["spindle"]["track"][7][1] = 6000.0
    assert len(stretches(data)) == 1


def test_ringing_that_reaches_over_the_change_belongs_to_the_speed_before():
    data = analysis((3.0, 12_000.0, 1432.6), (3.0, 14_400.0, None))
    data["chatter"][0]["end_s"] = 3.25
    assert [part.verdict for part in stretches(data)] == ["chatter", "quiet"]
    data["chatter"][0]["end_s"] = 3.9
    assert [part.verdict for part in stretches(data)] == ["chatter", "chatter"]


@pytest.mark.parametrize(
    "change",
    [{"unsure": True}, {"quality": {"clipped_fraction": 0.05}}],
)
def test_doubt_about_the_cut_is_doubt_about_the_trial(change):
    for hz in (None, 1432.6):
        (part,) = stretches({**analysis((3.0, 12_000.0, hz)), **change})
        assert part.verdict == "uncertain"


def test_a_weak_verdict_and_a_short_quiet_cut_are_uncertain():
    data = analysis((3.0, 12_000.0, 1432.6))
    data["chatter"][0]["confidence"] = 0.4
    assert stretches(data)[0].verdict == "uncertain"
    assert told((0.5, 12_000.0, None)) == [(12_000.0, "uncertain", None)]
    assert told((0.5, 12_000.0, 1432.6)) == [(12_000.0, "chatter", 1432.6)], "ringing needs no second"


def test_without_a_heard_speed_the_told_one_counts_and_without_either_none():
    data = analysis((3.0, 12_000.0, None))
    data["spindle"] = {"rpm": None, "track": []}
    assert stretches(data)[0].rpm == 12_000.0
    data["setup"] = {"nominal_rpm": None}
    assert stretches(data)[0].rpm is None


def test_time_in_the_air_is_no_cut_time():
    data = analysis((6.0, 12_000.0, None))
    data["cuts"][0]["engaged"] = [[0.0, 0.4], [5.0, 5.4]]
    (part,) = stretches(data)
    assert (part.cut_time_s, part.verdict) == (0.8, "uncertain")


@pytest.mark.parametrize("empty", [{}, {"cuts": []}, {"cuts": None, "chatter": None, "spindle": None}])
def test_an_analysis_that_says_nothing_gives_nothing(empty):
    assert stretches(empty) == ()

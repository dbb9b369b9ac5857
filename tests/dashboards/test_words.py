"""What the pages say: numbers, states, the input, a cut."""

import math

import pytest
from shopmon.dashboards.cuts import facts
from shopmon.dashboards.look import words

from shopmon.listening.events import State

HEARD = {
    "present": True,
    "clipped_fraction": 0.0,
    "level_db": -40.0,
    "gaps": 0,
    "overflows": 0,
    "lost_s": 0.0,
}
CUT = {
    "ended": True,
    "cut_time_s": 4.0,
    "duration_s": 5.0,
    "start_s": 10.0,
    "end_s": 15.0,
    "engaged": [[10.0, 12.0], [13.0, 15.0]],
    "chatter": [],
    "marks": [],
    "chatter_time_s": 0.0,
    "rpm": 11_973.2,
}
RANG = {"start_s": 13.5, "end_s": 15.0, "frequency_hz": 1432.6, "level_db": -23.1, "severity": "clear"}


def plain(text: str) -> str:
    """Return `text` with ordinary spaces."""
    return text.replace(words.NARROW_SPACE, " ").replace("\u00a0", " ")


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (0, "0"),
        (7.6, "8"),
        (999.6, "1 000"),
        (11_973.2, "11 970"),
        (99_996.0, "100 000"),
        (-1234.4, "−1 234"),
        (None, "–"),
        (math.nan, "–"),
        (math.inf, "–"),
    ],
)
def test_numbers_carry_no_more_digits_than_they_deserve(value, said):
    assert plain(words.grouped(value)) == said


@pytest.mark.parametrize(
    ("seconds", "said"),
    [(0, "0:00"), (-1, "0:00"), (59.99, "0:59"), (3600, "1:00:00"), (None, "–"), (math.nan, "–")],
)
def test_the_cut_clock_counts_whole_seconds(seconds, said):
    assert words.clock(seconds) == said


def test_every_state_has_its_word():
    assert {str(state) for state in State} == {*words.STATES} - {"away", "connecting"}
    assert len({said["word"] for said in words.STATES.values()}) == len(words.STATES)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({}, "Good"),
        ({"present": False}, "No input"),
        ({"clipped_fraction": 0.01}, "Clipped"),
        ({"level_db": -95.0}, "Silent"),
        ({"gaps": 1, "lost_s": 0.31}, "Lost samples: 0.3 s"),
        ({"overflows": 2}, "Lost samples"),
        ({"level_db": None}, "Good"),
    ],
)
def test_the_quality_of_the_input_in_words(change, said):
    assert plain(words.quality_words({**HEARD, **change})).startswith(said)
    assert words.quality_good({**HEARD, **change}) == (said == "Good")


@pytest.mark.parametrize(
    ("rpm", "flutes", "said"),
    [
        (12_000, 3, "12 000 rpm · 3 flutes"),
        (None, 1, "1 flute"),
        (900.0, None, "900 rpm"),
        (None, None, "Set"),
    ],
)
def test_speed_and_flutes_in_words(rpm, flutes, said):
    assert plain(words.setup_words(rpm, flutes)).startswith(said)


def test_a_doubtful_speed_is_said_to_be_one():
    state = {"nominal_rpm": 12_000, "rpm": 6_000.0, "rpm_confidence": 0.2}
    assert words.told_words(state).endswith("in doubt")
    assert not words.told_words({**state, "rpm_confidence": 0.9}).endswith("in doubt")


def test_audio_that_stopped_gives_its_reason_and_a_hint():
    stopped = {"keeping": False, "stopped": "The disk is full.", "hint": "Make room."}
    assert words.audio_words(stopped) == "The disk is full. Make room."
    assert plain(words.audio_words({"keeping": True, "hours_left": 61.4})) == "room for 61 h"


def test_the_verdict_on_a_cut():
    assert facts.verdict(CUT)["word"] == "Quiet"
    assert facts.verdict({**CUT, "chatter": [RANG]})["word"] == "Chatter"
    assert facts.verdict({**CUT, "ended": False})["word"] == "Going on"


def test_the_figures_of_a_cut_that_rang():
    said = {
        name: plain(value) for name, value in facts.facts({**CUT, "chatter": [RANG], "chatter_time_s": 1.0})
    }
    assert said["Chatter"] == "1.0 s, 25% of the cut time"
    assert said["Loudest at"] == "1 433 Hz, −23 dB, clear"
    assert said["Spindle speed"] == "11 970 rpm"


def test_the_figures_of_a_cut_that_has_hardly_begun():
    young = {
        **CUT,
        "ended": False,
        "cut_time_s": 0.0,
        "duration_s": 0.0,
        "end_s": 10.0,
        "engaged": [],
        "rpm": None,
    }
    said = dict(facts.facts(young))
    assert said["Engagements"] == "0"
    assert said["Chatter"] == "none"
    assert facts.stretches(young) == []


def test_the_stretches_come_in_the_order_in_which_they_began():
    found = facts.stretches({**CUT, "chatter": [RANG]})
    assert [each.kind for each in found] == ["engaged", "engaged", "chatter"]
    assert [each.start_s for each in found] == sorted(each.start_s for each in found)
    assert all(each.end_s > each.start_s for each in found)


@pytest.mark.parametrize(
    ("name", "value", "metric", "inch"),
    [
        ("ap_mm", 1.5, "1.5 mm", "0.059 in"),
        ("feed_mm_min", 2540.0, "2 540 mm/min", "100.0 in/min"),
        ("nominal_rpm", 12_000.0, "12 000 rpm", "12 000 rpm"),
        ("material", "7075", "7075", "7075"),
    ],
)
def test_the_context_in_the_units_of_the_shop(name, value, metric, inch):
    assert plain(facts.context_value(name, value, "metric")) == metric
    assert plain(facts.context_value(name, value, "inch")) == inch

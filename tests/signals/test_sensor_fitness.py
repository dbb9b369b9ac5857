"""What a sensor may be asked."""

from dataclasses import replace

import pytest

from shopmon.signals.sensors.fitness import MOUNTINGS, PARTS, QUESTIONS, Sensor, answers, deaf_text

OF = {part.label: part for part in PARTS}
FAST = Sensor(part=OF["IIS3DWB"], sample_rate_hz=26_667.0, mounting="screwed")


def verdicts(sensor):
    return {answer.question: answer.verdict for answer in answers(sensor)}


def test_a_fast_sensor_that_is_screwed_on_may_answer_all_but_bearings_above_its_band():
    assert set(verdicts(FAST).values()) == {"yes"}
    assert deaf_text(FAST) is None


def test_a_slow_one_says_what_is_invisible():
    slow = Sensor(part=OF["ADXL345"], sample_rate_hz=3200.0, mounting="screwed")
    assert slow.top_hz == 1600.0
    assert verdicts(slow)["Chatter of slender end mills"] == "partly"
    assert "sees up to 1.6\u00a0kHz" in deaf_text(slow)
    assert "chatter above is invisible" in deaf_text(slow)
    assert verdicts(slow)["Imbalance"] == "no"  # its noise: 430 µg/√Hz over 490 Hz are 9.5 mg


def test_the_weakest_link_counts():
    assert FAST.top_hz == 6300.0
    magnet = replace(FAST, mounting="magnet")
    assert magnet.top_hz == MOUNTINGS["magnet"]
    assert "magnet" in deaf_text(magnet)
    measured = replace(magnet, resonance_hz=9000.0)
    assert measured.top_hz == 3000.0
    assert replace(FAST, sample_rate_hz=4000.0).top_hz == 1600.0
    loose = replace(FAST, mounting="tape or loose")
    assert verdicts(loose)["Bearings of the spindle"] == "no"


def test_overload_and_what_was_not_said_make_it_doubtful():
    assert set(verdicts(replace(FAST, clipped_share=0.01)).values()) == {"partly"}
    narrow = verdicts(replace(FAST, range_g=2.0))
    assert (narrow["Tap test"], narrow["Imbalance"]) == ("partly", "yes")
    unsaid = replace(FAST, mounting="not said")
    assert verdicts(unsaid)["Tap test"] == "partly"


def test_a_microphone_is_not_asked_for_bearings():
    ears = Sensor(part=OF["INMP441"], sample_rate_hz=48_000.0)
    assert verdicts(ears)["Bearings of the spindle"] == "no"
    assert verdicts(ears)["Chatter of slender end mills"] == "yes"


@pytest.mark.parametrize("part", PARTS, ids=lambda part: part.label)
@pytest.mark.parametrize("mounting", MOUNTINGS)
@pytest.mark.parametrize("rate_hz", [1000.0, 3200.0, 48_000.0])
def test_every_sensor_gets_an_answer_to_every_question(part, mounting, rate_hz):
    found = answers(Sensor(part=part, sample_rate_hz=rate_hz, mounting=mounting))
    assert [answer.question for answer in found] == [question.label for question in QUESTIONS]
    assert all(answer.why.endswith(".") for answer in found)

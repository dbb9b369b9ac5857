"""Any moment can be explained, and asking changes nothing."""

import json

import numpy as np
import pytest

from shopmon.listening.explanation import explanation_as_data
from shopmon.listening.listener import Listener
from shopmon.listening.setup import ListenerSettings
from tests.listening.hearing import listener, plain
from tests.listening.synthetic import RATE_HZ, blocks, machine, tone

RPM, FLUTES = 12_000, 3
FAN_HZ = 913.0
SOUND = machine(6.0, chatter=((3.5, 5.0),)) + tone(FAN_HZ, 6.0, 0.02)


def told_at(seconds, sound=SOUND, **kwargs):
    ears = listener(rpm=RPM, flutes=FLUTES, **kwargs)
    for block in blocks(sound[: int(seconds * RATE_HZ)]):
        ears.feed(block)
    return ears.explain()


def line_at(told, hz):
    """The explained line nearest to a frequency."""
    return min(told.lines, key=lambda line: abs(line.frequency_hz - hz))


def test_chatter_is_explained_line_by_line():
    told = told_at(4.5)
    assert (told.state, told.background_known) == ("chatter", True)
    stray = line_at(told, 1437.0)
    assert stray.what == "stray" and stray.counts
    assert stray.frequency_hz == pytest.approx(1437.0, abs=0.5)
    assert stray.level_db == pytest.approx(20 * np.log10(0.05), abs=0.5)
    assert stray.order == pytest.approx(1437.0 / 200.0, abs=0.01)
    assert line_at(told, 600.0).what == "tooth passing" and line_at(told, 400.0).what == "rotation"
    fan = line_at(told, FAN_HZ)
    assert fan.what == "background" and abs(fan.over_background_db) < 2 and not fan.counts
    assert told.suspect_hz == pytest.approx(1437.0, abs=1.0)
    assert told.evidence >= told.alarm_at
    assert told.log_odds == pytest.approx(sum(adds for _, adds in told.parts), abs=0.01)
    assert all(line.why for line in told.lines)


def test_a_quiet_cut_has_nothing_that_counts():
    told = told_at(3.2)
    assert told.state == "cutting" and told.evidence < told.alarm_at
    assert not any(line.counts for line in told.lines)


def test_silence_and_no_speed_are_explained_too():
    silent = told_at(1.0, np.zeros(SOUND.size))
    assert (silent.state, silent.lines, silent.rpm) == ("no-input", (), None)
    assert listener().explain() is None


def test_asking_changes_nothing():
    asked, other = listener(rpm=RPM, flutes=FLUTES), listener(rpm=RPM, flutes=FLUTES)
    for block in blocks(SOUND[: 5 * int(RATE_HZ)], 3000):
        events = asked.feed(block)
        first, second = asked.explain(), asked.explain()
        assert first == second
        assert plain(events) == plain(other.feed(block))
    assert json.dumps(asked.snapshot()) == json.dumps(other.snapshot())


def test_the_explanation_is_plain_data_in_seconds():
    data = explanation_as_data(told_at(4.5), 8000, RATE_HZ, 10.0)
    assert json.loads(json.dumps(data)) == data
    assert data["at_s"] == pytest.approx(4.0, abs=0.06)
    loudest = max(data["lines"], key=lambda line: line["level_db"])
    assert loudest["level_db"] > 20 * np.log10(0.05) + 9


def test_a_state_taken_up_explains_its_next_moment():
    ears = listener(rpm=RPM, flutes=FLUTES)
    for block in blocks(SOUND[:64_000]):
        ears.feed(block)
    again = Listener(ListenerSettings(), RATE_HZ, 1, json.loads(json.dumps(ears.snapshot())))
    assert again.explain() is None
    rest = list(blocks(SOUND[64_000:72_000], first_sample=64_000))
    for block in rest:
        ears.feed(block), again.feed(block)
    assert again.explain() == ears.explain()

"""A cut that breaks off while the spindle turns is said; one that only differs is not."""

import json

import numpy as np
import pytest

from shopmon.listening.engagement.usual_cuts import UsualCuts
from shopmon.listening.events import CutSpan
from shopmon.listening.listener import Listener
from shopmon.listening.setup import ListenerSettings, Setup
from shopmon.listening.state import learned
from tests.listening.hearing import codes
from tests.listening.synthetic import RATE_HZ, blocks, machine

JOB = "hub flange"


def span(*lengths_s, gap_s=0.5, start_s=1.0):
    engaged, at = [], start_s
    for length in lengths_s:
        engaged.append((round(at * RATE_HZ), round((at + length) * RATE_HZ)))
        at += length + gap_s
    return CutSpan(number=0, start_sample=engaged[0][0], end_sample=engaged[-1][1], engaged=tuple(engaged))


def quiet(usual, cut, setup=None, after_s=1.2):
    return usual.went_quiet(setup or Setup(job=JOB), cut, cut.end_sample + round(after_s * RATE_HZ))


def taught(*cuts):
    usual = UsualCuts(RATE_HZ)
    for cut in cuts:
        usual.learn(JOB, cut)
    return usual


ALIKE = (span(5.0, 2.0), span(5.1, 2.0), span(4.95, 2.05))


@pytest.mark.parametrize(
    ("cut", "said"),
    [
        (span(2.0), True),
        (span(5.0, 0.5), True),
        (span(5.0), False),
        (span(4.0), False),
        (span(3.0, 0.5), False),
        (span(5.0, 2.0, 0.3), False),
    ],
)
def test_only_a_cut_that_breaks_off_is_said(cut, said):
    assert quiet(taught(*ALIKE), cut) is said


def test_it_takes_three_cuts_that_agree_and_a_job():
    assert not quiet(taught(*ALIKE[:2]), span(2.0))
    assert not quiet(taught(*ALIKE[:2], span(4.0, 2.0)), span(2.0))
    assert not quiet(taught(*ALIKE[:2], span(7.0)), span(2.0))
    nameless = UsualCuts(RATE_HZ)
    for cut in ALIKE:
        nameless.learn("", cut)
    assert not quiet(nameless, span(2.0), Setup())


def test_it_waits_for_the_tool_to_come_back():
    assert not quiet(taught(*ALIKE), span(2.0), after_s=0.8)


def test_an_expected_cut_needs_no_earlier_ones():
    assert quiet(UsualCuts(RATE_HZ), span(2.0), Setup(expected_cut_s=6.0))
    assert not quiet(UsualCuts(RATE_HZ), span(4.0), Setup(expected_cut_s=6.0))
    with pytest.raises(ValueError, match="expected cut"):
        Setup(expected_cut_s=-1.0)


def test_the_listener_says_it_once_and_remembers_over_streams():
    lengths = (2.5, 2.5, 2.5)
    starts = (2.0, 8.5, 15.0)
    sound = machine(
        21.0, engaged=tuple((at, at + length) for at, length in zip(starts, lengths, strict=True))
    )
    setup = Setup(nominal_rpm=12_000, flutes=3, job=JOB)
    first = Listener(ListenerSettings(), RATE_HZ, 1)
    first.change_setup(setup, 0)
    events = [event for block in blocks(sound) for event in first.feed(block)]
    assert "cut-went-quiet" not in codes(events)
    again = Listener(ListenerSettings(), RATE_HZ, 1, learned(json.loads(json.dumps(first.snapshot()))))
    again.change_setup(setup, 0)
    broken = np.concatenate((machine(7.0, engaged=((2.0, 3.0),)), machine(7.0, engaged=((2.0, 4.5),))))
    events = [event for block in blocks(broken) for event in again.feed(block)]
    assert codes(events).count("cut-went-quiet") == 1


def test_an_expectation_begins_no_new_cut():
    ears = Listener(ListenerSettings(), RATE_HZ, 1)
    ears.change_setup(Setup(nominal_rpm=12_000, flutes=3), 0)
    ears.change_setup(Setup(nominal_rpm=12_000, flutes=3, expected_cut_s=9.0), round(3.0 * RATE_HZ))
    events = [event for block in blocks(machine(9.0)) for event in ears.feed(block)]
    assert codes(events).count("cut-went-quiet") == 1
    assert sum(type(event).__name__ == "CutStarted" for event in events) == 1

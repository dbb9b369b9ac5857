"""The comb of a cut's steady, quiet stretches."""

import numpy as np
import pytest

from shopmon.listening.events import CutStarted, Frame
from shopmon.listening.steady import SteadyListening
from tests.listening.hearing import listen
from tests.listening.synthetic import RATE_HZ, machine


def heard(samples, rpm=12000.0):
    """Return what was steady in the one cut of a recording."""
    collected = SteadyListening(RATE_HZ)
    for event in listen(samples, rpm=rpm, flutes=3):
        if isinstance(event, Frame):
            collected.add(event)
        assert not isinstance(event, CutStarted) or event.cut.number == 0
    return collected.found()


@pytest.fixture(scope="module")
def quiet():
    return machine(9.0, engaged=((2.0, 8.0),))


def test_levels_are_those_of_the_lines_that_were_put_in(quiet):
    (found,) = heard(quiet)
    assert found.rpm == pytest.approx(12000, rel=1e-3)
    # 6 s in metal, less the window, a moment at the beginning and a second at the end
    assert 3.0 < found.duration_s < 5.0
    order = np.arange(1, 13)
    amplitude = 0.05 * np.where(order % 3 == 0, 1.0, 0.5) / np.sqrt(order)
    # the idle spindle's lines, 0.006, add to these at a phase that is not known
    assert found.lines_db[:12] == pytest.approx(20 * np.log10(amplitude), abs=2.0)


def test_twice_as_loud_is_six_decibels(quiet):
    once, twice = heard(quiet), heard(2 * quiet)
    assert twice[0].lines_db[:20] - once[0].lines_db[:20] == pytest.approx(6.02, abs=0.2)


def test_what_rings_or_is_short_is_left_out():
    assert heard(machine(6.0, engaged=((2.0, 3.5),))) == []
    ringing = heard(machine(10.0, engaged=((2.0, 9.0),), chatter=((4.5, 9.0),)))
    assert sum(each.duration_s for each in ringing) < 2.0


def test_two_speeds_are_told_apart():
    both = np.concatenate([machine(7.0, engaged=((2.0, 7.0),)), machine(6.0, 212.0, engaged=((0.0, 5.0),))])
    found = heard(both)
    assert [round(each.rpm / 60) for each in found] in ([200, 212], [212, 200])


def test_block_sizes_change_nothing(quiet):
    def told(size):
        collected = SteadyListening(RATE_HZ)
        for event in listen(quiet, rpm=12000.0, flutes=3, size=size):
            if isinstance(event, Frame):
                collected.add(event)
        return collected.found()[0].lines_db

    assert np.array_equal(told(777), told(4000), equal_nan=True)

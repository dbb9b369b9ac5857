"""Two runs of one program section are laid over one another step by step."""

import doctest

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shopmon.cutting.program import steps as module
from shopmon.cutting.program.reading import read_program
from shopmon.cutting.program.steps import Step, laid_by_steps, placements, steps_of

FIVE = (12.0, 7.5, 19.0, 5.0, 9.0)
RAPID_S = 1.6


def program(feeds=FIVE):
    """Return the steps of a program of passes, each with a rapid before it."""
    return [Step(feed_s, RAPID_S) for feed_s in feeds]


def run(feeds=FIVE, *, begin_s=3.0, override=1.0, approach_s=0.5, pause=None, missing=()):
    """Return the engagements of a run, and for every step its program time and where a place in it lies.

    `pause` is (step, share of it, seconds): the feed stands that long, out of the metal.
    """
    engaged, places, now = [], [], begin_s
    for number, feed_s in enumerate(feeds):
        now += RAPID_S
        start, end = now + approach_s / override, now + feed_s / override
        stops = []
        if pause and pause[0] == number:
            at = start + pause[1] * (end - start)
            stops, end = [(at, at + pause[2])], end + pause[2]
        if number not in missing:
            edges = [start, *(edge for stop in stops for edge in stop), end]
            engaged += list(zip(edges[::2], edges[1::2], strict=True))
        places.append((start, end, stops))
        now = end
    return engaged, places


def at(place, share):
    """Return when a share of a step's metal has gone by."""
    start, end, stops = place
    stood = sum(last - first for first, last in stops)
    reached = start + share * (end - start - stood)
    return reached + sum(last - first for first, last in stops if reached > first)


def test_the_example_holds():
    assert doctest.testmod(module).failed == 0


def worst_s(warp, first, second, steps=None):
    """Return how far apart the same places of the program are laid."""
    off = [
        abs(float(warp.to_first(at(there, share))) - at(here, share))
        for number, (here, there) in enumerate(zip(first, second, strict=True))
        if steps is None or number in steps
        for share in (0.03, 0.2, 0.4, 0.6, 0.8, 0.97)
    ]
    return max(off)


@pytest.mark.parametrize("override", [0.5, 0.8, 1.25])
def test_a_run_with_another_override_is_laid_over_step_by_step(override):
    (first, here), (second, there) = run(), run(begin_s=40.0, override=override)
    warp = laid_by_steps(program(), first, second)
    assert worst_s(warp, here, there) < 0.05
    assert [pair.number for pair in warp.steps] == [0, 1, 2, 3, 4]
    assert all(pair.first_paused_s == pair.second_paused_s == 0 for pair in warp.steps)
    paces = [placements(program(), spans)[0].pace for spans in (first, second)]
    assert paces[1] / paces[0] == pytest.approx(1 / override, rel=0.1)


@pytest.mark.parametrize("number", range(5))
def test_a_pause_stands_still_and_nothing_after_it_is_moved(number):
    (first, here), (second, there) = run(), run(begin_s=17.0, pause=(number, 0.37, 11.0))
    warp = laid_by_steps(program(), first, second)
    assert worst_s(warp, here, there) < 0.05
    stood = [pair.second_paused_s for pair in warp.steps]
    assert stood[number] == pytest.approx(11.0, abs=0.05) and sum(stood) == pytest.approx(11.0, abs=0.05)
    assert all(pair.first_paused_s == 0 for pair in warp.steps)


def test_slower_with_a_pause_in_the_first_instead():
    first, here = run(pause=(2, 0.63, 25.0))
    second, there = run(begin_s=90.0, override=0.7)
    warp = laid_by_steps(program(), first, second)
    assert worst_s(warp, here, there) < 0.05
    assert warp.steps[2].first_paused_s == pytest.approx(25.0, abs=0.05)


def test_a_step_that_one_run_was_not_heard_in_moves_no_other():
    (first, here), (second, there) = run(), run(begin_s=20.0, override=0.9, missing=(0, 3))
    warp = laid_by_steps(program(), first, second)
    assert [pair.number for pair in warp.steps] == [1, 2, 4]
    assert worst_s(warp, here, there, steps=(1, 2, 4)) < 0.05


def test_a_cut_that_is_a_part_of_its_run_is_found_by_the_whole_run():
    alike = (8.0,) * 6
    (first, here), (second, there) = run(alike), run(alike, begin_s=50.0, override=0.8)
    warp = laid_by_steps(program(alike), first, second, (first[2:4], second[3:5]))
    assert [pair.number for pair in warp.steps] == [3]
    assert worst_s(warp, here, there, steps=(3,)) < 0.05
    assert laid_by_steps(program(alike), first, second, (first[:2], second[4:])) is None


def test_engagements_within_a_step_are_matched_from_edge_to_edge():
    ribs = [(1.0, 2.5), (3.0, 3.6), (4.0, 7.0), (7.5, 8.0)]
    slower = [(20 + 1.25 * start, 20 + 1.25 * end) for start, end in ribs]
    paused = [slower[0], slower[1], (slower[2][0], slower[2][0] + 1.5)]
    paused += [(slower[2][0] + 9.5, slower[2][1] + 8.0), (slower[3][0] + 8.0, slower[3][1] + 8.0)]
    warp = laid_by_steps([Step(8.5, 1.0)], ribs, paused)
    assert warp.steps[0].second_paused_s == pytest.approx(8.0, abs=0.01)
    for spans, moved in ((ribs[:2], paused[:2]), (ribs[3:], paused[4:])):
        np.testing.assert_allclose(warp.to_first(np.array(moved)), spans, atol=0.01)


STEPS = st.lists(st.floats(1.0, 60.0), min_size=1, max_size=5)
SPANS = st.lists(st.tuples(st.floats(0.1, 30.0), st.floats(0.1, 20.0)), min_size=1, max_size=8)


def laid_out(lengths, begin_s):
    spans, now = [], begin_s
    for metal, air in lengths:
        spans.append((now, now + metal))
        now += metal + air
    return spans


@settings(deadline=None, max_examples=20)
@given(STEPS, SPANS, SPANS)
def test_any_two_runs_give_times_that_never_turn_back(feeds, one, other):
    warp = laid_by_steps([Step(feed_s, 1.0) for feed_s in feeds], laid_out(one, 0.0), laid_out(other, 300.0))
    if warp is None:
        return
    assert np.all(np.diff(warp.first_s) >= 0) and np.all(np.diff(warp.second_s) >= 0)
    moved = warp.to_first(np.linspace(250.0, 900.0, 500))
    assert np.all(np.isfinite(moved)) and np.all(np.diff(moved) >= -1e-9)


@settings(deadline=None, max_examples=15)
@given(st.lists(st.floats(4.0, 40.0), min_size=1, max_size=6), st.floats(0.45, 1.5), st.floats(0, 500))
def test_the_same_program_at_any_override(feeds, override, begin_s):
    (first, here), (second, there) = run(feeds), run(feeds, begin_s=begin_s, override=override)
    warp = laid_by_steps(program(feeds), first, second)
    assert worst_s(warp, here, there) < 0.1


def test_without_steps_or_engagements_there_is_nothing_to_lay():
    assert laid_by_steps([], [(1.0, 2.0)], [(1.0, 2.0)]) is None
    assert laid_by_steps(program(), [], [(1.0, 2.0)]) is None
    assert placements(program((1.0,) * 400), [(float(n), n + 0.5) for n in range(400)]) == []


def test_steps_come_of_a_program_that_was_read():
    lines = ["G21 G91", "T1 M6", "S9000 M3"]
    for x in (100, 50):
        lines += ["G0 Z40", f"G1 X{x} F600", "G4 P2"]
    (section,) = read_program(lambda: [*lines, "M30"]).sections
    assert [round(step.feed_s, 2) for step in steps_of(section)] == [10.0, 5.0]
    assert steps_of(section)[1].air_before_s > 2.0

"""Following a program: the mathematics both ways, small shifts drawn by hand, and what stays open."""

import doctest

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopmon.cutting.program.reading import read_program
from shopmon.errors import SettingError
from shopmon.listening.events import CutSpan, Frame, State
from shopmon.listening.following import credit, model
from shopmon.listening.following.credit import credits_of
from shopmon.listening.following.model import STEP_S, ProgramModel, Step
from shopmon.listening.following.observing import RunMaker, StepMaker
from shopmon.listening.following.tracker import Belief, Tracker


@pytest.mark.parametrize("module", [model, credit], ids=lambda module: module.__name__)
def test_examples(module):
    failed, tried = doctest.testmod(module)
    assert tried > 0 and failed == 0


def program(*tools):
    """Read a program of (tool, rpm, seconds at feed)."""
    lines = ["G21"]
    for tool, rpm, seconds in tools:
        lines += ["M5", f"T{tool} M6", f"S{rpm} M3", "G91 G0 Z-5", f"G1 X{seconds * 10} F600", "G0 Z5"]
    return ProgramModel(read_program(lambda: [*lines, "M30"]).sections)


def steps(*pieces):
    """Make steps of (seconds, engaged, rpm); a speed of 0 is a standing spindle."""
    runs = RunMaker()
    return [
        runs.step(engaged, rpm == 0, rpm or None)
        for seconds, engaged, rpm in pieces
        for _ in range(int(seconds / STEP_S))
    ]


def follow(of, *pieces):
    """Follow; return the tracker and the credits of each engaged piece."""
    tracker = Tracker(of)
    for step in steps(*pieces):
        tracker.take(step)
    ends = np.cumsum([piece[0] for piece in pieces])
    engaged = [(float(end - p[0]), float(end)) for end, p in zip(ends, pieces, strict=True) if p[1]]
    return tracker, credits_of(engaged, tracker.smoothed(), of)


THREE = ((3, 12000, 30), (5, 12000, 60), (7, 8000, 20))


def test_a_plain_run_is_credited_throughout():
    _, credits = follow(
        program(*THREE), (10, 0, 0), (2, 0, 12000), (33, 1, 11800), (30, 0, 0), (3, 0, 11800), (70, 1, 11800),
        (40, 0, 0), (2, 0, 7900), (22, 1, 7900), (10, 0, 0),
    )  # fmt: skip
    assert [(each.tool, each.certain) for each in credits] == [(3, True), (5, True), (7, True)]


def test_the_present_section_is_known_while_it_is_cut():
    tracker, _ = follow(program(*THREE), (10, 0, 0), (2, 0, 12000), (15, 1, 11800))
    assert tracker.sections().argmax() == 0
    assert tracker.sections()[0] > 0.9


def test_a_repeated_section_is_credited_to_its_own_tool():
    of = program((3, 9000, 30), (5, 12000, 60), (7, 8000, 20))
    _, credits = follow(
        of, (10, 0, 0), (2, 0, 9000), (33, 1, 9000), (20, 0, 0), (2, 0, 9000), (31, 1, 9000), (20, 0, 0),
        (2, 0, 12000), (64, 1, 12000), (9, 0, 0),
    )  # fmt: skip
    assert [(each.tool, each.certain) for each in credits] == [(3, True), (3, True), (5, True)]


def test_a_run_that_was_broken_off_begins_again():
    of = program((3, 9000, 30), (5, 12000, 60), (7, 8000, 20))
    _, credits = follow(
        of, (10, 0, 0), (2, 0, 9000), (31, 1, 9000), (20, 0, 0), (2, 0, 12000), (14, 1, 12000), (60, 0, 0),
        (2, 0, 9000), (31, 1, 9000), (20, 0, 0), (2, 0, 12000), (62, 1, 12000),
    )  # fmt: skip
    assert [(each.tool, each.certain) for each in credits] == [(tool, True) for tool in (3, 5, 3, 5)]


def test_two_tools_that_nothing_tells_apart_stay_open():
    # one of two like sections is heard, in the middle of the shift: nobody can say which
    of = program((3, 9000, 30), (5, 9000, 30))
    tracker = Tracker(of)
    tracker.belief = Belief(
        tracker.belief.cells * 0, np.ones_like(tracker.belief.gaps) / tracker.belief.gaps.size
    )
    for step in steps((5, 0, 0), (2, 0, 9000), (31, 1, 9000), (5, 0, 0)):
        tracker.take(step)
    (found,) = credits_of([(7.0, 38.0)], tracker.smoothed(), of)
    assert not found.certain and set(found.candidates) == {0, 1}


def test_another_job_is_credited_to_nobody():
    _, credits = follow(program(*THREE), (10, 0, 0), (2, 0, 4000), (300, 1, 4000), (10, 0, 0))
    assert not credits[0].certain


def test_a_speed_that_the_program_does_not_say_counts_for_nothing():
    of = ProgramModel(read_program(lambda: ["G21", "T1 M6", "G0 X0", "G1 X100 F600", "M30"]).sections)
    assert of.speed_fit(5000.0) == pytest.approx([1.0])


@given(st.integers(0, 2**31), st.booleans(), st.booleans(), st.sampled_from([None, 12000.0, 8100.0, 3000.0]))
def test_backward_is_the_transpose_of_forward(seed, stopped, new_run, rpm):
    rng = np.random.default_rng(seed)
    of = program((3, 12000, 3), (5, 12000, 1), (7, 8000, 2))
    tracker = Tracker(of)
    step = Step(float(rng.random()), stopped, rpm, new_run)
    shape = tracker.belief.cells.shape
    between = tracker.belief.gaps.shape
    before = Belief(rng.random(shape), rng.random(between))
    cells, gaps = rng.random(shape), rng.random(between)
    on_cells, on_gaps = tracker._forward(before, step)
    back_cells, back_gaps = tracker._backward(cells, gaps, step)
    ahead = (on_cells * cells).sum() + (on_gaps * gaps).sum()
    behind = (before.cells * back_cells).sum() + (before.gaps * back_gaps).sum()
    assert ahead == pytest.approx(behind, rel=1e-12)


@given(st.integers(0, 2**31))
def test_a_step_loses_no_probability(seed):
    rng = np.random.default_rng(seed)
    of = program((3, 12000, 3), (3, 9000, 1), (7, 8000, 2))
    tracker = Tracker(of)
    belief = Belief(rng.random(tracker.belief.cells.shape), rng.random(tracker.belief.gaps.shape))
    total = belief.cells.sum() + belief.gaps.sum()
    for stopped in (True, False):
        cells, gaps = tracker._forward(belief, Step(0.0, stopped, None, False))
        assert cells.min() >= 0 and gaps.min() >= 0
        assert cells.sum() + gaps.sum() == pytest.approx(total, rel=2e-3)


def test_smoothing_a_part_is_the_same_as_that_part_of_all():
    tracker, _ = follow(
        program(*THREE), (10, 0, 0), (2, 0, 12000), (33, 1, 11800), (30, 0, 0), (20, 1, 11800)
    )
    assert tracker.smoothed(60) == pytest.approx(tracker.smoothed()[60:])


def test_too_many_sections_are_refused():
    sections = program(*THREE).sections
    with pytest.raises(SettingError, match="cannot be followed by ear"):
        ProgramModel(sections * 200)


def frame(sample, **values):
    """Make a frame of a listener."""
    usual = dict(
        state=State.SPINNING, unsure=False, rpm=9000.0, rpm_confidence=0.9, level_db=-30.0, peak_db=-20.0,
        comb_db=None, stray_db=None, engaged=False, stray=(), cut=None, chatter=None,
        spectrum_db=np.zeros(1, np.float32), spectrum_step_hz=1.0,
    )  # fmt: skip
    return Frame(sample=sample, **{**usual, **values})


def cut_of(*spans):
    """Make the open cut of a frame."""
    return CutSpan(number=0, start_sample=spans[0][0], end_sample=spans[-1][1], engaged=spans)


def test_frames_to_steps():
    maker = StepMaker(1000.0)
    found = []
    for k in range(1, 141):  # 7 s of frames of 50 ms
        state = State.STOPPED if k <= 20 else State.CUTTING
        # the tooth left the metal at 3.25 s, and that is known only half a second later
        cut = cut_of((2000, 50 * k if k < 75 else 3250)) if k > 42 else None
        found += maker.take(frame(50 * k, state=state, rpm=None if k <= 20 else 9000.0, cut=cut))
    assert [step.stopped for step in found] == [True, True] + [False] * 7
    assert [step.engaged for step in found] == pytest.approx([0, 0, 0, 0, 1, 1, 0.5, 0, 0])
    assert [step.new_run for step in found].count(True) == 1
    assert found[-1].rpm == 9000.0


def test_a_gap_in_the_sound_is_told_as_not_known():
    maker = StepMaker(1000.0)
    maker.take(frame(50))
    found = maker.take(frame(4050))
    assert [step.stopped for step in found] == [False, None, None, None]
    assert [step.stopped for step in maker.rest()] == [None] * 4 + [False]


def test_a_doubtful_listener_says_nothing_about_standing():
    maker = StepMaker(1000.0)
    frames = [frame(50 * k, unsure=True, rpm_confidence=0.1) for k in range(1, 53)]
    (step,) = [step for each in frames for step in maker.take(each)]
    assert (step.stopped, step.rpm) == (None, None)


def test_a_speed_heard_once_is_no_new_run():
    runs = RunMaker()
    speeds = [9000, 9000, 9010, 4500, 9000, 12000, 12000, 12000]
    assert [runs.step(0.0, False, float(rpm)).new_run for rpm in speeds] == [
        False, True, False, False, False, False, True, False,
    ]  # fmt: skip

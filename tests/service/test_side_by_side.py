"""Two cuts are laid over one another by their engagements, and told apart in dB per order and in tones."""

import doctest

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shopmon.service.cuts import side_by_side as module
from shopmon.service.cuts.side_by_side import laid_over, side_by_side

PASSES = st.lists(st.tuples(st.integers(4, 200), st.integers(4, 200)), min_size=1, max_size=8)


def engagements(passes, begin_s):
    spans, now = [], begin_s
    for metal, air in passes:
        spans.append([now, now + metal * 0.05])
        now += (metal + air) * 0.05
    return spans


def cut(engaged=((1.0, 5.0),), *, rpm=12_000.0, lines=None, flutes=3, chatter=(), stray=()):
    steady = [{"rpm": rpm, "duration_s": 4.0, "flutes": flutes, "lines_db": lines}] if lines else []
    return {
        "engaged": [list(span) for span in engaged], "context": {"flutes": flutes}, "chatter": list(chatter),
        "analysis": {"spindle": {"rpm": rpm}, "steady": steady, "stray": list(stray)},
    }  # fmt: skip


def test_the_example_holds():
    assert doctest.testmod(module).failed == 0


@settings(deadline=None)
@given(PASSES, st.integers(0, 400))
def test_the_same_passes_later_are_laid_over_one_another(passes, later):
    first, second = engagements(passes, 2.0), engagements(passes, 2.0 + 0.05 * later)
    shift_s, overlap = laid_over(first, second)
    assert overlap == pytest.approx(1.0, abs=0.02)
    assert shift_s == pytest.approx(-0.05 * later, abs=0.051)


@settings(deadline=None)
@given(PASSES, PASSES)
def test_any_two_cuts_can_be_laid_over_one_another(one, other):
    _, overlap = laid_over(engagements(one, 0.0), engagements(other, 7.0))
    assert 0 <= overlap <= 1


def test_a_pass_that_was_broken_off_lies_at_its_beginning():
    whole, broken = [[1.0, 11.0]], [[30.0, 34.0]]
    assert laid_over(whole, broken) == (pytest.approx(-29.0, abs=0.05), pytest.approx(0.4, abs=0.01))
    assert laid_over([], whole) == (0.0, 0.0)


def test_steps_of_rotation_lines_are_told_the_largest_first():
    found = side_by_side(cut(lines=[-40.0, -50.0, -30.0, None]), cut(lines=[-31.0, -50.5, -32.0, -60.0]))
    assert [(step.order, round(step.step_db, 1)) for step in found.orders] == [(1, 9.0), (3, -2.0), (2, -0.5)]
    assert [step.tooth_passing for step in found.orders] == [False, True, False]
    assert found.speeds_rpm == (12_000.0, 12_000.0) and not found.why_no_orders


@pytest.mark.parametrize(
    ("second", "word"),
    [
        (cut(), "second"),
        (cut(lines=[-40.0], rpm=9000.0), "different speeds"),
        (cut(lines=[-40.0], flutes=2), "flutes"),
    ],
)
def test_unlike_cuts_are_not_compared_line_by_line(second, word):
    found = side_by_side(cut(lines=[-40.0]), second)
    assert not found.orders and word in found.why_no_orders


def test_what_appeared_is_what_only_the_second_has():
    fan = {"frequency_hz": 300.0, "level_db": -50.0}
    ring = {"frequency_hz": 1432.0, "level_db": -20.0, "start_s": 2.0, "end_s": 3.0}
    belt = {"frequency_hz": 500.0, "level_db": -44.0}  # 2.5 × the rotation, there at 10,000 rpm
    first = cut(stray=[fan, belt])
    second = cut(rpm=10_000.0, stray=[fan, {**belt, "frequency_hz": 416.7}], chatter=[ring])
    found = side_by_side(first, second)
    assert [(tone["frequency_hz"], tone["chatter"]) for tone in found.appeared] == [(1432.0, True)]
    assert found.vanished == ()

"""Comparisons: what holds whatever the data are, and what is never said."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shopmon.cutting.compare.blind import blind_plan
from shopmon.cutting.compare.conditions import Use, confounded
from shopmon.cutting.compare.cost import compare_cost, per_minute, per_part
from shopmon.cutting.compare.lives import compare_lives
from shopmon.cutting.compare.values import Value, compare_order, compare_ratio
from shopmon.cutting.compare.words import verdict
from shopmon.cutting.life.lifetimes import CannotTell, Lifetime
from shopmon.errors import SettingError

NAMES = ("plain", "coated")
SIDE = st.lists(st.floats(0.2, 6), min_size=2, max_size=7)


def values(a, b, stratum=None) -> list[Value]:
    """Return values of both sides, each of another unit."""
    return [
        Value(side=side, value=float(each), unit=(side, number), stratum=stratum)
        for side, data in (("A", a), ("B", b))
        for number, each in enumerate(data)
    ]


@given(SIDE, SIDE)
@settings(max_examples=25, deadline=None)
def test_exchanging_the_sides_turns_the_answer_round(a, b):
    there, back = compare_ratio(values(a, b)), compare_ratio(values(b, a))
    assert back.effect == pytest.approx(1 / there.effect)
    assert back.bounds == pytest.approx((1 / there.bounds[1], 1 / there.bounds[0]))
    assert back.p_value == pytest.approx(there.p_value)
    order, turned = compare_order(values(a, b)), compare_order(values(b, a))
    assert turned.effect == pytest.approx(1 - order.effect)
    assert order.bounds[0] <= order.effect <= order.bounds[1]


@given(SIDE, SIDE)
@settings(max_examples=15, deadline=None)
def test_never_a_verdict_from_fewer_than_four_of_each(a, b):
    for compare in (compare_ratio, compare_order):
        found = compare(values(a[:3], b))
        assert not found.settled
        assert (
            not found.settled and "too few for a verdict" in verdict(found, NAMES, "is rougher", "parts")[0]
        )


def test_ten_parts_by_one_tool_count_as_one():
    parts = [
        Value(side=side, value=1 + 0.01 * number + 0.5 * (side == "B"), unit=f"{side}1")
        for side in "AB"
        for number in range(10)
    ]
    assert isinstance(compare_ratio(parts), CannotTell)


def test_unlike_is_not_compared_with_unlike():
    apart = values([1, 1.1, 1.2, 1.3, 1.4], [], "aluminium") + values(
        [], [3, 3.1, 3.2, 3.3, 3.4], "stainless"
    )
    assert "never used in the same material" in compare_ratio(apart).reason
    within = compare_ratio(apart + values([1, 1.2, 1.1], [1.1, 1.2, 1], "316"))
    assert within.strata == ("316",) and set(within.left_out) == {"aluminium", "stainless"}
    assert within.effect == pytest.approx(1.0)


def test_strata_keep_a_difference_between_materials_out():
    # B was used mostly on the rough material; within each it is alike
    rng = np.random.default_rng(2)
    rough, fine = 4 * np.exp(0.1 * rng.standard_normal(12)), np.exp(0.1 * rng.standard_normal(12))
    data = values(rough[:3], rough[3:], "316") + values(fine[:9], fine[9:], "7075")
    assert compare_ratio(data).effect == pytest.approx(1.0, abs=0.15)
    assert not compare_ratio(data).settled


def test_a_clear_difference_is_settled_and_said():
    found = compare_ratio(values([2.0, 2.1, 1.9, 2.2, 2.05], [1.0, 1.1, 0.9, 1.05, 1.0]))
    assert found.settled
    said = verdict(found, NAMES, "leaves the rougher wall", "parts")
    assert said[0] == "plain leaves the rougher wall; chance alone would do as much once in 126 times."
    assert said[1].startswith("coated has 0.49 times the figure of plain (90 % interval 0.4")


def test_what_would_settle_it_is_said():
    found = compare_ratio(values([1.0, 1.5, 0.8, 1.2], [0.9, 1.1, 0.7, 1.3]))
    said = verdict(found, NAMES, "is rougher", "parts")
    assert said[0] == "Not settled: no sign of which is rougher."
    assert "more of each would settle it" in said[-1]
    assert verdict(CannotTell(reason="None has."), NAMES, "lasts longer", "edges") == [
        "It cannot be told which lasts longer. None has."
    ]


def lifetimes(minutes, stratum=None):
    """Return lives that ended; a negative one had not."""
    return [
        Lifetime(cut_time_min=abs(each), cause="worn" if each > 0 else None, stratum=stratum)
        for each in minutes
    ]


def test_lives_are_compared_within_materials():
    a = lifetimes([20, 25, 30, 22], "316") + lifetimes([100, 120], "7075")
    b = lifetimes([42, 48, 60, 45], "316") + lifetimes([210, 250], "7075")
    found = compare_lives(a, b)
    assert found.settled and found.effect == pytest.approx(2.0, rel=0.15)
    assert found.bounds[0] < 2 < found.bounds[1]
    turned = compare_lives(b, a)
    assert turned.effect == pytest.approx(1 / found.effect, rel=0.02)


def test_lives_of_which_none_ended_cannot_be_compared():
    assert "of the second 0 came" in compare_lives(lifetimes([20, 25, 30]), lifetimes([-40, -50])).reason
    assert isinstance(compare_lives(lifetimes([20, 25], 1), lifetimes([20, 25], 2)), CannotTell)


def test_a_cheaper_minute():
    assert per_minute(24.0, 60.0) == pytest.approx(0.4)
    assert per_minute(24.0, 60.0, change_min=3, shop_per_hour=60) == pytest.approx(0.45)
    assert per_part(0.4, 12) == pytest.approx(4.8)
    lives = compare_lives(lifetimes([20, 25, 30, 22]), lifetimes([42, 48, 60, 45]))
    cost = compare_cost(10, 30, lives)  # three times the price, twice the life
    assert cost.effect == pytest.approx(3 / lives.effect)
    assert cost.bounds == pytest.approx((3 / lives.bounds[1], 3 / lives.bounds[0]))


def test_what_else_differed_is_said():
    a = [Use(words={"coolant": "air"}, numbers={"cutting speed (m/min)": 300}, order=n) for n in range(3)]
    b = [
        Use(words={"coolant": "flood"}, numbers={"cutting speed (m/min)": 380}, order=9 + n) for n in range(3)
    ]
    said = confounded(a, b, NAMES)
    assert said == [
        "Coolant: plain only air, coated only flood; whether it is that or the tool cannot be told.",
        "Cutting speed: plain at 300 m/min, coated at 380 m/min.",
        "Time: all of plain came before all of coated; what changed meanwhile is in it too.",
    ]
    assert confounded(a, a) == []
    assert confounded([], b) == []


@given(st.integers(2, 4), st.integers(1, 12), st.integers(0, 2**32))
@settings(max_examples=40, deadline=None)
def test_a_blind_plan_is_balanced_and_can_be_drawn_again(mills, blocks, seed):
    labels = [f"M{number}" for number in range(mills)]
    plan = blind_plan(labels, mills * blocks, seed)
    order = [turn.mill for turn in plan.turns]
    for block in range(blocks):
        assert sorted(order[block * mills : (block + 1) * mills]) == labels
    assert len(set(plan.grading)) == mills * blocks == len(plan.key())
    assert set(plan.grading) == {turn.code for turn in plan.turns}
    assert plan == blind_plan(labels, mills * blocks, seed)


def test_codes_tell_nothing_of_the_mill():
    plans = [blind_plan(["M0", "M1"], 20, seed) for seed in range(100)]
    firsts = [sorted(plan.key(), reverse=False)[0] for plan in plans]
    of_first = [plan.key()[code] for plan, code in zip(plans, firsts, strict=True)]
    assert 30 <= of_first.count("M0") <= 70


@pytest.mark.parametrize(
    ("mills", "parts"), [(["M1"], 4), (["M1", "M1"], 4), (["M1", "M2"], 5), (["M1", "M2"], 0)]
)
def test_plans_that_cannot_be_shared_out_are_refused(mills, parts):
    with pytest.raises(SettingError):
        blind_plan(mills, parts, 1)


@pytest.mark.parametrize("bad", [{"side": "C", "value": 1.0}, {"side": "A", "value": float("nan")}])
def test_values_that_cannot_be_are_refused(bad):
    with pytest.raises(SettingError):
        Value(unit=1, **bad)

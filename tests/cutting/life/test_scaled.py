"""Speed, chatter and wear: what is told, and what is not."""

from dataclasses import replace

import numpy as np
import pytest

from shopmon.cutting.life.chatter_weight import chatter_weight, equivalent_min
from shopmon.cutting.life.lifetimes import CannotTell, Lifetime
from shopmon.cutting.life.taylor import taylor_fit, taylor_through
from shopmon.cutting.life.wear import wear_forecast
from shopmon.errors import SettingError


def at_speeds(n: float, each: int, seed: int = 1) -> list[Lifetime]:
    """Draw lives at three speeds."""
    rng = np.random.default_rng(seed)
    return [
        Lifetime(cut_time_min=(229 / speed) ** (1 / n) * rng.weibull(3), cause="worn", speed_m_min=speed)
        for speed in (100, 130, 160)
        for _ in range(each)
    ]


def chattered(weight: float, edges: int, seed: int = 1) -> list[Lifetime]:
    """Draw lives with different shares of chatter, each minute of it counting `weight`."""
    rng = np.random.default_rng(seed)
    share, life = rng.uniform(0, 0.6, edges), 60 * rng.weibull(2.5, edges)
    minutes = life / (1 + (weight - 1) * share)
    return [
        Lifetime(cut_time_min=total, cause="worn", chatter_min=total * part)
        for total, part in zip(minutes, share, strict=True)
    ]


def test_taylors_law_is_found_again():
    fit = taylor_fit(at_speeds(0.25, 15))
    assert fit.bounds[0] < 4 < fit.bounds[1]
    assert fit.n == pytest.approx(0.25, rel=0.15)
    low, middle, high = fit.factor(0.5)
    assert low < middle < high and low < 16 < high
    assert fit.factor(2.0)[1] == pytest.approx(1 / middle)


def test_taylors_law_needs_speeds_and_ends():
    assert "4 must" in taylor_fit(at_speeds(0.25, 1)).reason
    same = [Lifetime(cut_time_min=minutes, cause="worn", speed_m_min=100) for minutes in (20, 30, 40, 50)]
    assert "different speeds" in taylor_fit(same).reason


def test_materials_have_a_constant_of_their_own():
    # the second material lasts a tenth as long and was cut fast only: without strata the slope would be steep
    easy, hard = at_speeds(0.25, 8, seed=4), at_speeds(0.25, 8, seed=5)
    mixed = [replace(life, stratum="a") for life in easy if life.speed_m_min < 140]
    mixed += [
        replace(life, cut_time_min=life.cut_time_min / 10, stratum="b")
        for life in hard
        if life.speed_m_min > 120
    ]
    fit = taylor_fit(mixed)
    assert fit.bounds[0] < 4 < fit.bounds[1]


@pytest.mark.parametrize("points", [((100, 5), (100, 9)), ((160, 41), (100, 5)), ((0, 5), (100, 9))])
def test_points_that_are_no_law_are_refused(points):
    with pytest.raises(SettingError):
        taylor_through(*points)


def test_chatter_counts_as_much_unless_the_data_say_otherwise():
    alike, heavier = chatter_weight(chattered(1, 30)), chatter_weight(chattered(6, 30))
    assert alike.weight == 1.0 and not alike.told_apart
    assert heavier.told_apart and heavier.bounds[0] < 6 < (heavier.bounds[1] or np.inf)
    assert heavier.weight > 1.5
    life = Lifetime(cut_time_min=30, chatter_min=10)
    assert equivalent_min(life, 1.0) == 30 and equivalent_min(life, 4.0) == 60


def test_chatter_is_not_weighed_from_little():
    assert isinstance(chatter_weight(chattered(6, 4)), CannotTell)
    quiet = [Lifetime(cut_time_min=minutes, cause="worn") for minutes in (20, 30, 40, 50, 60, 70)]
    assert "same share" in chatter_weight(quiet).reason


def test_wear_is_carried_on_to_the_limit():
    # exact line: 0.02 + 0.004 t reaches 0.2 at 45 min
    time = np.array([10, 20, 30.0])
    found = wear_forecast(time, 0.02 + 0.004 * time, 0.2)
    assert found.at_min == pytest.approx(45)
    assert 30 <= found.lower_min < 45 < found.upper_min
    assert found.rate_mm_per_min == pytest.approx(0.004)


def test_better_readings_give_a_narrower_forecast():
    time = [10, 20, 30]
    rough, fine = (wear_forecast(time, [0.06, 0.10, 0.14], 0.2, reading_mm=each) for each in (0.01, 0.002))
    assert fine.upper_min - fine.lower_min < 0.4 * (rough.upper_min - rough.lower_min)


def test_two_readings_rest_on_how_well_they_repeat():
    found = wear_forecast([10, 30], [0.05, 0.13], 0.2)
    assert found.lower_min < found.at_min == pytest.approx(47.5)


def test_wear_is_not_carried_too_far():
    assert "too far" in wear_forecast([10, 20], [0.05, 0.052], 0.3).reason
    assert "two different times" in wear_forecast([10, 10], [0.05, 0.06], 0.3).reason
    assert isinstance(wear_forecast([], [], 0.3), CannotTell)


def test_a_limit_that_was_reached_is_said():
    found = wear_forecast([20, 10], [0.31, 0.1], 0.3)
    assert found.reached and found.upper_min == 20


def test_forecasts_hold_as_often_as_they_say():
    # 400 drawn edges; 0.8 ± 3 standard errors
    rng = np.random.default_rng(3)
    time, held, said = np.array([8.0, 16, 24, 32, 40]), 0, 0
    for _ in range(400):
        found = wear_forecast(time, 0.03 + 0.004 * time + 0.01 * rng.standard_normal(5), 0.25)
        if isinstance(found, CannotTell):
            continue
        said += 1
        held += found.lower_min <= 55 <= (found.upper_min or np.inf)
    assert said > 380
    assert 0.74 <= held / said <= 0.9


@pytest.mark.parametrize("bad", [([1, 2], [0.1]), ([1, float("nan")], [0.1, 0.2])])
def test_readings_that_cannot_be_are_refused(bad):
    with pytest.raises(SettingError):
        wear_forecast(*bad, 0.3)

"""Log-rank, Taylor, rank tests and numbers needed, against published figures and other libraries."""

import lifelines.statistics
import numpy as np
import pytest
from scipy import stats

from shopmon.cutting.compare.lives import compare_lives, log_rank
from shopmon.cutting.compare.numbers import for_lives, for_means, for_ranks
from shopmon.cutting.compare.values import Value, compare_order
from shopmon.cutting.life.lifetimes import Lifetime
from shopmon.cutting.life.taylor import TaylorLaw, taylor_fit, taylor_through
from tests.published.test_life import DRUG, PLACEBO, lives


def test_log_rank_of_the_remissions():
    # Freireich et al. 1963 as in the textbooks of survival analysis: χ² = 16.79
    chi_square, p_value = log_rank(lives(PLACEBO), lives(DRUG))
    assert chi_square == pytest.approx(16.7929, abs=5e-5)
    assert p_value == pytest.approx(4.169e-5, rel=1e-3)
    found = compare_lives(lives(PLACEBO), lives(DRUG))
    assert found.settled and found.p_value < 0.001


def test_log_rank_is_that_of_other_libraries():
    def minutes(data):
        return [life.cut_time_min for life in data], [life.ended for life in data]

    a, b = lives("12 25 31 44+ 52 70+ 71"), lives("8 20 33+ 47 47 90")
    chi_square, p_value = log_rank(a, b)
    (first, ended), (second, ended_too) = minutes(a), minutes(b)
    other = lifelines.statistics.logrank_test(first, second, ended, ended_too)
    assert (chi_square, p_value) == pytest.approx((other.test_statistic, other.p_value))
    data = [
        stats.CensoredData.right_censored(each, ~np.array(gone)) for each, gone in (minutes(a), minutes(b))
    ]
    assert chi_square == pytest.approx(stats.logrank(*data).statistic ** 2)


def test_a_stratum_that_is_there_twice_counts_twice():
    a, b = lives("12 25 31 44+ 52 70+ 71"), lives("8 20 33+ 47 47 90")

    def in_stratum(data, name):
        return [Lifetime(cut_time_min=life.cut_time_min, cause=life.cause, stratum=name) for life in data]

    twice = [in_stratum(side, 1) + in_stratum(side, 2) for side in (a, b)]
    assert log_rank(*twice)[0] == pytest.approx(2 * log_rank(a, b)[0])


def test_taylor_through_two_points():
    # M. P. Groover, Fundamentals of Modern Manufacturing: n = 0.223, C = 229 (recalled, recomputed)
    law = taylor_through((160, 5), (100, 41))
    assert (law.n, law.C_m_min) == pytest.approx((0.22337, 229.219), rel=1e-5)
    assert law.life_min(law.C_m_min) == pytest.approx(1.0)
    assert law.speed_m_min(5) == pytest.approx(160)


@pytest.mark.parametrize(
    ("n", "speed", "life"),
    [
        # worksheet questions, the answers by arithmetic
        (0.5, 0.5, 4.0), (0.4, 0.8, 1.7469), (0.4, 1.3, 0.51897), (0.25, 0.8, 2.4414), (0.25, 0.5, 16.0),
        (0.25, 1.1, 0.68301), (0.125, 0.5, 256.0),
    ],
)  # fmt: skip
def test_life_changes_with_speed(n, speed, life):
    law = TaylorLaw(n=n, C_m_min=400)
    assert law.life_min(100 * speed) / law.life_min(100) == pytest.approx(life, rel=5e-5)


def test_a_taylor_fit_is_the_weibull_regression_of_another_library():
    import pandas

    rng = np.random.default_rng(8)
    each = []
    for speed in (100.0, 125.0, 160.0):
        for life in (229.2 / speed) ** (1 / 0.2234) * rng.weibull(3.0, 12):
            seen = min(life, 45.0)
            each.append(Lifetime(cut_time_min=seen, cause="worn" if life <= 45 else None, speed_m_min=speed))
    fit = taylor_fit(each)
    table = pandas.DataFrame(
        {
            "minutes": [life.cut_time_min for life in each],
            "ended": [life.ended for life in each],
            "log_speed": [np.log(life.speed_m_min) for life in each],
        }
    )
    other = lifelines.WeibullAFTFitter(alpha=0.1).fit(table, "minutes", "ended")
    slope = other.summary.loc[("lambda_", "log_speed")]
    # maximum likelihood with bounds for many lives there, the exact posterior here: 36 lives make them agree
    assert fit.power == pytest.approx(-slope["coef"], rel=0.03)
    assert fit.bounds == pytest.approx((-slope["coef upper 90%"], -slope["coef lower 90%"]), rel=0.08)


@pytest.mark.parametrize(("difference", "each"), [(0.2, 394), (0.5, 64), (0.8, 26), (1.0, 17)])
def test_numbers_for_means(difference, each):
    # J. Cohen, Statistical Power Analysis for the Behavioral Sciences, 2nd ed. (recalled; 393 for 0.2)
    assert for_means(difference, 1.0) == pytest.approx(each, abs=1)


def test_numbers_for_ranks_and_lives():
    # Noether 1987 and Schoenfeld 1981 by hand: (1.95996 + 0.84162)² = 7.8489
    assert for_ranks(0.7) == 33  # 7.8489/(6·0.04) = 32.7
    assert for_lives(2.0, 1.0) == 33  # 2·7.8489/0.48045 = 32.67
    assert for_lives(2.0, 3.0) == 4
    assert for_means(0.0, 1.0) is for_ranks(0.5) is for_lives(1.0, 2.0) is None


def test_ranks_within_strata_are_van_elterens_test():
    # P. H. van Elteren 1960: rank sums of Wilcoxon weighted by 1/(N + 1), put together from another library's
    rng = np.random.default_rng(3)
    values, score, variance, chances = [], 0.0, 0.0, []
    for stratum, (first, second) in enumerate(((9, 8), (5, 12))):
        a, b = rng.integers(1, 9, first), rng.integers(2, 10, second)
        values += [
            Value(side=side, value=float(each), unit=(side, at), stratum=stratum)
            for side, data in (("A", a), ("B", b))
            for at, each in enumerate(data)
        ]
        other = stats.mannwhitneyu(b, a, use_continuity=False, method="asymptotic")
        normal = stats.norm.isf(other.pvalue / 2)
        away = other.statistic - first * second / 2
        weight = 1 / (first + second + 1)
        score, variance = score + weight * away, variance + (weight * away / normal) ** 2
        chances.append((other.statistic / (first * second), first * second * weight))
    found = compare_order(values)
    effects, weights = zip(*chances, strict=True)
    assert found.effect == pytest.approx(np.average(effects, weights=weights))
    assert found.p_value == pytest.approx(2 * stats.norm.sf(abs(score) / variance**0.5), abs=0.01)


def test_the_exact_p_value_is_that_of_another_library():
    a, b = [1.2, 1.9, 2.2, 2.8], [2.5, 3.1, 3.3, 4.0, 4.4]
    values = [
        Value(side=side, value=each, unit=(side, each))
        for side, data in (("A", a), ("B", b))
        for each in data
    ]
    assert compare_order(values).p_value == pytest.approx(stats.mannwhitneyu(a, b, method="exact").pvalue)

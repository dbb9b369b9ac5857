"""Lives of edges: what holds whatever the data are, and what is said of few."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shopmon.cutting.life.lifetimes import CannotTell, Lifetime, of_one_cause
from shopmon.cutting.life.survival import incidence, survival_curve
from shopmon.cutting.life.weibull import WeibullLives, weibull_lives
from shopmon.cutting.life.words import basis_sentence
from shopmon.errors import SettingError

MINUTES = st.floats(0.5, 500)
LIVES = st.lists(st.builds(Lifetime, cut_time_min=MINUTES, cause=st.sampled_from(["worn", "broken", None])),
                 min_size=1, max_size=14)  # fmt: skip


def worn(*minutes: float) -> list[Lifetime]:
    """Return lives that ended."""
    return [Lifetime(cut_time_min=each, cause="worn") for each in minutes]


def going(*minutes: float) -> list[Lifetime]:
    """Return lives that had not ended."""
    return [Lifetime(cut_time_min=each) for each in minutes]


@given(LIVES, st.floats(0.01, 100))
@settings(max_examples=40, deadline=None)
def test_the_unit_of_time_does_not_matter(lives, unit):
    def scaled(life):
        return Lifetime(cut_time_min=life.cut_time_min * unit, cause=life.cause)

    known = weibull_lives(lives)
    if isinstance(known, CannotTell):
        assert sum(life.ended for life in lives) < 2
        return
    other = weibull_lives([scaled(life) for life in lives])
    assert other.fit().shape == pytest.approx(known.fit().shape, rel=1e-6)
    here, there = known.remaining(10), other.remaining(10 * unit)
    assert there.median_min == pytest.approx(here.median_min * unit, rel=1e-6)
    assert 0 <= here.lower_min <= here.median_min <= here.upper_min


@given(LIVES)
@settings(max_examples=40, deadline=None)
def test_causes_and_survival_add_up_to_one(lives):
    curve = survival_curve(lives)
    if isinstance(curve, CannotTell):
        return
    ended_by = incidence(lives)
    left = curve.share[curve.ended > 0]
    assert left + sum(share for _, share in ended_by.values()) == pytest.approx(np.ones(left.size))
    assert np.all(np.diff(curve.share) <= 1e-12)


def test_that_edges_still_cut_lengthens_life():
    without = weibull_lives(worn(30, 42, 55)).remaining(0)
    more = weibull_lives(worn(30, 42, 55) + going(60, 70)).remaining(0)
    assert more.median_min > 1.2 * without.median_min


def test_an_edge_that_is_not_among_the_lives_is_added():
    lives = worn(20, 30, 42, 55)
    alone = weibull_lives(lives).remaining(90, counted=False)
    among = weibull_lives([*lives, *going(90)]).remaining(90)
    assert alone.median_min == pytest.approx(among.median_min)


def test_the_range_narrows_with_what_is_known():
    def width(lives):
        left = weibull_lives(lives).remaining(0)
        return left.upper_min / left.lower_min

    few, many = worn(30, 50), worn(*np.linspace(30, 50, 40))
    assert width(few) > 3 * width(many)


def test_the_remaining_life_is_the_spread_of_what_is_seen_when_much_is_known():
    lives = worn(*(60 * np.random.default_rng(1).weibull(3, 2000)))
    left = weibull_lives(lives).remaining(40)
    shape, scale, age = 3.0, 60.0, 40.0
    expected = [
        scale * ((age / scale) ** shape - np.log(share)) ** (1 / shape) - age for share in (0.9, 0.5, 0.1)
    ]
    assert [left.lower_min, left.median_min, left.upper_min] == pytest.approx(expected, rel=0.06)
    assert weibull_lives(lives).chance_of_ending(40, expected[1]) == pytest.approx(0.5, abs=0.03)


def test_many_edges_are_answered_as_one_is():
    lives = worn(20, 30, 42, 55) + going(10, 25)
    known = weibull_lives(lives)
    assert known.remaining_of([10, 25]) == [known.remaining(10), known.remaining(25)]


def test_the_curve_lies_within_its_bounds():
    share, lower, upper = weibull_lives(worn(30, 42, 55, 61) + going(40)).survival(
        np.array([1, 20, 45, 90.0])
    )
    assert np.all((lower < share) & (share < upper))
    assert np.all(np.diff(share) < 0)


def test_edges_that_agree_to_the_minute_do_not_break_it():
    left = weibull_lives(worn(30, 30, 30)).remaining(10)
    assert 15 < left.lower_min < left.upper_min < 26


def test_bounds_hold_as_often_as_they_say():
    # exact for edges that have all ended: 120 draws of 3 edges; 0.9 ± 3 standard errors
    rng = np.random.default_rng(5)
    held = 0
    for _ in range(120):
        low, high = WeibullLives(worn(*(60 * rng.weibull(2, 3)))).life_bounds_min(0.5, 0.9)
        held += low <= 60 * np.log(2) ** 0.5 <= high
    assert 0.82 <= held / 120 <= 0.98


def test_another_cause_is_censored_for_one_cause():
    lives = [*worn(20, 30), Lifetime(cut_time_min=12, cause="broken", label="E7")]
    assert [life.cause for life in of_one_cause(lives, "worn")] == ["worn", "worn", None]
    assert of_one_cause(lives, "worn")[2].cut_time_min == 12


def test_too_few_ended_edges_are_no_answer():
    none, one = weibull_lives(going(20, 30)), weibull_lives(worn(20) + going(30))
    assert isinstance(none, CannotTell) and isinstance(one, CannotTell)
    assert basis_sentence(one) == "Of this kind only one has come to its end; at least 2 must."
    assert isinstance(survival_curve(going(20)), CannotTell)


def test_an_edge_with_no_minute_logged_says_nothing():
    lives = worn(20, 30)
    assert weibull_lives([*lives, *worn(0), *going(0)]).fit() == weibull_lives(lives).fit()


@pytest.mark.parametrize(
    "bad",
    [
        {"cut_time_min": -1},
        {"cut_time_min": float("nan")},
        {"cut_time_min": 3, "chatter_min": 4},
        {"cut_time_min": 3, "speed_m_min": 0},
    ],
)
def test_lives_that_cannot_be_are_refused(bad):
    with pytest.raises(SettingError):
        Lifetime(**bad)

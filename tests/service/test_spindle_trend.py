"""A year of weekly checks: seasons are no change of the spindle, and a change is found all the same."""

import pytest

from tests.spindle_years import ACCELERATION, ONCE, louder, weeks_with_a_change


@pytest.mark.parametrize(("per_degree", "season_c"), [(0.03, 7.5), (-0.02, 11.0)])
def test_a_level_that_follows_the_temperature_is_no_change(per_degree, season_c):
    assert weeks_with_a_change(1, per_degree=per_degree, season_c=season_c) == []


@pytest.mark.parametrize(
    ("fault", "soonest", "latest"),
    [(louder(ONCE, 30, 1.6), 30, 34), (louder(ACCELERATION, 30, 1.0, 0.35), 31, 42)],
)
def test_a_change_is_found_within_weeks(fault, soonest, latest):
    found = weeks_with_a_change(1, fault=fault, per_degree=0.03, weeks=44)
    assert soonest <= min(found) <= latest

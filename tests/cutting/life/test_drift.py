"""A tool's sound against its first minutes."""

import numpy as np
import pytest

from shopmon.cutting.life.drift import LIMITS, NAMES, drawn_limit, signature, watch, wear_relation
from shopmon.cutting.life.lifetimes import CannotTell
from shopmon.errors import SettingError


def tools(rng, count: int, first: int, later: int, step=(0.0, 0.0, 0.0)) -> list:
    """Draw tools whose sound moves by `step` (in standard deviations of a cut) after the first cuts."""
    found = []
    for _ in range(count):
        values = rng.standard_normal((first + later, 3)) * (6.0, 5.0, 4.0) + (-20, -6, -12)
        values[first:] += np.array(step) * (6.0, 5.0, 4.0)
        found.append(watch(values, first))
    return found


@pytest.mark.parametrize("first", [6, 8, 15])
def test_tools_that_do_not_change_are_rarely_called(first):
    # 5 % at any time within 200 cuts: 600 drawn tools, 3 standard errors
    found = tools(np.random.default_rng(first), 600, first, 200)
    ever = np.mean([bool((each.distance > 1).any()) for each in found])
    assert 0.02 <= ever <= 0.08
    assert np.mean([each.changed for each in found]) <= ever


def test_the_limits_are_what_is_drawn_and_come_down_as_more_is_known():
    assert drawn_limit(12) == pytest.approx(LIMITS[12], abs=0.01)
    factors = list(LIMITS.values())
    assert factors[0] > 9 and 3.0 < factors[-1] < 6 and np.all(np.diff(factors) < 0.05)


def test_a_change_is_called_and_named():
    found = tools(np.random.default_rng(2), 100, 12, 60, step=(0, 4.0, 0))
    assert np.mean([each.changed for each in found]) > 0.95
    named = [each.what for each in found if each.changed]
    assert named.count(NAMES[1]) > 85
    assert np.median([each.since - 12 for each in found if each.changed]) < 15


def test_what_went_and_came_back_is_no_change_now():
    values = np.tile([[-20.0, -6, -12], [-20.5, -6.2, -12.1]], (40, 1))
    values[20:30, 0] += 9
    found = watch(values, 8)
    assert not found.changed and (found.distance > 1).any()
    assert watch(values[:30], 8).changed


def test_levels_are_not_held_to_be_more_exact_than_a_shop_allows():
    values = np.tile([-20.0, -6, -12], (40, 1))
    values[8:, 0] += 0.3
    assert not watch(values, 8).changed


def test_the_numbers_of_a_cut():
    # 3 teeth, 12 lines: tooth passing at 3, 6, 9, 12, all others 20 dB lower
    lines = np.where(np.arange(1, 13) % 3 == 0, -20.0, -40.0)
    level, evenness, brightness = signature(lines, 3)
    assert level == pytest.approx(-20 + 10 * np.log10(4))
    assert evenness == pytest.approx(-20 + 10 * np.log10(2))
    assert brightness == pytest.approx(0)
    louder = signature(lines + 6, 3)
    assert louder - signature(lines, 3) == pytest.approx([6, 0, 0])
    silent = signature(np.where(np.arange(1, 13) == 5, np.nan, lines), 3)
    assert silent[1] < evenness


def test_too_few_first_cuts_are_no_answer():
    values = np.zeros((20, 3))
    assert isinstance(watch(values, 5), CannotTell) and isinstance(watch(values[:8], 8), CannotTell)
    with pytest.raises(SettingError):
        watch(np.full((20, 3), np.nan), 8)
    with pytest.raises(SettingError):
        signature(np.zeros(2), 3)


def test_relation_to_measured_wear():
    found = wear_relation([0.1, 0.5, 0.4, 1.2, 2.0, 2.2], [0.02, 0.04, 0.05, 0.08, 0.11, 0.12])
    assert found.correlation == pytest.approx(33 / 35)  # 1 − 6·2/(6·35), Spearman's formula by hand
    assert found.bounds[0] < found.correlation < found.bounds[1] <= 1
    assert isinstance(wear_relation([1, 2, 3], [1, 2, 3]), CannotTell)
    assert wear_relation([1, 2, 3, 4, 5], [1, 2, 3, 4, 5]).bounds[1] <= 1

"""A tool's sound against its first minutes."""

import numpy as np
import pytest

from shopmon.cutting.life.drift import NAMES, limit_factor, signature, watch, wear_relation
from shopmon.cutting.life.lifetimes import CannotTell
from shopmon.errors import SettingError


def tools(rng, count: int, first: int, later: int, step=(0.0, 0.0, 0.0)) -> list:
    """Draw tools whose sound moves by `step` (in standard deviations of a cut) after the first cuts."""
    found = []
    for _ in range(count):
        values = rng.standard_normal((first + later, 3)) * (1.5, 0.8, 0.5) + (-20, -6, -12)
        values[first:] += np.array(step) * (1.5, 0.8, 0.5)
        found.append(watch(values, first))
    return found


@pytest.mark.parametrize("first", [6, 8, 15])
def test_tools_that_do_not_change_are_rarely_called(first):
    # 5 % within 50 cuts: 600 drawn tools, 3 standard errors
    called = np.mean([each.changed for each in tools(np.random.default_rng(first), 600, first, 50)])
    assert 0.02 <= called <= 0.08


def test_limits_come_down_to_the_textbooks_as_more_is_known():
    factors = [limit_factor(first) for first in (6, 8, 15, 40, 200)]
    assert factors == sorted(factors, reverse=True)
    assert factors[0] > 5 and 3.0 < factors[-1] < 3.8


def test_a_change_is_called_and_named():
    found = tools(np.random.default_rng(2), 100, 12, 40, step=(0, 3.0, 0))
    assert np.mean([each.changed for each in found]) > 0.95
    named = [each.what for each in found if each.changed]
    assert named.count(NAMES[1]) > 85
    assert np.median([each.since - 12 for each in found if each.changed]) < 15


def test_what_is_said():
    changed = tools(np.random.default_rng(2), 1, 12, 40, step=(0, 6.0, 0))[0]
    assert (
        changed.words.startswith("Changed since cut 1") and "may be wear, or anything else" in changed.words
    )
    assert "worn" not in changed.words
    same = watch(np.tile([[-20.0, -6, -12], [-20.5, -6.2, -12.1]], (10, 1)), 8)
    assert same.words == "Sounds as in its first 8 cuts, 12 cuts later."


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

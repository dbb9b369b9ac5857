"""Thinning keeps the peaks and the length."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from shopmon.dashboards.api.thinning import thinned


@given(st.integers(min_value=0, max_value=500), st.integers(min_value=1, max_value=60))
def test_series_get_short_enough_stay_equally_long_and_keep_their_ends(length, points):
    figures = {
        "t_s": np.arange(length) / 10,
        "level_db": np.arange(length) % 7 - 30.0,
        "sample_rate_hz": 48_000.0,
    }
    result = thinned(figures, points)
    assert len(result["t_s"]) == len(result["level_db"]) <= points
    assert result["sample_rate_hz"] == 48_000.0
    if length:
        assert result["t_s"][-1] == figures["t_s"][-1]
        assert max(result["level_db"]) == max(figures["level_db"])
        assert result["thinned_by"] == -(-length // points)


def test_a_short_peak_survives_and_missing_values_do_not_hide_it():
    level_db = np.full(1000, -60.0)
    level_db[333] = -3.0
    level_db[334] = np.nan
    assert max(thinned({"level_db": level_db}, 10)["level_db"]) == -3.0


def test_words_and_lists_are_thinned_too():
    result = thinned({"state": ["cutting"] * 5 + ["chatter"], "engaged": [True] * 6}, 2)
    assert list(result["state"]) == ["cutting", "chatter"]
    assert list(result["engaged"]) == [True, True]


def test_what_is_short_is_left_alone():
    figures = {"rpm": np.array([1.0, 2.0])}
    assert list(thinned(figures, 2)["rpm"]) == [1.0, 2.0]

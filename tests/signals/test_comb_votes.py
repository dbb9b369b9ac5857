"""Votes of lines for rotation frequencies agree with asking every candidate for its lines."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shopmon.signals.comb.votes import CombVotes

VOTES = CombVotes(8.0, 500.0, None)


def _lines(rotation_hz, orders, extra=()):
    frequency_hz = np.array(sorted([*(rotation_hz * k for k in orders), *extra]))
    return frequency_hz, np.full(frequency_hz.size, 18.0), np.zeros(frequency_hz.size, bool)


def _found(votes, lines):
    return votes.candidates_hz[np.argmax(votes(*lines))]


@settings(max_examples=60, deadline=None)
@given(rotation_hz=st.floats(9, 420), missing=st.sampled_from([(), (1,), (2, 5)]))
def test_the_rotation_has_most_votes_neither_its_half_nor_its_double(rotation_hz, missing):
    orders = [k for k in range(1, 25) if k not in missing and k * rotation_hz < 4000]
    assert _found(VOTES, _lines(rotation_hz, orders)) == pytest.approx(rotation_hz, rel=2e-3)


def test_a_line_that_something_else_makes_neither_counts_nor_is_missing():
    frequency_hz, height_db, known = _lines(103.0, range(1, 12), extra=[50.0 * k for k in range(1, 19)])
    hum = np.isclose(frequency_hz % 50.0, 0)
    assert VOTES.candidates_hz[np.argmax(VOTES(frequency_hz, height_db, known))] != pytest.approx(
        103, rel=2e-3
    )
    assert _found(VOTES, (frequency_hz, height_db, hum)) == pytest.approx(103, rel=2e-3)


def test_few_lines_far_apart_speak_for_nothing():
    assert VOTES(*_lines(1.0, (617, 1733))).max() < 0.35


def test_no_line_at_all_is_no_error():
    nothing = np.zeros(0)
    assert CombVotes(8.0, 500.0, 3)(nothing, nothing, np.zeros(0, bool)).max() < 0

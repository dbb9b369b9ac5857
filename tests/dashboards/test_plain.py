"""JSON that every reader understands."""

import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shopmon.dashboards.plain import to_json

from shopmon.listening.events import State

ANYTHING = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
    lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
    max_leaves=20,
)


def strict(text):
    """Parse JSON, refusing what only Python calls JSON."""

    def refuse(constant):
        raise AssertionError(f"{constant} is no JSON")

    return json.loads(text, parse_constant=refuse)


@given(ANYTHING)
def test_anything_plain_becomes_valid_json_on_one_line(value):
    text = to_json(value)
    strict(text)
    assert "\n" not in text
    assert "\r" not in text


@dataclass
class Pair:
    a: float
    b: np.ndarray


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        ([float("nan"), float("inf"), 1.5], [None, None, 1.5]),
        (np.array([1.0, np.nan], dtype=np.float32), [1.0, None]),
        ({"n": np.int64(7), "x": np.float32(0.5), "y": np.bool_(True)}, {"n": 7, "x": 0.5, "y": True}),
        (State.CHATTER, "chatter"),
        ([State.AIR_CUT], ["air-cut"]),
        (Pair(1.0, np.arange(3)), {"a": 1.0, "b": [0, 1, 2]}),
        ((1, {2: Path("a/b")}), [1, {"2": "a/b"}]),
        (np.array(["cutting", "chatter"]), ["cutting", "chatter"]),
    ],
)
def test_what_the_engine_speaks_becomes_plain(value, expected):
    assert strict(to_json(value)) == expected

"""The context: what may be said about a cut, and what is refused."""

import pytest

from shopmon.errors import SettingError
from shopmon.service.context import checked_context, setup_of, tool_words


def test_values_are_taken_over_in_their_own_kind():
    given = {"nominal_rpm": 12000, "flutes": 3.0, "end_mill": "  H3-07 ", "milling": "climb", "ap_mm": None}
    assert checked_context(given) == {
        "nominal_rpm": 12000.0,
        "flutes": 3,
        "end_mill": "H3-07",
        "milling": "climb",
        "ap_mm": None,
    }


@pytest.mark.parametrize(
    "values",
    [
        {},
        [],
        {"rpm": 3},
        {"nominal_rpm": "12000"},
        {"nominal_rpm": float("nan")},
        {"nominal_rpm": float("inf")},
        {"nominal_rpm": -1},
        {"nominal_rpm": True},
        {"flutes": 2.5},
        {"flutes": 0},
        {"flutes": 51},
        {"end_mill": 7},
        {"end_mill": "x" * 201},
        {"milling": "sideways"},
        {"coolant": ["flood"]},
        {"measured_modes": "x:1450"},
        {"measured_modes": "x:1450:0.03:-1"},
        {"measured_modes": "x:1450:0.03:8e6 " * 3},
    ],
)
def test_what_cannot_be_is_refused_with_something_to_do(values):
    with pytest.raises(SettingError) as caught:
        checked_context(values)
    assert caught.value.hint


def test_a_misspelt_name_is_answered_with_the_right_one():
    with pytest.raises(SettingError) as caught:
        checked_context({"flute": 3})
    assert "flutes" in caught.value.hint


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({}, ""),
        (
            {"end_mill": "plum #3", "tool_assembly": "T5", "holder": "ER20", "stickout_mm": 38.0},
            "plum #3, ER20, 38 mm out",
        ),
        ({"tool_assembly": "T5", "diameter_mm": 6.0}, "T5"),
        ({"diameter_mm": 6.35, "flutes": 3}, "6.35 mm"),
    ],
)
def test_what_is_in_the_spindle_has_a_name(said, words):
    assert tool_words(said) == words == setup_of(said).tool

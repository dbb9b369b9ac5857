"""Advice in words: what is not known is left out, and no caution is said twice."""

from shopmon.cli.advice_text import advice_lines

SPEED = {
    "action": "speed",
    "rpm": 12171.0,
    "command_rpm": 12373.0,
    "override_percent": 110.0,
    "feed_factor": 1.12,
    "probability_quiet": 0.44,
    "reason": "There it is often quiet.",
    "caution": "Never above the speed marked on the tool.",
}


def test_a_speed_is_told_as_it_is_programmed_and_as_it_truly_is():
    first, *rest = advice_lines([SPEED])
    assert (
        first == "Program 12373 rpm (true speed 12171), override 110 %, feed × 1.12, 44 % likely to be quiet"
    )
    assert rest == ["  There it is often quiet.", "  Never above the speed marked on the tool."]


def test_what_is_not_known_is_left_out():
    bare = dict.fromkeys(("override_percent", "feed_factor", "probability_quiet"))
    (first, _, _) = advice_lines([SPEED | bare | {"command_rpm": 12171.0}])
    assert first == "Program 12171 rpm"


def test_a_caution_is_said_once():
    lines = advice_lines([SPEED, SPEED | {"action": "less-depth", "probability_quiet": None}])
    assert lines.count("  Never above the speed marked on the tool.") == 1
    assert "Less depth" in lines

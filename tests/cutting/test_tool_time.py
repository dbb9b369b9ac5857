"""Seconds per tool from events: the trace of a real control, and sums that always add up."""

import doctest

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopmon.cutting import tool_time
from shopmon.cutting.tool_time import ToolTime
from shopmon.errors import SettingError

# T. Hahn, Tool-Wear-Files (MIT), a production turning centre; seconds per tool computed by loading the file
TRACE_S = {
    1: 5.1, 3: 0.9, 5: 2.1, 8: 7.8, 11: 5.9, 13: 3.1, 15: 4.1, 17: 26.9, 21: 1.6, 22: 1.6, 23: 3.4, 32: 6.3,
    36: 2.2, 37: 5.0, 54: 28.2, 57: 5.7,
}  # fmt: skip


def test_examples():
    failed, tried = doctest.testmod(tool_time)
    assert tried > 0 and failed == 0


def changes(values):
    """Yield index and value wherever a signal takes a new value."""
    previous = None
    for index, value in enumerate(values.tolist()):
        if value != previous:
            yield index, value
        previous = value


def test_the_trace_of_a_control(reference_data):
    from scipy.io import loadmat

    (file,) = (reference_data / "controller-trace").glob("*.mat")
    trace = loadmat(file)
    clock = trace["Time"].ravel()
    tools = [(index, "tool", value) for index, value in changes(trace["TOOL_Number"].ravel())]
    cuts = [(index, "cut", value) for index, value in changes(trace["CUT_Signal"].ravel())]
    time, blocks = ToolTime(), 0
    for index, kind, value in sorted([*tools, *cuts]):
        if kind == "tool":
            time.tool(int(clock[index]), value)
        else:
            time.cutting(int(clock[index]), bool(value))
            blocks += value
    time.reach(int(clock[-1]) + 1)
    assert blocks == 60
    assert {tool: round(seconds, 1) for tool, seconds in time.as_data(1000).items()} == TRACE_S
    # not rounded: every millisecond that the control said it cut, the gaps of 8 ms left out
    assert sum(time.ticks.values()) == 109_808 == int(trace["CUT_Signal"].sum())


events = st.lists(
    st.tuples(st.integers(0, 50), st.sampled_from(["tool", "cut", "lost", "reach"]), st.integers(0, 3)),
    max_size=40,
)


@given(events)
def test_sums_equal_a_count_of_every_tick(steps):
    time, by_hand = ToolTime(), {}
    now, tool, cuts = 0, None, False
    for step, kind, value in steps:
        for _ in range(step):
            if cuts:
                by_hand[tool] = by_hand.get(tool, 0) + 1
        now += step
        if kind == "tool":
            tool = value
            time.tool(now, value)
        elif kind == "cut":
            cuts = value > 1
            time.cutting(now, value > 1)
        elif kind == "lost":
            tool, cuts = None, False
            time.lost(now)
        else:
            time.reach(now)
    assert time.ticks == by_hand


def test_events_go_forward():
    time = ToolTime()
    time.tool(10, 1)
    with pytest.raises(SettingError, match="An event at 9 comes after one at 10"):
        time.cutting(9, True)

"""Advice on speeds for programs, the numbers of its page, and the drawing of the map."""

import doctest

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shopmon.dashboards.cuts import facts
from shopmon.dashboards.look import measures, words
from shopmon.dashboards.mills import said
from shopmon.dashboards.speeds import figures
from shopmon.dashboards.speeds.drawing import BOTTOM, HIGH, LEFT, RIGHT, TOP, WIDE, drawing

from tests.dashboards.fake_speeds import EVENT


@pytest.mark.parametrize("module", (words, measures, facts, said, figures))
def test_the_examples_of_what_the_pages_write_hold(module):
    failed, tried = doctest.testmod(module)
    assert tried > 0 and failed == 0


def test_what_past_cuts_say_is_given_with_the_what_if(client, monitor):
    told = client.get("/api/speeds?stickout_mm=22").get_json()
    assert told["status"] == "ready"
    assert told["what_if"] == {"stickout_mm": 22.0}
    assert told["result"]["schema"] == "shopmon.speed-sheet/1"
    assert monitor.context()["stickout_mm"] == 30.0


@pytest.mark.parametrize("query", ["rpm=3", "ap_mm=deep", "ap_mm=-1", "flutes=0", "stickout_mm=1e9"])
def test_a_what_if_that_cannot_be_is_refused(client, query):
    refused = client.get(f"/api/speeds?{query}")
    assert refused.status_code == 400
    assert refused.get_json()["hint"]


def test_advice_on_one_chatter_and_none_on_an_unknown_one(client):
    told = client.get(f"/api/speeds/events/{EVENT}").get_json()
    assert told["advice"][0]["action"] == "speed"
    missing = client.get("/api/speeds/events/nowhere")
    assert (missing.status_code, missing.get_json()["hint"] != "") == (404, True)


def test_an_answer_is_kept_and_taken_back(client, monitor):
    address = f"/api/speeds/events/{EVENT}/tried"
    kept = client.post(address, json={"answer": "better", "action": "speed", "rpm": 14_326.0})
    assert kept.status_code == 201
    assert client.delete(f"{address}/{kept.get_json()['id']}").status_code == 200
    assert monitor.speeds.answers == []
    assert client.delete(f"{address}/{kept.get_json()['id']}").status_code == 400


@pytest.mark.parametrize(
    "body",
    [{"answer": "best"}, {"answer": "better", "rpm": "x"}, {"answer": "better", "rpm": -1}, {"cut": 1}, {}],
)
def test_an_answer_that_cannot_be_is_refused(client, monitor, body):
    assert client.post(f"/api/speeds/events/{EVENT}/tried", json=body).status_code == 400
    assert monitor.speeds.answers == []


@given(
    st.floats(0.02, 30),
    st.floats(500, 20_000),
    st.floats(1.05, 6),
    st.sampled_from(["metric", "inch"]),
    st.lists(st.tuples(st.floats(100, 60_000), st.one_of(st.none(), st.floats(0.01, 40))), max_size=8),
)
def test_everything_drawn_lies_in_the_picture(limit, low, factor, units, cuts):
    rpm, depths = np.linspace(low, factor * low, 12), np.geomspace(0.05, 40, 20)
    quiet = 1 / (1 + (depths / limit) ** 6) * np.ones((12, 1))
    band = [[share * min(limit, 40)] * 12 for share in (0.5, 1.0, 1.5)]
    found = {"rpm": rpm.tolist(), "ap_mm": depths.tolist(), "probability_quiet": quiet.tolist()}
    result = {
        "map": {**found, "band_mm": band},
        "cards": {}, "surest": None, "now": None, "trial": {"rpm": low, "ap_mm": 0.05}, "present_rpm": low,
        "trials": [
            {"rpm": n, "ap_mm": ap, "verdict": "quiet", "counts": True, "cut_id": "c"} for n, ap in cuts
        ],
    }  # fmt: skip
    picture = drawing(result, "surest", units)
    for shade in picture.shades:
        assert shade.x >= LEFT - 0.2 and shade.x + shade.width <= WIDE - RIGHT + 0.2
        assert shade.y >= TOP - 0.2 and shade.y + shade.height <= HIGH - BOTTOM + 0.2
        assert shade.width >= 0 and shade.height >= 0
    for mark in (*picture.marks, *picture.untold):
        assert LEFT <= mark.x <= WIDE and TOP <= mark.y <= HIGH
    assert 1 <= len(picture.rpm_ticks) <= 14
    assert 1 <= len(picture.depth_ticks) <= 14
    told = [(n, ap) for n, ap in cuts if rpm[0] <= n <= rpm[-1]]
    assert len(picture.marks) + len(picture.untold) == len(told)

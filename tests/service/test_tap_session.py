"""The guided tap test: hit by hit, from blocks as a source delivers them."""

import numpy as np
import pytest

from shopmon.errors import SettingError
from shopmon.service.tap.judging import TapSettings
from shopmon.service.tap.session import TapChannels, TapSession
from tests.dashboards.fake_checks import MODES, RATE, blocks, hits
from tests.hits import taps, two_plosives

FORCED = TapChannels(force=0, response=1, force_full_scale=500.0, response_full_scale=1.0)


def run(columns, channels=FORCED, wanted=4, rate=RATE, **options):
    session = TapSession(TapSettings(**options), channels, wanted)
    said = [words for block in blocks(columns, rate) for words in session.take(block)]
    return session, said


def test_each_hit_is_answered_and_the_modes_come_out():
    session, said = run(hits())
    assert said == [
        "Hit now, lightly, once every two seconds.",
        "Good: 1 of 4.",
        "Good: 2 of 4.",
        "Double hit: the hammer touched twice. Hit once and draw back at once.",
        "Good: 3 of 4.",
        "Good: 4 of 4.",
        "Done: 4 good hits.",
    ]
    assert session.status == "done"
    found = session.result["modes"]
    assert [mode["frequency_hz"] for mode in found] == pytest.approx([hz for hz, _, _ in MODES], rel=0.003)
    assert [mode["damping_ratio"] for mode in found] == pytest.approx([d for _, d, _ in MODES], rel=0.05)
    assert [hit["fault"] for hit in session.result["hits"]] == [None, None, "double", None, None]
    assert len(session.curves["coherence"]) == len(session.curves["frequency_hz"]) <= 500


def test_full_scale_gives_the_units():
    softer, _ = run(hits())
    stiffer, _ = run(
        hits(), TapChannels(force=0, response=1, force_full_scale=1000.0, response_full_scale=1.0)
    )
    ratio = [b["stiffness_n_per_m"] / a["stiffness_n_per_m"] for a, b in
             zip(softer.result["modes"], stiffer.result["modes"], strict=True)]  # fmt: skip
    assert ratio == pytest.approx([2.0] * len(MODES), rel=1e-3)
    assert stiffer.result["hits"][0]["peak"] == pytest.approx(2 * softer.result["hits"][0]["peak"], rel=1e-6)


def test_without_a_force_there_is_pitch_and_damping():
    session, _ = run(hits(double=())[:, 1:], TapChannels())
    assert session.status == "done" and session.result["with_force"] is False
    found = [mode["frequency_hz"] for mode in session.result["modes"]]
    for hz, _, _ in MODES:
        assert min(abs(hz - each) / hz for each in found) < 0.01
    assert all(mode["stiffness_n_per_m"] is None for mode in session.result["modes"])
    assert max(session.curves["level_db"]) == 0.0


def test_an_overloaded_hammer_is_said_and_left_out():
    loud = np.clip(hits(count=4, double=()) * [4.0, 1.0], -1.0, 1.0)
    session, said = run(loud, wanted=1)
    assert session.good == 0
    assert [words for words in said if words.startswith("Too hard")]
    session.finish()
    assert session.status == "failed" and "overloaded" in session.error.text


def test_speech_is_no_hit_and_does_not_end_the_test():
    rng = np.random.default_rng(0)
    sound = np.concatenate([1e-4 * rng.standard_normal(51_200), two_plosives()])
    session, said = run(sound[:, None], TapChannels(), rate=51_200.0)
    assert session.good == 0 and session.status == "waiting"
    assert any(words.startswith("That was no hit") for words in said)


def falling(order, tool, other=((1130.0, 0.002, 9e6), (3110.0, 0.002, 2e7))):
    """Return hits on the tool (0) and something else that falls and rings (1), one column."""
    quiet = 2e-3 * np.random.default_rng(0).standard_normal(int(RATE))
    parts = [
        taps(other if each else tool, hits=1, apart_s=0.8, rate_hz=RATE, noise_db=-50, seed=n)[1]
        for n, each in enumerate(order)
    ]
    loudest = [part / np.abs(part).max() * 0.6 for part in parts]
    return np.concatenate([quiet, *loudest, quiet])[:, None]


def test_a_tool_that_falls_is_said_and_left_out():
    session, said = run(falling([0, 0, 0, 1, 0], MODES), TapChannels())
    assert session.status == "done"
    assert [hit["fault"] for hit in session.result["hits"]] == [None, None, None, "other-ring", None]
    assert any("did something fall" in words for words in said)
    found = [mode["frequency_hz"] for mode in session.result["modes"]]
    assert not any(abs(hz - 1130.0) < 20 for hz in found)


def test_one_that_fell_first_is_found_out_at_the_end():
    session, _ = run(falling([1, 0, 0, 0], MODES), TapChannels())
    assert [hit["fault"] for hit in session.result["hits"]] == ["other-ring", None, None, None]
    assert "other-ring" in [notice["code"] for notice in session.result["notices"]]


def test_a_gap_gives_no_hit_of_two_halves():
    session = TapSession(TapSettings(), FORCED, 4)
    parts = list(blocks(hits(double=())))
    dropped = [block for number, block in enumerate(parts) if number % 9 != 3]
    said = [words for block in dropped for words in session.take(block)]
    assert session.good < 4 and not any("Double" in words for words in said)


def test_a_sensor_that_comes_back_is_another_test():
    session = TapSession(TapSettings(), FORCED, 4)
    columns = hits()
    for block in list(blocks(columns))[:20]:
        session.take(block)
    session.take(next(blocks(columns, stream_id="two")))
    assert session.status == "failed" and session.error.hint


def test_a_channel_that_is_not_there():
    session, _ = run(hits(), TapChannels(response=4))
    assert "no channel 5" in session.error.text


@pytest.mark.parametrize(
    "bad", [{"force": 0, "response": 0}, {"force_full_scale": 0.0}, {"response_full_scale": float("nan")}]
)
def test_channels_that_cannot_be(bad):
    with pytest.raises(SettingError):
        TapChannels(**bad)


def test_a_number_of_hits_that_cannot_be():
    with pytest.raises(SettingError):
        TapSession(TapSettings(), FORCED, 0)

"""From hits to modes: systems known exactly, and hits that must not count."""

import numpy as np
import pytest

from shopmon.errors import RecordingError, SettingError, ShopmonError
from shopmon.service.tap.judging import TapSettings, from_response, modes_of, with_force, without_force
from tests.hits import RATE, taps, two_plosives

ONE = [(1450.0, 0.03, 8e6)]
THREE = [(900.0, 0.02, 2e7), (1450.0, 0.03, 8e6), (2300.0, 0.015, 1.5e7)]
CLOSE = [(1000.0, 0.04, 1e7), (1100.0, 0.04, 1e7)]
SETTINGS = TapSettings(record_s=0.45)


def codes(result):
    return [notice["code"] for notice in result["notices"]]


@pytest.mark.parametrize("modes", [ONE, THREE, CLOSE], ids=["one", "three", "close"])
def test_known_modes_are_found_at_40_db(modes):
    result, _ = with_force(*taps(modes, noise_db=-40), RATE, SETTINGS)
    assert len(result["modes"]) == len(modes)
    for found, (hz, damping, stiffness) in zip(result["modes"], modes, strict=True):
        assert found["frequency_hz"] == pytest.approx(hz, rel=0.01)
        assert found["damping_ratio"] == pytest.approx(damping, rel=0.05)
        assert found["stiffness_n_per_m"] == pytest.approx(stiffness, rel=0.05)
        assert (
            abs(found["stiffness_n_per_m"] / stiffness - 1) < 5 * found["stiffness_error"] / stiffness + 0.01
        )


def test_the_modes_go_into_the_stability_prediction():
    result, _ = with_force(*taps(ONE), RATE, TapSettings(record_s=0.45, axis="y"))
    (mode,) = modes_of(result)
    assert (mode.axis, round(mode.frequency_hz)) == ("y", 1450)


def test_a_ring_that_is_cut_short_has_the_windows_damping_taken_off():
    lively = [(600.0, 0.004, 1e7)]
    result, measured = with_force(*taps(lively, apart_s=0.6, hits=3), RATE, TapSettings(record_s=0.15))
    assert measured.added_damping_rate > 0 and "still-ringing" in codes(result)
    assert result["modes"][0]["damping_ratio"] == pytest.approx(0.004, rel=0.05)


def test_h1_and_h2_agree_without_noise_and_coherence_says_so():
    hits = taps(ONE, noise_db=-90)
    _, first = with_force(*hits, RATE, SETTINGS)
    _, second = with_force(*hits, RATE, TapSettings(record_s=0.45, estimator="H2"))
    band = (first.frequency_hz > 1000) & (first.frequency_hz < 2000)
    assert np.max(np.abs(second.receptance[band] / first.receptance[band] - 1)) < 0.01
    assert first.coherence[band].min() > 0.99
    # H1 / H2 is the coherence (Bendat, Piersol, Random Data)
    ratio = np.abs(first.receptance[band] / second.receptance[band])
    assert ratio == pytest.approx(first.coherence[band], abs=1e-9)


def test_double_hits_are_left_out():
    result, _ = with_force(*taps(ONE, double=(1, 3)), RATE, SETTINGS)
    assert [hit["fault"] for hit in result["hits"]] == [None, "double", None, "double", None]
    assert "double-hit" in codes(result)
    assert result["modes"][0]["stiffness_n_per_m"] == pytest.approx(8e6, rel=0.02)


def test_only_double_hits_are_refused_with_the_reason():
    with pytest.raises(RecordingError, match="touched twice"):
        with_force(*taps(ONE, hits=2, double=(0, 1)), RATE, SETTINGS)


def test_overloaded_hits_are_left_out():
    force, response = taps(ONE)
    clipped = np.clip(response, -np.abs(response).max() * 0.9, np.abs(response).max() * 0.9)
    limit = float(np.abs(clipped).max())
    settings = TapSettings(record_s=0.45, response_limit=limit)
    result, _ = with_force(force, clipped, RATE, settings)
    assert "overload" in codes(result)
    assert any(hit["fault"] is None for hit in result["hits"])


def test_one_hit_is_told_to_be_few():
    result, measured = with_force(*taps(ONE, hits=1), RATE, SETTINGS)
    assert "few-hits" in codes(result) and measured.coherence is None


def test_a_sensor_turned_round_is_noticed_and_gives_no_mode():
    force, response = taps(ONE)
    result, _ = with_force(force, -response, RATE, SETTINGS)
    assert "opposite-polarity" in codes(result)
    assert modes_of(result) == ()


def test_without_force_there_is_no_stiffness():
    _, response = taps(THREE, noise_db=-60)
    result = without_force(response, RATE, SETTINGS)
    found = [(mode["frequency_hz"], mode["damping_ratio"]) for mode in result["modes"]]
    for (hz, damping), (true_hz, true_damping, _) in zip(found, THREE, strict=True):
        assert hz == pytest.approx(true_hz, rel=0.005)
        assert damping == pytest.approx(true_damping, rel=0.07)
    assert "no-stiffness" in codes(result)


def test_the_same_response_gives_the_same_modes():
    result, measured = with_force(*taps(ONE), RATE, SETTINGS)
    again = from_response(measured, SETTINGS)
    assert again["modes"] == result["modes"]


@pytest.mark.parametrize(
    ("force", "response"),
    [
        (np.zeros(50_000), np.zeros(50_000)),
        (np.random.default_rng(0).standard_normal(50_000), np.zeros(50_000)),
        (np.full(50_000, np.nan), np.zeros(50_000)),
        (np.zeros(50_000), np.zeros(40_000)),
    ],
)
def test_what_is_no_tap_test_is_refused(force, response):
    with pytest.raises(ShopmonError) as error:
        with_force(force, response, RATE, SETTINGS)
    assert error.value.hint


@pytest.mark.parametrize(
    "bad", [{"lowest_hz": 0.0}, {"lowest_hz": 900.0, "highest_hz": 800.0}, {"record_s": 0.0}, {"axis": "z"}]
)
def test_settings_that_cannot_be(bad):
    with pytest.raises(SettingError):
        TapSettings(**bad)


def test_a_band_above_the_sensor_is_refused():
    with pytest.raises(SettingError):
        without_force(np.random.default_rng(0).standard_normal(5000), 1000.0, TapSettings(lowest_hz=600.0))


def test_hammer_and_sensor_mixed_up_is_thought_of():
    force, response = taps(ONE)
    with pytest.raises(RecordingError) as error:
        with_force(response, force, RATE, SETTINGS)
    assert "--force" in error.value.hint
    with pytest.raises(SettingError, match="same signal"):
        with_force(force, force, RATE, SETTINGS)


def test_a_steady_tone_is_no_hit():
    t = np.arange(int(2 * RATE)) / RATE
    noise = 1e-3 * np.random.default_rng(0).standard_normal(t.size)
    sound = np.sin(2 * np.pi * 700 * t) * (t > 0.1) * (1 + t) + noise
    with pytest.raises(RecordingError):
        without_force(sound, RATE, SETTINGS)


def test_speech_with_two_plosives_is_no_hit():
    with pytest.raises(RecordingError) as error:
        without_force(two_plosives(), RATE, SETTINGS)
    assert error.value.hint


def test_clicks_that_ring_at_nothing_are_no_hits():
    rng = np.random.default_rng(4)
    sound = 1e-3 * rng.standard_normal(int(3 * RATE))
    for at in (0.3, 1.2, 2.1):
        begin = int(at * RATE)
        sound[begin : begin + 120] += rng.standard_normal(120) * np.exp(-np.arange(120) / 25)
    with pytest.raises(RecordingError, match="nothing rang on"):
        without_force(sound, RATE, SETTINGS)


def test_a_second_touch_is_heard_without_a_force_too():
    _, response = taps(ONE, double=(1, 3), noise_db=-60)
    later = int(0.06 * RATE)  # drawn back slowly: the second touch comes when the first has nearly died away
    again = response.copy()
    for hit in (1, 3):
        begin = int((hit * 0.5 + 0.02) * RATE)
        again[begin + later : begin + later + 2000] += 0.5 * response[begin : begin + 2000]
    result = without_force(again, RATE, SETTINGS)
    assert [hit["fault"] for hit in result["hits"]] == [None, "double", None, "double", None]
    assert "double-hit" in codes(result)


@pytest.mark.parametrize("lowest", [300.0, 433.0, 610.0])
def test_a_mode_does_not_depend_on_where_the_search_begins(lowest):
    hits = taps([(900.0, 0.0015, 2e7), (907.0, 0.002, 4e7)], hits=2, apart_s=1.0, seed=3)
    result, _ = with_force(*hits, RATE, TapSettings(record_s=0.95, lowest_hz=lowest))
    assert result["modes"][0]["frequency_hz"] == pytest.approx(900.0, abs=0.3)
    assert result["modes"][0]["damping_ratio"] == pytest.approx(0.0015, rel=0.1)


def test_a_hammer_clipped_below_any_known_limit_is_no_clean_hit():
    force, response = taps(ONE)
    hard = np.clip(force, -100, 100)
    with pytest.raises(RecordingError, match="overloaded") as error:
        with_force(hard, response, RATE, SETTINGS)
    assert error.value.hint.startswith("Hit more lightly")
    one = force.copy()
    first = slice(0, int(0.4 * RATE))
    one[first] = np.clip(force[first], -60, 60)
    result, _ = with_force(one, response, RATE, SETTINGS)
    assert [hit["fault"] for hit in result["hits"]] == ["overload", None, None, None, None]
    assert result["modes"][0]["stiffness_n_per_m"] == pytest.approx(8e6, rel=0.02)


@pytest.mark.parametrize("factor", [1e-3, 1e4])
def test_units_that_cannot_be_are_said(factor):
    force, response = taps(ONE)
    result, _ = with_force(force, factor * response, RATE, SETTINGS)
    assert "odd-stiffness" in codes(result)
    assert "odd-stiffness" not in codes(with_force(force, response, RATE, SETTINGS)[0])

"""Defects of simulated bearings are named, healthy ones left alone, and what cannot be told is said so."""

import numpy as np
import pytest

from shopmon.errors import SettingError, ShopmonError
from shopmon.signals.spindle.bearing_signs import bearing_signs
from shopmon.signals.spindle.bearing_tones import BearingTones, bearing_tones
from tests.bearing_sound import defect_clicks, healthy_sound

RATE, ROTATION = 25_600.0, 41.3
BEARING = bearing_tones(11, 6.0, 34.0, 15.0)


def idle_run(seed: int, defect: str | None = None, click_db: float = -6.0, seconds: float = 3.0):
    rng = np.random.default_rng(seed)
    samples = healthy_sound(rng, RATE, seconds, ROTATION)
    if defect:
        clicks = defect_clicks(rng, defect, BEARING, ROTATION, RATE, seconds)
        samples += clicks / clicks.std() * samples.std() * 10 ** (click_db / 20)
    return samples


def verdicts(samples, stated=60 * ROTATION * 0.988, tones=BEARING):
    return {tone.part: tone.verdict for tone in bearing_signs(samples, RATE, stated, tones).tones}


@pytest.mark.parametrize("defect", ["outer", "inner"])
@pytest.mark.parametrize("seed", range(3))
def test_a_race_is_named_though_the_stated_speed_is_off(defect, seed):
    found = verdicts(idle_run(seed, defect))
    other = {"outer": "inner race", "inner": "outer race"}[defect]
    assert found[f"{defect} race"] == "sign"
    assert found[other] != "sign"


@pytest.mark.parametrize("seed", range(8))
def test_a_healthy_bearing_is_left_alone(seed):
    found = verdicts(idle_run(seed))
    assert found["outer race"] == found["inner race"] == "no-sign"


@pytest.mark.parametrize("seed", range(3))
def test_balls_and_cage_are_never_guessed(seed):
    found = verdicts(idle_run(seed, "ball", 0.0))
    assert found["ball"] == found["cage"] == "cannot-tell"
    assert "sign" not in found.values()


def test_the_true_rotation_is_found():
    signs = bearing_signs(idle_run(1), RATE, 60 * ROTATION * 1.02, BEARING)
    assert signs.rotation_heard
    assert signs.rotation_hz == pytest.approx(ROTATION, rel=1e-3)


def test_noise_has_no_rotation_and_no_defect():
    noise = np.random.default_rng(5).standard_normal(int(3 * RATE))
    signs = bearing_signs(noise, RATE, 60 * ROTATION, BEARING)
    assert not signs.rotation_heard
    assert signs.rotation_hz == ROTATION
    assert all(tone.verdict != "sign" for tone in signs.tones)


@pytest.mark.parametrize("part", ["outer", "inner"])
def test_a_line_that_beats_near_a_bearings_rate_is_no_defect(part):
    samples = idle_run(3)
    t = np.arange(samples.size) / RATE
    beat = 2 * np.pi * getattr(BEARING, part) * ROTATION * 0.995 * t
    samples += 1.5 * (1 + 0.7 * np.cos(beat) + 0.25 * np.cos(2 * beat)) * np.cos(2 * np.pi * 4321.0 * t)
    assert verdicts(samples)[f"{part} race"] == "no-sign"


@pytest.mark.parametrize("mains_hz", [50.0, 60.0])
def test_what_beats_with_the_mains_is_no_defect(mains_hz):
    rng = np.random.default_rng(4)
    samples = healthy_sound(rng, RATE, 3.0, ROTATION)
    t = np.arange(samples.size) / RATE
    hum = sum(np.cos(2 * np.pi * 2 * mains_hz * k * t) for k in (1, 2, 3))
    samples += 1.5 * rng.standard_normal(t.size) * (1 + 0.3 * hum)
    on_the_mains = BearingTones(outer=2 * mains_hz / ROTATION, inner=7.03)
    found = verdicts(samples, stated=60 * ROTATION, tones=on_the_mains)
    assert found["outer race"] == "cannot-tell"


def near_the_ball(defect):
    """Return a bearing of which a ball's own tone lies 1 % beside the outer race's, and its sound."""
    tones = bearing_tones(9, 8.45, 34.0, 0.0)
    tones = BearingTones(outer=tones.outer, inner=tones.inner, ball=1.01 * tones.outer, cage=tones.cage)
    rng = np.random.default_rng(6)
    samples = healthy_sound(rng, RATE, 3.0, ROTATION)
    clicks = defect_clicks(rng, defect, tones, ROTATION, RATE, 3.0)
    return samples + clicks / clicks.std() * samples.std() * 1.4, tones


def test_a_ball_that_clicks_beside_a_races_rate_is_not_called_a_race():
    samples, tones = near_the_ball("ball")
    assert verdicts(samples, tones=tones)["outer race"] != "sign"


def test_a_race_beside_a_balls_rate_is_named_where_nothing_beats_with_the_cage():
    samples, tones = near_the_ball("outer")
    assert verdicts(samples, tones=tones)["outer race"] == "sign"


def test_a_tone_on_a_multiple_of_the_rotation_cannot_be_told():
    found = verdicts(idle_run(2), tones=BearingTones(outer=4.01, inner=6.6))
    assert found["outer race"] == "cannot-tell"


@pytest.mark.parametrize("factor", [1e-6, 1e6, -1.0])
def test_gain_and_polarity_change_nothing(factor):
    samples = idle_run(0, "outer")
    assert verdicts(samples * factor) == verdicts(samples)


@pytest.mark.parametrize(
    ("samples", "rpm"),
    [
        (np.zeros(100_000), 3000.0),
        (np.full(100_000, np.nan), 3000.0),
        (np.random.default_rng(0).standard_normal(1000), 3000.0),
        (np.random.default_rng(0).standard_normal(100_000), 0.0),
        (np.random.default_rng(0).standard_normal(100_000), float("inf")),
        (np.random.default_rng(0).standard_normal(100_000), 60.0),
    ],
)
def test_what_cannot_be_judged_is_refused(samples, rpm):
    with pytest.raises(ShopmonError):
        bearing_signs(samples, RATE, rpm, BEARING)


def test_a_speed_beyond_the_sensor_is_refused():
    with pytest.raises(SettingError, match="too fast"):
        bearing_signs(idle_run(0), RATE, 1e6, BEARING)

"""Defects of simulated bearings are named, healthy ones left alone, and what cannot be told is said so."""

import numpy as np
import pytest

from shopmon.errors import SettingError, ShopmonError
from shopmon.signals.bearing_signs import bearing_signs
from shopmon.signals.bearing_tones import BearingTones, bearing_tones
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

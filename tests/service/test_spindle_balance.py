"""The balance as a calculation: from runs with phase, refused where they do not belong together."""

import numpy as np
import pytest

from shopmon.errors import RecordingError, SettingError
from shopmon.service.measured_signal import MeasuredSignal
from shopmon.service.spindle.balance import TrialWeight, balance_of, trial_from_text
from shopmon.service.spindle.one_run import check_spindle
from tests.signals.test_once_per_turn import RATE, ROTATION, run

RPM = 60 * ROTATION
WEIGHT = TrialWeight(mass_g=1.0, radius_mm=30.0, angle_deg=90.0)


def judged(weights, **options):
    samples, pulses = run(weights, **options)
    return check_spindle(MeasuredSignal(samples, RATE, "g", pulses=pulses), RPM, None)


@pytest.fixture(scope="module")
def runs():
    return judged([(20.0, 70.0)]), judged([(20.0, 70.0), (30.0, 90.0)], seed=4)


def test_imbalance_correction_and_grade(runs):
    told = balance_of(*runs, WEIGHT, mass_kg=4.0)
    assert told["unbalance_g_mm"] == pytest.approx(20.0, rel=0.02)
    assert told["angle_deg"] == pytest.approx(70.0, abs=1.5)
    assert told["correction"]["mass_g"] == pytest.approx(20 / 30, rel=0.02)
    assert told["correction"]["angle_deg"] == pytest.approx(250.0, abs=1.5)
    # G = U ω / m: 20 g mm on 4 kg are 5 µm
    assert told["grade_mm_s"] == pytest.approx(5e-3 * 2 * np.pi * ROTATION, rel=0.03)
    assert told["missing"] == [] and told["cautions"][0].startswith("A trial weight only where")


def test_without_the_mass_there_is_no_grade(runs):
    told = balance_of(*runs, WEIGHT)
    assert told["grade_mm_s"] is None and told["missing"] == ["the mass of all that turns"]


def test_a_third_run_tells_what_is_left(runs):
    after = judged([(20.0, 70.0), (18.0, 250.0)], seed=5)
    told = balance_of(*runs, WEIGHT, after=after, mass_kg=4.0)
    assert told["left_g_mm"] == pytest.approx(2.0, abs=0.6)
    assert told["grade_mm_s"] < 0.2 * told["grade_before_mm_s"]


def test_runs_that_do_not_belong_together_are_refused(runs):
    samples, _ = run([(20.0, 70.0)])
    silent = check_spindle(MeasuredSignal(samples, RATE, "g"), RPM, None)
    assert silent["once"] is None and "phase" in " ".join(silent["balance"]["missing"])
    with pytest.raises(SettingError, match="no phase"):
        balance_of(silent, runs[1], WEIGHT)
    with pytest.raises(SettingError, match="different units"):
        balance_of(runs[0], {**runs[1], "unit": "FS"}, WEIGHT)
    other = {**runs[1], "once": {**runs[1]["once"], "rpm": 1.1 * RPM}}
    with pytest.raises(SettingError, match="one speed"):
        balance_of(runs[0], other, WEIGHT)
    with pytest.raises(RecordingError, match="hardly changed"):
        balance_of(runs[0], judged([(20.0, 70.0)], seed=9), WEIGHT)


@pytest.mark.parametrize("mass", [0.0, -1.0, float("nan"), 1e9])
def test_a_mass_that_cannot_be(runs, mass):
    with pytest.raises(SettingError, match="mass"):
        balance_of(*runs, WEIGHT, mass_kg=mass)


@pytest.mark.parametrize("text", ["", "1", "1:2:3:4", "a:b", "0:30", "1:-3", "nan:30", "1:30:inf", "1,5:30"])
def test_trial_weights_that_cannot_be(text):
    with pytest.raises(SettingError) as error:
        trial_from_text(text)
    assert error.value.hint


def test_a_trial_weight_as_it_is_typed():
    assert trial_from_text("0.8:30:90") == TrialWeight(mass_g=0.8, radius_mm=30.0, angle_deg=90.0)
    assert trial_from_text("0.8:30").angle_deg == 0.0

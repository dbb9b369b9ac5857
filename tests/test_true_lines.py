"""The lines that the benchmark holds a told frequency against."""

from types import SimpleNamespace

import numpy as np
import pytest

from tests.bench.detector import scoring
from tests.bench.detector.true_lines import lines_of

TURN_S, STEPS, TURNS = 0.01, 200, 200


def cut():
    """Two seconds that ring at 737 Hz on x, which wanders up by 10 Hz, and at 1213 Hz on y, on a comb."""
    time = np.arange(TURNS * STEPS) * TURN_S / STEPS
    comb = 5 * np.sin(2 * np.pi * 100 * time)
    x = comb + np.sin(2 * np.pi * (737 + 2.5 * time) * time)
    y = comb + 0.3 * np.sin(2 * np.pi * 1213 * time)
    motion = SimpleNamespace(
        turn_start_s=np.arange(TURNS + 1) * TURN_S, x_m=x.reshape(TURNS, STEPS), y_m=y.reshape(TURNS, STEPS)
    )
    return SimpleNamespace(judged=motion, periods_per_turn=1, chatter_s=[[0.2, 1.8]])


def test_each_moment_has_the_line_of_either_axis():
    rows = lines_of([cut()])
    assert rows[0][0] == pytest.approx(0.2)
    for time_s, *lines in (rows[0], rows[-1]):
        assert min(abs(hz - (737 + 5 * time_s)) for hz in lines) < 1.5
        assert min(abs(hz - 1213) for hz in lines) < 1.5


@pytest.mark.parametrize(("said_hz", "near"), [(740.0, True), (840.0, True), (1213.0, True), (775.0, False)])
def test_a_frequency_is_held_against_what_rang_just_before_the_alarm(said_hz, near):
    truth = {
        "chatter": [{"start_s": 0.2, "end_s": 1.8, "frequency_hz": 742.0}],
        "spindle": {"flutes": 1},
        "plan": {"assembly": {"mill": {"pitch_deg": None}}},
        "case": {"lines": lines_of([cut()]), "turns": [2.0 * step for step in range(200)]},
    }
    answer = {"alarms": [{"at_s": 0.8, "frequency_hz": said_hz}]}
    assert scoring.near_then(scoring.judged(truth, 0.8, answer)) is near

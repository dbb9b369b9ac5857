"""Finding a speed that was not told, or told wrong, and inventing none."""

import numpy as np
import pytest

from shopmon.listening.events import Frame
from tests.listening.hearing import codes, listen, of
from tests.listening.synthetic import RATE_HZ, comb, gate, machine, tone

SECONDS = 7.0
RNG_SEED = 7


def _speeds(events, start_s, end_s):
    return [(f.rpm or 0.0) / 60 for f in of(Frame, events) if start_s < f.sample / RATE_HZ < end_s]


def _hum(seconds, level=0.03, mains_hz=50.0):
    return sum(tone(mains_hz * k, seconds, level / k) for k in range(1, 10))


@pytest.mark.parametrize("flutes", [3, None])
@pytest.mark.parametrize("rotation_hz", [61.0, 143.0])
def test_a_speed_not_told_is_found_in_spite_of_hum(rotation_hz, flutes):
    sound = machine(SECONDS, rotation_hz, engaged=((2.5, 6.5),)) + _hum(SECONDS, 0.02)
    late = _speeds(listen(sound, flutes=flutes), 4.5, 6.4)
    assert late == pytest.approx([rotation_hz] * len(late), rel=1e-3)


@pytest.mark.parametrize("told", [0.8, 0.87, 1.13, 1.2])
def test_a_speed_told_wrong_is_found_and_the_person_is_told(told):
    events = listen(machine(SECONDS, 143.0, engaged=((2.5, 6.5),)), rpm=60 * 143.0 * told, flutes=3)
    late = _speeds(events, 5.0, 6.4)
    assert late == pytest.approx([143.0] * len(late), rel=1e-3)
    assert "speed-contradicted" in codes(events)


@pytest.mark.parametrize("rpm", [None, 7200, 8400])
def test_hum_and_noise_are_no_spindle(rpm):
    rng = np.random.default_rng(RNG_SEED)
    sound = _hum(SECONDS) + 0.005 * rng.standard_normal(int(SECONDS * RATE_HZ))
    sound += gate(SECONDS, ((3.0, 5.0),)) * 0.05 * rng.standard_normal(sound.size)
    assert not any(_speeds(listen(sound, rpm=rpm, flutes=3), 0.0, SECONDS))


def test_the_told_speed_wins_over_a_louder_machine():
    sound = machine(SECONDS, 143.0, engaged=((2.5, 6.5),)) + comb(119.0, SECONDS, flutes=3, level=0.2, seed=5)
    events = listen(sound, rpm=60 * 144.5, flutes=3)
    late = _speeds(events, 4.0, 6.4)
    assert late == pytest.approx([143.0] * len(late), rel=1e-3)
    assert "speed-contradicted" not in codes(events)


@pytest.mark.parametrize("flutes", [3, None])
def test_in_the_cut_the_speed_leaves_a_louder_neighbour_for_the_comb_that_rose(flutes):
    sound = machine(SECONDS, 143.0, engaged=((2.5, 6.5),)) + comb(31.3, SECONDS, flutes=4, level=0.01, seed=5)
    late = _speeds(listen(sound, flutes=flutes), 5.0, 6.4)
    assert late == pytest.approx([143.0] * len(late), rel=1e-3)


def test_a_found_speed_is_believed_less_than_a_told_one():
    sound = machine(SECONDS, 143.0, engaged=((2.5, 6.5),))
    told, found = (
        [f.rpm_confidence for f in of(Frame, listen(sound, rpm=rpm, flutes=3)) if f.engaged][-20]
        for rpm in (8580.0, None)
    )
    assert 0.9 < found < told < 1


def test_tooth_passing_that_swells_in_the_cut_is_no_new_speed():
    sound = machine(SECONDS, 41.0, engaged=((2.5, 6.5),)) + gate(SECONDS, ((2.5, 6.5),)) * sum(
        tone(123.0 * k, SECONDS, 0.3 / k) for k in range(1, 12)
    )
    late = _speeds(listen(sound), 4.5, 6.4)
    assert late == pytest.approx([41.0] * len(late), rel=1e-3)

"""A cut that begins soon after something else, and one that was there from the first moment."""

import numpy as np
import pytest

from shopmon.listening.background import Background
from tests.listening.hearing import alarms, cuts, listen
from tests.listening.synthetic import RATE_HZ, comb, gate, machine

SECONDS = 6.0


def coolant(start_s, level, seed=5):
    """Return broad noise from a time on."""
    noise = np.random.default_rng(seed).standard_normal(round(SECONDS * RATE_HZ))
    return level * noise * gate(SECONDS, [(start_s, SECONDS + 1)])


@pytest.mark.parametrize("lead_s", [0.5, 0.7, 0.9])
def test_a_cut_that_begins_while_coolant_is_still_being_weighed_is_heard(lead_s):
    sound = machine(SECONDS, 150.0, engaged=[(2.0, 5.0)], chatter=[(2.0, 5.0)], chatter_level=0.2)
    events = listen(sound + coolant(2.0 - lead_s, 0.02), rpm=9000, flutes=3)
    (cut,) = cuts(events)
    assert cut.engaged[0][0] / RATE_HZ == pytest.approx(2.0, abs=0.1)
    assert alarms(events)


def test_coolant_that_is_turned_up_twice_is_no_cut():
    sound = machine(SECONDS, 150.0, engaged=[])
    assert not cuts(listen(sound + coolant(2.0, 0.02) + coolant(2.7, 0.06, seed=6), rpm=9000, flutes=3))


def test_a_recording_that_rings_from_its_first_moment_is_alarmed_at_a_speed_not_told():
    sound = machine(SECONDS, 150.0, engaged=[(-1.0, 5.0)], chatter=[(-1.0, 5.0)], chatter_level=0.3)
    (first, *_) = alarms(listen(sound, flutes=3))
    assert first.alarm_sample / RATE_HZ < 5.0


def test_a_recording_that_begins_in_a_quiet_cut_is_not_alarmed():
    sound = machine(SECONDS, 150.0, engaged=[(-1.0, 5.0)])
    assert not alarms(listen(sound, flutes=3))


def test_what_is_doubted_is_believed_again_when_something_rises():
    background = Background()
    background.spectrum_db = np.arange(5, dtype=np.float32)
    background.doubt()
    assert not background.has_spectrum
    background.believe()
    np.testing.assert_array_equal(background.spectrum_db, np.arange(5))


def test_what_was_learned_meanwhile_counts_for_more_than_what_was_doubted():
    background = Background()
    background.spectrum_db = np.arange(5, dtype=np.float32)
    background.doubt()
    background.use(np.ones(5))
    background.believe()
    np.testing.assert_array_equal(background.spectrum_db, np.zeros(5))


def test_a_spindle_that_runs_up_beside_another_machine_that_was_followed_is_no_cut():
    frames = round(SECONDS * RATE_HZ)
    turned = np.cumsum(np.clip((np.arange(frames) / RATE_HZ - 2.0) / 1.2, 0.0, 1.0)) * 200.0 / RATE_HZ
    ours = sum(np.cos(2 * np.pi * order * turned) / order for order in range(1, 20))
    beside = comb(61.0, SECONDS, level=0.01)
    noise = 0.003 * np.random.default_rng(3).standard_normal(frames)
    assert not cuts(listen(beside + noise + 0.02 * ours * (turned > 0)))

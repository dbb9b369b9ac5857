"""What keeps itself going holds its amplitude; what the chips shake is Rayleigh distributed."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import butter, sosfilt

from shopmon.listening.chatter.steadiness import (
    MOST_ODDS,
    PRESUMED,
    SPAN_S,
    STEADY,
    Steadiness,
    span_s,
    swaying,
)
from shopmon.listening.events import ChatterStarted
from tests.listening.hearing import listen, listener, of
from tests.listening.synthetic import RATE_HZ, blocks, gate, machine

LINE_HZ, ROTATION_HZ = 3100.0, 171.3
COUNT = round(SPAN_S * RATE_HZ)
TIME_S = np.arange(COUNT) / RATE_HZ
RAYLEIGH = np.sqrt(4 / np.pi - 1)  # standard deviation over mean of a Rayleigh distribution


def shaken(seconds, width_hz, seed, middle_hz=LINE_HZ):
    """A mode that white noise shakes: noise through a narrow filter, of mean square 1."""
    edges = (middle_hz - width_hz / 2, middle_hz + width_hz / 2)
    filtered = butter(1, edges, "band", fs=RATE_HZ, output="sos")
    white = np.random.default_rng(seed).standard_normal(round((seconds + 0.5) * RATE_HZ))
    mode = sosfilt(filtered, white)[round(0.5 * RATE_HZ) :]
    return mode / np.sqrt(np.mean(mode**2))


def shaken_cut(seconds, bite):
    """A cut whose mode the chips shake, and how the tooth beats it: relatives at its distance.

    One tooth strikes once a turn; the mode is 40 Hz wide.
    """
    cut = machine(seconds, ROTATION_HZ, flutes=1, engaged=bite)
    turns = np.cumsum(np.full(cut.size, ROTATION_HZ / RATE_HZ))
    beaten = 1 + 0.6 * np.cos(2 * np.pi * turns)
    return cut, cut + gate(seconds, bite) * 0.02 * beaten * shaken(seconds, 40.0, 5), beaten


def sways(sound, line_hz=LINE_HZ, rotation_hz=ROTATION_HZ):
    return swaying(sound, RATE_HZ, line_hz, rotation_hz)


@settings(deadline=None, max_examples=30)
@given(line_hz=st.floats(300, 4500), rotation_hz=st.floats(12, 350), grown=st.floats(1, 20))
def test_a_tone_holds_its_amplitude_while_it_grows_too(line_hz, rotation_hz, grown):
    tone = grown ** (TIME_S / SPAN_S) * np.cos(2 * np.pi * line_hz * TIME_S)
    assert sways(tone, line_hz, rotation_hz) < STEADY


def test_noise_through_a_narrow_filter_sways_as_rayleigh_says():
    """Of a Rayleigh distribution standard deviation over mean is sqrt(4/pi - 1); some is taken for growth."""
    found = [sways(shaken(SPAN_S, 40.0, seed)) for seed in range(60)]
    assert 0.75 * RAYLEIGH < np.median(found) < 1.05 * RAYLEIGH
    assert np.quantile(found, 0.1) > STEADY


def test_a_narrow_mode_of_a_slow_spindle_takes_a_longer_span():
    """Within 0.3 s noise of 6 Hz width holds still; beside the long window of 1.6 s it is seen to sway."""
    long_s = span_s(1.6)
    assert span_s(0.4) == SPAN_S < 3 * SPAN_S < long_s
    short = [sways(shaken(SPAN_S, 6.0, seed), rotation_hz=15.9) for seed in range(40)]
    longer = [sways(shaken(long_s, 6.0, seed), rotation_hz=15.9) for seed in range(40)]
    assert np.median(short) < STEADY < np.median(longer)
    time_s = np.arange(round(long_s * RATE_HZ)) / RATE_HZ
    assert sways(np.cos(2 * np.pi * LINE_HZ * time_s), rotation_hz=15.9) < 0.2


@pytest.mark.parametrize("rotation_hz", [17.3, 61.0, 171.3])
def test_lines_of_the_spindle_and_relatives_beside_it_do_not_make_it_sway(rotation_hz):
    line_hz = (round(LINE_HZ / rotation_hz) + 0.37) * rotation_hz
    places = [line_hz + k * rotation_hz for k in (-1, 0, 1)] + [
        (round(line_hz / rotation_hz) + k) * rotation_hz for k in (0, 1)
    ]
    sound = sum(np.cos(2 * np.pi * hz * TIME_S + i) / (1 + i) for i, hz in enumerate(places))
    assert sways(sound, line_hz, rotation_hz) < 0.5 * STEADY


@pytest.mark.parametrize("gain", [1e-4, -1.0, 30.0])
def test_gain_and_polarity_change_nothing(gain):
    sound = shaken(SPAN_S, 40.0, 3)
    assert sways(gain * sound) == pytest.approx(sways(sound), rel=1e-6)


def test_it_takes_a_while_to_doubt_and_less_to_believe_again():
    steady = Steadiness()
    shaking = [steady.look(shaken(SPAN_S, 40.0, seed), RATE_HZ, LINE_HZ, ROTATION_HZ) for seed in range(25)]
    assert shaking[0] == 0.0 and shaking[-1] < -0.5 * MOST_ODDS
    tone = np.cos(2 * np.pi * LINE_HZ * TIME_S)
    ringing = [steady.look(tone, RATE_HZ, LINE_HZ, ROTATION_HZ) for _ in range(6)]
    assert ringing[-1] == 0.0
    again = Steadiness()
    again.restore(steady.snapshot())
    assert again.usual == steady.usual
    again.clear()
    assert again.usual == PRESUMED


def test_a_cut_whose_mode_the_chips_shake_is_no_chatter_and_one_that_rings_is():
    cut, noise, beaten = shaken_cut(14.0, ((2.0, 13.0),))
    told = {"rpm": 60 * ROTATION_HZ, "flutes": 1}
    assert len(of(ChatterStarted, listen(noise, RATE_HZ, **told))) <= 1
    time_s = np.arange(cut.size) / RATE_HZ
    ringing = cut + gate(14.0, ((5.0, 13.0),)) * 0.03 * beaten * np.cos(2 * np.pi * LINE_HZ * time_s)
    (started,) = of(ChatterStarted, listen(ringing, RATE_HZ, **told))
    assert 5.0 < started.sample / RATE_HZ < 6.0


def test_what_the_swaying_adds_is_among_the_parts_that_are_explained():
    sound = machine(6.0, chatter=((3.5, 5.0),))
    ears = listener(rpm=12_000, flutes=3)
    for block in blocks(sound[: int(3.9 * RATE_HZ)], 800):
        ears.chain.doubts.steadiness.usual = 1.0
        ears.chain.doubts.usual_sound.clear()  # else it is known to be new
        ears.feed(block)
    told = ears.explain()
    assert ("it sways, as what the chips shake does", -MOST_ODDS) in told.parts
    assert told.log_odds == pytest.approx(sum(adds for _, adds in told.parts), abs=0.01)

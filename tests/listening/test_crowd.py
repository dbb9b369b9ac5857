"""A crest among crests is no line: voices and motors glide, and hiss has crests of its own."""

import numpy as np
import pytest

from shopmon.listening.chatter.crowd import CROWDED, crowd, in_crowd
from shopmon.listening.events import ChatterStarted
from tests.listening.hearing import listen, listener, of
from tests.listening.synthetic import RATE_HZ, blocks, gate, machine, tone

SECONDS, ROTATION_HZ, FLUTES = 12.0, 15.2, 2
CUT = {"seconds": SECONDS, "rotation_hz": ROTATION_HZ, "engaged": ((3.0, 11.0),), "flutes": FLUTES}
TOLD = {"rpm": 60 * ROTATION_HZ, "flutes": FLUTES}


def gliding(start_hz, stop_hz, level, swing_s):
    """A tone that goes up and down, as a motor under changing load, or a voice."""
    time = np.arange(int(SECONDS * RATE_HZ)) / RATE_HZ
    to_and_fro = np.abs((time / swing_s) % 2 - 1)
    frequency_hz = start_hz + (stop_hz - start_hz) * to_and_fro
    return level * np.sin(2 * np.pi * np.cumsum(frequency_hz) / RATE_HZ)


def heard(sound, seconds):
    ears = listener(**TOLD)
    for block in blocks(sound[: int(seconds * RATE_HZ)]):
        ears.feed(block)
    return ears.chain


def scene_at(sound, seconds):
    return heard(sound, seconds).scene


def family(chatter_hz, level):
    """Chatter as it is told: with relatives at tooth-passing distance to both sides."""
    steps = FLUTES * ROTATION_HZ * np.arange(-2, 3)
    return sum(tone(chatter_hz + step, SECONDS, level / (1 + abs(i - 2))) for i, step in enumerate(steps))


@pytest.mark.parametrize("low_hz", [120, 210, 300, 520])
def test_what_glides_is_a_crowd(low_hz):
    glide = gate(SECONDS, ((5.0, SECONDS),)) * gliding(low_hz, 1.2 * low_hz, 0.05, 0.7)
    chain = heard(machine(**CUT) + glide, 8.0)
    crests = [track for track in chain.strays.tracks if low_hz < track.frequency_hz < 1.2 * low_hz]
    assert in_crowd(crests, chain.scene).mean() > 0.5


def test_chatter_stands_alone():
    ringing = gate(SECONDS, ((5.0, 10.0),)) * family(917.3, 0.05)
    assert crowd(np.array([917.3]), scene_at(machine(**CUT) + ringing, 8.0)) < 0.5 * CROWDED


def test_low_chatter_that_comes_back_from_zero_stands_alone_too():
    """Below the second multiple of tooth passing the family folds over and falls between its own lines."""
    steps = FLUTES * ROTATION_HZ * np.arange(-4, 5)
    folded = sum(tone(abs(71.3 + step), SECONDS, 0.02) for step in steps)
    ringing = gate(SECONDS, ((5.0, 10.0),)) * (folded + tone(71.3, SECONDS, 0.05))
    assert crowd(np.array([71.3]), scene_at(machine(**CUT) + ringing, 8.0)) < 0.5 * CROWDED


def test_a_gliding_motor_beside_a_slow_cut_is_no_chatter():
    glide = gliding(180, 260, 0.04, 0.8) + gliding(360, 520, 0.03, 0.8)
    sound = machine(**CUT) + gate(SECONDS, ((4.0, 10.0),)) * glide
    assert not of(ChatterStarted, listen(sound, RATE_HZ, **TOLD))


def test_a_slow_cut_that_rings_is_chatter():
    sound = machine(**CUT) + gate(SECONDS, ((5.0, 10.0),)) * family(917.3, 0.05)
    (started,) = of(ChatterStarted, listen(sound, RATE_HZ, **TOLD))
    assert 5.0 * RATE_HZ < started.sample < 7.0 * RATE_HZ


def test_a_crest_is_explained_as_one_of_many():
    glide = gate(SECONDS, ((5.0, SECONDS),)) * gliding(210, 260, 0.05, 1.0)
    ears = listener(**TOLD)
    seen = set()
    for block in blocks((machine(**CUT) + glide)[: 9 * int(RATE_HZ)], 800):
        ears.feed(block)
        told = ears.explain()
        seen |= {line.what for line in told.lines if 205 < line.frequency_hz < 265 and not line.counts}
    assert "one of many" in seen

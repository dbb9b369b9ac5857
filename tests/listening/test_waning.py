"""The end of a cut when coolant or another machine sounds on."""

import numpy as np
import pytest

from shopmon.listening.engagement.waning import HOPS, Waning
from tests.listening.hearing import cuts, listen
from tests.listening.synthetic import RATE_HZ, machine


def taken(waning, levels, scores, ringing=False):
    return [
        waning.over(level, lambda s=score: s, ringing) for level, score in zip(levels, scores, strict=True)
    ]


def test_a_fall_of_level_and_score_ends_the_cut_after_some_hops():
    waning = Waning()
    assert not any(taken(waning, [15.0] * 40, [12.0] * 40))
    ends = taken(waning, [8.0] * 10, [-1.0] * 10)
    assert ends.index(True) == HOPS - 1


@pytest.mark.parametrize(
    ("level", "score"), [(8.0, 10.0), (15.0, -1.0), (8.0, None)], ids=["comb stays", "level stays", "mute"]
)
def test_one_of_them_alone_does_not(level, score):
    waning = Waning()
    taken(waning, [15.0] * 40, [12.0] * 40)
    assert not any(taken(waning, [level] * 30, [score] * 30))


def test_chatter_needs_a_deep_fall():
    waning = Waning()
    taken(waning, [15.0] * 40, [6.0] * 40, ringing=True)
    assert not any(taken(waning, [11.0] * 5, [0.0] * 5, ringing=True))
    assert any(taken(waning, [4.0] * 10, [0.0] * 10, ringing=True))


def test_a_cut_whose_comb_never_told_anything_goes_on_through_a_shallow_fall():
    waning = Waning()
    taken(waning, [15.0] * 40, [0.0] * 40)
    assert not any(taken(waning, [11.0] * 30, [-2.0] * 30))


def test_coolant_that_sounds_on_does_not_lengthen_the_cut():
    seconds, end = 9.0, 5.0
    sound = machine(seconds, engaged=((2.0, end),), rate_hz=RATE_HZ)
    level = np.sqrt(np.mean(sound[int(3 * RATE_HZ) : int(4 * RATE_HZ)] ** 2))
    coolant = 0.4 * level * np.random.default_rng(5).standard_normal(sound.size)
    coolant[: int(2.6 * RATE_HZ)] = 0
    (cut,) = cuts(listen((sound + coolant).astype(np.float32), rpm=12_000, flutes=3))
    assert cut.engaged[-1][1] / RATE_HZ == pytest.approx(end, abs=0.06)

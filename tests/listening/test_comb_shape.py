"""What departs from the comb's usual shape is said, once, and is never an alarm by itself."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shopmon.listening.chatter.comb_shape import LASTING_HOPS, CombShape
from shopmon.listening.events import Frame, Notice
from shopmon.listening.rotation.comb_view import CombView
from tests.listening.hearing import alarms, codes, cuts, listen, of
from tests.listening.synthetic import RATE_HZ, comb, gate

RPM, ROTATION_HZ, SECONDS = 12_000, 200.0, 6.0
TIME_S = np.arange(round(SECONDS * RATE_HZ)) / RATE_HZ
SPAN = ((1.5, 5.0),)


def cutting(levels_db, changes=None, *, noise=0.004, spans=SPAN, seed=0):
    """A cut with the given level of each rotation order; `changes` maps an order to dB added from 3.2 s."""
    rng = np.random.default_rng(seed)
    sound = np.zeros(TIME_S.size)
    for order, level_db in enumerate(levels_db, start=1):
        added = (changes or {}).get(order, 0.0) * np.clip((TIME_S - 3.2) / 0.1, 0, 1)
        amplitude = 10 ** ((level_db + added) / 20)
        sound += amplitude * np.cos(2 * np.pi * order * ROTATION_HZ * TIME_S + rng.uniform(0, 6.28))
    idle = comb(ROTATION_HZ, SECONDS, level=0.004, orders=8, seed=7)
    sound = idle + gate(SECONDS, spans) * (sound + 0.01 * rng.standard_normal(sound.size))
    return sound + noise * rng.standard_normal(sound.size)


def shape_db(flutes, orders=12, runout_db=-8.0):
    return [-25.0 - 0.8 * k + (0.0 if k % flutes == 0 else runout_db) for k in range(1, orders + 1)]


def hear(sound, flutes):
    return listen(sound, rpm=RPM, flutes=flutes)


def departures(events):
    return [code for code in codes(events) if code in ("comb-line-changed", "doubling-possible")]


@pytest.mark.parametrize("order", [3, 4, 8])
def test_one_line_that_departs_is_a_notice_and_no_alarm(order):
    events = hear(cutting(shape_db(4), {order: 16.0}), 4)
    assert departures(events) == ["comb-line-changed"] and not alarms(events)
    (said,) = [e for e in of(Notice, events) if e.code == "comb-line-changed"]
    assert f"{order} times the rotation" in said.text and 3.2 < said.sample / RATE_HZ < 4.2


@pytest.mark.parametrize("flutes", [2, 4, 6])
def test_the_whole_half_family_growing_is_told_apart(flutes):
    odd = {k: 16.0 for k in range(flutes // 2, 13, flutes)}
    events = hear(cutting(shape_db(flutes), odd), flutes)
    assert departures(events) == ["doubling-possible"] and not alarms(events)
    doubted = [frame.unsure for frame in of(Frame, events) if 4.3 < frame.sample / RATE_HZ < 4.8]
    assert all(doubted)


@pytest.mark.parametrize("flutes", [2, 3, 4])
def test_a_comb_that_grows_as_a_whole_is_no_departure(flutes):
    growing = {k: 14.0 for k in range(1, 13)}
    events = hear(cutting(shape_db(flutes), growing), flutes)
    assert not departures(events) and not alarms(events) and len(cuts(events)) == 1


@settings(max_examples=12, deadline=None)
@given(
    levels_db=st.lists(st.floats(-55.0, -20.0), min_size=8, max_size=20),
    flutes=st.integers(1, 6),
    seed=st.integers(0, 99),
)
def test_a_comb_whose_shape_holds_still_says_nothing(levels_db, flutes, seed):
    events = hear(cutting(levels_db, seed=seed), flutes)
    assert not alarms(events) and not departures(events)


def test_a_line_that_was_otherwise_in_the_cut_before_is_noticed():
    first = cutting(shape_db(4), spans=((0.8, 5.2),))
    changed = shape_db(4)
    changed[4] += 18.0
    events = hear(np.concatenate([first, cutting(changed)]), 4)
    assert departures(events) == ["comb-line-changed"] and not alarms(events)
    said = next(e for e in of(Notice, events) if e.code == "comb-line-changed")
    assert said.sample / RATE_HZ > SECONDS + 1.5


def view(lines_db, rotation_hz=200.0):
    lines_db = np.asarray(lines_db, dtype=float)
    return CombView(
        rotation_hz=rotation_hz,
        bins=np.arange(1, lines_db.size + 1) * 10,
        lines_db=lines_db,
        floor_db=np.full(lines_db.size, -80.0),
        window_s=0.4,
        bin_hz=20.0,
        contrast_db=20.0,
    )


@settings(deadline=None)
@given(
    steps=st.lists(st.floats(-1.5, 1.5), min_size=150, max_size=150),
    flutes=st.sampled_from([None, 1, 2, 3, 4, 6]),
)
def test_any_common_gain_is_no_departure(steps, flutes):
    shape, level = CombShape(), 0.0
    usual = np.array(shape_db(4))
    for hop, step in enumerate(steps):
        level = max(-20.0, min(level + step, 30.0))
        assert shape.look(view(usual + level), flutes, hop) is None


def test_a_departure_must_last():
    shape, usual = CombShape(), np.array(shape_db(4))
    changed = usual.copy()
    changed[4] += 20.0
    for hop in range(60):
        shape.look(view(usual), 4, hop)
    for hop in range(LASTING_HOPS - 1):
        assert shape.look(view(changed), 4, 60 + hop) is None
    for hop in range(10):
        assert shape.look(view(usual), 4, 80 + hop) is None
    found = [shape.look(view(changed), 4, 100 + hop) for hop in range(30)]
    (said,) = [each for each in found if each]
    assert (said.family, said.order) == (False, 5) and said.over_db == pytest.approx(20.0, abs=1.0)

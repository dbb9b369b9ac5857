"""What a person said of single tones holds from a sample on, and is remembered with the listener."""

import json
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopmon.listening.events import Frame
from shopmon.listening.listener import Listener
from shopmon.listening.preferences import (
    Preferences,
    RejectedTone,
    preferences_as_data,
    preferences_from,
)
from shopmon.listening.setup import ListenerSettings, Setup, setup_as_data, setup_from
from tests.listening.hearing import cuts, of, plain
from tests.listening.synthetic import RATE_HZ, blocks, gate, machine, tone

SETUP = Setup(nominal_rpm=12_000, flutes=3)
SECONDS = 6.0
FAN_HZ = 1437.0
FAN = gate(SECONDS, ((2.5, 5.0),)) * tone(FAN_HZ, SECONDS, 0.05)
SOUND = machine(SECONDS) + FAN

meant = {"family": st.booleans(), "only_with": st.text(max_size=9)}
tones = st.one_of(
    st.builds(RejectedTone, frequency_hz=st.floats(10, 20_000), **meant),
    st.builds(RejectedTone, order=st.floats(0.01, 100), **meant),
)
preferences = st.builds(
    Preferences,
    false_alarms_per_hour=st.none() | st.floats(0.001, 20),
    rejected=st.lists(tones, max_size=5).map(tuple),
    heeded_hz=st.lists(st.floats(10, 20_000), max_size=5).map(tuple),
)


def hear(changes, start=None, sound=SOUND, first_sample=0):
    """Listen with changes of preferences at samples; return the events and the listener."""
    ears = Listener(ListenerSettings(), RATE_HZ, 1, start)
    if start is None:
        ears.change_setup(SETUP, 0)
    for at, wanted in changes:
        ears.change_setup(replace(SETUP, preferences=wanted), at)
    events = [event for block in blocks(sound, first_sample=first_sample) for event in ears.feed(block)]
    return events, ears


def strays(events, from_s=3.5, to_s=4.8):
    """Frequencies of the stray tones shown within a stretch."""
    frames = [frame for frame in of(Frame, events) if from_s < frame.sample / RATE_HZ < to_s]
    return {round(each.frequency_hz) for frame in frames for each in frame.stray}


@given(wanted=preferences)
def test_preferences_survive_as_data(wanted):
    assert preferences_from(json.loads(json.dumps(preferences_as_data(wanted)))) == wanted
    setup = replace(SETUP, preferences=wanted, job="part=hub shell")
    assert setup_from(json.loads(json.dumps(setup_as_data(setup)))) == setup


def test_a_rejected_tone_is_stray_no_more_and_the_cut_goes_on():
    assert 1437 in strays(hear([])[0])
    events, ears = hear([(int(3.2 * RATE_HZ), Preferences(rejected=(RejectedTone(frequency_hz=1438.0),)))])
    assert 1437 in strays(events, 2.9, 3.2) and 1437 not in strays(events)
    assert len(cuts(events + ears.finish())) == 1
    assert [e["origin"] for e in ears.background() if e["id"] == "1438.0-hz"] == ["rejected by the person"]


def test_a_tone_that_is_rejected_with_one_tool_counts_with_another():
    wanted = Preferences(rejected=(RejectedTone(frequency_hz=1438.0, only_with="plum #3"),))
    events, ears = hear([(0, wanted)])
    assert 1437 in strays(events), "another tool is in the spindle"
    assert [e["only_with"] for e in ears.background() if e.get("only_with")] == ["plum #3"]
    ears = Listener(ListenerSettings(), RATE_HZ, 1)
    ears.change_setup(replace(SETUP, preferences=wanted, tool="plum #4"), 0)
    ears.change_setup(replace(SETUP, preferences=wanted, tool="plum #3"), int(3.2 * RATE_HZ))
    events = [event for block in blocks(SOUND) for event in ears.feed(block)]
    assert 1437 in strays(events, 2.9, 3.2) and 1437 not in strays(events)
    assert len(cuts(events + ears.finish())) == 1, "what the tool is called begins no new cut"


def test_a_rejected_order_follows_the_spindle():
    order = FAN_HZ / 200.0
    events, _ = hear([(0, Preferences(rejected=(RejectedTone(order=order),)))])
    assert 1437 not in strays(events)
    faster = machine(SECONDS, 205.0) + gate(SECONDS, ((2.5, 5.0),)) * tone(order * 205.0, SECONDS, 0.05)
    events, _ = hear([(0, Preferences(rejected=(RejectedTone(order=order),)))], sound=faster)
    assert not strays(events)


def test_a_tone_of_the_background_that_is_heeded_counts():
    sound = machine(SECONDS) + tone(FAN_HZ, SECONDS, 0.05)
    assert 1437 not in strays(hear([], sound=sound)[0])
    events, ears = hear([(0, Preferences(heeded_hz=(FAN_HZ,)))], sound=sound)
    assert 1437 in strays(events)
    assert [e["heeded"] for e in ears.background() if abs(e["frequency_hz"] - FAN_HZ) < 1] == [True]


def test_preferences_are_resumed_with_the_listener():
    wanted = Preferences(rejected=(RejectedTone(frequency_hz=1438.0),))
    _, ears = hear([(100, wanted)], sound=SOUND[:24_000])
    later = (40_000, Preferences())
    ears.change_setup(replace(SETUP, preferences=later[1]), later[0])
    state = json.loads(json.dumps(ears.snapshot()))
    rest = SOUND[24_000:]
    expected = [e for block in blocks(rest, first_sample=24_000) for e in ears.feed(block)]
    again, _ = hear([], start=state, sound=rest, first_sample=24_000)
    assert plain(again) == plain(expected)


@pytest.mark.parametrize(
    "make",
    [
        lambda: RejectedTone(),
        lambda: RejectedTone(frequency_hz=100.0, order=2.0),
        lambda: RejectedTone(frequency_hz=float("nan")),
        lambda: RejectedTone(order=0.0),
        lambda: Preferences(false_alarms_per_hour=0.0),
        lambda: Preferences(false_alarms_per_hour=float("nan")),
        lambda: Preferences(heeded_hz=tuple(np.arange(65.0))),
    ],
)
def test_what_cannot_be_is_refused(make):
    with pytest.raises(ValueError):
        make()


def test_how_often_it_may_be_wrong_moves_the_alarm_at_once_and_is_resumed():
    ringing = machine(SECONDS, chatter=((3.5, 5.0),), chatter_level=0.02)
    alarm_at = []
    for wanted in (0.01, 0.1, 10.0):
        _, ears = hear([(0, Preferences(false_alarms_per_hour=wanted))], sound=ringing[: int(4.5 * RATE_HZ)])
        alarm_at.append(ears.explain().alarm_at)
        state = json.loads(json.dumps(ears.snapshot()))
        rest = ringing[ears.cutter.next_sample :]
        first = ears.cutter.next_sample
        expected = [e for block in blocks(rest, first_sample=first) for e in ears.feed(block)]
        again, heard = hear([], start=state, sound=rest, first_sample=first)
        assert plain(again) == plain(expected)
        assert heard.explain().alarm_at == alarm_at[-1]
    assert alarm_at[0] > alarm_at[1] > alarm_at[2]
    _, unasked = hear([], sound=ringing[:16_000])
    assert unasked.explain().alarm_at == alarm_at[1]


@given(
    place=st.floats(300, 4000), rotation=st.floats(20, 400), steps=st.integers(-8, 20), off=st.floats(-1, 1)
)
def test_a_family_is_all_that_lies_in_steps_of_the_rotation(place, rotation, steps, off):
    tone = RejectedTone(frequency_hz=place, family=True)
    width = min(max(4.0, 0.006 * place), rotation / 16)
    relative = np.array([abs(steps * rotation + sign * place) for sign in (1, -1)])
    assert tone.is_at(relative + 0.99 * off * width, rotation).all()
    everywhere = np.arange(10_000.0, 12_000.0, rotation / 97)
    assert tone.is_at(everywhere, rotation).mean() < 0.3, "most pitches stay open to chatter"
    assert not RejectedTone(frequency_hz=place).is_at(everywhere, rotation).any()


def test_a_rejected_family_is_silent_and_other_tones_are_not():
    """A ringing with relatives, a companion that sways beside it, and another tone that is none of them."""
    gated = gate(SECONDS, ((2.5, 5.0),))
    ringing = sum(tone(hz, SECONDS, size) for hz, size in ((1437.0, 0.08), (2037.0, 0.03), (1421.0, 0.02)))
    sound = machine(SECONDS) + gated * (ringing + tone(2690.0, SECONDS, 0.05))
    alone = Preferences(rejected=(RejectedTone(frequency_hz=1437.0),))
    family = Preferences(rejected=(RejectedTone(frequency_hz=1437.0, family=True),))
    assert {1437, 2037, 2690} <= strays(hear([], sound=sound)[0])
    heard = strays(hear([(0, alone)], sound=sound)[0])
    assert {2037, 2690} <= heard and not {1437, 1421} & heard, "its companion goes with the tone"
    assert strays(hear([(0, family)], sound=sound)[0]) == {2690}

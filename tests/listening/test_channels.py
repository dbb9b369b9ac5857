"""Several channels: they help where they can, and one that fails in whatever way does no harm."""

import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shopmon.listening.events import Frame, Notice
from shopmon.listening.intake.channels import Channels
from shopmon.listening.listener import Listener
from shopmon.listening.setup import ListenerSettings
from shopmon.listening.state import learned
from tests.listening.hearing import alarms, chatter, codes, cuts, listen, listener, of, plain
from tests.listening.synthetic import RATE_HZ, blocks, machine

RPM, FLUTES = 12_000, 3
SECONDS = 6.0
RINGING = machine(SECONDS, chatter=((3.5, 5.0),))
TIME_S = np.arange(RINGING.size) / RATE_HZ
RNG = np.random.default_rng(4)
HUM = sum(np.sin(2 * np.pi * 50 * k * TIME_S) / k for k in range(1, 12))
ALONE = listen(RINGING, rpm=RPM, flutes=FLUTES)


def hear(*columns):
    return listen(np.stack(columns, axis=1), rpm=RPM, flutes=FLUTES)


def told(events):
    """Everything but the notices, exactly."""
    return plain(event for event in events if not isinstance(event, Notice))


def without(samples, start_s, end_s):
    """The samples with a stretch in which the channel is dead."""
    dead = slice(round(start_s * RATE_HZ), round(end_s * RATE_HZ))
    out = samples.copy()
    out[dead] = 0.03
    return out


@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
@pytest.mark.parametrize("value", [0.0, 0.2])
def test_a_channel_dead_from_the_start_changes_nothing_at_all(order, value):
    columns = [RINGING, np.full_like(RINGING, value)]
    events = hear(*(columns[i] for i in order))
    assert told(events) == told(ALONE)
    (said,) = [event.text for event in of(Notice, events) if event.code == "channel-dead"]
    assert f"Channel {order.index(1) + 1} " in said


SECOND = 0.3 * RINGING + 0.002 * RNG.standard_normal(RINGING.size)
FAULTS = {
    "dies in the cut": without(SECOND, 2.8, 9.0),
    "dies in chatter": without(SECOND, 4.2, 9.0),
    "gone for a while": without(SECOND, 2.5, 3.2),
    "dies before the cut": without(SECOND, 1.2, 9.0),
    "comes in the cut": without(SECOND, 0.0, 2.7),
    "noise": 0.3 * RNG.standard_normal(RINGING.size),
    "hum": 0.2 * HUM + 0.01 * RNG.standard_normal(RINGING.size),
    "hum that begins in the cut": 0.2 * HUM * (TIME_S > 2.6) + 0.01 * RNG.standard_normal(RINGING.size),
    "clips": np.clip(60 * SECOND, -1, 1),
    "louder by 40 dB": 100 * SECOND,
}


@pytest.mark.parametrize("fault", FAULTS)
@pytest.mark.parametrize("first", [True, False])
def test_a_second_channel_with_a_fault_does_no_harm(fault, first):
    columns = (RINGING, FAULTS[fault]) if first else (FAULTS[fault], RINGING)
    events = hear(*columns)
    ((cut,), (alone,)) = cuts(events), cuts(ALONE)
    assert abs(cut.start_sample - alone.start_sample) < 0.06 * RATE_HZ
    assert abs(cut.end_sample - alone.end_sample) < 0.12 * RATE_HZ
    ((raised,), (expected,)) = alarms(events), alarms(ALONE)
    assert abs(raised.alarm_sample - expected.alarm_sample) <= 0.16 * RATE_HZ
    assert chatter(events)[0].frequency_hz == pytest.approx(1437.0, abs=1.0)
    assert "sensor-clipped" not in codes(events) and "no-input" not in codes(events)


@pytest.mark.parametrize("first", [True, False])
def test_a_channel_that_clips_in_chatter_is_heard_on_where_the_other_hears_nothing(first):
    loud = np.clip(RINGING * np.where((TIME_S > 3.5) & (TIME_S < 5.0), 12.0, 1.0), -1, 1)
    nothing = np.round(RNG.standard_normal(RINGING.size)) / 32768
    events = hear(*((loud, nothing) if first else (nothing, loud)))
    assert len(cuts(events)) == 1 and len(alarms(events)) == 1
    assert "sensor-clipped" in codes(events)


def test_the_good_channel_may_die_while_the_other_lives():
    events = hear(without(RINGING, 2.8, 9.0), SECOND)
    assert len(cuts(events)) == 1
    assert len(alarms(events)) == 1
    # its level is now an estimate, by the two floors; severity is relative to the comb and stays
    assert chatter(events)[0].severity == chatter(ALONE)[0].severity


def test_what_only_one_channel_hears_is_heard():
    """The microphone hears the teeth; only the accelerometer hears the chatter."""
    quiet = machine(SECONDS)
    events = hear(quiet, 0.2 * RINGING)
    assert len(alarms(events)) == 1
    assert not alarms(hear(quiet, 0.2 * quiet))


def test_levels_are_those_of_a_real_channel():
    events = hear(RINGING, 0.01 * RINGING)
    power = {frame.sample: frame.level_db for frame in of(Frame, ALONE)}
    for frame in of(Frame, events)[20:]:
        here = frame.level_db - power[frame.sample]
        assert min(abs(here), abs(here + 40)) < 0.1


@settings(max_examples=8, deadline=None)
@given(at=st.integers(4, 22), size=st.integers(900, 20_000))
def test_two_channels_are_resumed_exactly(at, size):
    columns = np.stack([RINGING, FAULTS["gone for a while"]], axis=1)
    ears = listener(rpm=RPM, flutes=FLUTES, channels=2)
    cut_at = at * 4000
    for block in blocks(columns[:cut_at]):
        ears.feed(block)
    state = json.loads(json.dumps(ears.snapshot()))
    again = Listener(ListenerSettings(), RATE_HZ, 2, state)
    rest = list(blocks(columns[cut_at:], first_sample=cut_at))
    other = list(blocks(columns[cut_at:], size, first_sample=cut_at))
    expected = [event for block in rest for event in ears.feed(block)]
    assert plain(event for block in other for event in again.feed(block)) == plain(expected)


def test_a_channel_is_bad_as_soon_as_part_of_a_hop_is():
    mix = Channels(2, 10)
    hop = RNG.standard_normal((2, 800))
    for _ in range(20):
        mix.check(hop, np.zeros(2, bool), np.zeros(2, int), 8)
    broken = hop.copy()
    broken[1, 500:] = 0.1
    mix.check(broken, np.zeros(2, bool), np.zeros(2, int), 8)
    assert mix.use.tolist() == [True, False]
    for _ in range(7):
        mix.check(hop, np.zeros(2, bool), np.zeros(2, int), 8)
    assert mix.use.tolist() == [True, False]
    mix.check(hop, np.zeros(2, bool), np.zeros(2, int), 8)
    assert mix.use.all()


def test_what_was_learned_with_other_channels_is_left_alone():
    ears = listener(rpm=RPM, flutes=FLUTES, channels=2)
    for block in blocks(np.stack([RINGING, SECOND], axis=1)[:24_000]):
        ears.feed(block)
    mono = Listener(ListenerSettings(), RATE_HZ, 1, learned(ears.snapshot()))
    assert mono.background() == []
    assert len(cuts([e for b in blocks(RINGING) for e in mono.feed(b)] + mono.finish())) == 1

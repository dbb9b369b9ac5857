"""With a tachometer the rotation is known; without one, or with a broken one, everything works as before."""

import numpy as np
import pytest

from shopmon.listening.events import Frame
from shopmon.listening.listener import Listener
from shopmon.listening.setup import ListenerSettings, Setup
from shopmon.signals.block import Block, Channel
from shopmon.signals.sensors.tachometer import edge_codes
from tests.listening.hearing import chatter, codes, cuts, of, plain
from tests.listening.synthetic import RATE_HZ, machine

SECONDS = 6.0


def turns(rotation_hz, seconds=SECONDS):
    return np.arange(0.3 * RATE_HZ, seconds * RATE_HZ - 2, RATE_HZ / rotation_hz)


def with_tach(samples, edges, size=4000):
    sound = np.round(np.clip(samples, -1, 1) * 32767).astype(np.int16)
    columns = np.column_stack([sound, edge_codes(list(edges), len(sound), "int16")])
    for start in range(0, len(columns), size):
        yield Block(
            codes=columns[start : start + size],
            code_format="int16",
            sample_rate_hz=RATE_HZ,
            first_sample=start,
            source_id="t",
            stream_id="t",
            channels=(Channel(kind="accelerometer"), Channel(kind="tachometer")),
        )


def heard(samples, edges, *, rpm=None, flutes=3, size=4000, start=None):
    ears = Listener(ListenerSettings(), RATE_HZ, 1, start)
    ears.change_setup(Setup(nominal_rpm=rpm, flutes=flutes), 0)
    events = [event for block in with_tach(samples, edges, size) for event in ears.feed(block)]
    return events + ears.finish()


def speeds(events, after_s=1.0):
    return [frame.rpm for frame in of(Frame, events) if frame.sample > after_s * RATE_HZ]


@pytest.mark.parametrize("rpm", [None, 12_000.0, 9_000.0])
def test_the_tachometer_is_the_truth_whatever_was_told(rpm):
    events = heard(machine(chatter=((3.5, 5.0),)), turns(200.0), rpm=rpm)
    assert np.array(speeds(events)) == pytest.approx(12_000.0, rel=1e-4)
    (cut,) = cuts(events)
    assert cut.start_sample == pytest.approx(2.0 * RATE_HZ, abs=0.1 * RATE_HZ)
    (event,) = chatter(events)
    assert event.frequency_hz == pytest.approx(1437.0, abs=3.0)
    assert not [code for code in codes(events) if code.startswith(("tach", "speed"))]


def test_a_ramp_is_followed():
    rate = np.linspace(150.0, 220.0, round(SECONDS * RATE_HZ))
    phase = np.cumsum(rate) / RATE_HZ
    edges = np.flatnonzero(np.diff(np.floor(phase))) + 1.0
    events = heard(0.01 * np.random.default_rng(1).standard_normal(phase.size), edges)
    for frame in of(Frame, events):
        if frame.sample > RATE_HZ:
            middle = rate[frame.sample - int(0.2 * RATE_HZ)]
            assert frame.rpm == pytest.approx(60 * middle, rel=2e-3)


def test_two_marks_exactly_opposite_are_told_by_the_told_speed():
    events = heard(machine(), turns(400.0), rpm=12_000.0)
    assert np.array(speeds(events)) == pytest.approx(12_000.0, rel=1e-4)
    assert "tach-two-per-turn" in codes(events)


def test_missing_and_double_pulses_are_said_and_repaired():
    edges = turns(200.0)
    edges = np.delete(edges, np.arange(5, edges.size - 5, 9))
    bounced = np.sort(np.concatenate([edges, edges[3:-3:7] + 4.0]))
    events = heard(machine(), bounced, rpm=12_000.0)
    assert np.array(speeds(events)) == pytest.approx(12_000.0, rel=1e-3)
    assert {"tach-missing", "tach-doubled"} <= set(codes(events))


@pytest.mark.parametrize("edges", [[], "noise", "stops"])
def test_without_good_pulses_the_sound_decides(edges):
    if edges == "noise":
        edges = np.sort(np.random.default_rng(2).uniform(0, SECONDS * RATE_HZ, 900))
    elif edges == "stops":
        edges = turns(200.0, 1.2)
    events = heard(machine(chatter=((3.5, 5.0),)), edges, rpm=12_000.0)
    assert len(cuts(events)) == len(chatter(events)) == 1
    assert speeds(events, 3.0)[0] == pytest.approx(12_000.0, rel=5e-3)


@pytest.mark.parametrize("size", [1, 333, 50_000])
def test_the_sizes_of_blocks_change_nothing(size):
    samples, edges = machine(seconds=2.0, engaged=((1.0, 1.6),)), turns(200.0, 2.0)
    assert plain(heard(samples, edges, size=size)) == plain(heard(samples, edges))


def test_a_saved_state_goes_on_as_if_nothing_had_been():
    samples, edges = machine(), turns(200.0, 4.0)
    whole = Listener(ListenerSettings(), RATE_HZ, 1)
    whole.change_setup(Setup(flutes=3), 0)
    blocks = list(with_tach(samples, edges))
    for block in blocks[:10]:
        whole.feed(block)
    again = Listener(ListenerSettings(), RATE_HZ, 1, whole.snapshot())
    for block in blocks[10:]:
        assert plain(whole.feed(block)) == plain(again.feed(block))


def test_a_state_of_before_there_were_tachometers_is_taken_up():
    ears = Listener(ListenerSettings(), RATE_HZ, 1)
    (first, *rest) = with_tach(machine(), turns(200.0))
    ears.feed(first)
    old = ears.snapshot()
    del old["tach"]
    del old["speed"]["measured"]
    again = Listener(ListenerSettings(), RATE_HZ, 1, old)
    events = [event for block in rest for event in again.feed(block)]
    assert np.array(speeds(events, 2.0)) == pytest.approx(12_000.0, rel=1e-4)

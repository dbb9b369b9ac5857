"""A slower sensor among the channels: where it is deaf it does not count, elsewhere it does."""

import numpy as np
import pytest

from shopmon.listening.intake.channel_sums import interrupted, mean_where, shared_out
from shopmon.listening.listener import Listener
from shopmon.listening.setup import ListenerSettings, Setup
from shopmon.listening.state import learned
from shopmon.signals.block import Block, Channel
from tests.listening.hearing import alarms, chatter, codes, cuts
from tests.listening.synthetic import RATE_HZ, machine

SECONDS = 6.0
BOTH = [Channel(), Channel(kind="accelerometer", source_id="board")]
RNG = np.random.default_rng(4)


def hear(columns, tops=(None, None), source="board"):
    facts = [Channel(top_hz=top, source_id=source if number else None) for number, top in enumerate(tops)]
    samples = np.stack(columns, axis=1)
    ears = Listener(ListenerSettings(), RATE_HZ, facts)
    ears.change_setup(Setup(nominal_rpm=12_000, flutes=3), 0)
    events = []
    for first in range(0, len(samples), 4000):
        part = np.rint(np.clip(samples[first : first + 4000], -1, 1) * 8388607).astype(np.int32)
        events += ears.feed(
            Block(
                codes=part, code_format="int24", sample_rate_hz=float(RATE_HZ), first_sample=first,
                source_id="mic", stream_id="s", channels=tuple(facts),
            )
        )  # fmt: skip
    return events + ears.finish()


def lowpassed(samples, top_hz):
    spectrum = np.fft.rfft(samples)
    spectrum[np.fft.rfftfreq(samples.size, 1 / RATE_HZ) > top_hz] = 0
    return np.fft.irfft(spectrum, samples.size)


def test_chatter_above_a_slow_sensor_is_heard_as_by_the_microphone_alone():
    """The slow sensor hears the teeth very well, so it weighs most; the chatter lies above it."""
    ringing = machine(SECONDS, chatter=((3.0, 4.6),), chatter_hz=2337.0)
    noisy = ringing + 0.02 * RNG.standard_normal(ringing.size)
    slow = lowpassed(machine(SECONDS), 600.0) + lowpassed(1e-4 * RNG.standard_normal(ringing.size), 600.0)
    (expected,) = alarms(hear([noisy], tops=(None,)))
    assert not alarms(hear([slow], tops=(600.0,)))
    (raised,) = alarms(hear([noisy, slow], tops=(None, 600.0)))
    assert raised.frequency_hz == pytest.approx(2337.0, abs=2.0)
    assert abs(raised.alarm_sample - expected.alarm_sample) < 0.2 * RATE_HZ


def test_nobody_hears_less_when_all_hear_everything():
    ringing = machine(SECONDS, chatter=((3.0, 4.6),), chatter_hz=1437.0)
    both = [ringing, 0.2 * ringing + 1e-3 * RNG.standard_normal(ringing.size)]
    told, untold = hear(both, tops=(None, 9000.0)), hear(both)
    assert alarms(told)
    assert [c.alarm_sample for c in alarms(told)] == [c.alarm_sample for c in alarms(untold)]
    assert [(c.start_sample, c.end_sample) for c in cuts(told)] == [
        (c.start_sample, c.end_sample) for c in cuts(untold)
    ]
    assert [c.level_db for c in chatter(told)] == [c.level_db for c in chatter(untold)]


def test_a_source_that_delivers_nothing_is_said_once():
    ringing = machine(SECONDS, chatter=((3.0, 4.6),), chatter_hz=1437.0)
    events = hear([ringing, np.zeros_like(ringing), np.zeros_like(ringing)], tops=(None, None, None))
    assert codes(events).count("source-dead") == 1
    assert "channel-dead" not in codes(events)
    alone = hear([ringing], tops=(None,))
    assert [c.alarm_sample for c in alarms(events)] == [c.alarm_sample for c in alarms(alone)]
    assert [c.level_db for c in chatter(events)] == [c.level_db for c in chatter(alone)]


def test_weights_are_shared_out_where_one_is_deaf():
    hears = np.array([[True, True, True], [True, False, False], [True, True, False]])
    made = shared_out(np.array([0.0, 0.75, 0.25]), np.ones(3, bool), hears)
    assert made[:, 0] == pytest.approx([0, 0.75, 0.25])
    assert made[:, 1] == pytest.approx([0, 0, 1])
    assert made[:, 2] == pytest.approx([1, 0, 0])  # who has no weight is heard before nobody
    nobody = shared_out(np.array([0.5, 0.5]), np.ones(2, bool), np.zeros((2, 1), bool))
    assert nobody[:, 0] == pytest.approx([0.5, 0.5])


def test_means_are_of_what_is_heard():
    rows = np.array([[1.0, 3.0], [5.0, 7.0], [1.0, 1.0]])
    hears = np.array([[True, True], [True, False], [False, False]])
    assert mean_where(rows, hears).tolist() == [2.0, 5.0, 0.0]
    assert mean_where(rows, None).tolist() == [2.0, 6.0, 1.0]


def test_a_hole_within_a_hop_is_seen_and_scattered_zeros_are_not():
    hop = RNG.standard_normal((3, 2400))
    hop[1, 1000:1200] = 0
    hop[2, ::3] = 0
    assert interrupted(hop).tolist() == [False, True, False]


def test_what_was_learned_of_other_channels_is_not_taken_for_these():
    first = Listener(ListenerSettings(), RATE_HZ, BOTH)
    kept = learned(first.snapshot())
    same = Listener(ListenerSettings(), RATE_HZ, BOTH, kept)
    assert same.chain.speed.snapshot() == first.chain.speed.snapshot()
    kept["mix"]["main"] = 1
    turned = [Channel(kind="accelerometer"), Channel(source_id="mic")]
    other = Listener(ListenerSettings(), RATE_HZ, turned, kept)
    assert other.chain.front.channels.main is None
    del kept["of"]  # of an earlier version
    assert Listener(ListenerSettings(), RATE_HZ, 2, kept).chain.front.channels.main == 1

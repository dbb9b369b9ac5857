"""The contracts of the engine: what it hears, and that nothing but the samples decides it."""

import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shopmon.errors import SettingError
from shopmon.listening.events import CutEnded, CutStarted, Frame, Notice
from shopmon.listening.listener import Listener
from shopmon.listening.setup import ListenerSettings, Setup
from shopmon.listening.state import SCHEMA, learned
from tests.listening.hearing import alarms, chatter, codes, cuts, listen, listener, of, plain, states
from tests.listening.synthetic import RATE_HZ, blocks, machine

RPM, FLUTES = 12_000, 3
RINGING = machine(6.5, chatter=((3.5, 5.0),))
SEED = 11


def test_a_quiet_cut_is_a_cut_and_no_chatter():
    events = listen(machine(10.0), rpm=RPM, flutes=FLUTES)
    assert states(events)[-4:] == ["spinning", "cutting", "air-cut", "spinning"]
    (cut,) = cuts(events)
    assert cut.start_sample / RATE_HZ == pytest.approx(2.0, abs=0.06)
    assert cut.end_sample / RATE_HZ == pytest.approx(5.0, abs=0.06)
    assert not alarms(events)


def test_chatter_is_dated_back_and_never_early():
    events = listen(RINGING, rpm=RPM, flutes=FLUTES)
    (raised,) = alarms(events)
    (whole,) = chatter(events)
    assert 3.5 < raised.alarm_sample / RATE_HZ < 4.3
    assert whole.start_sample / RATE_HZ == pytest.approx(3.5, abs=0.2)
    assert whole.end_sample / RATE_HZ == pytest.approx(5.0, abs=0.2)
    assert whole.frequency_hz == pytest.approx(1437.0, abs=1.0)
    assert whole.level_db == pytest.approx(20 * np.log10(0.05), abs=0.5)
    assert whole.kind == "quasi-periodic" and 0.5 < whole.confidence < 1


def test_half_of_tooth_passing_is_period_doubling():
    sound = machine(6.0, chatter=((3.5, 5.0),), chatter_hz=1500.0)
    assert {span.kind for span in chatter(listen(sound, rpm=RPM, flutes=FLUTES))} == {"period-doubling"}


def test_every_event_comes_after_the_samples_it_needs():
    fed, ears = 0, listener(rpm=RPM, flutes=FLUTES)
    for block in blocks(RINGING, 1000):
        fed = block.end_sample
        assert all(event.sample <= fed for event in ears.feed(block))


def test_the_display_may_be_wrong():
    events = listen(RINGING, rpm=RPM * 1.025, flutes=FLUTES)
    late = [frame.rpm for frame in of(Frame, events) if frame.engaged][-5:]
    assert np.median(late) == pytest.approx(RPM, rel=1e-3)
    assert len(alarms(events)) == 1


def test_the_speed_is_found_from_nothing():
    events = listen(machine(10.0, engaged=((4.0, 8.0),), chatter=((6.0, 8.0),)))
    assert len(alarms(events)) == 1
    speeds = [frame.rpm for frame in of(Frame, events) if frame.rpm]
    assert np.median(speeds) == pytest.approx(RPM, rel=2e-3)


def test_a_tone_that_was_there_before_is_no_chatter():
    sound = machine(6.0) + 0.05 * np.sin(2 * np.pi * 1437.0 * np.arange(int(6 * RATE_HZ)) / RATE_HZ)
    ears = listener(rpm=RPM, flutes=FLUTES)
    events = [event for block in blocks(sound) for event in ears.feed(block)] + ears.finish()
    assert not alarms(events)
    tones = {round(entry["frequency_hz"]) for entry in ears.background() if entry["level_db"] > -30}
    assert 1437 in tones and {entry["origin"] for entry in ears.background()} <= {"idle", "air-cut"}


def test_short_gaps_stay_in_one_cut_and_are_not_counted():
    events = listen(machine(12.0, engaged=((2.0, 3.0), (4.0, 5.0), (9.0, 10.0))), rpm=RPM, flutes=FLUTES)
    first, second = cuts(events)
    assert [len(first.engaged), len(second.engaged)] == [2, 1]
    assert first.cut_samples / RATE_HZ == pytest.approx(2.0, abs=0.15)
    assert [first.number, second.number] == [0, 1]


@settings(max_examples=8, deadline=None)
@given(sizes=st.lists(st.one_of(st.integers(1, 40), st.integers(1, 9000)), min_size=1, max_size=60))
def test_block_sizes_change_nothing(sizes):
    sound = RINGING[: int(4.5 * RATE_HZ)]
    expected = plain(listen(sound, rpm=RPM, flutes=FLUTES))
    ears, events, at, turn = listener(rpm=RPM, flutes=FLUTES), [], 0, 0
    while at < len(sound):
        size = sizes[turn % len(sizes)] + (200 if turn > 300 else 0)
        for block in blocks(sound[at : at + size], size, first_sample=at):
            events += ears.feed(block)
        at, turn = at + size, turn + 1
    assert plain(events + ears.finish()) == expected


def test_single_samples_change_nothing():
    sound = RINGING[: int(1.2 * RATE_HZ)]
    assert plain(listen(sound, size=1, rpm=RPM, flutes=FLUTES)) == plain(
        listen(sound, rpm=RPM, flutes=FLUTES)
    )


@settings(max_examples=8, deadline=None)
@given(cut_at=st.integers(1, int(5.5 * RATE_HZ)), known=st.booleans())
def test_a_saved_state_goes_on_exactly(cut_at, known):
    setup = {"rpm": RPM, "flutes": FLUTES} if known else {}
    expected = plain(listen(RINGING, **setup))
    ears = listener(**setup)
    ears.change_setup(Setup(**{"nominal_rpm": RPM, "flutes": FLUTES} if known else {}), 70_000)
    events = [event for block in blocks(RINGING[:cut_at]) for event in ears.feed(block)]
    state = json.loads(json.dumps(ears.snapshot(), allow_nan=True))
    assert state["schema"] == SCHEMA
    again = listener(start=state)
    for block in blocks(RINGING[cut_at:], first_sample=cut_at):
        events += again.feed(block)
    assert plain(events + again.finish()) == expected


def test_a_change_of_setup_belongs_to_a_sample_and_ends_the_cut():
    changed = Setup(nominal_rpm=RPM, flutes=4)
    ahead, just = listener(rpm=RPM, flutes=FLUTES), listener(rpm=RPM, flutes=FLUTES)
    ahead.change_setup(changed, 60_000)
    events, other = [], []
    for block in blocks(machine(), 1000):
        events += ahead.feed(block)
        if block.first_sample == 60_000:
            assert just.change_setup(changed, 60_000) == 60_000
        other += just.feed(block)
    assert plain(events) == plain(other)
    first = next(event for event in events if isinstance(event, CutEnded))
    assert first.cut.end_sample == 60_000
    assert of(CutStarted, events)[1].cut.start_sample == 60_000


def test_what_was_heard_already_stays_as_it_was_heard():
    ears = listener(rpm=RPM, flutes=FLUTES)
    for block in blocks(RINGING[:20_100]):
        ears.feed(block)
    assert ears.change_setup(Setup(flutes=2), 100) >= 20_100


def test_a_gap_closes_what_is_open():
    ears = listener(rpm=RPM, flutes=FLUTES)
    events = [event for block in blocks(RINGING[:72_000]) for event in ears.feed(block)]
    assert alarms(events) and not chatter(events)
    (after,) = blocks(RINGING[:1000], first_sample=100_000)
    events = ears.feed(after)
    assert chatter(events)[0].end_sample <= 72_000
    assert cuts(events)[0].end_sample == 72_000
    assert ears.quality()["gaps"] == 1
    with pytest.raises(ValueError, match="back"):
        ears.feed(after)


@pytest.mark.parametrize("gain_db", [0, -20, -40])
def test_gain_changes_levels_only(gain_db):
    loud = RINGING / np.abs(RINGING).max()
    events = listen(loud * 10 ** (gain_db / 20), rpm=RPM, flutes=FLUTES)
    reference = listen(loud, rpm=RPM, flutes=FLUTES)
    assert states(events) == states(reference)
    assert chatter(events)[0].level_db == pytest.approx(chatter(reference)[0].level_db + gain_db, abs=0.05)
    assert chatter(events)[0].start_sample == chatter(reference)[0].start_sample


@pytest.mark.parametrize("rate_hz", [8_000.0, 11_025.0, 44_100.0, 48_000.0, 96_000.0, 192_000.0])
def test_any_sample_rate(rate_hz):
    sound = machine(6.0, chatter=((3.5, 5.0),), rate_hz=rate_hz)
    events = listen(sound, rate_hz, rpm=RPM, flutes=FLUTES)
    (cut,), (ringing,) = cuts(events), chatter(events)
    assert cut.start_sample / rate_hz == pytest.approx(2.0, abs=0.06)
    assert ringing.frequency_hz == pytest.approx(1437.0, abs=1.0)


def test_order_of_channels_and_a_dead_one_change_nothing():
    rng = np.random.default_rng(SEED)
    columns = [RINGING, np.zeros_like(RINGING), 0.4 * RINGING + 0.001 * rng.standard_normal(RINGING.size)]
    first = listen(np.stack(columns, axis=1), rpm=RPM, flutes=FLUTES)
    for order in ([2, 0, 1], [1, 2, 0]):
        other = listen(np.stack([columns[i] for i in order], axis=1), rpm=RPM, flutes=FLUTES)
        assert plain(without_notices(other)) == plain(without_notices(first))
        assert "channel-dead" in codes(other)
    assert len(chatter(first)) == 1


def without_notices(events):
    return [event for event in events if not isinstance(event, Notice)]


def test_a_dead_channel_beside_a_living_one_costs_no_level():
    both = np.stack([RINGING, np.full_like(RINGING, 0.2)], axis=1)
    alone = chatter(listen(RINGING, rpm=RPM, flutes=FLUTES))[0]
    assert chatter(listen(both, rpm=RPM, flutes=FLUTES))[0].level_db == pytest.approx(alone.level_db, abs=0.1)


@pytest.mark.parametrize("value", [0.0, 0.3, -1.0])
def test_a_constant_is_no_input(value):
    events = listen(np.full(32_000, value), rpm=RPM, flutes=FLUTES)
    assert states(events)[-1] == "no-input"
    assert "no-input" in codes(events) and not cuts(events)


def test_input_that_dies_within_a_cut_closes_the_engagement():
    sound = machine(6.0)
    sound[60_000:] = 0.0
    events = listen(sound, rpm=RPM, flutes=FLUTES)
    assert states(events)[-1] == "no-input"
    assert cuts(events)[0].end_sample / RATE_HZ == pytest.approx(60_000 / RATE_HZ, abs=0.35)


def test_noise_is_neither_spindle_nor_cut():
    rng = np.random.default_rng(SEED)
    loud = rng.standard_normal(int(10 * RATE_HZ)) * np.repeat([0.01, 0.1, 0.01, 0.2, 0.05], int(2 * RATE_HZ))
    for setup in ({}, {"rpm": RPM, "flutes": FLUTES}, {"rpm": 3000, "flutes": 2}):
        events = listen(loud, **setup)
        assert states(events) == ["stopped"]


def test_a_machine_that_starts_beside_the_cut_is_no_chatter():
    from tests.listening.synthetic import comb, gate

    other = comb(47.7, 6.0, flutes=4, level=0.05, seed=5) * gate(6.0, ((3.5, 6.0),))
    assert not alarms(listen(machine(6.0) + other, rpm=RPM, flutes=FLUTES))


def test_overload_is_said_and_doubted():
    events = listen(np.clip(20 * machine(6.0), -1, 1), rpm=RPM, flutes=FLUTES)
    assert "sensor-clipped" in codes(events)
    assert all(frame.unsure for frame in of(Frame, events) if frame.state == "cutting")


def test_broken_samples_are_survived_and_said():
    sound = machine(6.0)
    sound[20_000:20_010] = np.nan
    sound[40_000] = np.inf
    events = listen(sound, rpm=RPM, flutes=FLUTES)
    assert "samples-broken" in codes(events)
    assert len(cuts(events)) == 1
    assert all(
        np.isfinite(frame.level_db) and np.isfinite(frame.spectrum_db).all() for frame in of(Frame, events)
    )


def test_frames_carry_a_spectrum_for_the_page():
    frames = of(Frame, listen(RINGING, rpm=RPM, flutes=FLUTES))
    assert 15 < len(frames) / (len(RINGING) / RATE_HZ) < 25
    spectrum = next(frame for frame in frames if frame.sample > 4.5 * RATE_HZ)
    assert 500 < spectrum.spectrum_db.size <= 1024
    place = 1437.0 / spectrum.spectrum_step_hz
    assert spectrum.spectrum_db[int(place)] == pytest.approx(20 * np.log10(0.05), abs=1.5)


def test_what_was_learned_serves_the_next_stream():
    ears = listener(rpm=RPM, flutes=FLUTES)
    for block in blocks(RINGING[:32_000]):
        ears.feed(block)
    before = learned(json.loads(json.dumps(ears.snapshot())))
    again = Listener(ListenerSettings(), RATE_HZ, 1, before)
    assert again.background() == ears.background()
    assert "front" not in before
    # the new stream begins in the middle of the cut's idle time, far too late to learn anew
    events = [event for block in blocks(RINGING[24_000:]) for event in again.feed(block)] + again.finish()
    assert len(cuts(events)) == 1


@pytest.mark.parametrize("rate_hz", [100.0, 2e6, float("nan")])
def test_a_rate_that_cannot_be_is_refused(rate_hz):
    with pytest.raises(SettingError):
        Listener(ListenerSettings(), rate_hz, 1)


def test_a_state_of_another_kind_is_refused():
    with pytest.raises(SettingError, match="kind"):
        Listener(ListenerSettings(), RATE_HZ, 1, {"schema": "other/1"})
    other = listener().snapshot()
    with pytest.raises(SettingError, match="rate"):
        Listener(ListenerSettings(), 8000.0, 1, other)

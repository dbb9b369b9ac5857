"""Single stages: grouping into cuts, evidence with hysteresis, what makes a stranger, saved arrays."""

import json
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopmon.listening.background import Background
from shopmon.listening.chatter.kinship import kinship, steps_nats
from shopmon.listening.chatter.strays import Track, explain
from shopmon.listening.chatter.suspect import Suspicion, kind_of
from shopmon.listening.chatter.verdict import LEAN, ChatterJudge, alarm_level, evidence_of, severity_of
from shopmon.listening.engagement.cut_book import CutBook
from shopmon.listening.events import ChatterEnded, ChatterStarted, CutEnded, CutStarted
from shopmon.listening.intake.front import Window
from shopmon.listening.setup import ListenerSettings, Setup
from shopmon.listening.state import decode, encode


def track(frequency_hz=1437.0, margin_db=8.0):
    return Track(frequency_hz=frequency_hz, power=1e-3, margin_db=margin_db, since_sample=0)


@given(
    gaps=st.lists(st.integers(1, 300), min_size=1, max_size=20),
    lengths=st.lists(st.integers(1, 200), min_size=20, max_size=20),
)
def test_cuts_are_engagements_with_short_gaps(gaps, lengths):
    book, at, events, total = CutBook(100), 0, [], 0
    for gap, length in zip(gaps, lengths, strict=False):
        events += book.tick(at + gap)
        events += book.touch(at + gap, at + gap)
        at += gap + length
        book.leave(at)
        total += length
    events += book.close(at)
    ended = [event.cut for event in events if isinstance(event, CutEnded)]
    assert len([event for event in events if isinstance(event, CutStarted)]) == len(ended)
    assert len(ended) == 1 + sum(gap >= 100 for gap in gaps[1:])
    assert sum(cut.cut_samples for cut in ended) == total
    assert [cut.number for cut in ended] == list(range(len(ended)))
    spans = [span for cut in ended for span in cut.engaged]
    assert spans == sorted(spans) and all(first[1] <= then[0] for first, then in pairwise(spans))


def suspicion(log_odds):
    return Suspicion(track=track(), log_odds=log_odds)


def test_the_alarm_needs_lasting_evidence_and_does_not_flicker():
    judge, events = ChatterJudge(0.1), []
    strong = suspicion(3.0)
    pattern = [strong] * 12 + [None] * 2 + [strong] * 3 + [None] * 20
    for hop, heard in enumerate(pattern):
        sample = 1000 + 100 * hop
        judge.weigh(heard, sample)
        events += judge.decide(heard, sample, 500, 800)
    kinds = [type(event) for event in events]
    assert kinds == [ChatterStarted, ChatterEnded]
    assert events[0].sample > 1000 + 100
    assert 500 <= events[1].chatter.start_sample < events[0].chatter.alarm_sample


def test_odds_no_better_than_those_of_any_hop_never_add_up_to_an_alarm():
    judge = ChatterJudge(10.0)
    for hop in range(10_000):
        judge.weigh(suspicion(LEAN), hop)
    assert not judge.convinced


def test_a_line_that_stays_doubtful_never_adds_up_to_an_alarm_and_a_plain_one_soon_does():
    judge = ChatterJudge(0.1)
    for hop in range(2000):
        judge.weigh(suspicion(-0.4), hop)
    assert not judge.convinced
    judge.clear()
    for hop in range(4):
        judge.weigh(suspicion(4.0), hop)
    assert judge.convinced


@given(odds=st.floats(-20, 20), more=st.floats(0, 10))
def test_evidence_grows_with_the_odds_and_one_hop_is_not_enough(odds, more):
    weak = evidence_of(suspicion(odds))
    assert weak <= evidence_of(suspicion(odds + more)) < alarm_level(0.1)
    assert evidence_of(None) < 0


def test_fewer_accepted_false_alarms_ask_for_more_evidence():
    levels = [alarm_level(rate) for rate in (0.01, 0.1, 1.0, 10.0)]
    assert levels == sorted(levels, reverse=True) and len(set(levels)) == 4


def test_the_careful_are_spared_what_goes_on_for_long_at_middling_odds():
    alarmed = []
    for rate in (0.001, 0.01, 0.1, 1.0):
        judge = ChatterJudge(rate)
        for hop in range(2000):
            judge.weigh(suspicion(0.5), hop)
        alarmed.append(judge.convinced)
    assert alarmed == [False, False, True, True]


@pytest.mark.parametrize(
    ("frequency_hz", "flutes", "kind"),
    [
        (1500.0, 3, "period-doubling"),
        (1437.0, 3, "quasi-periodic"),
        (900.0, 3, "period-doubling"),
        (1500.0, None, "unclassified"),
    ],
)
def test_kinds_by_the_place_between_tooth_passings(frequency_hz, flutes, kind):
    assert kind_of(frequency_hz, 200.0, flutes, 2.0) == kind


def test_published_multiple_chatter_frequencies_are_one_family():
    # Insperger, Stépán, Bayly, Mann, J. Sound Vib. 262 (2003) 333: lines at ± f_c + k tooth passing. Numbers
    # recomputed by an independent program for 12000 rpm, 2 flutes, 5 % down-milling, 4 mm (Hopf).
    lines = np.array([899.72, 99.72, 300.28, 499.72, 700.28, 1100.28])
    assert kinship(lines, 200.0, 1.0).all()
    assert not kinship(np.array([899.72, 950.0]), 200.0, 1.0)[0, 1]


@given(
    shift_hz=st.floats(-40, 40),
    orders=st.lists(st.integers(1, 15), min_size=3, max_size=6, unique=True),
)
def test_lines_in_steps_of_the_rotation_are_no_chance_and_others_are(shift_hz, orders):
    family = 3000.0 + shift_hz + 200.0 * (np.sort(orders) - 15.0)
    nats = steps_nats(family, 200.0, 1.0, 0.0)
    assert np.allclose(nats, nats.T)
    assert nats[~np.eye(family.size, dtype=bool)] == pytest.approx(np.log(50.0))
    apart = np.array([3000.0, 3000.0 + 67.3])
    assert not steps_nats(apart, 200.0, 1.0, 0.0).any()


def test_at_low_speed_any_distance_is_near_a_multiple_and_tells_nothing():
    assert not steps_nats(np.array([800.0, 816.0, 832.0]), 8.0, 2.0, 0.0).any()


@pytest.mark.parametrize(("before", "after"), [(0.4, 1.6), (1.6, 0.4), (0.8, 0.4), (0.4, 0.8)])
def test_a_background_carried_to_another_window_keeps_its_tones(before, after):
    old, new = Window(12_000.0, before), Window(12_000.0, after)
    background = Background()
    background.spectrum_db = np.full(old.bins, -90.0, dtype=np.float32)
    place = round(1234.0 / old.bin_hz)
    background.spectrum_db[place] = -40.0
    background.fit_to(new)
    assert background.spectrum_db.size == new.bins
    near = slice(round(1230.0 / new.bin_hz), round(1238.0 / new.bin_hz) + 1)
    assert background.around_db[near].max() > -43.0
    assert np.median(background.spectrum_db) == pytest.approx(-90.0)


def test_while_chatter_is_suspected_the_background_is_left_alone_but_not_for_ever():
    judge = ChatterJudge(1.0)
    held = []
    for hop in range(400):
        judge.weigh(suspicion(0.2), hop)
        held.append(judge.suspects)
    assert any(held) and not held[0] and not held[-1]


def test_overtones_of_a_chatter_line_are_its_kin():
    assert kinship(np.array([1156.2, 2312.1, 3468.1]), 134.8, 3.75)[0].all()


def test_severity_is_relative_to_the_comb():
    assert [severity_of(db) for db in (-12, 0, 12)] == ["slight", "clear", "heavy"]


@pytest.mark.parametrize("dtype", [np.float32, np.float64, np.int64, bool])
def test_arrays_survive_json_exactly(dtype):
    array = (np.random.default_rng(1).standard_normal((3, 4)) * 100).astype(dtype)
    back = decode(json.loads(json.dumps(encode({"a": [array, 1.5, None, "x"]}))))["a"]
    assert back[0].dtype == array.dtype and np.array_equal(back[0], array)
    assert back[1:] == [1.5, None, "x"]


@pytest.mark.parametrize(
    "values",
    [{"min_rpm": 0}, {"min_rpm": 9000, "max_rpm": 800}, {"max_rpm": float("nan")}, {"cut_gap_s": -1}],
)
def test_settings_that_cannot_be_are_refused(values):
    with pytest.raises(ValueError, match="not"):
        ListenerSettings(**values)


@pytest.mark.parametrize("values", [{"nominal_rpm": float("nan")}, {"nominal_rpm": -1}, {"flutes": 0}])
def test_setups_that_cannot_be_are_refused(values):
    with pytest.raises(ValueError, match="not between"):
        Setup(**values)


def test_a_line_that_came_with_the_cut_is_not_called_one_that_was_there_before():
    assert "before the tooth met metal" in explain(track(), 200.0, True, onset_sample=0)
    assert "so no chatter" in explain(track(), 200.0, True, onset_sample=1)
    assert "so no chatter" in explain(track(), 200.0, True, onset_sample=None)


def test_chatter_that_only_just_speaks_ends_where_it_was_last_heard():
    judge, started, ended = ChatterJudge(1.0), 0, []
    faint = Suspicion(track=track(), log_odds=LEAN + 1.8)
    for hop, heard in enumerate([faint] * 60 + [None] * 60):
        sample = 1000 * hop
        judge.weigh(heard, sample)
        for event in judge.decide(heard, sample, 0, 8000):
            ended += [event] if isinstance(event, ChatterEnded) else []
            started += isinstance(event, ChatterStarted)
    assert started == len(ended) == 1
    assert ended[0].chatter.end_sample == pytest.approx(59_000, abs=8000)

"""What a belief is made into: cards that keep within limits, steps of the override, and honest chances."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shopmon.cutting.advising import learned as learned_advice
from shopmon.cutting.advising.learned import (
    MOST_SURE,
    Question,
    carried,
    chance,
    frequency_band,
    speed_sheet,
)
from shopmon.cutting.advising.learning import PastCut, first_belief, learn
from shopmon.cutting.advising.one_line import SpeedLimits
from shopmon.cutting.advising.prior import prior_of
from shopmon.cutting.nouns import EndMillType, ToolAssembly
from shopmon.errors import SettingError

CUT = {"flutes": 3, "diameter_mm": 10.0, "milling": "climb", "ae_mm": 2.5}
LIMITS = SpeedLimits(min_rpm=2000.0, max_rpm=18_000.0)


def prior(stickout_mm: float = 30.0):
    return prior_of(ToolAssembly(mill=EndMillType(DC=10.0, NOF=3), stickout_mm=stickout_mm))


@pytest.fixture(scope="module")
def belief():
    """After a cut that rang and one that was quiet."""
    found = first_belief(prior())
    for cut in (
        PastCut(**CUT, rpm=11_800.0, chattered=True, ap_mm=2.0, chatter_hz=1432.6),
        PastCut(**CUT, rpm=14_000.0, chattered=False, ap_mm=1.0),
    ):
        found = learn(found, cut)
    return found


@pytest.fixture(autouse=True)
def coarse(monkeypatch):
    monkeypatch.setattr(learned_advice, "SPEEDS", 12)


@given(
    present=st.one_of(st.none(), st.floats(3000, 16_000)),
    slip=st.floats(0.97, 1.0),
    ap_mm=st.one_of(st.none(), st.floats(0.1, 12.0)),
    top=st.one_of(st.none(), st.floats(4000, 20_000)),
    vc=st.one_of(st.none(), st.floats(60, 800)),
)
@settings(max_examples=10, deadline=None)
def test_no_card_leaves_the_limits(belief, present, slip, ap_mm, top, vc):
    limits = SpeedLimits(max_rpm=top, max_cutting_speed_m_per_min=vc)
    if present is None and top is None:
        with pytest.raises(SettingError):
            Question(**CUT, limits=limits)
        return
    asked = Question(
        **CUT, present_rpm=present, nominal_rpm=present and present / slip, ap_mm=ap_mm, limits=limits,
        feed_mm_min=1800.0,
    )  # fmt: skip
    sheet = speed_sheet(belief, asked)
    highest = limits.highest_rpm(10.0) or present
    cards = [card for card in (*sheet.cards, sheet.surest, sheet.trial) if card]
    assert cards
    for card in cards:
        assert card.rpm <= highest * 1.0001
        assert 0 <= card.probability_quiet <= MOST_SURE
        assert card.reason and card.caution
        if present is not None:
            assert card.command_rpm == pytest.approx(card.rpm / slip, rel=1e-3)
            assert card.feed_mm_min == pytest.approx(1800 * card.rpm / present, rel=1e-2)
            assert ("Speed first" in card.caution) == (card.rpm > 1.015 * present)
            assert ("Feed first" in card.caution) == (card.rpm < 0.985 * present)
        if card.override_percent:
            assert card.override_percent % 10 == 0 and 50 <= card.override_percent <= 120
            assert card.rpm == pytest.approx(present * card.override_percent / 100, rel=1e-4)
        if top is None:
            assert "nothing faster" in card.reason


def test_without_a_cutting_speed_it_does_not_look_far_beyond_the_present_one():
    asked = Question(**CUT, present_rpm=6000.0, limits=SpeedLimits(max_rpm=24_000.0))
    assert asked.bounds_rpm[1] == 9000.0
    told = SpeedLimits(max_rpm=24_000.0, max_cutting_speed_m_per_min=600.0)
    assert Question(**CUT, present_rpm=6000.0, limits=told).bounds_rpm[1] == pytest.approx(19_099, rel=1e-3)


def test_the_chance_falls_with_depth_and_agrees_with_the_map(belief):
    found = speed_sheet(belief, Question(**CUT, present_rpm=11_800.0, limits=LIMITS)).found
    depths = [0.1, 0.3, 1.0, 3.0, 10.0]
    told = [chance(found, 11_800.0, ap) for ap in depths]
    assert told == sorted(told, reverse=True)
    assert chance(found, float(found.rpm[3]), float(found.ap_mm[7])) == pytest.approx(found.probability[3, 7])


def test_the_same_depth_is_looked_at_where_one_is_wanted(belief):
    sheet = speed_sheet(belief, Question(**CUT, present_rpm=11_800.0, ap_mm=2.0, limits=LIMITS))
    cards = {card.aim: card for card in sheet.cards}
    assert cards["same-depth"].ap_mm == 2.0
    assert cards["same-depth"].probability_quiet >= sheet.now.probability_quiet - 0.01
    assert sheet.now.rpm == 11_800.0
    assert sheet.band_mm.shape == (3, 12)
    assert (sheet.band_mm[0] <= sheet.band_mm[2]).all()


def test_nothing_sure_is_said_so():
    hopeless = first_belief(prior(stickout_mm=120.0))
    sheet = speed_sheet(hopeless, Question(**CUT, present_rpm=11_800.0, limits=LIMITS))
    if not sheet.cards:
        assert "Nothing within reach" in sheet.surest.reason


def test_a_longer_stickout_is_carried_over_as_softer_and_slower(belief):
    longer = carried(belief, prior(30.0), prior(45.0))
    here, there = frequency_band(belief)[1], frequency_band(longer)[1]
    assert there == pytest.approx(here * prior(45.0).frequency_hz / prior(30.0).frequency_hz, rel=1e-6)
    asked = Question(**CUT, present_rpm=11_800.0, limits=LIMITS)
    before, after = (speed_sheet(each, asked).band_mm[1] for each in (belief, longer))
    assert after.mean() < before.mean()

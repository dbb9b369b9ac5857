"""From heard chatter to advice in the report."""

from dataclasses import fields

import pytest

from shopmon.cutting.advising.one_line import Advice, SpeedLimits
from shopmon.errors import SettingError
from shopmon.listening.counsel import CutFacts, counsel
from shopmon.listening.setup import Setup

SETUP = Setup(nominal_rpm=12000.0, flutes=3)
SLIGHT = {"start_s": 1.0, "end_s": 2.0, "frequency_hz": 700.0, "level_db": -40.0}
LOUD = {"start_s": 4.0, "end_s": 6.0, "frequency_hz": 1432.6, "level_db": -20.0}
TRACK = [[0.5, 11999.0, 1.0], [1.5, 12000.0, 1.0], [4.5, 11900.0, 1.0], [5.5, 11900.0, 1.0]]


def test_a_quiet_cut_needs_no_advice():
    assert counsel([], TRACK, SETUP, CutFacts()) == []


def test_the_loudest_event_is_advised_on_at_its_own_speed():
    facts = CutFacts(milling="climb", diameter_mm=10.0, ae_mm=1.0, limits=SpeedLimits(max_rpm=24000.0))
    found = counsel([SLIGHT, LOUD], TRACK, SETUP, facts)
    assert set(found[0]) == {field.name for field in fields(Advice)}
    assert "1433 Hz" in found[0]["reason"] and "11900 rpm" in found[0]["reason"]
    assert found[0]["command_rpm"] == pytest.approx(found[0]["rpm"] * 12000 / 11900, rel=1e-4)


def test_without_a_speed_nothing_is_advised():
    (only,) = counsel([LOUD], [], SETUP, CutFacts())
    assert only["action"] == "none"


def test_facts_that_cannot_be_are_refused():
    with pytest.raises(SettingError):
        CutFacts(ae_mm=12.0, diameter_mm=10.0)

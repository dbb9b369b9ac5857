"""Lives out of a real register: censoring, materials, and outlooks for tools in use."""

import pytest

from shopmon.cutting.life.lifetimes import CannotTell
from shopmon.cutting.life.wear import WearForecast
from shopmon.cutting.life.weibull import Remaining
from shopmon.records.archive import Archive
from shopmon.service.mills.life import SEVERAL, ToolLives, tool_lives, wear_of
from tests.records.shop import Shop


@pytest.fixture
def shop(tmp_path):
    """An empty shop."""
    archive = Archive.open(tmp_path / "data", budget_bytes=0, reserve_bytes=0)
    yield Shop(archive)
    archive.close()


def used(shop: Shop, label: str, minutes: float, reason: str | None = None, **said) -> str:
    """Enter a tool that cut so long; a reason retires it."""
    tool_id = shop.mill(label)
    shop.cut(tool_id, 60 * minutes, **{"material": "7075", **said})
    if reason:
        shop.register.retire(tool_id, reason)
    return tool_id


def test_lost_and_still_good_edges_are_censored(shop):
    reasons = ("flank wear", "finish no longer good", "chipped", "broken", "lost", "still good", None)
    for number, reason in enumerate(reasons):
        used(shop, f"#{number}", 10 + number, reason)
    records = ToolLives(shop.register).records
    assert [record.life.cause for record in records] == [*reasons[:4], None, None, None]
    assert [record.life.cut_time_min for record in records] == pytest.approx([10, 11, 12, 13, 14, 15, 16])


def test_the_outlook_rests_on_the_tools_own_material(shop):
    for number, minutes in enumerate((28, 35, 41, 44)):
        used(shop, f"steel #{number}", minutes, "flank wear", material="316")
        used(shop, f"alu #{number}", 5 * minutes, "flank wear")
    steel, alu = used(shop, "steel", 20, material="316"), used(shop, "alu", 20)
    new = used(shop, "brass", 5, material="brass")
    outlooks = ToolLives(shop.register).outlooks
    assert set(outlooks) == {steel, alu, new}
    assert outlooks[steel].rests_on == "6 mm three-flute in 316"
    assert outlooks[steel].remaining.upper_min < outlooks[alu].remaining.lower_min
    assert "all materials together" in outlooks[new].rests_on
    assert outlooks[steel].soon and not outlooks[alu].soon


def test_a_regrind_begins_a_life_of_its_own(shop):
    tool_id = used(shop, "plum", 30)
    used(shop, "other", 25, "chipped")
    shop.register.regrind(tool_id, {"DC": 5.9})
    shop.cut(tool_id, 240.0, material="7075")
    lives = ToolLives(shop.register)
    assert sorted(record.life.cut_time_min for record in lives.records) == pytest.approx([4, 25, 30])
    left = lives.outlooks[tool_id].remaining
    assert isinstance(left, Remaining) and left.age_min == pytest.approx(4) and left.ended == 2


def test_with_one_ended_edge_nothing_is_told(shop):
    used(shop, "#1", 30, "chipped")
    tool_id = used(shop, "#2", 10)
    assert isinstance(ToolLives(shop.register).outlooks[tool_id].remaining, CannotTell)


def test_an_edge_of_two_materials_belongs_to_neither(shop):
    tool_id = used(shop, "#1", 10, "chipped", material="316")
    shop.cut(tool_id, 600.0, material="7075")
    used(shop, "#2", 9)
    shop.cut(shop.register.find("#2").id, 60.0, material="316")
    materials = {record.edge.label: record.material for record in ToolLives(shop.register).records}
    assert materials["#2"] == "7075"  # 9 of 10 minutes
    assert materials["#1"] == "316", "what it cuts after it was retired does not count"
    shop.cut(shop.register.find("#2").id, 600.0, material="316")
    assert {record.edge.label: record.material for record in ToolLives(shop.register).records}[
        "#2"
    ] == SEVERAL


def test_cutting_speed_follows_from_turns_and_diameter(shop):
    used(shop, "#1", 10, nominal_rpm=12000.0)
    used(shop, "#2", 10)
    first, second = (record.life for record in ToolLives(shop.register).records)
    assert first.speed_m_min == pytest.approx(226.19, abs=0.01)  # π · 6 mm · 12 000 rpm
    assert second.speed_m_min is None


def test_what_is_known_of_a_kind(shop):
    for number, (minutes, reason) in enumerate(
        [(20, "flank wear"), (26, "chipped"), (33, "flank wear"), (30, "lost")]
    ):
        used(shop, f"#{number}", minutes, reason)
    lives = ToolLives(shop.register)
    assert lives.kinds() == [(shop.type_id, "6 mm three-flute", "7075", 3, 4)]
    life = lives.kind_life(shop.type_id, "7075")
    assert life.fit.ended == 3 and life.fit.in_use == 1
    assert life.new.lower_min < 26 < life.new.upper_min
    assert set(life.ended_by) == {"flank wear", "chipped"}
    assert sum(life.ended_by.values()) + life.curve.share[-1] == pytest.approx(1)
    assert isinstance(life.taylor, CannotTell) and isinstance(life.chatter, CannotTell)


def test_chatter_that_wears_shortens_the_outlook(shop):
    # invented: half of the edges ring for half of their time and last a third as long
    for number in range(8):
        used(shop, f"quiet #{number}", 55 + number, "flank wear")
        used(shop, f"loud #{number}", 18 + number / 3, "flank wear", chatter_s=60 * (9 + number / 6))
    quiet, loud = used(shop, "quiet", 10), used(shop, "loud", 10, chatter_s=300.0)
    outlooks = ToolLives(shop.register).outlooks
    assert outlooks[quiet].chatter_counts == outlooks[loud].chatter_counts == pytest.approx(5, rel=0.2)
    assert outlooks[loud].remaining.median_min == pytest.approx(10, abs=3)
    assert outlooks[quiet].remaining.median_min == pytest.approx(50, abs=6)


def test_wear_is_carried_on_to_the_persons_limit(shop):
    tool_id = shop.mill("#1")
    tool = shop.register.tool(tool_id)
    assert wear_of(shop.register, tool, shop.register.wear(tool_id)) is None
    for VB in (0.05, 0.09, 0.13):
        shop.cut(tool_id, 600.0)
        shop.register.read_wear(tool_id, {"VB_mm": VB, "spread": "uniform"})
    assert wear_of(shop.register, tool, shop.register.wear(tool_id)) is None, "no limit yet"
    shop.register.add("wear_limits", {"VB_mm": 0.2})
    found = wear_of(shop.register, tool, shop.register.wear(tool_id))
    assert isinstance(found, WearForecast) and found.at_min == pytest.approx(47.5)


def test_lives_are_read_anew_when_something_changed(shop):
    tool_id = used(shop, "#1", 10)
    known = tool_lives(shop.register)
    assert tool_lives(shop.register) is known
    cut_id = shop.cut(tool_id, 60.0, material="7075")
    assert tool_lives(shop.register).records[0].life.cut_time_min == pytest.approx(11)
    shop.archive.add_judgement(cut_id, "not a cut")
    shop.archive.flush(filing=False)
    assert tool_lives(shop.register).records[0].life.cut_time_min == pytest.approx(10)
    shop.register.retire(tool_id, "chipped")
    assert tool_lives(shop.register).records[0].life.cause == "chipped"

"""Choosing the tool in the spindle: what follows from it, what is forgotten, and what is never guessed."""

import pytest

from shopmon.errors import SettingError
from shopmon.records.archive import Archive
from shopmon.service.context import checked_context
from shopmon.service.mills.choice import with_tool
from tests.records.shop import Shop


@pytest.fixture
def shop(tmp_path):
    archive = Archive.open(tmp_path, budget_bytes=0, reserve_bytes=0)
    yield Shop(archive)
    archive.close()


def choose(shop, values, now=None, origin="touched"):
    """Return context and origins after a change."""
    now = now or {}
    said, origins = with_tool(checked_context(values), now, shop.register, origin)
    return {name: value for name, value in {**now, **said}.items() if value is not None}, origins


def test_label_or_id_bring_flutes_holder_and_stickout(shop):
    tool_id = shop.mill("plum #3")
    holder = shop.register.add("holders", {"label": "collet A"})
    shop.register.correct("mill_types", shop.type_id, "RPMX", 24000)
    shop.register.correct("holders", holder, "RPMX", 18000)
    shop.register.assemble(tool_id, {"holder_id": holder, "stickout_mm": 24})
    by_label, origins = choose(shop, {"end_mill": "Plum  #3"}, origin="macro")
    by_id, _ = choose(shop, {"end_mill_id": tool_id})
    by_id_as_label, _ = choose(shop, {"end_mill": tool_id})
    assert (
        by_label
        == by_id
        == by_id_as_label
        == {
            "end_mill": "plum #3",
            "end_mill_id": tool_id,
            "flutes": 3,
            "diameter_mm": 6.0,
            "helix_deg": 38.0,
            "rated_rpm": 18000.0,
            "holder": "collet A",
            "stickout_mm": 24.0,
            "tool_assembly": "plum #3, in collet A, 24 mm out",
        }
    )
    assert set(origins.values()) == {"macro"}


def test_what_was_said_of_the_tool_before_is_forgotten(shop):
    first, second = shop.mill("plum #1"), shop.mill("plum #2")
    now, _ = choose(shop, {"end_mill_id": first})
    now |= {"ap_mm": 2.0, "ae_mm": 1.0, "feed_mm_min": 900.0, "material": "7075", "part": "brake lever"}
    again, _ = choose(shop, {"end_mill_id": first}, now)
    assert again == now, "the same tool once more changes nothing"
    changed, _ = choose(shop, {"end_mill_id": second, "ap_mm": 0.5}, now)
    assert changed["end_mill"] == "plum #2" and changed["ap_mm"] == 0.5
    assert (changed["material"], changed["part"]) == ("7075", "brake lever")
    assert not {"ae_mm", "feed_mm_min"} & set(changed)


def test_the_speed_used_last_with_a_tool_is_a_guess_and_said_to_be_one(shop):
    tool_id = shop.mill("plum #1")
    shop.cut(tool_id, 1.0, nominal_rpm=11000.0)
    found, origins = choose(shop, {"end_mill_id": tool_id}, {"nominal_rpm": 8000.0})
    assert found["nominal_rpm"] == 11000.0 and origins["nominal_rpm"] == "guessed"
    found, origins = choose(shop, {"end_mill_id": tool_id, "nominal_rpm": 9000, "flutes": 2})
    assert (found["nominal_rpm"], found["flutes"]) == (9000.0, 2)
    assert origins["nominal_rpm"] == origins["flutes"] == "touched"
    other = shop.mill("plum #2")
    found, _ = choose(shop, {"end_mill_id": other}, {"nominal_rpm": 8000.0})
    assert found["nominal_rpm"] == 8000.0


def test_a_name_that_nobody_knows_is_kept_as_it_was_said(shop):
    tool_id = shop.mill("plum #1")
    now, _ = choose(shop, {"end_mill_id": tool_id})
    found, _ = choose(shop, {"end_mill": "T7"}, now)
    assert found == {"end_mill": "T7"}, "the flutes of another tool must not be taken for its own"
    again, _ = choose(shop, {"end_mill": "T7"}, {**found, "flutes": 2})
    assert again == {"end_mill": "T7", "flutes": 2}
    with pytest.raises(SettingError) as caught:
        choose(shop, {"end_mill_id": "nobody"})
    assert caught.value.hint


def test_nobody_knows_which_tool(shop):
    now, _ = choose(shop, {"end_mill_id": shop.mill("plum #1")})
    assert choose(shop, {"end_mill": None}, {**now, "material": "316"})[0] == {"material": "316"}
    assert choose(shop, {"end_mill_id": None}, now)[0] == {}


def test_other_changes_leave_the_tool_alone(shop):
    now, _ = choose(shop, {"end_mill_id": shop.mill("plum #1")})
    found, origins = choose(shop, {"material": "316"}, now)
    assert found == {**now, "material": "316"} and origins == {"material": "touched"}

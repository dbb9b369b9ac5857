"""The sound of a tool against its first minutes: matched cuts, verdicts, and what was measured of wear."""

import numpy as np
import pytest

from shopmon.records.archive import Archive
from shopmon.service.mills import condition
from shopmon.service.mills.condition import AS_IT_WAS, CANNOT_TELL, CHANGED, condition_as_data, condition_of
from tests.records.shop import Shop, steady_sound

TOLD = {"material": "7075", "ap_mm": 4.0, "ae_mm": 0.6, "nominal_rpm": 12000.0}


@pytest.fixture
def shop(tmp_path):
    archive = Archive.open(tmp_path / "data", budget_bytes=0, reserve_bytes=0)
    yield Shop(archive)
    archive.close()


def cut_many(shop, tool_id, count, rng, seconds=60.0, told=TOLD, **sound):
    for _ in range(count):
        shop.cut(tool_id, seconds, steady=steady_sound(rng, **sound), wait=False, **told)
    shop.archive.flush(filing=False)


def of(shop, tool_id):
    return condition_of(shop.register, shop.register.tool(tool_id))


def test_a_tool_that_stays_as_it_was(shop):
    plum, rng = shop.mill("plum #1"), np.random.default_rng(3)
    cut_many(shop, plum, 60, rng)
    found = of(shop, plum)
    assert found.verdict == AS_IT_WAS and found.drift.first_cuts == 10
    assert found.sentences[0] == "As it was."
    rests = "From 50 cuts later, held against the first 10 like them (0 to 10 min in the cut)."
    assert found.sentences[1] == rests


def test_a_tooth_that_has_changed_is_called_and_never_called_worn(shop):
    plum, rng = shop.mill("plum #1"), np.random.default_rng(4)
    cut_many(shop, plum, 30, rng)
    cut_many(shop, plum, 15, rng, line1=14.0, line2=12.0)
    found = of(shop, plum)
    assert found.verdict == CHANGED
    assert "evenness of the teeth" in found.sentences[0] and "worn" not in " ".join(found.sentences)
    assert "may be wear, or anything else" in found.sentences[1]
    assert 30 <= condition_as_data(found)["changed_from_min"] < 36


def test_only_like_is_compared_with_like(shop):
    """Other depths, materials and speeds sound otherwise, and the tool has not changed."""
    plum, rng = shop.mill("plum #1"), np.random.default_rng(5)
    for _ in range(20):
        cut_many(shop, plum, 1, rng)
        cut_many(shop, plum, 1, rng, told={**TOLD, "ap_mm": 8.0}, louder=9.0)
        cut_many(shop, plum, 1, rng, told={**TOLD, "material": "316"}, louder=12.0)
        cut_many(shop, plum, 1, rng, rpm=13900.0, louder=-7.0)
        cut_many(shop, plum, 1, rng, told={**TOLD, "stickout_mm": 40.0}, louder=-9.0)
    found = of(shop, plum)
    assert found.verdict == AS_IT_WAS and len(found.cuts) == 20
    assert condition_as_data(found)["conditions"]["stickout_mm"] == 40.0


def test_what_cannot_be_told_says_why(shop):
    plum, rng = shop.mill("plum #1"), np.random.default_rng(6)
    assert of(shop, plum) is None
    shop.cut(plum, 60.0, **TOLD)
    assert "steady and quiet" in of(shop, plum).sentences[0]
    cut_many(shop, plum, 3, rng, told={"material": "7075"})
    assert "Say the material, and the depths" in of(shop, plum).sentences[0]
    cut_many(shop, plum, 4, rng)
    said = of(shop, plum).sentences[0]
    assert said.startswith("Cannot tell: 6 cuts alike") and "so far there are 4" in said
    assert of(shop, plum).verdict == CANNOT_TELL


def test_part_and_operation_or_the_place_in_a_program_stand_for_the_depths(shop):
    rng = np.random.default_rng(7)
    for label, told in (
        ("by job", {"material": "7075", "part": "hub shell", "operation": "bore"}),
        ("by program", {"material": "7075", "program_section": "3 of 9: T5"}),
    ):
        plum = shop.mill(label)
        cut_many(shop, plum, 20, rng, told=told)
        assert of(shop, plum).verdict == AS_IT_WAS


def test_a_regrind_and_a_corrected_credit_begin_anew(shop):
    plum, other, rng = shop.mill("plum #1"), shop.mill("plum #2"), np.random.default_rng(8)
    cut_many(shop, plum, 30, rng)
    wrong = [shop.cut(plum, 60.0, steady=steady_sound(rng, line1=25.0), **TOLD) for _ in range(8)]
    assert of(shop, plum).verdict == CHANGED
    shop.register.credit(wrong, other)
    assert of(shop, plum).verdict == AS_IT_WAS
    shop.register.regrind(plum, {"DC": 5.9})
    assert of(shop, plum) is None
    cut_many(shop, plum, 20, rng, line1=25.0)
    assert of(shop, plum).verdict == AS_IT_WAS


def test_sound_stands_beside_the_wear_that_was_read(shop):
    """Two tools whose teeth become unlike as they wear: that sound and wear go together is what is said."""
    rng = np.random.default_rng(9)
    for label in ("plum #1", "plum #2"):
        plum = shop.mill(label)
        cut_many(shop, plum, 15, rng)
        for step in range(1, 5):
            cut_many(shop, plum, 8, rng, line1=5.0 * step)
            shop.register.read_wear(plum, {"VB_mm": 0.02 + 0.03 * step})
    found = of(shop, plum)
    assert found.relation.readings == 8 and found.relation.bounds[0] > 0
    said = " ".join(found.sentences)
    assert "When flank wear was read as 0.14 mm, after 47 min in the cut, the sound had changed." in said
    related = "In 8 wear readings of this kind the more wear was measured, the further the sound had moved"
    assert related in said
    assert condition_as_data(found)["wear"]["readings"] == 8


def test_few_wear_readings_tell_no_relation(shop):
    plum, rng = shop.mill("plum #1"), np.random.default_rng(10)
    cut_many(shop, plum, 30, rng)
    shop.register.read_wear(plum, {"VB_mm": 0.03})
    assert "cannot be told: 5 different wear readings" in of(shop, plum).sentences[-1]


def test_a_drill_has_no_such_page(shop):
    drill = shop.register.add_tool({"label": "4.2 drill", "kind": "drill", "flutes": 2})
    cut_many(shop, drill, 20, np.random.default_rng(1))
    assert of(shop, drill) is None


def test_many_cuts_are_looked_through(shop):
    plum, rng = shop.mill("plum #1"), np.random.default_rng(11)
    cut_many(shop, plum, 620, rng, seconds=5.0)
    found = of(shop, plum)
    assert len(found.cuts) == condition.FIRST_KEPT + condition.NEWEST_KEPT
    assert found.verdict == AS_IT_WAS and found.drift.first_cuts == 120

"""The register: what is entered, what is refused, and that nothing that stood there is lost."""

import pytest

from shopmon.errors import SettingError
from shopmon.records.tools.fields import REASONS
from tests.records.shop import Shop

JPEG = b"\xff\xd8\xff\xe0" + b"0" * 100


@pytest.fixture
def shop(archive):
    """An invented shop that makes hub shells and brake levers."""
    return Shop(archive)


def test_a_tool_is_what_was_entered(shop):
    tool_id = shop.mill("plum #3")
    tool = shop.register.tool(tool_id)
    assert (tool.label, tool.kind, tool.teeth, tool.diameter_mm) == ("plum #3", "end mill", 3, 6.0)
    assert tool.type.coating == "ZrN" and tool.edge.number == 1 and tool.totals.cuts == 0
    assert shop.register.find("  Plum  #3 ").id == tool_id == shop.register.find(tool_id).id
    assert shop.register.starting_with(tool_id[:8]) == tool_id
    assert shop.register.starting_with("%") is None and shop.register.find("nobody") is None


def test_drills_and_taps_are_a_label_with_kind_and_flutes(shop):
    tool_id = shop.register.add_tool({"label": "M5 tap", "kind": "tap", "flutes": 3})
    tool = shop.register.tool(tool_id)
    assert not tool.is_end_mill and tool.teeth == 3 and tool.type is None
    shop.cut(tool_id, 12.0)
    assert shop.register.tool(tool_id).totals.cut_time_s == 12.0
    assert shop.register.lives() == []


@pytest.mark.parametrize(
    "values",
    [
        {},
        {"label": ""},
        {"label": "  "},
        {"label": "\u200b\x07"},
        {"label": "x" * 61},
        {"label": 7},
        {"label": "a", "colour": "red"},
        {"label": "a", "kind": "spoon"},
        {"label": "a", "flutes": 2.5},
        {"label": "a", "flutes": True},
        {"label": "a", "flutes": float("nan")},
        {"label": "a", "type_id": "no such type"},
        {"label": "a", "type_id": 7},
        {"label": "PLUM  #1"},
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_entered(shop, values):
    shop.mill("plum #1")
    with pytest.raises(SettingError) as caught:
        shop.register.add_tool({"kind": "end mill", **values})
    assert caught.value.hint
    assert len(shop.register.tools()) == 1


@pytest.mark.parametrize(
    "values",
    [
        {"DC": -1},
        {"DC": "6,0"},
        {"NOF": 3, "pitch_deg": [120, 120]},
        {"NOF": 3, "pitch_deg": [100, 120, 140], "pitch": "equal"},
        {"pitch": "crooked"},
        {"FHA": 90},
    ],
)
def test_a_type_that_cannot_be_is_refused(shop, values):
    with pytest.raises(SettingError):
        shop.register.add("mill_types", {"label": "impossible", **values})
    assert [kind.label for kind in shop.register.kinds()] == ["6 mm three-flute"]


def test_a_correction_keeps_what_stood_there(shop):
    tool_id = shop.mill("plum #3")
    shop.register.correct("tools", tool_id, "label", "plum #4", "misread the tube")
    shop.register.correct("mill_types", shop.type_id, "RE", 0.3)
    tool = shop.register.tool(tool_id)
    assert tool.label == "plum #4" and tool.type.RE == 0.3
    (said,) = shop.register.corrections_of(tool_id)
    assert (said["field"], said["value"], said["note"]) == ("label", "plum #4", "misread the tube")
    with shop.archive._engine.connect() as connection:
        kept = connection.exec_driver_sql("SELECT label FROM tools").scalar()
    assert kept == "plum #3"


def test_a_correction_is_checked_like_an_entry(shop):
    first, _ = shop.mill("plum #1"), shop.mill("plum #2")
    for table, row_id, field, value in (
        ("tools", first, "label", "Plum #2"),
        ("tools", first, "label", ""),
        ("tools", first, "sequence", 1),
        ("tools", "nobody", "label", "x"),
        ("tools", first, "type_id", "nothing"),
        ("mill_types", shop.type_id, "DC", 0),
        ("cuts", "x", "keep", True),
    ):
        with pytest.raises(SettingError):
            shop.register.correct(table, row_id, field, value)
    assert shop.register.tool(first).label == "plum #1"


def test_a_regrind_is_a_new_edge_of_the_same_tool(shop):
    tool_id = shop.mill("plum #3")
    shop.cut(tool_id, 60.0)
    shop.register.regrind(tool_id, {"DC": 5.9, "LCF": 12.0, "coating": "none"}, "finish no longer good")
    shop.cut(tool_id, 10.0)
    tool = shop.register.tool(tool_id)
    assert (tool.edge.number, tool.diameter_mm, tool.edge.coating) == (2, 5.9, "none")
    assert (tool.edge_totals.cut_time_s, tool.totals.cut_time_s) == (10.0, 70.0)
    assert tool.retirement is None
    (old, old_totals, ended), (_, _, going) = shop.register.edges(tool_id)
    assert (old.number, old_totals.cut_time_s, ended.reason, going) == (
        1, 60.0, "finish no longer good", None,
    )  # fmt: skip


@pytest.mark.parametrize("reason", REASONS)
def test_retired_and_taken_back(shop, reason):
    tool_id = shop.mill("plum #3")
    shop.register.retire(tool_id, reason, "after the levers")
    assert shop.register.tool(tool_id).retirement.reason == reason
    with pytest.raises(SettingError, match="already"):
        shop.register.retire(tool_id, reason)
    shop.register.take_back(tool_id)
    assert shop.register.tool(tool_id).retirement is None
    with pytest.raises(SettingError, match="not retired"):
        shop.register.take_back(tool_id)
    with pytest.raises(SettingError, match="Reason"):
        shop.register.retire(tool_id, "tired of it")


def test_the_tube_of_a_retired_tool_may_be_used_again(shop):
    old = shop.mill("plum #3")
    shop.register.retire(old, "broken")
    fresh = shop.mill("plum #3")
    assert shop.register.find("plum #3").id == fresh
    with pytest.raises(SettingError, match="there already"):
        shop.register.take_back(old)


def test_one_holder_holds_one_tool(shop):
    first, second = shop.mill("plum #1"), shop.mill("plum #2")
    holder = shop.register.add("holders", {"label": "collet A", "RPMX": 20000})
    shop.register.assemble(first, {"holder_id": holder, "stickout_mm": 24, "runout_um": 4})
    tool = shop.register.tool(first)
    assert tool.assembly_label == "plum #1, in collet A, 24 mm out"
    assert tool.as_assembly.holder.RPMX == 20000 and tool.as_assembly.mill.DC == 6
    shop.register.assemble(second, {"holder_id": holder, "stickout_mm": 30})
    assert shop.register.tool(first).assembly is None, "the holder is in use elsewhere"
    shop.register.assemble(second, {})
    assert shop.register.tool(second).assembly is None
    assert [made.stickout_mm for made in shop.register.assemblies(second)] == [30, None]
    with pytest.raises(SettingError):
        shop.register.assemble(first, {"holder_id": "nothing"})


def test_wear_is_read_at_a_cut_time_and_against_the_persons_own_limit(shop):
    tool_id = shop.mill("plum #3")
    shop.cut(tool_id, 60.0)
    shop.register.read_wear(tool_id, {"VB_mm": 0.05, "operation": "finishing"})
    shop.cut(tool_id, 30.0)
    shop.register.read_wear(tool_id, {"VB_mm": 0.09})
    shop.register.regrind(tool_id, {"DC": 5.9})
    shop.cut(tool_id, 7.0)
    shop.register.read_wear(tool_id, {"VB_mm": 0.01, "spread": "localized"})
    readings = shop.register.wear(tool_id)
    assert [(each.VB_mm, each.cut_time_s) for each in readings] == [(0.05, 60.0), (0.09, 90.0), (0.01, 7.0)]
    assert len({each.edge_id for each in readings}) == 2

    assert shop.register.wear_limit_mm(shop.type_id, "finishing") is None
    shop.register.add("wear_limits", {"VB_mm": 0.3})
    shop.register.add("wear_limits", {"VB_mm": 0.2, "type_id": shop.type_id})
    shop.register.add("wear_limits", {"VB_mm": 0.1, "type_id": shop.type_id, "operation": "finishing"})
    shop.register.add("wear_limits", {"VB_mm": 0.25, "type_id": shop.type_id})
    assert shop.register.wear_limit_mm(shop.type_id, "finishing") == 0.1
    assert shop.register.wear_limit_mm(shop.type_id, "roughing") == 0.25
    assert shop.register.wear_limit_mm(None, "roughing") == 0.3


@pytest.mark.parametrize("wear", [0, -0.1, "0,1", None, float("inf"), True, 11])
def test_wear_that_cannot_be(shop, wear):
    tool_id = shop.mill("plum #3")
    with pytest.raises(SettingError):
        shop.register.read_wear(tool_id, {"VB_mm": wear})
    assert shop.register.wear(tool_id) == []


def test_photographs_are_kept_beside_the_database(shop):
    tool_id = shop.mill("plum #3")
    photo_id = shop.register.add_photo(tool_id, JPEG, "chipped corner")
    path, media_type = shop.register.photo_file(photo_id)
    assert media_type == "image/jpeg" and path.read_bytes() == JPEG
    assert [photo.note for photo in shop.register.photos(tool_id)] == ["chipped corner"]
    for content in (b"", b"<svg onload=alert(1)>", b"GIF89a", JPEG + b"0" * 8 * 2**20):
        with pytest.raises(SettingError):
            shop.register.add_photo(tool_id, content)
    assert len(shop.register.photos(tool_id)) == 1
    path.unlink()
    assert shop.register.photo_file(photo_id) is None and shop.register.photo_file("x") is None


def test_surfaces_are_entered_by_figures_and_grades(shop):
    tool_id = shop.mill("plum #3")
    cut_id = shop.cut(tool_id, 5.0)
    reading = {"tool_id": tool_id, "cut_id": cut_id, "part": "brake lever", "piece": "K7QF", "Ra_um": 0.8}
    shop.register.add("finish_readings", {**reading, "standard": "ISO 21920", "grade": 4})
    (row,) = shop.register.rows("finish_readings", tool_id=tool_id)
    assert (row["piece"], row["Ra_um"], row["grade"], row["Rz_um"]) == ("K7QF", 0.8, 4, None)
    for wrong in ({"Ra_um": 0}, {"cut_id": "nothing"}, {"grade": 1.5}, {"standard": "by eye"}):
        with pytest.raises(SettingError):
            shop.register.add("finish_readings", {**reading, **wrong})


def test_lives_count_what_was_cut_until_the_retirement(shop):
    tool_id = shop.mill("plum #3")
    shop.cut(tool_id, 60.0, material="7075")
    shop.cut(tool_id, 30.0, material="316")
    shop.register.retire(tool_id, "flank wear")
    shop.cut(tool_id, 5.0, material="316")  # used once more in spite of it
    (life,) = shop.register.lives(shop.type_id)
    assert life.retirement.worn
    assert {material: each.cut_time_s for material, each in life.by_material.items()} == {
        "7075": 60.0, "316": 30.0,
    }  # fmt: skip
    assert shop.register.tool(tool_id).totals.cut_time_s == 95.0
    assert shop.register.lives("another type") == []


def test_recent_ones_come_first_and_retired_ones_not_at_all(shop):
    first, second, third = (shop.mill(f"plum #{number}") for number in (1, 2, 3))
    shop.cut(first, 1.0)
    shop.register.retire(second, "lost")
    assert [tool.id for tool in shop.register.recent()] == [first, third]
    assert len(shop.register.recent(1)) == 1


def test_it_is_all_there_after_a_restart(shop, open_archive):
    tool_id = shop.mill("plum #3")
    shop.cut(tool_id, 5.0)
    before = shop.register.tool(tool_id)
    shop.archive.close()
    assert open_archive().register.tool(tool_id) == before

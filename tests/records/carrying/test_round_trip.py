"""Export here, import there: the same verdicts, totals and audio, bit for bit."""

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from shopmon.errors import SettingError, StoreError
from shopmon.records.carrying.packing import measure, pack
from shopmon.records.carrying.unpacking import unpack
from shopmon.records.looking import looking_at
from shopmon.records.tools.tables import metadata
from shopmon.service.cuts.data import one_cut
from tests.records.carrying.filled import PNG, PROGRAM, fill, opened

NOT_CARRIED = {"paired_devices"}


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    """A filled data folder that is not changed."""
    return fill(tmp_path_factory.mktemp("shop") / "data")


def all_rows(root: Path) -> dict[str, list[tuple]]:
    """Return every row of every table as it is stored, and nothing but the note of an import left out."""
    with closing(sqlite3.connect(root / "shopmon.db")) as connection:
        return {
            name: [
                row
                for row in connection.execute(f'SELECT * FROM "{name}" ORDER BY sequence')
                if "An archive was imported" not in str(row)
            ]
            for name in metadata.tables
            if name not in NOT_CARRIED
        }


def files_in(root: Path) -> dict[str, bytes]:
    """Return what lies in the folders that are carried."""
    found = (path for name in ("recordings", "photos", "programs") for path in (root / name).glob("*"))
    return {path.relative_to(root).as_posix(): path.read_bytes() for path in found}


@pytest.mark.parametrize("name", ["shop.zip", "shop-as-a-folder"])
def test_everything_arrives_bit_for_bit(shop, tmp_path, name):
    packed = pack(shop.root, tmp_path / name, with_audio=True)
    taken = unpack(packed.path, tmp_path / "new")
    assert all_rows(tmp_path / "new") == all_rows(shop.root)
    assert files_in(tmp_path / "new") == files_in(shop.root)
    assert taken.merged.added["cuts"] == 3 and not taken.merged.conflicts
    assert (
        len(files_in(shop.root)) == 3 * 2 + 2
    )  # sound, sidecar, figures of two recordings; picture, program
    with looking_at(shop.root) as here, looking_at(tmp_path / "new") as there:
        for cut_id in shop.cut_ids:
            assert one_cut(here, cut_id) == one_cut(there, cut_id)
            assert here.analyses(cut_id) == there.analyses(cut_id)
        assert [(t.id, t.totals) for t in here.register.tools()] == [
            (t.id, t.totals) for t in there.register.tools()
        ]


def test_the_imported_folder_works_like_any_other(shop, tmp_path):
    pack(shop.root, tmp_path / "shop.zip", with_audio=True)
    unpack(tmp_path / "shop.zip", tmp_path / "new")
    archive = opened(tmp_path / "new")
    assert archive.audio_path(shop.cut_ids[0]).is_file()
    assert len(archive.features(shop.cut_ids[0])["t_s"]) > 50
    assert archive.register.photo_file(shop.photo_id)[0].read_bytes() == PNG
    assert archive.programs.path(shop.program_id).read_bytes() == PROGRAM
    assert archive.devices() == []
    assert archive.value("preferences") == {"rejected": [1432.6]}
    archive.close()


def test_it_is_made_while_a_monitor_writes(tmp_path):
    shop = fill(tmp_path / "data")
    archive = opened(shop.root)
    try:
        archive.add_judgement(shop.cut_ids[0], "chatter", "I heard it")
        archive.flush(filing=False)
        packed = pack(shop.root, tmp_path / "shop.zip", with_audio=False)
        assert packed.manifest.rows["judgements"] == 2
    finally:
        archive.close()


def test_an_open_cut_is_left_out_and_said(tmp_path):
    shop = fill(tmp_path / "data")
    archive = opened(shop.root)
    try:
        from tests.records.synthetic import Feed, stream

        feed = Feed(archive, stream(stream_id="running"))
        feed.to(5)
        archive.start_cut("open", "running", 2000, {})
        archive.flush(filing=False)
        packed = pack(shop.root, tmp_path / "shop.zip", with_audio=False)
    finally:
        archive.close()
    assert packed.manifest.rows["cuts"] == 3
    assert any("still going on: 1" in sentence for sentence in packed.manifest.left_out)


def test_without_sound_the_figures_stay_and_the_sound_may_follow(shop, tmp_path):
    pack(shop.root, tmp_path / "silent.zip", with_audio=False)
    pack(shop.root, tmp_path / "whole.zip", with_audio=True)
    unpack(tmp_path / "silent.zip", tmp_path / "new")
    with looking_at(tmp_path / "new") as log:
        cut = log.cut(shop.cut_ids[0])
        assert not cut["has_audio"] and not cut["audio_removed"]
        assert log.features(shop.cut_ids[0]) is not None
    assert not list((tmp_path / "new" / "recordings").glob("*.flac"))
    taken = unpack(tmp_path / "whole.zip", tmp_path / "new")
    assert len(taken.merged.sound_for) == 2 and not taken.merged.conflicts and not taken.merged.added["cuts"]
    assert files_in(tmp_path / "new") == files_in(shop.root)
    assert all_rows(tmp_path / "new")["cuts"] == all_rows(shop.root)["cuts"]


def test_twice_the_same_changes_nothing(shop, tmp_path):
    pack(shop.root, tmp_path / "shop.zip", with_audio=True)
    unpack(tmp_path / "shop.zip", tmp_path / "new")
    before = all_rows(tmp_path / "new")
    taken = unpack(tmp_path / "shop.zip", tmp_path / "new")
    assert all_rows(tmp_path / "new") == before
    assert not taken.merged.added and not taken.merged.conflicts and taken.files == 0


def test_beside_another_shop_what_is_there_stays(shop, tmp_path):
    other = fill(tmp_path / "other")
    archive = opened(other.root)
    archive.add_context("mine", {"nominal_rpm": 9000.0, "flutes": 2}, {})
    archive.flush()
    archive.close()
    before, totals = all_rows(other.root), tool_totals(other.root)
    pack(shop.root, tmp_path / "shop.zip", with_audio=True)
    taken = unpack(tmp_path / "shop.zip", other.root)
    after = all_rows(other.root)
    assert all(set(rows) <= set(after[name]) for name, rows in before.items())
    assert taken.merged.added["cuts"] == 3
    assert any("plum #3" in sentence for sentence in taken.merged.conflicts)  # two tools of one label
    found = tool_totals(other.root)
    assert {key: found[key] for key in totals} == totals
    assert {key: found[key] for key in tool_totals(shop.root)} == tool_totals(shop.root)
    with looking_at(other.root) as log:
        assert log.latest_context() == {"nominal_rpm": 9000.0, "flutes": 2}
        assert log.value("preferences") == {"rejected": [1432.6]}
        assert len(log.value_history("preferences")) == 1 and len(log.value_history("program")) == 2
        assert [cut["id"] for cut in log.cuts()][:3] == shop.cut_ids[::-1]


def tool_totals(root: Path) -> dict:
    """Return seconds in the cut and in chatter of each tool."""
    with looking_at(root) as log:
        return {tool.id: (tool.totals.cut_time_s, tool.totals.chatter_s) for tool in log.register.tools()}


def test_what_was_set_right_on_both_sides_stays_as_here_and_is_named(shop, tmp_path):
    pack(shop.root, tmp_path / "before.zip", with_audio=False)
    for name, note in (("here", "mine"), ("there", "theirs")):
        unpack(tmp_path / "before.zip", tmp_path / name)
        archive = opened(tmp_path / name)
        archive.register.correct("tools", shop.tool_id, "label", f"plum {note}")
        archive.close()
    pack(tmp_path / "there", tmp_path / "after.zip", with_audio=False)
    taken = unpack(tmp_path / "after.zip", tmp_path / "here")
    assert any("set right here and there" in sentence for sentence in taken.merged.conflicts)
    with looking_at(tmp_path / "here") as log:
        assert log.register.tool(shop.tool_id).label == "plum mine"


def test_a_later_export_brings_what_was_said_since(shop, tmp_path):
    pack(shop.root, tmp_path / "first.zip", with_audio=False)
    unpack(tmp_path / "first.zip", tmp_path / "office")
    unpack(tmp_path / "first.zip", tmp_path / "shop")
    archive = opened(tmp_path / "shop")
    archive.register.correct("tools", shop.tool_id, "label", "plum #33")
    archive.close()
    pack(tmp_path / "shop", tmp_path / "second.zip", with_audio=False)
    taken = unpack(tmp_path / "second.zip", tmp_path / "office")
    assert taken.merged.added["corrections"] == 1 and not taken.merged.conflicts
    with looking_at(tmp_path / "office") as log:
        assert log.register.tool(shop.tool_id).label == "plum #33"


def test_one_cut_alone_takes_nothing_of_the_others_along(shop, tmp_path):
    chosen = shop.cut_ids[2]
    packed = pack(shop.root, tmp_path / "cut.zip", with_audio=True, only_cuts=[chosen[:13]])
    unpack(packed.path, tmp_path / "new")
    rows = all_rows(tmp_path / "new")
    assert [row[0] for row in rows["cuts"]] == [chosen]
    assert {row[0] for row in rows["tools"]} == {shop.tool_id, shop.other_tool_id}
    for name in ("stored_values", "beliefs", "listener_states", "kept_spans", "marks"):
        assert rows[name] == [], name
    raw = (tmp_path / "new" / "shopmon.db").read_bytes()
    assert shop.cut_ids[0].encode() not in raw and b"secret-hash" not in raw
    with looking_at(shop.root) as here, looking_at(tmp_path / "new") as there:
        assert one_cut(here, chosen)["analyses"] == one_cut(there, chosen)["analyses"]
        assert here.cut(chosen)["context"] == there.cut(chosen)["context"]


def test_nothing_secret_is_in_an_export(shop, tmp_path):
    packed = pack(shop.root, tmp_path / "out", with_audio=False)
    assert b"secret-hash" not in (packed.path / "shopmon.db").read_bytes()


def test_an_unknown_cut_is_refused(shop, tmp_path):
    with pytest.raises(SettingError, match="no finished cut"):
        pack(shop.root, tmp_path / "cut.zip", with_audio=False, only_cuts=["nothing-like-it"])
    assert not (tmp_path / "cut.zip").exists()


def test_sound_that_vanished_is_said_and_not_promised(tmp_path):
    shop = fill(tmp_path / "data")
    next(shop.root.glob("recordings/*.flac")).unlink()
    packed = pack(shop.root, tmp_path / "shop.zip", with_audio=True)
    assert any("not there any more" in sentence for sentence in packed.manifest.left_out)
    unpack(packed.path, tmp_path / "new")
    with looking_at(tmp_path / "new") as log:
        assert sorted(bool(log.audio_path(cut_id)) for cut_id in shop.cut_ids) == [False, False, True]


def test_the_size_is_known_before(shop):
    size = measure(shop.root)
    assert size.cuts == 3 and size.recordings == 2
    assert size.sound_bytes == sum(len(v) for k, v in files_in(shop.root).items() if "flac" in k)


def test_what_is_there_is_not_overwritten(shop, tmp_path):
    (tmp_path / "shop.zip").write_bytes(b"mine")
    with pytest.raises(StoreError, match="is there already"):
        pack(shop.root, tmp_path / "shop.zip", with_audio=False)
    assert (tmp_path / "shop.zip").read_bytes() == b"mine"


def test_a_running_monitor_is_not_imported_into(shop, tmp_path):
    pack(shop.root, tmp_path / "shop.zip", with_audio=False)
    archive = opened(tmp_path / "busy")
    try:
        with pytest.raises(StoreError, match="Another monitor"):
            unpack(tmp_path / "shop.zip", tmp_path / "busy")
    finally:
        archive.close()

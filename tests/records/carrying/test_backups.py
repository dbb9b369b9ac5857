"""Dated backups: safe, read back, thinned, and the sound only once."""

import shutil
import sqlite3
from contextlib import closing

import pytest

from shopmon.errors import StoreError
from shopmon.records.carrying.backing_up import back_up_database, back_up_into
from shopmon.records.carrying.containers import opened_archive
from shopmon.records.carrying.unpacking import unpack
from tests.records.carrying.filled import fill, opened
from tests.records.carrying.test_round_trip import all_rows, files_in

NOON_S = 1_790_000_000.0


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    """A filled data folder that is not changed."""
    return fill(tmp_path_factory.mktemp("shop") / "data")


def backed_up(shop, folder, number=0, **options):
    """Make a backup at a time of its own."""
    options = {"with_audio": False, "keep": 0, **options}
    return back_up_into(shop.root, folder, now_s=lambda: NOON_S + number, **options)


def test_the_sound_is_copied_once_and_comes_back(shop, tmp_path):
    first = backed_up(shop, tmp_path / "stick", 0, with_audio=True)
    second = backed_up(shop, tmp_path / "stick", 1, with_audio=True)
    assert (first.sound_new, first.sound_known) == (4, 0) and (second.sound_new, second.sound_known) == (0, 4)
    assert second.bytes < 100_000
    unpack(second.path, tmp_path / "new")
    assert all_rows(tmp_path / "new") == all_rows(shop.root)
    assert files_in(tmp_path / "new") == files_in(shop.root)


def test_an_archive_without_its_sound_beside_it_still_comes_in(shop, tmp_path):
    made = backed_up(shop, tmp_path / "stick", with_audio=True)
    shutil.move(made.path, tmp_path / "alone.zip")
    taken = unpack(tmp_path / "alone.zip", tmp_path / "new")
    assert len(taken.missing) == 2
    archive = opened(tmp_path / "new")
    assert archive.audio_path(shop.cut_ids[0]) is None and archive.cut(shop.cut_ids[0])["cut_time_s"] == 8.0
    archive.close()
    taken = unpack(made.path if made.path.exists() else _back(made, tmp_path), tmp_path / "new")
    assert len(taken.merged.sound_for) == 2


def _back(made, tmp_path):
    return shutil.copy(tmp_path / "alone.zip", made.path)


def test_damaged_sound_on_the_stick_is_copied_anew(shop, tmp_path):
    backed_up(shop, tmp_path / "stick", 0, with_audio=True)
    spoilt = next((tmp_path / "stick" / "recordings").glob("*.flac"))
    good = spoilt.read_bytes()
    spoilt.write_bytes(good[:-1] + bytes([good[-1] ^ 1]))
    assert backed_up(shop, tmp_path / "stick", 1, with_audio=True).sound_new == 1
    assert spoilt.read_bytes() == good


def test_old_copies_go_and_nothing_else(shop, tmp_path):
    (tmp_path / "stick").mkdir()
    (tmp_path / "stick" / "holiday.zip").write_bytes(b"mine")
    made = [backed_up(shop, tmp_path / "stick", number, keep=2) for number in range(4)]
    assert [m.path.exists() for m in made] == [False, False, True, True]
    assert made[3].removed == (made[1].path,)
    assert (tmp_path / "stick" / "holiday.zip").read_bytes() == b"mine"


def test_two_in_one_second(shop, tmp_path):
    assert backed_up(shop, tmp_path / "stick").path != backed_up(shop, tmp_path / "stick").path


def test_a_running_monitor_is_backed_up(shop, tmp_path):
    own = fill(tmp_path / "data")
    archive = opened(own.root)
    try:
        archive.add_judgement(own.cut_ids[0], "chatter")
        archive.flush(filing=False)
        made = back_up_database(own.root, tmp_path / "copy.db")
        assert made.rows["judgements"] == 2
    finally:
        archive.close()
    with closing(sqlite3.connect(tmp_path / "copy.db")) as connection:
        assert connection.execute("PRAGMA journal_mode").fetchone()[0] == "delete"
        assert connection.execute("SELECT count(*) FROM paired_devices").fetchone()[0] == 1


def test_not_into_the_data_folder(shop):
    with pytest.raises(StoreError, match="lies in the data folder"):
        backed_up(shop, shop.root / "backups")


def test_a_folder_without_a_log(tmp_path):
    with pytest.raises(StoreError, match="There is no log"):
        back_up_into(tmp_path / "nothing", tmp_path / "stick", with_audio=False, keep=0)
    assert list((tmp_path / "stick").iterdir()) == []


def test_a_damaged_log_is_no_backup(tmp_path):
    own = fill(tmp_path / "data")
    raw = bytearray((own.root / "shopmon.db").read_bytes())
    raw[4096 * 3 : 4096 * 20] = b"\xff" * (4096 * 17)
    (own.root / "shopmon.db").write_bytes(raw)
    with pytest.raises(StoreError, match="The database cannot be used"):
        backed_up(own, tmp_path / "stick")
    assert list((tmp_path / "stick").glob("*")) == []


def test_what_is_in_it_is_said(shop, tmp_path):
    made = backed_up(shop, tmp_path / "stick")
    with opened_archive(made.path) as archive:
        assert archive.manifest.rows["cuts"] == 3 and not archive.manifest.with_audio
        assert any("sound of 2 recordings" in sentence for sentence in archive.manifest.left_out)

"""An import that ends in the middle of anything leaves all of it or nothing."""

import os
from pathlib import Path

import pytest

from shopmon.records.carrying import unpacking
from shopmon.records.carrying.packing import pack
from tests.records.carrying.filled import fill, opened
from tests.records.carrying.test_round_trip import all_rows, files_in


@pytest.fixture(scope="module")
def archive(tmp_path_factory):
    """An archive."""
    place = tmp_path_factory.mktemp("good")
    shop = fill(place / "data")
    return pack(shop.root, place / "shop.zip", with_audio=True).path


def die() -> None:
    """End as if the plug were pulled."""
    os._exit(9)


def die_at(point: str) -> None:
    """Pull the plug at a point of the import that comes."""
    renames = [0]
    rename = os.rename

    def second_rename(source, target):
        renames[0] += 1
        if renames[0] == 2:
            die()
        rename(source, target)

    if point == "while files are moved":
        unpacking.os.rename = second_rename
    else:
        name = {
            "while unpacking": "sync",
            "before the rows": "merge",
            "before the plan": "_plan",
            "before files are moved": "_move",
            "before the rows are there": "_say_so",
        }[point]
        setattr(unpacking, name, lambda *_: die())


def import_and_die(archive: Path, folder: Path, point: str) -> None:
    """Import in a process of its own, which dies."""
    child = os.fork()
    if not child:
        try:
            die_at(point)
            unpacking.unpack(archive, folder)
        finally:
            os._exit(0)
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 9


@pytest.mark.parametrize(
    "point",
    [
        "while unpacking",
        "before the rows",
        "before the plan",
        "before files are moved",
        "while files are moved",
        "before the rows are there",
    ],
)
@pytest.mark.parametrize("new", [True, False], ids=["new", "filled"])
def test_nothing_is_half_there(archive, tmp_path, point, new):
    folder = tmp_path / "data"
    if not new:
        fill(folder)
    before = (None, {}) if new else (all_rows(folder), files_in(folder))
    import_and_die(archive, folder, point)
    monitor = opened(folder)  # the next start
    monitor.close()
    assert files_in(folder) == before[1]
    assert not (folder / "incoming").exists()
    rows = all_rows(folder)
    assert len(rows["cuts"]) == (0 if new else 3)
    if not new:
        assert {name: rows[name] for name in rows if name != "boots"} == {
            name: before[0][name] for name in rows if name != "boots"
        }
    taken = unpacking.unpack(archive, folder)
    assert taken.merged.added["cuts"] == 3


def test_a_power_cut_after_the_end_leaves_all_of_it(archive, tmp_path, monkeypatch):
    monkeypatch.setattr(unpacking.shutil, "rmtree", lambda *_, **__: None)
    unpacking.unpack(archive, tmp_path / "data")
    monkeypatch.undo()
    assert (tmp_path / "data" / "incoming").exists()
    before = files_in(tmp_path / "data")
    opened(tmp_path / "data").close()
    assert files_in(tmp_path / "data") == before and len(all_rows(tmp_path / "data")["cuts"]) == 3
    assert not (tmp_path / "data" / "incoming").exists()

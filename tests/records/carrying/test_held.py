"""What is on the disk is added up again when something came or went, and not else."""

import os

from shopmon.records.carrying import held as module
from shopmon.records.carrying.held import bytes_by_suffix, held
from shopmon.records.looking import looking_at
from tests.records.carrying.filled import fill

LONG_AGO_S = 1_700_000_000


def settle(folder, later_s=0):
    os.utime(folder, (LONG_AGO_S + later_s, LONG_AGO_S + later_s))


def test_a_folder_is_looked_through_again_when_it_changed(tmp_path, monkeypatch):
    looks, scan = [], os.scandir
    monkeypatch.setattr(module.os, "scandir", lambda folder: looks.append(folder) or scan(folder))
    (tmp_path / "one.flac").write_bytes(bytes(1000))
    (tmp_path / "one.flac.state.json").write_bytes(bytes(10))
    (tmp_path / "one.features.npz").write_bytes(bytes(200))
    settle(tmp_path)
    for _ in range(3):
        assert bytes_by_suffix(tmp_path) == {".flac": 1000, ".json": 10, ".npz": 200}
    assert len(looks) == 1
    (tmp_path / "two.flac").write_bytes(bytes(50))
    settle(tmp_path, 1)
    assert bytes_by_suffix(tmp_path)[".flac"] == 1050
    (tmp_path / "one.flac").unlink()
    settle(tmp_path, 2)
    assert bytes_by_suffix(tmp_path)[".flac"] == 50 and len(looks) == 3


def test_a_folder_that_has_just_changed_is_not_believed(tmp_path):
    for number in range(1, 30):
        (tmp_path / f"{number}.flac").write_bytes(bytes(100))
        assert bytes_by_suffix(tmp_path)[".flac"] == 100 * number
    assert not bytes_by_suffix(tmp_path / "none")


def test_all_of_it_is_the_sum_of_the_files(tmp_path):
    shop = fill(tmp_path / "data")
    for name, size in {"pictures": 300, "backups": 4000}.items():
        (shop.root / name).mkdir(exist_ok=True)
        (shop.root / name / "a.bin").write_bytes(bytes(size))
    with looking_at(shop.root) as log:
        found = held(log)
    files = [path for path in shop.root.rglob("*") if path.is_file() and path.name != "lock"]
    assert found.total_bytes == sum(path.stat().st_size for path in files)
    assert (found.cuts, found.picture_bytes, found.backup_bytes) == (3, 300, 4000)

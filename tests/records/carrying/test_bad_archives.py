"""Archives that are damaged, foreign, hostile or newer: one clear line, and nothing has changed."""

import json
import shutil
import sqlite3
import zipfile
from contextlib import closing
from pathlib import Path

import pytest

from shopmon.errors import StoreError
from shopmon.records.carrying.packing import pack
from shopmon.records.carrying.unpacking import unpack
from tests.records.carrying.filled import fill
from tests.records.carrying.test_round_trip import all_rows, files_in


@pytest.fixture(scope="module")
def good(tmp_path_factory):
    """A good archive, as a zip and as a folder."""
    place = tmp_path_factory.mktemp("good")
    shop = fill(place / "data")
    pack(shop.root, place / "shop.zip", with_audio=True)
    pack(shop.root, place / "shop", with_audio=True)
    return place


@pytest.fixture
def folder(good, tmp_path):
    """A copy of the archive as a folder, to be spoilt."""
    return Path(shutil.copytree(good / "shop", tmp_path / "shop"))


@pytest.fixture(scope="module")
def other(tmp_path_factory):
    """Another shop's filled data folder, to be copied."""
    return fill(tmp_path_factory.mktemp("other") / "data").root


@pytest.fixture
def refused(other):
    """Import into a new folder and into a filled one; both must be as before. Return what was said."""
    return lambda source, tmp_path: _refused(source, tmp_path, other)


def _refused(source: Path, tmp_path: Path, other: Path) -> str:
    with pytest.raises(StoreError) as new:
        unpack(source, tmp_path / "new")
    assert not (tmp_path / "new").exists()
    if not (tmp_path / "old").exists():
        shutil.copytree(other, tmp_path / "old")
    before, files = all_rows(tmp_path / "old"), files_in(tmp_path / "old")
    with pytest.raises(StoreError):
        unpack(source, tmp_path / "old")
    assert all_rows(tmp_path / "old") == before
    assert files_in(tmp_path / "old") == files
    assert not (tmp_path / "old" / "incoming").exists()
    said = str(new.value)
    assert "\n" not in said and len(said) < 400
    return said


def change_manifest(folder: Path, **changes) -> None:
    """Change what the archive says of itself."""
    path = folder / "manifest.json"
    path.write_text(json.dumps({**json.loads(path.read_text()), **changes}))


def with_entry(folder: Path, path: str, content: bytes = b"x", **changes) -> None:
    """Name one more file."""
    import hashlib

    manifest = json.loads((folder / "manifest.json").read_text())
    entry = {"path": path, "bytes": len(content), "sha256": hashlib.sha256(content).hexdigest(), **changes}
    change_manifest(folder, files=[*manifest["files"], entry])


def seal(folder: Path) -> None:
    """Bring size and checksum of a changed database into the manifest."""
    import hashlib

    manifest = json.loads((folder / "manifest.json").read_text())
    raw = (folder / "shopmon.db").read_bytes()
    for entry in manifest["files"]:
        if entry["path"] == "shopmon.db":
            entry.update(bytes=len(raw), sha256=hashlib.sha256(raw).hexdigest())
    change_manifest(folder, files=manifest["files"])


def in_database(folder: Path, *statements: str) -> None:
    """Change the database of an archive, and make the checksums fit."""
    with closing(sqlite3.connect(folder / "shopmon.db")) as connection, connection:
        for statement in statements:
            connection.execute(statement)
    seal(folder)


def test_one_changed_byte_is_found(folder, tmp_path, refused):
    path = next(folder.glob("recordings/*.flac"))
    raw = bytearray(path.read_bytes())
    raw[len(raw) // 2] ^= 1
    path.write_bytes(raw)
    assert "damaged at recordings/" in refused(folder, tmp_path)


@pytest.mark.parametrize("part", [0.0, 0.3, 0.9, 0.999])
def test_a_zip_that_was_cut_short(good, tmp_path, part, refused):
    raw = (good / "shop.zip").read_bytes()
    (tmp_path / "short.zip").write_bytes(raw[: int(len(raw) * part)])
    assert "opy it again" in refused(tmp_path / "short.zip", tmp_path)


@pytest.mark.parametrize("place", [0.2, 0.5, 0.8])
def test_a_zip_with_a_damaged_byte(good, tmp_path, place, refused):
    raw = bytearray((good / "shop.zip").read_bytes())
    raw[int(len(raw) * place)] ^= 0x55
    (tmp_path / "bad.zip").write_bytes(raw)
    assert "damaged" in refused(tmp_path / "bad.zip", tmp_path)


def test_a_file_is_missing(folder, tmp_path, refused):
    next(folder.glob("photos/*")).unlink()
    assert "is not in it" in refused(folder, tmp_path)


def test_foreign_files(tmp_path, refused):
    (tmp_path / "text.zip").write_text("no zip at all")
    assert "no zip file" in refused(tmp_path / "text.zip", tmp_path)
    with zipfile.ZipFile(tmp_path / "foreign.zip", "w") as packed:
        packed.writestr("holiday.jpg", b"sun")
    assert "no manifest.json" in refused(tmp_path / "foreign.zip", tmp_path)
    assert "There is no archive" in refused(tmp_path / "nothing.zip", tmp_path)
    (tmp_path / "empty").mkdir()
    assert "no manifest.json" in refused(tmp_path / "empty", tmp_path)


@pytest.mark.parametrize("schema", ["0999", "9999"])
def test_a_newer_version(folder, tmp_path, schema, refused):
    change_manifest(folder, database_schema=schema)
    assert "newer version" in refused(folder, tmp_path)


@pytest.mark.parametrize(
    "changes",
    [
        {"schema": "shopmon.export/2"},
        {"schema": 7},
        {"database_schema": None},
        {"files": [{"path": "shopmon.db"}]},
        {"files": "all"},
        {"files": []},
        {"rows": None},
        {"made_at": "yesterday"},
    ],
)
def test_a_manifest_that_cannot_be(folder, tmp_path, changes, refused):
    change_manifest(folder, **changes)
    assert "The archive cannot be used" in refused(folder, tmp_path)


def test_a_manifest_of_brackets_and_garbage(folder, tmp_path, refused):
    for text in ("[" * 100_000, "\x00\xff", "[]", "null"):
        (folder / "manifest.json").write_text(text)
        assert "list of contents" in refused(folder, tmp_path)


@pytest.mark.parametrize(
    "name",
    [
        "../evil", "recordings/../../evil", "/etc/passwd", "recordings/a/b", "backups/x.db",
        "recordings/", "recordings\\..\\evil", "recordings/.hidden", "lock", "buffer/x", "photos/x\x00.jpg",
        "photos/" + "x" * 300,
    ],
)  # fmt: skip
def test_names_that_climb_or_have_no_place(folder, tmp_path, name, refused):
    with_entry(folder, name)
    assert "no place here" in refused(folder, tmp_path)
    assert not (tmp_path / "evil").exists()


def test_a_zip_whose_names_climb(good, tmp_path, refused):
    shutil.copy(good / "shop.zip", tmp_path / "evil.zip")
    with zipfile.ZipFile(tmp_path / "evil.zip", "a") as packed:
        packed.writestr("../../evil.txt", b"x")
    assert "not in its list" in refused(tmp_path / "evil.zip", tmp_path)


def test_a_name_twice(good, tmp_path, refused):
    shutil.copy(good / "shop.zip", tmp_path / "twice.zip")
    with zipfile.ZipFile(tmp_path / "twice.zip", "a") as packed, pytest.warns(UserWarning, match="Duplicate"):
        packed.writestr("shopmon.db", b"x")
    assert "twice" in refused(tmp_path / "twice.zip", tmp_path)


def test_a_bomb(good, tmp_path, refused):
    manifest = json.loads((good / "shop" / "manifest.json").read_text())
    for entry in manifest["files"]:
        if entry["path"] == "shopmon.db":
            entry.update(bytes=50_000_000)
    with zipfile.ZipFile(tmp_path / "bomb.zip", "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("manifest.json", json.dumps({**manifest, "files": manifest["files"][-1:]}))
        packed.writestr("shopmon.db", bytes(50_000_000))
    assert "far more than it could hold" in refused(tmp_path / "bomb.zip", tmp_path)


def test_more_than_the_disk_holds(folder, tmp_path, refused):
    with_entry(folder, "recordings/huge.flac", bytes=10**18, beside=True)
    assert "MB are free" in refused(folder, tmp_path)


def test_links_are_not_followed(folder, tmp_path, refused):
    victim = next(folder.glob("photos/*"))
    (tmp_path / "secret").write_bytes(victim.read_bytes())
    victim.unlink()
    victim.symlink_to(tmp_path / "secret")
    assert "is a link" in refused(folder, tmp_path)


@pytest.mark.parametrize(
    ("statement", "said"),
    [
        ("CREATE TRIGGER t AFTER INSERT ON cuts BEGIN DELETE FROM cuts; END", "holds a trigger"),
        ("CREATE VIEW v AS SELECT * FROM cuts", "holds a view"),
        ("UPDATE recordings SET path = '../../../etc/passwd'", "cannot be the path"),
        ("UPDATE recordings SET path = 'recordings/another.flac'", "cannot be the path"),
        ("UPDATE tool_photos SET path = 'shopmon.db'", "cannot be the path"),
        ("UPDATE cuts SET engaged = '[[['", "cannot be the engaged"),
        ("UPDATE cuts SET first_sample = 'early'", "cannot be the first_sample"),
        ("UPDATE judgements SET note = x'00ff'", "cannot be the note"),
        ("UPDATE marks SET sequence = -5", "cannot be the sequence"),
        ("DELETE FROM streams", None),
        ("DELETE FROM tools", "points to none of tools"),
        ("DROP TABLE judgements", "its table judgements lacks"),
        ("UPDATE alembic_version SET version_num = '0001'", "is not of schema"),
        ("DROP TABLE alembic_version", "cannot be read"),
    ],
)  # fmt: skip
def test_rows_that_this_program_would_not_have_written(folder, tmp_path, statement, said, refused):
    in_database(folder, statement)
    if said is None:  # a cut without its stream is poor, and does no harm
        unpack(folder, tmp_path / "new")
    else:
        assert said in refused(folder, tmp_path)


def test_a_database_that_is_none(folder, tmp_path, refused):
    (folder / "shopmon.db").write_bytes(b"SQLite format 3\x00" + bytes(5000))
    seal(folder)
    assert "its database" in refused(folder, tmp_path)


def test_hostile_notes_come_through_as_text(folder, tmp_path):
    evil = "<script>alert(1)</script>" * 400_000  # 10 MB
    with closing(sqlite3.connect(folder / "shopmon.db")) as connection, connection:
        connection.execute("UPDATE judgements SET note = ?", (evil,))
    seal(folder)
    unpack(folder, tmp_path / "new")
    with closing(sqlite3.connect(tmp_path / "new" / "shopmon.db")) as connection:
        assert connection.execute("SELECT note FROM judgements").fetchone()[0] == evil

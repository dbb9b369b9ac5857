"""``shopmon export``, ``import`` and ``backup`` as they are typed."""

import csv
import json
import os
import pty
import subprocess
import sys

import pytest

from shopmon.cli import main
from tests.records.carrying.filled import fill


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    """A filled data folder that is not changed."""
    return fill(tmp_path_factory.mktemp("shop") / "data")


def run(*words) -> int:
    """Run a command in this process."""
    return main([str(word) for word in words])


def test_there_and_back(shop, tmp_path, capsys):
    archive = tmp_path / "shop.zip"
    assert run("export", archive, "--data", shop.root, "--with-audio") == 0
    said = capsys.readouterr().out
    assert "3 cuts, 2 tools, with sound" in said and "read back and is whole" in said
    assert "Not in it: Paired phones" in said
    assert run("import", archive, "--data", tmp_path / "new") == 0
    assert "3 cuts, 2 tools" in capsys.readouterr().out
    assert run("import", archive, "--data", tmp_path / "new") == 0
    said = capsys.readouterr().out
    assert "nothing new" in said and "left as they were: 3 cuts" in said


def test_a_script_must_say_whether_sound_goes_along(shop, tmp_path):
    words = [sys.executable, "-m", "shopmon", "export", str(tmp_path / "x.zip"), "--data", str(shop.root)]
    done = subprocess.run(words, capture_output=True, text=True, stdin=subprocess.DEVNULL)
    assert done.returncode == 2 and "--with-audio or --without-audio" in done.stderr
    assert not (tmp_path / "x.zip").exists()


@pytest.mark.parametrize(("answer", "sound"), [(b"y\n", "with sound"), (b"\n", "without sound")])
def test_a_person_is_asked(shop, tmp_path, answer, sound):
    ours, theirs = pty.openpty()
    words = [sys.executable, "-m", "shopmon", "export", str(tmp_path / "x.zip"), "--data", str(shop.root)]
    child = subprocess.Popen(words, stdin=theirs, stderr=theirs, stdout=subprocess.PIPE, text=True)
    os.close(theirs)
    asked = b""
    while b"[y/N]" not in asked:
        asked += os.read(ours, 4096)
    assert b"It may hold voices" in asked
    os.write(ours, answer)
    out = child.stdout.read()
    assert child.wait(60) == 0
    os.close(ours)
    assert sound in out


def test_tables_of_the_cuts(shop, tmp_path):
    assert run("export", tmp_path / "cuts.csv", "--data", shop.root) == 0
    with (tmp_path / "cuts.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["id"] for row in rows] == shop.cut_ids[::-1]
    assert rows[0]["said"] == "no chatter" and rows[0]["end_mill"] == "plum #4"
    assert rows[1]["cut_time_s"] == "8" and rows[1]["started_at"].endswith("+00:00")
    assert run("export", tmp_path / "cuts.json", "--data", shop.root, "--cut", shop.cut_ids[0]) == 0
    told = json.loads((tmp_path / "cuts.json").read_text())
    assert told["schema"] == "shopmon.cuts/1" and [cut["id"] for cut in told["cuts"]] == [shop.cut_ids[0]]


def test_a_bad_archive_is_one_line_and_status_1(tmp_path, capsys):
    (tmp_path / "x.zip").write_bytes(b"nothing")
    assert run("import", tmp_path / "x.zip", "--data", tmp_path / "new") == 1
    assert capsys.readouterr().err.count("\n") == 1
    assert run("import", tmp_path / "none.zip", "--data", tmp_path / "new") == 1
    assert run("export", tmp_path / "y.zip", "--data", tmp_path / "nothing", "--with-audio") == 1
    assert "There is no log" in capsys.readouterr().err
    assert not (tmp_path / "new").exists()


def test_backups_say_what_they_did(shop, tmp_path, capsys):
    stick = tmp_path / "stick"
    assert run("backup", stick, "--data", shop.root) == 0
    said = capsys.readouterr().out
    assert "3 cuts" in said and "Without the sound of 2 recordings" in said
    assert run("backup", stick, "--data", shop.root, "--with-audio", "--keep", "1") == 0
    said = capsys.readouterr().out
    assert "4 copied, 0 there already" in said and "Removed as older than the 1 that stay: 1 copy" in said
    assert run("backup", tmp_path / "one.zip", "--data", shop.root) == 0
    assert run("backup", tmp_path / "copy.db", "--data", shop.root) == 0
    assert "checked and is whole" in capsys.readouterr().out
    assert run("backup", tmp_path / "copy.db", "--data", shop.root) == 1

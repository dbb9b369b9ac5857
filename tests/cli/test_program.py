"""``shopmon program``: the JSON of the contract, what it tells a person, and bad files."""

import json
import os

import pytest

from shopmon.cli import main
from shopmon.service.programs import file as program_file

HUB = """%
O1000 (HUB SHELL FLANGE)
G21 G90 G17 G40
T3 M6 (10 mm rougher)
S12000 M3
G0 X0 Y0 Z5
G1 Z-2 F600
X120 F2400
G0 Z50
T5 M6 (drill 4.2)
S6000 M3
G81 X10 Y10 Z-12 R2 F300
G80
M30
%
"""


@pytest.fixture
def hub(tmp_path):
    file = tmp_path / "hub.nc"
    file.write_text(HUB)
    return file


def run(capsys, *words):
    status = main(["program", *map(str, words)])
    captured = capsys.readouterr()
    return status, captured.out, captured.err


def test_the_contract(capsys, hub):
    status, out, _ = run(capsys, hub, "--json", "-")
    found = json.loads(out)
    assert status == 0
    assert (found["schema"], found["units"], found["warnings"]) == ("shopmon.program/1", "mm", [])
    first, second = found["sections"]
    assert {"tool", "rpm", "start_line", "end_line", "feed_s", "rapid_s", "feed_length_mm"} <= set(first)
    assert (first["tool"], first["rpm"], first["start_line"], first["end_line"]) == (3, 12000.0, 4, 9)
    assert (first["feed_s"], first["feed_length_mm"]) == (7 / 10 + 120 / 40, 127.0)
    assert (second["tool"], second["feed_s"]) == (5, 14 / 5)


def test_the_machine_makes_it_longer(capsys, hub):
    _, plain, _ = run(capsys, hub, "--json", "-")
    _, slow, _ = run(capsys, hub, "--acceleration", "100", "--rapid", "2000", "--json", "-")
    before, after = (json.loads(text)["sections"][0] for text in (plain, slow))
    assert after["feed_s"] > before["feed_s"]
    assert after["rapid_s"] > before["rapid_s"]


def test_the_report_for_a_person(capsys, hub, tmp_path):
    status, out, err = run(capsys, hub)
    assert (status, err) == (0, "")
    assert "T3  12000    4-9" in out and "10 mm rougher" in out
    assert "6.5 s at feed with 2 tools" in out
    hub.write_text(HUB.replace("G21 ", "G41 D1 "))
    assert "! Line 3: G41" in run(capsys, hub)[1]


def test_units_may_be_told(capsys, hub):
    hub.write_text(HUB.replace("G21 ", ""))
    found = json.loads(run(capsys, hub, "--units", "inch", "--json", "-")[1])
    assert (found["units"], found["sections"][0]["feed_length_mm"]) == ("inch", round(127 * 25.4, 3))


@pytest.mark.parametrize("line_end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "latin-1"])
def test_line_ends_and_encodings(capsys, hub, line_end, encoding):
    hub.write_bytes(HUB.replace("HUB SHELL", "NABE Ø 40").replace("\n", line_end).encode(encoding))
    assert json.loads(run(capsys, hub, "--json", "-")[1])["sections"][1]["end_line"] == 14


@pytest.mark.parametrize(
    ("content", "reason"),
    [
        (b"", "The file is empty"),
        (os.urandom(4096) + b"\0", "binary"),
        (b"\x7fELF\x02\x01\x01\x00", "binary"),
        (HUB.encode("utf-16"), "UTF-16"),
        (b"G1 X1 " * 2_000_000, "longer than 2000 characters"),
        (HUB.replace("G81", "G20 G81").encode(), "moved in mm and moves in inches"),
        (HUB.replace("G80", "M98 P1").encode(), "subprogram 1 is not in this file"),
        (HUB.replace("G80", "M98 P1 L99999999").encode() + b"O1\nG1 X1\nM99\n", "repeated 99999999 times"),
        (HUB.replace("X120", "G2 X120 I7").encode(), "Line 8: the arc does not close"),
        (b"def mill():\n    return 1\n", "no NC program"),
    ],
    ids=lambda value: str(value)[:30],
)
def test_bad_files_give_one_line_and_no_output(capsys, hub, tmp_path, content, reason):
    hub.write_bytes(content)
    target = tmp_path / "out.json"
    status, out, err = run(capsys, hub, "--json", target)
    assert (status, out) == (1, "")
    assert reason in err and err.count("\n") == 1
    assert not target.exists()


def test_a_file_that_is_not_there_and_a_folder(capsys, tmp_path):
    assert run(capsys, tmp_path / "none.nc")[0] == 1
    status, _, err = run(capsys, tmp_path)
    assert status == 1 and "is a folder" in err


def test_two_hundred_megabytes_of_nothing_are_refused_at_the_first_look(capsys, hub):
    with open(hub, "r+b") as file:
        file.truncate(200 * 10**6)
    status, out, err = run(capsys, hub)
    assert (status, out) == (1, "") and "binary" in err and err.count("\n") == 1


def test_too_large_a_file_is_refused_before_it_is_read(capsys, hub):
    with open(hub, "r+b") as file:
        file.truncate(program_file.LARGEST_BYTES + 1)  # a hole: takes no room on the disk
    status, _, err = run(capsys, hub)
    assert status == 1 and "more than the 256 MB" in err


def test_absurd_options_are_bad_usage(capsys, hub):
    assert run(capsys, hub, "--acceleration", "-5")[0] == 2
    assert run(capsys, hub, "--units", "furlong")[0] == 2

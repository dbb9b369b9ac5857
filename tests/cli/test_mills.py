"""``shopmon mills``: the register from the command line, beside a running monitor and without one."""

import json

import pytest

from shopmon.cli import main
from shopmon.records.archive import Archive
from tests.records.shop import Shop

TABLE = "label,kind,type,DC,NOF\nplum #1,end mill,6 mm,6,3\nM5,tap,,,\n"


@pytest.fixture
def folder(tmp_path):
    """A log with two tools, one of which has cut."""
    archive = Archive.open(tmp_path / "data", budget_bytes=10**9, reserve_bytes=0)
    shop = Shop(archive)
    tool_id = shop.mill("plum #3")
    shop.cut(tool_id, 34 * 60.0, chatter_s=204.0, material="7075")
    shop.register.add_tool({"label": "M5", "kind": "tap", "flutes": 3})
    shop.cut_in({"end_mill": "T7"}, 30.0)
    archive.close()
    return tmp_path / "data"


@pytest.fixture
def shopmon(capsys, folder):
    """Run the command on that log; returns exit status, output and error."""

    def run(*words):
        status = main(["mills", "--data", str(folder), *words])
        said = capsys.readouterr()
        return status, said.out, said.err

    return run


def test_the_list_tells_each_tools_time_in_the_cut(shopmon):
    status, out, _ = shopmon()
    assert status == 0
    assert "plum #3  6 mm three-flute, 3 flutes  34 min      10%      on the shelf" in out
    assert "Credited to no tool: 30 s said to be 'T7'." in out
    assert shopmon("list")[1] == out


def test_it_is_json_for_programs(shopmon):
    _, out, _ = shopmon("list", "--json", "-")
    report = json.loads(out)
    assert report["schema"] == "shopmon.mills/1"
    assert [tool["totals"]["cut_time_s"] for tool in report["tools"]] == [2040.0, 0.0]
    _, out, _ = shopmon("show", "plum #3", "--json", "-")
    assert json.loads(out)["tools"][0]["totals"]["chatter_share"] == 0.1


def test_entered_measured_and_retired(shopmon):
    assert shopmon("add", "plum #4", "--type", "6 MM three-flute")[0] == 0
    assert shopmon("wear", "plum #3", "--vb", "0.08", "--operation", "finishing")[0] == 0
    assert shopmon("retire", "plum #3", "--reason", "chipped", "--note", "hit the vice")[0] == 0
    assert "plum #3" not in shopmon("list")[1]
    assert "retired: chipped" in shopmon("list", "--all")[1]
    out = shopmon("show", "plum #3")[1]
    assert "34 min in the cut, 10% of it chatter" in out and "VB 0.08 mm after 34 min" in out
    assert "7075: 34 min, 10% chatter" in out


def test_one_tool_is_told_whole(shopmon):
    tool = json.loads(shopmon("show", "plum #3", "--json", "-")[1])["tools"][0]
    assert tool["by_material"][0]["material"] == "7075"
    assert tool["life"]["words"] == "" and "none has come to its end" in tool["life"]["basis"]
    assert tool["wear"] == {"limit_mm": None, "readings": [], "forecast": None}
    assert tool["sound"]["verdict"] == "cannot tell"
    out = shopmon("show", "plum #3")[1]
    assert "Its sound: Cannot tell: none of its cuts was steady" in out
    assert "1 entry into metal" in out
    assert json.loads(shopmon("show", "M5", "--json", "-")[1])["tools"][0]["sound"] is None


def test_reground_and_taken_back(shopmon):
    assert shopmon("regrind", "plum #3", "--dc", "5.9", "--note", "by post")[1] == "plum #3 has a new edge.\n"
    assert "since regrind 1" in shopmon("show", "plum #3")[1]
    shopmon("retire", "plum #3", "--reason", "lost")
    assert shopmon("take-back", "plum #3")[1] == "plum #3 is in use again.\n"
    assert "plum #3" in shopmon("list")[1]


def test_two_are_compared_by_label(shopmon):
    shopmon("add", "plum #4", "--type", "6 mm three-flute")
    status, out, _ = shopmon("compare", "plum #3", "PLUM #4")
    assert status == 0 and "plum #4 against plum #3" in out and "Life: It cannot be told" in out
    found = json.loads(shopmon("compare", "plum #3", "plum #4", "--json", "-")[1])
    assert found["schema"] == "shopmon.compare/1" and found["what"] == "tool"
    assert {answer["name"] for answer in found["answers"]} == {
        *("Finish", "Life", "Chatter", "Cost", "Cost of a part")
    }
    assert all(answer.get("reason") or "effect" in answer for answer in found["answers"])


def test_out_to_a_file_and_in_elsewhere(shopmon, tmp_path, capsys):
    for name in ("tools.csv", "tools.json"):
        status, out, _ = shopmon("export", str(tmp_path / name))
        assert status == 0 and out == f"2 tools written to {tmp_path / name}.\n"
        other = ["mills", "--data", str(tmp_path / f"other-{name}")]
        assert main([*other, "import", str(tmp_path / name)]) == 0
        assert "2 tools and 1 type are entered." in capsys.readouterr().out
    assert shopmon("export", "-")[1].startswith("label,kind,type")


@pytest.mark.parametrize(
    ("words", "status", "said"),
    [
        (("show", "nobody"), 2, "There is no tool 'nobody'"),
        (("retire", "plum #3"), 2, "--reason"),
        (("retire", "plum #3", "--reason", "tired"), 2, "tired"),
        (("retire", "nobody", "--reason", "lost"), 2, "no tool"),
        (("wear", "plum #3", "--vb", "-1"), 2, "Flank wear VB (mm) cannot be -1"),
        (("wear", "plum #3", "--vb", "nan"), 2, "Flank wear VB (mm) cannot be nan"),
        (("add", "PLUM #3"), 2, "there already"),
        (("add", "x", "--type", "nothing"), 2, "no type 'nothing'"),
        (("import", "/nowhere/tools.csv"), 1, "cannot be read"),
        (("export", "/nowhere/tools.csv"), 1, "cannot be written"),
        (("export", "/tmp/tools.xyz"), 2, "ends neither in .csv nor in .json"),
        (("import", "/tmp/tools.xyz"), 2, "ends neither in .csv nor in .json"),
        (("regrind", "nobody"), 2, "There is no tool 'nobody'"),
        (("regrind", "plum #3", "--dc", "-6"), 2, "Diameter DC cannot be -6"),
        (("take-back", "plum #3"), 2, "plum #3 is not retired"),
        (("compare", "plum #3", "nothing"), 2, "no type and no end mill 'nothing'"),
        (("compare", "plum #3", "plum #3"), 2, "Both are the same"),
        (("compare", "plum #3", "6 mm three-flute"), 2, "A kind cannot be compared with one tool"),
        (("compare", "plum #3", "M5", "--part-min", "1", "0"), 2, "The minutes in the cut of a part must be"),
        (("add", ""), 2, "The label is missing"),
        (("add", "x", "--flutes", "0"), 2, "Flutes cannot be 0"),
        (("fly",), 2, "No such command"),
    ],
)
def test_what_cannot_be_is_said_in_one_line(shopmon, words, status, said):
    found, _, err = shopmon(*words)
    assert found == status and said in err and "Traceback" not in err


def test_a_table_with_a_fault_enters_nothing(shopmon, tmp_path):
    (tmp_path / "tools.csv").write_text(TABLE + "plum #1,tap,,,\n")
    status, _, err = shopmon("import", str(tmp_path / "tools.csv"))
    assert status == 2 and "Line 4: the label 'plum #1' is there already, at line 2" in err
    assert "plum #1" not in shopmon("list")[1]


def test_beside_a_running_monitor_it_looks_but_does_not_touch(shopmon, folder):
    running = Archive.open(folder, budget_bytes=10**9, reserve_bytes=0)
    try:
        assert "plum #3" in shopmon("list")[1]
        assert shopmon("export", "-")[0] == 0
        status, _, err = shopmon("retire", "plum #3", "--reason", "lost")
        assert status == 1 and "Another monitor" in err and "page End mills" in err
    finally:
        running.close()


def test_without_a_log_or_with_another_version_of_it(capsys, tmp_path, folder):
    assert main(["mills", "--data", str(tmp_path / "nothing")]) == 1
    assert "There is no log" in capsys.readouterr().err
    assert not (tmp_path / "nothing").exists()
    import sqlite3

    with sqlite3.connect(folder / "shopmon.db") as connection:
        connection.execute("UPDATE alembic_version SET version_num = '0001'")
    assert main(["mills", "--data", str(folder)]) == 1
    assert "another version (schema 0001)" in capsys.readouterr().err
    (folder / "shopmon.db").write_bytes(b"nonsense" * 1000)
    assert main(["mills", "--data", str(folder)]) == 1
    assert "cannot be read" in capsys.readouterr().err

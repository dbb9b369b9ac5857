"""``shopmon inspect --at``: one moment explained; how often it may be wrong moves the alarm."""

import json
import re

import pytest
import soundfile

from shopmon.cli import main
from shopmon.cli.moment_text import moment_as_text
from tests.listening.synthetic import RATE_HZ, machine


@pytest.fixture
def ringing(tmp_path):
    """A pass that rings from 3.5 s to 5 s."""
    path = tmp_path / "pass.flac"
    soundfile.write(path, machine(6.0, chatter=((3.5, 5.0),)), int(RATE_HZ), subtype="PCM_24")
    return str(path)


def test_a_person_gets_a_table(ringing, capsys):
    assert main(["inspect", ringing, "--rpm", "12000", "--flutes", "3", "--at", "4.5"]) == 0
    said = capsys.readouterr().out
    assert "At 4.50 s: chatter" in said and "* stray" in said and "tooth passing" in said
    assert re.search(r"Most suspicious: 143[67]\.\d Hz", said) and "the alarm is raised at" in said


def test_the_moment_is_in_the_json_and_changes_nothing_else(ringing, tmp_path):
    plain, told = tmp_path / "plain.json", tmp_path / "told.json"
    setup = ["--rpm", "12000", "--flutes", "3"]
    assert main(["inspect", ringing, *setup, "--json", str(plain)]) == 0
    assert main(["inspect", ringing, *setup, "--at", "4.513", "--json", str(told)]) == 0
    result = json.loads(told.read_text())
    moment = result.pop("moment")
    assert result == json.loads(plain.read_text())
    assert 4.45 < moment["at_s"] <= 4.513
    assert {"lines", "evidence", "suspect_hz", "state", "unsure", "rpm"} <= set(moment)


@pytest.mark.parametrize("at", ["-1", "nan", "60"])
def test_a_moment_that_is_not_there_is_refused(ringing, capsys, at):
    assert main(["inspect", ringing, "--at", at]) == 2
    assert len(capsys.readouterr().err.strip().splitlines()) == 1


def test_how_often_it_may_be_wrong_moves_the_alarm(ringing, tmp_path):
    alarm_at = []
    for wanted in ("0.01", "10"):
        told = tmp_path / f"{wanted}.json"
        command = ["inspect", ringing, "--false-alarms-per-hour", wanted, "--at", "2", "--json", str(told)]
        assert main(command) == 0
        alarm_at.append(json.loads(told.read_text())["moment"]["evidence"]["alarm_at"])
    assert alarm_at[0] > alarm_at[1]


@pytest.mark.parametrize("wanted", ["0", "-1", "nan", "1e9"])
def test_a_number_of_false_alarms_that_cannot_be_is_refused(ringing, capsys, wanted):
    assert main(["inspect", ringing, "--false-alarms-per-hour", wanted]) == 2
    assert "--false-alarms-per-hour" in capsys.readouterr().err


def test_a_suspect_that_the_table_leaves_out_is_named_as_such():
    line = {
        "frequency_hz": 600.0, "order": 3.0, "level_db": -40.0, "over_floor_db": 20.0,
        "over_background_db": None, "what": "tooth passing", "counts": False, "why": "every cut makes it",
    }  # fmt: skip
    evidence = {"log_odds": -4.6, "parts": [], "total": 0.0, "alarm_at": 4.3}
    moment = {
        "at_s": 2.0, "state": "cutting", "unsure": False, "rpm": 12000.0, "background_known": True,
        "lines": [line], "suspect_hz": 671.1, "evidence": evidence,
    }  # fmt: skip
    said = moment_as_text(moment)
    assert "Most suspicious: 671.1 Hz, too faint for the table." in said and "* speaks" not in said
    shown = moment_as_text(moment | {"lines": [line | {"frequency_hz": 671.0, "counts": True}]})
    assert "Most suspicious: 671.1 Hz.\n" in shown and "* speaks for chatter" in shown

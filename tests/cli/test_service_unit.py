"""The systemd unit: it says what to run, survives odd names, and keeps the sound card reachable."""

import configparser
import getpass
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopmon.errors import SettingError
from shopmon.service.unit_file import UnitOptions, existing_groups, quoted, unit_text


def unit(*arguments: str, environment: dict[str, str] | None = None) -> subprocess.CompletedProcess:
    return subprocess.run(
        [sys.executable, "-m", "shopmon", "service-unit", *arguments],
        capture_output=True,
        text=True,
        env={"PATH": "/usr/bin:/bin", "HOME": "/", **(environment or {})},
    )


def parsed(text: str) -> configparser.ConfigParser:
    reader = configparser.ConfigParser(interpolation=None, delimiters=("=",), strict=True)
    reader.optionxform = str
    reader.read_string(text)
    return reader


def test_the_unit_runs_this_very_interpreter_again_and_again():
    done = unit("--lan", "--port", "8200", "--device", "USB mic", "--data", "/mnt/ssd/shop")
    service = parsed(done.stdout)["Service"]
    assert done.returncode == 0
    assert service["ExecStart"] == (
        f'{sys.executable} -m shopmon listen --device "USB mic" --data /mnt/ssd/shop --lan --port 8200'
    )
    assert service["Restart"] == "always"
    assert service["User"] == getpass.getuser()
    assert parsed(done.stdout)["Unit"]["RequiresMountsFor"] == "/mnt/ssd/shop"


def test_the_unit_says_how_to_install_itself():
    text = unit("--lan").stdout
    assert f"#   {sys.executable} -m shopmon service-unit --lan | sudo tee /etc/systemd/system/" in text
    assert "sudo systemctl enable --now shopmon" in text


def test_the_environment_of_this_shell_is_written_down():
    text = unit(environment={"SHOPMON_DATA": "/mnt/a", "SHOPMON_SETTINGS": "/etc/shopmon.toml"}).stdout
    assert "listen --data /mnt/a --settings /etc/shopmon.toml" in text


def test_nothing_in_it_hides_the_sound_card():
    service = parsed(unit().stdout)["Service"]
    for hides_devices in ("PrivateDevices", "ProtectClock", "DevicePolicy", "DeviceAllow"):
        assert hides_devices not in service
    assert "MemoryDenyWriteExecute" not in service


def test_running_as_the_administrator_is_not_recommended():
    done = unit("--user", "root")
    assert done.returncode == 0
    assert "--user" in done.stderr


def test_only_groups_that_exist_are_named():
    assert existing_groups(("no-such-group-here",)) == ()
    text = unit_text(UnitOptions(user="miller", interpreter=Path(sys.executable)), "x", ("audio", "gpio"))
    assert "\nSupplementaryGroups=audio gpio\n" in text


@pytest.mark.parametrize("arguments", [("--user", "nobody-of-that-name"), ("--device", "two\nlines")])
def test_what_a_unit_cannot_hold_is_refused(arguments):
    done = unit(*arguments)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.startswith("shopmon: ")
    assert done.stderr.count("\n") == 1


def test_relative_paths_become_absolute(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    options = UnitOptions(user="miller", interpreter=Path("py"), sources=("part.wav",), data_dir=Path("d"))
    assert options.listen_arguments() == [
        "listen",
        "--source",
        f"{tmp_path}/part.wav",
        "--data",
        f"{tmp_path}/d",
    ]
    assert UnitOptions(user="m", interpreter=Path("py"), sources=("mic",)).listen_arguments()[-1] == "mic"


def unquoted(text: str) -> str:
    """Read one word as systemd does: quotes and backslashes off, percent and dollar undoubled."""
    inner = text[1:-1] if text.startswith('"') else text
    return re.sub(r"\\(.)", r"\1", inner).replace("%%", "%").replace("$$", "$")


@given(st.text(st.characters(codec="utf-8", categories=("L", "N", "P", "S", "Zs")), min_size=1))
def test_quoting_keeps_every_word_whole(word):
    if not word.isprintable():
        with pytest.raises(SettingError):
            quoted(word)
        return
    text = quoted(word, in_command=True)
    assert unquoted(text) == word
    assert text.startswith('"') or not set(text) & set(" '\"\\;")


if shutil.which("systemd-analyze"):

    def test_systemd_itself_accepts_it(tmp_path):
        path = tmp_path / "shopmon.service"
        path.write_text(unit("--device", "a $b %c;d", "--lan").stdout)
        done = subprocess.run(["systemd-analyze", "verify", str(path)], capture_output=True, text=True)
        assert "shopmon.service:" not in done.stderr, done.stderr

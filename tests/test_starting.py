"""The two commands of the README: setting up, and running everything."""

import subprocess
import sys
from pathlib import Path

import pytest

import start
from tests import everything, skip_report
from tests.house import ROOT


@pytest.mark.parametrize("version", [(3, 9), (3, 10), (3, 14), (4, 0)])
def test_unsuitable_pythons_are_refused_with_what_to_do(version):
    with pytest.raises(start.SetupError, match=r"needs Python 3\.11, 3\.12 or 3\.13\. Install one"):
        start.check_python(version=version)


@pytest.mark.parametrize("version", [(3, 11), (3, 12), (3, 13)])
def test_suitable_pythons_are_taken(version):
    start.check_python(version=version)


def test_a_32_bit_system_is_refused():
    with pytest.raises(start.SetupError, match="64-bit Raspberry Pi OS"):
        start.check_python(bits64=False)


def prepared(folder: Path) -> Path:
    """Make a folder look as if it had been prepared for this very project."""
    (folder / "bin").mkdir(parents=True)
    (folder / "bin" / "python").touch()
    (folder / start.STAMP).write_text(start.fingerprint("."))
    return folder


@pytest.fixture
def programs_run(monkeypatch) -> list[list[str]]:
    """Collect what would be run instead of running it; all of it succeeds."""
    calls: list[list[str]] = []

    def run(command, **options):
        calls.append(command)
        return subprocess.CompletedProcess(command, 0, "", "")

    monkeypatch.setattr(start.subprocess, "run", run)
    return calls


def test_a_second_start_installs_nothing(tmp_path, programs_run):
    folder = prepared(tmp_path / "env")
    assert start.prepare(folder) == folder / "bin"
    assert programs_run == []


@pytest.mark.parametrize("spoil", ["stamp", "python"])
def test_a_changed_or_broken_environment_is_made_anew(tmp_path, programs_run, spoil):
    folder = prepared(tmp_path / "env")
    if spoil == "stamp":
        (folder / start.STAMP).write_text("of another list of packages")
    else:
        (folder / "bin" / "python").unlink()
    start.prepare(folder)
    assert programs_run[0][1:4] == ["-m", "venv", "--clear"]
    assert programs_run[1][-2:] == ["--editable", "."]
    assert (folder / start.STAMP).read_text() == start.fingerprint(".")


def test_a_failed_installation_leaves_no_stamp(tmp_path, monkeypatch):
    def run(command, **options):
        return subprocess.CompletedProcess(command, int("pip" in command), "", "")

    monkeypatch.setattr(start.subprocess, "run", run)
    (tmp_path / "env").mkdir()
    with pytest.raises(start.SetupError, match="could not be installed"):
        start.prepare(tmp_path / "env")
    assert not (tmp_path / "env" / start.STAMP).exists()


def test_without_the_right_to_install_the_missing_part_is_named(tmp_path, monkeypatch):
    monkeypatch.setattr(start.importlib.util, "find_spec", lambda name: None)
    monkeypatch.setattr(start, "administrator", lambda: None)
    with pytest.raises(start.SetupError, match=r"sudo apt install python3\.\d+-venv"):
        start.make_environment(tmp_path / "env")


def test_one_unknown_package_does_not_spoil_the_others(monkeypatch):
    def run(command, **options):
        return subprocess.CompletedProcess(command, int("nonesuch" in command))

    monkeypatch.setattr(start, "administrator", lambda: [])
    monkeypatch.setattr(start.shutil, "which", lambda name: f"/usr/bin/{name}")
    monkeypatch.setattr(start.subprocess, "run", run)
    assert start.install_system_packages(["flac", "nonesuch"]) == ["nonesuch"]


def test_what_is_missing_is_said_with_what_follows(monkeypatch, capsys):
    monkeypatch.setitem(everything.NEEDS, "chromium", (lambda: None, everything.BROWSER))
    everything.provide_system_parts(allowed=False)
    said = capsys.readouterr().out
    assert "without it are skipped: tests of the pages in a browser" in said
    assert "sudo apt install" in said
    assert "chromium" in said.splitlines()[-2]


EXAMPLE = """
import pytest
def test_good(): pass
def test_skipped(): pytest.skip({reason!r})
"""


def run_example(folder: Path, reason: str, *options: str) -> subprocess.CompletedProcess:
    """Run pytest with the plug-in on a file with one good and one skipped test."""
    (folder / "test_example.py").write_text(EXAMPLE.format(reason=reason))
    command = [sys.executable, "-m", "pytest", "-p", "tests.skip_report", "-c", "/dev/null", "--rootdir"]
    return subprocess.run(
        [*command, str(folder), *options, str(folder / "test_example.py")],
        cwd=ROOT,
        env={"PATH": "/usr/bin:/bin"},
        capture_output=True,
        text=True,
    )


def test_a_skip_fails_a_strict_run_and_only_a_strict_run(tmp_path):
    assert run_example(tmp_path, "no Chromium here").returncode == 0
    strict = run_example(tmp_path, "no Chromium here", "--skips-fail")
    assert strict.returncode == 1
    assert "1 x  no Chromium here" in strict.stdout
    assert "1 passed, 1 skipped" in strict.stdout.splitlines()[-1]


def test_missing_recordings_may_skip_even_in_a_strict_run(tmp_path):
    done = run_example(tmp_path, f"{skip_report.ACCEPTED}: real recordings are not at hand", "--skips-fail")
    assert done.returncode == 0, done.stdout


def test_recordings_that_are_there_may_not_be_skipped(monkeypatch):
    reason = f"{skip_report.ACCEPTED}: real recordings are not at hand"
    monkeypatch.delenv("SHOPMON_REFERENCE_DATA", raising=False)
    assert skip_report.unaccepted({reason: 3, "no sound": 1}) == ["no sound"]
    monkeypatch.setenv("SHOPMON_REFERENCE_DATA", "somewhere")
    assert skip_report.unaccepted({reason: 3}) == [reason]

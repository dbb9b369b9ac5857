"""The exit status of the command line: 0 only on success, 1 on failure, 2 on bad usage; never a traceback."""

import subprocess
import sys

import click
import pytest

from shopmon import cli
from shopmon.errors import RecordingError, SettingError


def failing(error: BaseException) -> click.Command:
    """Return a command that ends in this error."""

    @click.command()
    def command():
        raise error

    return command


@pytest.mark.parametrize(
    ("error", "status"),
    [
        (click.exceptions.Exit(0), 0),
        (click.exceptions.Exit(1), 1),
        (click.UsageError("No such thing."), 2),
        (SettingError("It is out of range.", "Mend it."), 2),
        (RecordingError("It is no sound.", "Give another."), 1),
        (KeyboardInterrupt(), 130),
    ],
)
def test_status(monkeypatch, error, status):
    monkeypatch.setattr(cli.LazyGroup, "get_command", lambda self, context, name: failing(error))
    assert cli.main(["selfcheck"]) == status


def test_an_error_is_one_line(monkeypatch, capsys):
    error = SettingError("Port 99999 is out of range.", "Use 1 to 65535.")
    monkeypatch.setattr(cli.LazyGroup, "get_command", lambda self, context, name: failing(error))
    cli.main(["selfcheck"])
    assert capsys.readouterr().err == "shopmon: Port 99999 is out of range. Use 1 to 65535.\n"


@pytest.mark.parametrize(
    ("arguments", "status"), [(["--version"], 0), (["--help"], 0), (["chop"], 2), (["selfcheck", "--x"], 2)]
)
def test_status_of_the_process(arguments, status):
    done = subprocess.run([sys.executable, "-m", "shopmon", *arguments], capture_output=True, text=True)
    assert done.returncode == status
    assert "Traceback" not in done.stderr

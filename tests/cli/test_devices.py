"""``shopmon devices`` as a person and a program see it."""

import json
import os
import subprocess
import sys

import numpy as np
import pytest

from shopmon.cli.devices import SCHEMA
from tests.capture.virtual_microphone import VirtualMicrophone
from tests.house import ROOT

pytestmark = pytest.mark.sound
NO_SOUND = "</usr/share/alsa/alsa.conf>\n"


def run(*words, env):
    return subprocess.run(
        [sys.executable, "-m", "shopmon", "devices", *words],
        cwd=ROOT,
        env={**os.environ, **env},
        capture_output=True,
        text=True,
        timeout=60,
    )


@pytest.fixture
def microphone(tmp_path):
    tone = np.round(0.1 * 2**15 * np.sin(2 * np.pi * np.arange(64_000) / 64))
    with VirtualMicrophone(tmp_path, tone) as microphone:
        microphone.start()
        yield microphone


def entry_of(report):
    (entry,) = [entry for entry in report["inputs"] if entry["name"] == "simmic"]
    return entry


def test_the_table(microphone):
    done = run("--seconds", "0.2", env=microphone.env)
    assert done.returncode == 0
    (line,) = [line for line in done.stdout.splitlines() if line.split()[1:2] == ["simmic"]]
    assert line.endswith("-20.0 / -23.0 dB")
    assert "dB re full scale" in done.stdout
    assert 'shopmon listen --device "' in done.stdout


def test_json_alone_on_standard_output(microphone):
    done = run("--seconds", "0.2", "--json", "-", env=microphone.env)
    report = json.loads(done.stdout)
    assert report["schema"] == SCHEMA
    assert report["level_reference"] == "dB re full scale (uncalibrated)"
    level = entry_of(report)["level"]
    assert level["peak_db"] == pytest.approx(-20.0, abs=0.1)
    assert level["sample_rate_hz"] == 48_000
    assert entry_of(report)["problem"] is None


def test_json_in_a_file_without_levels(microphone, tmp_path):
    done = run("--no-level", "--json", str(tmp_path / "inputs.json"), env=microphone.env)
    assert done.returncode == 0
    assert "simmic" in done.stdout
    assert " dB" not in done.stdout
    assert entry_of(json.loads((tmp_path / "inputs.json").read_text()))["level"] is None
    done = run("--no-level", "--json", str(tmp_path / "no" / "folder.json"), env=microphone.env)
    assert done.returncode == 1
    assert "cannot be written" in done.stderr


def test_a_silent_input_is_called_silent(microphone):
    microphone.pause()
    microphone.load(np.zeros(2048))
    microphone.start()
    assert "silent: every sample is 0" in run("--seconds", "0.1", env=microphone.env).stdout


def test_an_input_that_hangs_does_not_hang_the_command(microphone):
    microphone.pause()
    microphone.load(np.zeros(2048))
    done = run("--seconds", "0.1", env=microphone.env)
    assert done.returncode == 0
    assert "simmic delivers no sound" in done.stdout


def test_absurd_seconds_are_bad_usage():
    for seconds in ("0", "-1", "1000", "nan", "x"):
        assert run("--seconds", seconds, env={}).returncode == 2


def test_no_input_at_all(tmp_path):
    (tmp_path / "alsa.conf").write_text(NO_SOUND)
    done = run(env={"ALSA_CONFIG_PATH": str(tmp_path / "alsa.conf")})
    if done.returncode == 0:  # a machine with a sound card of its own
        assert "simmic" not in done.stdout
        return
    assert done.returncode == 1
    assert done.stdout == ""
    assert done.stderr.startswith("shopmon: No sound input was found. Plug in a USB microphone")
    assert done.stderr.count("\n") == 1


def test_serial_ports_are_listed_and_not_opened(monkeypatch):
    from click.testing import CliRunner
    from serial import Serial
    from serial.tools import list_ports, list_ports_common

    from shopmon.capture import devices as inputs
    from shopmon.cli.devices import command
    from shopmon.errors import DeviceError

    board, console = (list_ports_common.ListPortInfo(f"/dev/{name}") for name in ("ttyACM7", "ttyS0"))
    board.vid, board.product, board.serial_number = 0x2E8A, "Board in FS mode", "e6614c311b7e6f35"
    monkeypatch.setattr(list_ports, "comports", lambda: [console, board])
    monkeypatch.setattr(Serial, "open", lambda self: pytest.fail("a port was opened"))

    def no_sound():
        raise DeviceError("There is no PortAudio.")

    monkeypatch.setattr(inputs, "list_inputs", no_sound)
    done = CliRunner().invoke(command, [])
    assert done.exit_code == 0
    assert "/dev/ttyACM7  Board in FS mode, serial number e6614c311b7e6f35" in done.output
    assert "ttyS0" not in done.output
    done = CliRunner().invoke(command, ["--json", "-"])
    assert json.loads(done.output)["serial_ports"] == [
        {"path": "/dev/ttyACM7", "name": "Board in FS mode", "serial_number": "e6614c311b7e6f35"}
    ]

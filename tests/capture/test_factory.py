"""From what a person typed to a source."""

import subprocess
import sys

import numpy as np
import pytest
import soundfile

from shopmon.capture.factory import is_path, open_source
from shopmon.capture.recording import RecordingSource
from shopmon.capture.simulated import DEMO_PASS, DemoSource
from shopmon.errors import RecordingError, SettingError
from tests.house import ROOT


@pytest.mark.parametrize(
    ("spec", "path"),
    [
        ("mic", False),
        ("demo", False),
        ("spindle-mic", False),
        ("", False),
        ("cut.flac", True),
        ("./cut", True),
        ("/recordings/cut", True),
        ("demo.wav", True),
        ("a b.wav", True),
    ],
)
def test_a_path_has_a_separator_or_an_extension(spec, path):
    assert is_path(spec) is path


@pytest.mark.parametrize("spec", ["", "microphone", "Mic", "spindle-mic", " demo"])
def test_no_such_source(spec):
    with pytest.raises(SettingError, match="There is no source named") as caught:
        open_source(spec)
    assert "demo" in caught.value.hint


def test_a_recording(tmp_path):
    soundfile.write(tmp_path / "cut.wav", np.ones((100, 2), np.int16), 8000)
    source = open_source(str(tmp_path / "cut.wav"), sensor="accelerometer", real_time=False)
    assert isinstance(source, RecordingSource)
    assert source.source_id == "cut.wav"
    assert source.format.sample_rate_hz == 8000
    assert [channel.kind for channel in source.format.channels] == ["accelerometer"] * 2
    source.close()
    named = open_source(str(tmp_path / "cut.wav"), source_id="table")
    assert named.format.source_id == "table"
    named.close()
    with pytest.raises(RecordingError):
        open_source(str(tmp_path / "missing.wav"))


def test_the_shipped_demo_is_there_and_small():
    source = open_source("demo")
    assert isinstance(source, DemoSource)
    assert source.format.sample_rate_hz == 48_000
    assert len(source.format.channels) == 1
    assert source.format.code_format == "int16"
    assert DEMO_PASS.stat().st_size <= 3.5 * 10**6
    source.close()


WITHOUT_PORTAUDIO = """
import ctypes.util, sys
found = ctypes.util.find_library
ctypes.util.find_library = lambda name: None if "portaudio" in name else found(name)
from shopmon.cli import main
sys.exit(main(sys.argv[1:]))
"""
WITHOUT_SOUNDDEVICE = """
import sys
sys.modules["sounddevice"] = None
from shopmon.cli import main
sys.exit(main(sys.argv[1:]))
"""


@pytest.mark.parametrize(
    ("script", "reason"),
    [(WITHOUT_PORTAUDIO, "sudo apt install libportaudio2"), (WITHOUT_SOUNDDEVICE, "pip install sounddevice")],
)
def test_without_portaudio_one_line_says_what_to_install(script, reason):
    done = subprocess.run(
        [sys.executable, "-c", script, "devices"], cwd=ROOT, capture_output=True, text=True, timeout=60
    )
    assert done.returncode == 1
    assert done.stdout == ""
    assert reason in done.stderr
    assert done.stderr.count("\n") == 1

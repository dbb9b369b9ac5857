"""Real recordings nobody here made: nothing is cut in any of them, and the bench test has one stray line."""

import numpy as np
import pytest
import soundfile

from shopmon.cli import main
from shopmon.listening.setup import ListenerSettings, Setup
from shopmon.service.inspection import inspect_recording

SOUNDS = (
    "Blacksmith3.wav",
    "Front_Center.wav",
    "Harbor2.wav",
    "IndustryHigh1.wav",
    "Noise.wav",
    "ambi_glass_hum.flac",
    "bell.oga",
    "complete.oga",
    "vinyl_hiss.flac",
)
SETUPS = (
    Setup(),
    Setup(nominal_rpm=12000, flutes=3),
    Setup(nominal_rpm=3600, flutes=4),
    Setup(nominal_rpm=18000),
)
ACCELERATION_G_AT_120_HZ = 0.051  # README of the recordings, computed from the whole file


@pytest.mark.parametrize("setup", SETUPS, ids=["unknown", "12000", "3600", "18000"])
@pytest.mark.parametrize("name", SOUNDS)
def test_nothing_is_cut_in_speech_bells_hiss_and_hum(reference_data, name, setup):
    result = inspect_recording(reference_data / "sounds" / name, setup=setup, settings=ListenerSettings())
    assert result["cuts"] == [] and result["chatter"] == []
    assert result["state"] in ("stopped", "spinning")


@pytest.fixture
def shaker(reference_data, tmp_path):
    """Acceleration of the shaker test in g, full scale 1 g, as a float recording at its true rate."""
    lines = (reference_data / "tones" / "data_set_1_downsampled_by_16.lvm").read_text().splitlines()
    first = next(i for i, line in enumerate(lines) if line.startswith("X_Value")) + 1
    acceleration = np.array([float(line.split("\t")[3]) for line in lines[first:] if line.strip()])
    path = tmp_path / "shaker.wav"
    soundfile.write(path, acceleration, 3200, subtype="FLOAT")
    return path


def test_the_bench_test_has_one_stray_line(shaker):
    setup = Setup(nominal_rpm=3000, flutes=1)
    settings = ListenerSettings(sensor="accelerometer")
    result = inspect_recording(shaker, setup=setup, settings=settings, full_scale=1.0, unit="g")
    assert result["cuts"] == [] and result["chatter"] == []
    (stray,) = result["stray"]
    assert stray["frequency_hz"] == pytest.approx(120.0, abs=0.05)
    assert stray["level_db"] == pytest.approx(20 * np.log10(ACCELERATION_G_AT_120_HZ), abs=0.3)
    assert stray["why"]
    assert result["spindle"]["rpm"] == pytest.approx(3000, rel=1e-3)


def test_the_command_says_so_too(shaker, capsys):
    assert main(["inspect", str(shaker), "--rpm", "3000", "--flutes", "1"]) == 0
    assert "120.0 Hz" in capsys.readouterr().out

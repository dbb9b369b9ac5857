"""Bad input to ``shopmon inspect``, in a process of its own: one line, the right status, no traceback."""

import json
import os
import subprocess
import sys

import numpy as np
import pytest
import soundfile

from shopmon.cli import main
from tests.cli.test_inspect import assert_keeps_the_schema
from tests.listening.synthetic import RATE_HZ, machine


def run(*words, **kwargs):
    """Run the command as a person would."""
    words = [sys.executable, "-m", "shopmon", "inspect", *map(str, words)]
    return subprocess.run(words, capture_output=True, text=True, timeout=120, **kwargs)


def one_line(done, status):
    """Hold a failed run to one line on standard error."""
    assert done.returncode == status, done.stderr
    assert done.stdout == ""
    assert "Traceback" not in done.stderr
    return done.stderr


def write_empty(path):
    path.write_bytes(b"")


def write_text(path):
    path.write_text("no sound at all\n" * 100)


def write_no_samples(path):
    soundfile.write(path, np.zeros((0, 1)), 48000)


def write_nan(path):
    soundfile.write(path, np.array([0.0, np.nan, 0.1] * 9000), 48000, subtype="FLOAT")


def write_infinite(path):
    soundfile.write(path, np.array([0.0, np.inf, -np.inf] * 9000), 48000, subtype="DOUBLE")


def write_directory(path):
    path.mkdir()


@pytest.mark.parametrize(
    "write", [write_empty, write_text, write_no_samples, write_nan, write_infinite, write_directory]
)
def test_what_is_no_recording_fails_with_one_line(tmp_path, write):
    path = tmp_path / "bad.wav"
    write(path)
    assert one_line(run(path), 1).count("\n") == 1


def test_a_missing_path_fails_with_one_line(tmp_path):
    assert one_line(run(tmp_path / "none.flac"), 1).count("\n") == 1


@pytest.mark.parametrize("name", ["", "."])
def test_a_name_that_names_nothing(name):
    assert "is a folder" in one_line(run(name), 1)


def test_the_result_never_replaces_the_recording(tmp_path):
    path = tmp_path / "pass.wav"
    soundfile.write(path, np.zeros(48000), 48000)
    before = path.read_bytes()
    assert "would be lost" in one_line(run(path, "--json", path), 2)
    assert path.read_bytes() == before


def test_a_recording_that_may_not_be_read(tmp_path, capsys, monkeypatch):
    path = tmp_path / "locked.wav"
    soundfile.write(path, machine(1.0), int(RATE_HZ))
    path.chmod(0)
    if os.access(path, os.R_OK):
        # the superuser may read everything: refuse in the system's place
        import builtins

        real = builtins.open

        def refuse(file, *args, **kwargs):
            if str(file) == str(path):
                raise PermissionError(13, "Permission denied", str(file))
            return real(file, *args, **kwargs)

        monkeypatch.setattr(builtins, "open", refuse)
    assert main(["inspect", str(path)]) == 1
    assert "locked.wav" in capsys.readouterr().err


@pytest.mark.parametrize(
    "words",
    [
        ("--rpm", "-5"),
        ("--rpm", "0"),
        ("--rpm", "1e9"),
        ("--rpm", "nan"),
        ("--rpm", "fast"),
        ("--flutes", "0"),
        ("--flutes", "900"),
        ("--flutes", "2.5"),
        ("--min-rpm", "9000", "--max-rpm", "100"),
        ("--max-rpm", "inf"),
        ("--full-scale", "4"),
        ("--full-scale", "0", "--unit", "g"),
        ("--full-scale", "nan", "--unit", "g"),
        ("--sensor", "nose"),
        ("--nonsense",),
    ],
)
def test_absurd_options_are_bad_usage(tmp_path, words, capsys):
    path = tmp_path / "pass.wav"
    soundfile.write(path, machine(1.0), int(RATE_HZ))
    assert main(["inspect", str(path), *words]) == 2
    assert capsys.readouterr().out == ""


def inspected(path, *words):
    """Return the JSON of a recording that can be inspected, however odd it is."""
    done = run(path, *words, "--json", "-")
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    result = json.loads(done.stdout)
    assert_keeps_the_schema(result)
    return result


def constant(value):
    return lambda: (np.full(48000, value), 48000, "PCM_16")


def clipped_square():
    return np.sign(np.sin(2 * np.pi * 200 * np.arange(96000) / 48000 + 0.1)), 48000, "PCM_16"


def one_sample():
    return np.array([0.5]), 48000, "PCM_16"


def fast():
    return machine(5.0, engaged=((2.0, 4.0),), rate_hz=192_000), 192_000, "PCM_24"


def slow():
    return machine(5.0, engaged=((2.0, 4.0),), rate_hz=8000), 8000, "PCM_16"


def coarse():
    return 4 * machine(5.0, engaged=((2.0, 4.0),)), int(RATE_HZ), "PCM_U8"


def many_channels():
    sound = machine(5.0, engaged=((2.0, 4.0),))
    return np.stack([sound * (1 + i % 3) / 3 for i in range(64)], axis=1), int(RATE_HZ), "PCM_16"


@pytest.mark.parametrize(
    ("make", "state", "code"),
    [
        (constant(0.0), "no-input", "no-input"),
        (constant(0.25), "no-input", "no-input"),
        (clipped_square, None, "sensor-clipped"),
        (one_sample, "no-input", None),
        (fast, "cutting", None),
        (slow, "cutting", None),
        (coarse, "cutting", None),
        (many_channels, "cutting", None),
    ],
    ids=["zero", "offset", "square", "one-sample", "192k", "8k", "8-bit", "64-channels"],
)
def test_odd_recordings_get_a_sensible_answer(tmp_path, make, state, code):
    samples, rate_hz, subtype = make()
    path = tmp_path / "odd.wav"
    soundfile.write(path, samples, rate_hz, subtype=subtype)
    result = inspected(path, "--rpm", 12000, "--flutes", 3)
    codes = {notice["code"] for notice in result["notices"]}
    assert state in (None, result["state"])
    assert code is None or code in codes
    assert bool(result["cuts"]) == (state == "cutting")
    assert result["recording"]["duration_s"] == pytest.approx(len(samples) / rate_hz, abs=1e-3)


def test_a_flac_cut_short_is_analysed_as_far_as_it_goes(tmp_path):
    whole = tmp_path / "whole.flac"
    soundfile.write(whole, machine(8.0), int(RATE_HZ), subtype="PCM_16")
    short = tmp_path / "short.flac"
    data = whole.read_bytes()
    short.write_bytes(data[: int(0.8 * len(data))])
    result = inspected(short, "--rpm", 12000, "--flutes", 3)
    assert "recording-truncated" in {notice["code"] for notice in result["notices"]}
    assert 4.0 < result["recording"]["duration_s"] < 7.5
    assert len(result["cuts"]) == 1

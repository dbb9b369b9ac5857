"""Measured signals from files of numbers: what they say is taken, what they do not say is asked for."""

import numpy as np
import pytest
from scipy.io import savemat

from shopmon.capture.table_file import read_table
from shopmon.errors import RecordingError

TIME = np.arange(500) / 3200
WAVE = np.sin(2 * np.pi * 50 * TIME)


def test_text_with_a_header_and_a_column_of_time(tmp_path):
    file = tmp_path / "run.csv"
    rows = "\n".join(f"{t:.6f},{v:.6f},{2 * v:.6f}" for t, v in zip(TIME, WAVE, strict=True))
    file.write_text(f"made by,nobody\ntime,x,y\n{rows}\n")
    table = read_table(file)
    assert table.names == ("x", "y")
    assert table.sample_rate_hz == pytest.approx(3200, rel=1e-3)
    assert table.channel("2") == pytest.approx(2 * WAVE, abs=1e-5)


@pytest.mark.parametrize("separator", [";", "\t", " "])
def test_other_separators(tmp_path, separator):
    file = tmp_path / "run.txt"
    file.write_text("\n".join(f"{v:.6f}{separator}{v:.6f}" for v in WAVE))
    assert read_table(file).columns.shape == (2, 500)


def test_numpy_and_matlab(tmp_path):
    np.save(tmp_path / "run.npy", np.array([TIME, WAVE]))
    savemat(tmp_path / "run.mat", {"run": {"gs": WAVE, "sr": 3200.0, "rate": 25.0}})
    from_numpy, from_matlab = read_table(tmp_path / "run.npy"), read_table(tmp_path / "run.mat")
    assert from_numpy.sample_rate_hz == pytest.approx(3200)
    assert from_matlab.sample_rate_hz == 3200.0
    for table in (from_numpy, from_matlab):
        assert table.channel(None) == pytest.approx(WAVE)


def test_a_count_of_samples_is_no_time(tmp_path):
    np.save(tmp_path / "run.npy", np.array([np.arange(500.0), WAVE]))
    assert read_table(tmp_path / "run.npy").sample_rate_hz is None


def test_which_signal_is_asked_for(tmp_path):
    np.save(tmp_path / "run.npy", np.array([WAVE, -WAVE]))
    table = read_table(tmp_path / "run.npy")
    for wanted in (None, "3", "x"):
        with pytest.raises(RecordingError) as error:
            table.channel(wanted)
        assert "signal 1" in error.value.hint


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("a.csv", b""),
        ("b.csv", b"a;b\n1;2\n3;4\n"),
        ("c.csv", "\n".join("1,5" if n != 90 else "1,5,7" for n in range(200)).encode()),
        ("d.csv", "\n".join(["1"] * 100 + ["broken off"]).encode()),
        ("e.csv", "\n".join(["1"] * 100 + ["nan"] * 3).encode()),
        ("f.npy", b"\x93NUMPY then nothing"),
        ("g.mat", b"no such thing" * 20),
        ("h.csv", bytes(range(256)) * 8),
    ],
)
def test_bad_files_are_refused_with_a_reason(tmp_path, name, content):
    (tmp_path / name).write_bytes(content)
    with pytest.raises(RecordingError) as error:
        read_table(tmp_path / name)
    assert error.value.text and error.value.hint


def test_objects_in_numpy_files_are_refused(tmp_path):
    np.save(tmp_path / "run.npy", np.array([{"a": 1}] * 100), allow_pickle=True)
    with pytest.raises(RecordingError):
        read_table(tmp_path / "run.npy")


def test_a_file_that_is_not_there(tmp_path):
    with pytest.raises(RecordingError):
        read_table(tmp_path / "none.csv")


def test_times_rounded_by_a_logger_are_times_all_the_same(tmp_path):
    file = tmp_path / "run.csv"
    times = np.arange(60_000) / 25_600
    file.write_text("\n".join(f"{t:.6g},{np.sin(t):.6f}" for t in times))
    table = read_table(file)
    assert table.names == ("column 2",)
    assert table.sample_rate_hz == pytest.approx(25_600, rel=1e-4)


def test_decimal_commas_between_semicolons(tmp_path):
    file = tmp_path / "run.csv"
    rows = "\n".join(f"{t:.6f};{v:.6f}" for t, v in zip(TIME, WAVE, strict=True))
    file.write_text("time;x\n" + rows.replace(".", ","))
    assert read_table(file).channel("x") == pytest.approx(WAVE, abs=1e-5)


def test_a_slow_signal_is_no_time(tmp_path):
    np.save(tmp_path / "run.npy", np.array([np.sqrt(1 + TIME), WAVE]))
    assert read_table(tmp_path / "run.npy").names == ("signal 1", "signal 2")

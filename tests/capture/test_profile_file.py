"""Profiles from files."""

import numpy as np
import pytest
import sdfio
import x3pio

from shopmon.capture.profile_file import read_profile
from shopmon.errors import RecordingError, SettingError

HEIGHTS = np.sin(np.arange(400) * 0.1)


def test_columns_of_position_and_height(tmp_path):
    path = tmp_path / "wall.csv"
    rows = "\n".join(f"{0.0005 * n:.4f};{z:.6f}" for n, z in enumerate(HEIGHTS))
    path.write_text("x in mm;z in um\n" + rows)
    profile = read_profile(path)
    assert profile.spacing_mm == pytest.approx(0.0005)
    assert profile.heights_um == pytest.approx(HEIGHTS, abs=1e-6)


def test_one_column_needs_the_spacing(tmp_path):
    path = tmp_path / "wall.txt"
    path.write_text("\n".join(f"{z:.6f}" for z in HEIGHTS))
    with pytest.raises(RecordingError, match="how far apart"):
        read_profile(path)
    profile = read_profile(path, spacing_mm=0.001, unit="mm")
    assert profile.heights_um == pytest.approx(1000 * HEIGHTS, abs=1e-3)


def test_an_x3p_profile(tmp_path):
    path = tmp_path / "wall.x3p"
    x3pio.write(path, HEIGHTS * 1e-6, x_scale=5e-7)
    profile = read_profile(path)
    assert profile.spacing_mm == pytest.approx(0.0005)
    assert profile.heights_um == pytest.approx(HEIGHTS)


def test_a_row_of_an_x3p_surface(tmp_path):
    path = tmp_path / "wall.x3p"
    x3pio.write(path, np.vstack([HEIGHTS, 2 * HEIGHTS]) * 1e-6, x_scale=5e-7, y_scale=1e-6)
    with pytest.raises(RecordingError, match="2 rows"):
        read_profile(path)
    with pytest.raises(RecordingError, match="no row"):
        read_profile(path, column="3")
    assert read_profile(path, column="2").heights_um == pytest.approx(2 * HEIGHTS)


@pytest.mark.parametrize("form", list(sdfio.FileFormat))
def test_an_sdf_profile_and_a_row_of_an_sdf_surface(tmp_path, form):
    # written by the library itself: no file of an instrument has been tried
    path = tmp_path / "wall.sdf"
    sdfio.write(path, HEIGHTS[None] * 1e-6, x_scale=5e-7, y_scale=1e-6, format=form)
    profile = read_profile(path)
    assert profile.spacing_mm == pytest.approx(0.0005)
    assert profile.heights_um == pytest.approx(HEIGHTS, abs=1e-6)
    sdfio.write(path, np.vstack([HEIGHTS, 2 * HEIGHTS]) * 1e-6, x_scale=5e-7, y_scale=1e-6, format=form)
    with pytest.raises(RecordingError, match="2 rows"):
        read_profile(path)
    assert read_profile(path, column="2").heights_um == pytest.approx(2 * HEIGHTS, abs=1e-6)
    sdfio.write(path, np.full((1, 400), np.nan), x_scale=5e-7, y_scale=1e-6, format=form)
    with pytest.raises(SettingError, match="points without a height"):
        read_profile(path)


def test_an_sdf_profile_typed_by_hand(tmp_path):
    # the text form of ISO 25178-71 as recalled: header, heights as whole numbers times Zscale, no trailer
    head = {"ManufacID": "by hand", "CreateDate": "010120261200", "ModDate": "010120261200", "NumPoints": 100,
            "NumProfiles": 1, "Xscale": "5.0e-7", "Yscale": "1.0e-6", "Zscale": "1.0e-9", "Zresolution": -1,
            "Compression": 0, "DataType": 5, "CheckType": 0}  # fmt: skip
    lines = ["aISO-1.0", *(f"{name} = {value}" for name, value in head.items()), "*"]
    heights = [(n * 37) % 101 for n in range(100)]
    path = tmp_path / "hand.sdf"
    path.write_text("\n".join([*lines, " ".join(map(str, heights)), "*", "*"]) + "\n")
    profile = read_profile(path)
    assert profile.heights_um == pytest.approx(np.array(heights) / 1000)
    assert profile.spacing_mm == pytest.approx(0.0005)


def test_an_sdf_file_that_promises_more_than_it_holds(tmp_path):
    path = tmp_path / "wall.sdf"
    sdfio.write(path, HEIGHTS[None] * 1e-6, x_scale=5e-7, y_scale=1e-6)
    path.write_bytes(path.read_bytes()[:-500])
    with pytest.raises(RecordingError, match="no SDF file"):
        read_profile(path)


def test_the_sample_of_the_standards_own_library(reference_data):
    # it holds a cloud of 16 points, which is no profile
    with pytest.raises(RecordingError, match="cloud of points"):
        read_profile(reference_data / "profiles" / "ISO5436-sample2.x3p")


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("wall.x3p", b"no zip", "no X3P"),
        ("wall.x3p", b"", "no X3P"),
        ("wall.sdf", b"aBCR-1.0", "no SDF file"),
        ("wall.sdf", b"", "no SDF file"),
        ("wall.sdf", b"bISO-1.0" + b"\xff" * 400, "no SDF file"),
        ("wall.prf", b"1", "no kind of file"),
        ("wall.csv", b"", "holds no numbers"),
        ("wall.csv", b"0,5\n0,6\n" * 100, "several signals"),
        ("wall.csv", b"1.0\nnan\n" * 100, "no numbers"),
    ],
)
def test_files_that_are_no_profile(tmp_path, name, content, says):
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(RecordingError, match=says):
        read_profile(path, spacing_mm=0.001)


def test_a_file_that_is_not_there_and_a_unit_that_is_none(tmp_path):
    with pytest.raises(RecordingError, match="cannot be read"):
        read_profile(tmp_path / "none.x3p")
    with pytest.raises(RecordingError, match="no unit"):
        read_profile(tmp_path / "none.csv", unit="furlong")
    path = tmp_path / "short.csv"
    path.write_text("\n".join(["1.0"] * 64))
    with pytest.raises(SettingError):
        read_profile(path, spacing_mm=-1)

"""Responses in universal files: there and back, and files that are none."""

import numpy as np
import pytest
import pyuff

from shopmon.errors import RecordingError, StoreError
from shopmon.records.response_file import read_response, write_response
from shopmon.signals.tap.frequency_response import MeasuredResponse
from tests.hits import receptance

FREQUENCY = np.arange(1, 500) * 4.0
MEASURED = MeasuredResponse(
    frequency_hz=FREQUENCY,
    receptance=receptance([(800.0, 0.02, 1e7)], FREQUENCY),
    coherence=None,
    force_db=np.zeros(FREQUENCY.size),
    added_damping_rate=0.0,
    hits=1,
)


def test_there_and_back(tmp_path):
    write_response(tmp_path / "tip.uff", MEASURED, "y", 1.0, 2000.0)
    again = read_response(tmp_path / "tip.uff")
    assert again.frequency_hz == pytest.approx(FREQUENCY)
    assert again.receptance == pytest.approx(MEASURED.receptance, rel=1e-6)


def test_another_reader_finds_a_response_over_force_in_y(tmp_path):
    write_response(tmp_path / "tip.uff", MEASURED, "y", 1.0, 2000.0)
    one = pyuff.UFF(str(tmp_path / "tip.uff")).read_sets()
    assert (one["type"], one["func_type"], one["rsp_dir"], one["ref_dir"]) == (58, 4, 2, 2)
    assert (one["ordinate_spec_data_type"], one["orddenom_spec_data_type"]) == (8, 13)


def test_accelerance_is_integrated_twice(tmp_path):
    write_response(tmp_path / "tip.uff", MEASURED, "x", 1.0, 2000.0)
    one = pyuff.UFF(str(tmp_path / "tip.uff")).read_sets()
    one["ordinate_spec_data_type"] = 12
    one["data"] = one["data"] * -((2 * np.pi * FREQUENCY) ** 2)
    pyuff.UFF(str(tmp_path / "other.uff")).write_sets(one, mode="add")
    assert read_response(tmp_path / "other.uff").receptance == pytest.approx(MEASURED.receptance, rel=1e-5)


def test_no_file_is_written_over(tmp_path):
    (tmp_path / "tip.uff").write_text("mine")
    with pytest.raises(StoreError):
        write_response(tmp_path / "tip.uff", MEASURED, "x", 1.0, 2000.0)
    assert (tmp_path / "tip.uff").read_text() == "mine"


def test_several_responses_are_asked_for(tmp_path):
    for _ in range(2):
        write_response(tmp_path / "one.uff", MEASURED, "x", 1.0, 2000.0)
        (tmp_path / "both.uff").open("a").write((tmp_path / "one.uff").read_text())
        (tmp_path / "one.uff").unlink()
    with pytest.raises(RecordingError, match="2 responses"):
        read_response(tmp_path / "both.uff")
    assert read_response(tmp_path / "both.uff", 2).frequency_hz.size == FREQUENCY.size
    with pytest.raises(RecordingError):
        read_response(tmp_path / "both.uff", 3)


@pytest.mark.parametrize(
    "content", [b"", b"no such file\n" * 50, bytes(range(256)) * 10, b"    -1\n    58\nbroken\n"]
)
def test_other_files_are_refused(tmp_path, content):
    (tmp_path / "bad.uff").write_bytes(content)
    with pytest.raises(RecordingError) as error:
        read_response(tmp_path / "bad.uff")
    assert error.value.hint


def test_a_file_that_is_not_there(tmp_path):
    with pytest.raises(RecordingError):
        read_response(tmp_path / "none.uff")


def test_only_the_band_of_the_test_is_written(tmp_path):
    write_response(tmp_path / "tip.uff", MEASURED, "x", 300.0, 1000.0)
    again = read_response(tmp_path / "tip.uff")
    assert (again.frequency_hz[0], again.frequency_hz[-1]) == (300.0, 1000.0)


def test_a_folder_that_is_not_there(tmp_path):
    with pytest.raises(StoreError):
        write_response(tmp_path / "none" / "tip.uff", MEASURED, "x", 1.0, 2000.0)


def changed(tmp_path, **fields):
    write_response(tmp_path / "tip.uff", MEASURED, "x", 1.0, 2000.0)
    one = pyuff.UFF(str(tmp_path / "tip.uff")).read_sets()
    pyuff.UFF(str(tmp_path / "other.uff")).write_sets({**one, **fields}, mode="add")
    return tmp_path / "other.uff"


@pytest.mark.parametrize(
    ("label", "factor"), [("mm", 1e-3), ("µm", 1e-6), ("in", 0.0254), ("m", 1.0), ("NONE", 1.0)]
)
def test_a_label_that_says_other_units_is_heeded(tmp_path, label, factor):
    found = read_response(changed(tmp_path, ordinate_axis_units_lab=label))
    assert found.receptance == pytest.approx(factor * MEASURED.receptance, rel=1e-5)


def test_a_force_in_pounds_is_made_newtons(tmp_path):
    found = read_response(changed(tmp_path, orddenom_axis_units_lab="lbf"))
    assert found.receptance == pytest.approx(MEASURED.receptance / 4.4482216, rel=1e-5)


def test_one_motion_over_another_is_no_response_to_a_force(tmp_path):
    with pytest.raises(RecordingError, match="no response to a force"):
        read_response(changed(tmp_path, orddenom_spec_data_type=12))


def test_a_file_in_other_units_than_si_is_refused(tmp_path):
    file = changed(tmp_path)
    units = pyuff.prepare_164(
        units_code=5, units_description="mm", temp_mode=1, length=1000.0, force=1.0, temp=1.0, temp_offset=0.0
    )
    pyuff.UFF(str(file)).write_sets(units, mode="add")
    with pytest.raises(RecordingError, match="SI units"):
        read_response(file)

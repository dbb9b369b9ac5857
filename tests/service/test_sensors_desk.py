"""The desk of sensors: calibrations with date and history, and never a unit without one."""

import threading

import numpy as np
import pytest

from shopmon.errors import SettingError
from shopmon.records.archive import Archive
from shopmon.service.sensors.desk import SampleCatcher, SensorsDesk
from shopmon.signals.block import Block, Channel
from shopmon.signals.sensors.calibration import PLACES
from tests.dashboards.fake_sensors import FakeSensor, Lying, fake_sensors


@pytest.fixture
def archive(tmp_path):
    archive = Archive.open(tmp_path / "data", budget_bytes=0, reserve_bytes=0)
    archive.set_clock(1_795_000_000.0, "phone")
    yield archive
    archive.close()


def turned(desk):
    for number, place in enumerate(PLACES):
        lies = [0.0, 0.0, 0.0]
        lies[number // 2] = 1.0 if number % 2 == 0 else -1.0
        desk._catcher.lies = lies
        desk.measure_place(place)
    return desk.finish_turn_over()


def test_nothing_has_a_unit_before_it_is_calibrated():
    desk = fake_sensors()
    assert desk.level_text() is None
    assert desk.calibration() is None
    assert desk.now()["level"] is None


def test_turning_over_is_kept_with_its_date(archive):
    desk = SensorsDesk(archive, FakeSensor(), lambda: (-38.0, 0.0))
    desk._catcher = Lying()
    kept = turned(desk)
    assert [channel["per_full_scale"] for channel in kept["channels"]] == pytest.approx([16.0] * 3, rel=1e-2)
    assert kept["remarks"] == []
    archive.flush()
    assert desk.level_text() == "0.2 g r.m.s., calibrated 2026-11-18"
    again = SensorsDesk(archive, FakeSensor(), lambda: (-38.0, 0.0))
    assert again.calibration() == kept
    assert [row["method"] for row in again.history()] == ["turned over"]
    assert again.history()[0]["t"] == pytest.approx(1_795_000_000.0, abs=60)


def test_another_range_or_device_makes_it_void(archive):
    desk = SensorsDesk(archive, FakeSensor(), lambda: (-38.0, 0.0))
    desk._catcher = Lying()
    turned(desk)
    desk._source.full_scales_g = (4.0, 4.0, 4.0)
    assert desk.calibration() is None
    assert desk.level_text() is None
    assert "does not count" in desk.now()["doubt"]


def test_a_wrong_scale_factor_is_said():
    desk = fake_sensors()
    desk._catcher.g_per_full_scale = 16.0 / 0.3
    assert "gravity reads 0.30 g here" in desk.measure_place("z up")["remark"]
    kept = turned(desk)
    assert "reads 0.30 g" in kept["remarks"][0]


def test_a_missing_place_or_a_wrong_sensor_is_refused():
    desk = fake_sensors()
    desk.measure_place("z up")
    with pytest.raises(SettingError, match="still missing: x up"):
        desk.finish_turn_over()
    with pytest.raises(SettingError, match="no place"):
        desk.measure_place("sideways")
    with pytest.raises(SettingError, match="three axes"):
        fake_sensors("microphone", 1).measure_place("z up")


def test_a_calibrator_and_an_entered_sensitivity():
    desk = fake_sensors("microphone", 2)
    rate = desk._source.format.sample_rate_hz
    tone = 0.05 * np.sin(2 * np.pi * 1000 * np.arange(round(3 * rate)) / rate)
    desk._catcher.samples = np.stack([tone, 0 * tone], axis=1)
    desk.calibrate_level(1, 94)
    assert desk.level_text().startswith("85 dB re 20 µPa")  # −38 dB; the tone had −29 dB and was 94
    desk.enter(2, -26, "dB")
    assert [channel["channel"] for channel in desk.calibration()["channels"]] == [1, 2]
    with pytest.raises(SettingError, match="Nothing is heard"):
        desk.calibrate_level(2, 94)


@pytest.mark.parametrize(
    ("channel", "value", "what"),
    [(1, "x", "g"), (1, -1, "g"), (1, float("inf"), "g"), (1, True, "g"), (4, 16, "g"), (0, 16, "g"),
     (1, 16, "Pa"), (1, 16, "furlong"), (None, 16, "g")],
)  # fmt: skip
def test_absurd_entries_are_refused(channel, value, what):
    with pytest.raises(SettingError):
        fake_sensors().enter(channel, value, what)


def test_part_and_mounting_decide_what_is_said_all_the_time():
    desk = fake_sensors()
    assert desk.notices() == []
    desk.describe({"part": "ADXL355", "mounting": "magnet", "resonance_hz": None})
    (notice,) = desk.notices()
    assert notice["code"] == "sensor-unfit"
    assert "up to 2.0\u00a0kHz (as it is fixed: magnet)" in notice["text"]
    for bad in ({"part": "X"}, {"mounting": "string"}, {"resonance_hz": 1}):
        with pytest.raises(SettingError):
            desk.describe(bad)


def block_at(first, frames=100, stream="a"):
    return Block(
        codes=np.full((frames, 1), first, np.int16), code_format="int16", sample_rate_hz=1000.0,
        first_sample=first, source_id="a", stream_id=stream, channels=(Channel(),),
    )  # fmt: skip


def test_a_stretch_is_caught_without_a_gap_in_it():
    catcher, got = SampleCatcher(), []
    catcher.take(block_at(0))
    thread = threading.Thread(target=lambda: got.append(catcher.catch(0.25)))
    thread.start()
    while catcher._done is None:
        pass
    for first in (100, 200, 400, 500, 600):
        catcher.take(block_at(first))
    thread.join(5)
    assert (got[0][::100, 0] * 32768).tolist() == [400, 500, 600]


def test_nothing_comes(monkeypatch):
    monkeypatch.setattr("shopmon.service.sensors.desk.WAIT_S", 0.0)
    with pytest.raises(SettingError, match="No whole stretch"):
        SampleCatcher().catch(0.01)

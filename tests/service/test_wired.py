"""Self-check of boards and of sensors that Linux drives."""

import os

from shopmon.capture.sampler.ports import SerialPort
from shopmon.service.selfcheck.wired import check_wired
from shopmon.service.settings import Settings, SourceSettings
from tests.capture.iio.fake import FakeSensor


def checked(ports=(), sysfs=None, **sources):
    return check_wired(Settings(sources=sources), lambda: list(ports), sysfs)


def test_nothing_is_said_where_there_is_no_such_sensor():
    assert checked(mic=SourceSettings()) == []


def test_a_board_that_is_there_or_not(tmp_path):
    (tmp_path / "ttyACM0").touch()
    there = SerialPort(path=str(tmp_path / "ttyACM0"), name="Board in FS mode", serial_number="e66")
    for device, ports, verdict, text in (
        ("e66", [there], "ok", "ttyACM0"),
        ("e66", [], "wrong", "no board"),
        (None, [there], "wrong", "not said"),
    ):
        (finding,) = checked(ports, spindle=SourceSettings(kind="board", device=device))
        assert (finding.verdict, text in finding.text) == (verdict, True)


def test_a_driven_sensor(tmp_path, monkeypatch):
    sensor = FakeSensor(tmp_path)
    (finding,) = checked(sysfs=sensor.sysfs, column=SourceSettings(kind="iio"))
    assert (finding.verdict, finding.text) == ("ok", "Source 'column' of the settings is adxl355.")
    monkeypatch.setattr(os, "access", lambda path, mode: False)
    (finding,) = checked(sysfs=sensor.sysfs, column=SourceSettings(kind="iio"))
    assert finding.verdict == "wrong"
    assert "udev" in finding.hint

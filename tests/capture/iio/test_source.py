"""A kernel-driven sensor from its files to blocks."""

import os
import threading

import numpy as np
import pytest

from shopmon.capture.factory import open_source
from shopmon.capture.iio.device import find_accelerometer, list_accelerometers, switch_on
from shopmon.capture.iio.source import IioSource
from shopmon.errors import DeviceError
from shopmon.signals.block import Block
from tests.capture.iio.fake import FakeSensor, Scan16, Scan32, scans, stamps_at

RATE_HZ = 4000.0


def opened(sensor):
    source = IioSource(sysfs=sensor.sysfs, dev=sensor.dev, source_id="spindle")
    assert list(source.turn(0.0)) == []
    return source


def heard(source, now_s=0.1):
    items = list(source.turn(now_s))
    return [i for i in items if isinstance(i, Block)], [i for i in items if not isinstance(i, Block)]


def test_an_adxl355_like_sensor(tmp_path):
    """be:s20/32>>12, as its driver says it (from memory)."""
    sensor = FakeSensor(tmp_path, "be:s20/32>>12")
    source = opened(sensor)
    assert sensor.read("buffer/enable") == "1"
    assert int(sensor.read("buffer/length")) >= 2 * RATE_HZ
    assert [sensor.read(f"scan_elements/in_accel_{axis}_en") for axis in "xyz"] == ["1"] * 3
    assert sensor.read("scan_elements/in_timestamp_en") == "1"
    assert sensor.read("scan_elements/in_temp_en") == "0"
    values = np.random.default_rng(1).integers(-(2**19), 2**19, (9000, 3))
    stored = np.frombuffer((values << 12 | 0xABC).astype(">i4").tobytes(), "<i4").reshape(-1, 3)
    blocks = []
    for start in range(0, 9000, 1500):
        part = slice(start, start + 1500)
        threading.Thread(
            target=sensor.send, args=(scans(Scan32, stored[part], stamps_at(RATE_HZ, 1500, start)),)
        ).start()
        for turn in range(200):
            got, notices = heard(source, 0.1 + turn * 1e-3)
            blocks += got
            if notices:
                assert [notice.code for notice in notices] == ["device-opened"]
                assert "4000 Hz, 3 axes, 20 bits" in notices[0].text
            threading.Event().wait(0.001)
            if sum(block.frames for block in blocks) >= start + 1500 > 8000:
                break
    codes = np.concatenate([block.codes for block in blocks])
    assert (codes == values << 4).all()
    assert blocks[0].code_format == "int24"
    assert source.full_scales_g == pytest.approx([2**19 * 0.000038245 / 9.80665] * 3)
    source.close()
    assert sensor.read("buffer/enable") == "0"


def pumped(sensor, source, raw):
    """Send everything and read along; return blocks and notices."""
    sender = threading.Thread(target=sensor.send, args=(raw,))
    sender.start()
    blocks, notices = [], []
    idle = 0
    while idle < 30:
        got, said = heard(source)
        blocks += got
        notices += said
        idle = 0 if got or sender.is_alive() else idle + 1
        threading.Event().wait(0.002)
    sender.join()
    return blocks, notices


def test_a_gap_by_the_timestamps_and_the_mount_matrix(tmp_path):
    sensor = FakeSensor(tmp_path, in_accel_mount_matrix="0, 1, 0; -1, 0, 0; 0, 0, 1")
    source = opened(sensor)
    axes = np.random.default_rng(2).integers(-1000, 1000, (10_000, 3))
    stamps = np.concatenate([stamps_at(RATE_HZ, 9000), stamps_at(RATE_HZ, 1000, 9000 + 123)])
    blocks, notices = pumped(sensor, source, scans(Scan16, axes, stamps))
    codes = np.concatenate([block.codes for block in blocks])
    assert (codes == np.stack([axes[:, 1], -axes[:, 0], axes[:, 2]], axis=1)).all()
    gaps = [(block.first_sample, block.quality.gap) for block in blocks if block.quality.gap]
    assert gaps == [(9123, 123)]
    assert "input-overflow" in [notice.code for notice in notices]
    source.close()


@pytest.mark.parametrize(
    ("true", "used", "said"), [(4001.0, 4000.0, False), (3912.0, 3912.0, False), (2000.0, 2000.0, True)]
)
def test_the_rate_is_measured_by_the_timestamps(tmp_path, true, used, said):
    sensor = FakeSensor(tmp_path)
    source = opened(sensor)
    axes = np.random.default_rng(2).integers(-1000, 1000, (9000, 3))
    blocks, notices = pumped(sensor, source, scans(Scan16, axes, stamps_at(true, 9000)))
    assert blocks[0].sample_rate_hz == used
    assert not any(block.quality for block in blocks)
    assert ("rate-wrong" in [notice.code for notice in notices]) == said
    source.close()


def test_without_timestamps_the_told_rate_is_used(tmp_path):
    sensor = FakeSensor(
        tmp_path, **{f"scan_elements__in_timestamp_{n}": None for n in ("en", "index", "type")}
    )
    source = opened(sensor)
    raw = np.arange(3000, dtype="<i2").tobytes()
    blocks, _ = pumped(sensor, source, raw)
    assert (np.concatenate([block.codes for block in blocks]).reshape(-1) == np.arange(3000)).all()
    assert blocks[0].sample_rate_hz == 4000.0
    source.close()


def test_scales_of_single_axes_go_before_the_shared_one(tmp_path):
    sensor = FakeSensor(tmp_path, in_accel_y_scale="0.002", in_accel_offset="4")
    buffer = switch_on(find_accelerometer(None, sensor.sysfs))
    assert buffer.scales == (0.000038245, 0.002, 0.000038245)
    assert buffer.offsets == (4.0, 4.0, 4.0)


def test_a_sensor_that_goes_away_is_waited_for(tmp_path):
    sensor = FakeSensor(tmp_path)
    source = opened(sensor)
    axes = np.random.default_rng(2).integers(-1000, 1000, (8000, 3))
    blocks, _ = pumped(sensor, source, scans(Scan16, axes, stamps_at(RATE_HZ, 8000)))
    assert blocks
    sensor.gone()
    _, notices = heard(source, 5.0)
    assert [notice.code for notice in notices] == ["device-lost"]
    assert heard(source, 6.5) == ([], [])
    again = FakeSensor(tmp_path)
    list(source.turn(8.0))
    more, notices = pumped_later(again, source, scans(Scan16, axes, stamps_at(RATE_HZ, 8000)))
    assert notices[0].code == "device-returned"
    assert more[0].stream_id != blocks[0].stream_id
    assert more[0].first_sample == 0
    source.close()


def pumped_later(sensor, source, raw):
    source._clock = lambda: 8.1
    sender = threading.Thread(target=sensor.send, args=(raw,))
    sender.start()
    blocks, notices = [], []
    while sender.is_alive() or not blocks:
        got, said = heard(source, 8.1)
        blocks, notices = blocks + got, notices + said
        threading.Event().wait(0.002)
    return blocks, notices


@pytest.mark.parametrize(
    ("attributes", "text"),
    [
        ({"in_accel_scale": None}, "no scale"),
        ({"in_accel_sampling_frequency": None}, "no sampling_frequency"),
        ({"scan_elements__in_accel_x_type": "le:f32/32>>0"}, "no known form"),
        ({"scan_elements__in_accel_x_type": "le:u16/16>>0"}, "not signed"),
        ({"scan_elements__in_accel_x_type": "le:s12/16>>0"}, "not signed numbers of one width"),
        ({"in_accel_mount_matrix": "1, 2"}, "mount matrix"),
    ],
)
def test_what_is_not_understood_is_said(tmp_path, attributes, text):
    sensor = FakeSensor(tmp_path, **attributes)
    source = IioSource(sysfs=sensor.sysfs, dev=sensor.dev)
    (notice,) = source.turn(0.0)
    assert notice.code == "device-lost"
    assert text in notice.text
    assert list(source.turn(0.5)) == []


def test_a_driver_that_refuses_is_said(tmp_path, monkeypatch):
    sensor = FakeSensor(tmp_path)

    def refuse(path, flags, *args):
        raise PermissionError(13, "Permission denied", str(path))

    monkeypatch.setattr(os, "open", refuse)
    with pytest.raises(DeviceError, match="may not be written"):
        switch_on(find_accelerometer("adxl355", sensor.sysfs))


def test_which_sensor_is_meant(tmp_path):
    assert list_accelerometers(tmp_path / "nothing") == []
    with pytest.raises(DeviceError, match="overlay"):
        find_accelerometer(None, tmp_path / "nothing")
    sensor = FakeSensor(tmp_path)
    FakeSensor(tmp_path, number=1, name="lis3dh")
    assert find_accelerometer("lis", sensor.sysfs).name == "lis3dh"
    assert find_accelerometer("iio:device0", sensor.sysfs).name == "adxl355"
    for wanted in (None, "zz", "l"):
        with pytest.raises(DeviceError, match="iio:device1 = lis3dh"):
            find_accelerometer(wanted, sensor.sysfs)


def test_the_factory_makes_it():
    assert isinstance(open_source("iio", device="adxl355", source_id="s"), IioSource)


def test_a_sensor_left_at_its_slow_rate_is_said(tmp_path):
    sensor = FakeSensor(tmp_path, in_accel_sampling_frequency="100")
    (notice,) = IioSource(sysfs=sensor.sysfs, dev=sensor.dev).turn(0.0)
    assert "samples at 100 Hz, too slow" in notice.text
    assert "in_accel_sampling_frequency" in notice.hint
    assert sensor.read("buffer/enable") == "0"


def test_a_scale_that_cannot_be_is_said(tmp_path):
    sensor = FakeSensor(tmp_path, in_accel_scale="38.0")
    source = opened(sensor)
    axes = np.random.default_rng(2).integers(-1000, 1000, (8500, 3))
    _, notices = pumped(sensor, source, scans(Scan16, axes, stamps_at(RATE_HZ, 8500)))
    assert "range-absurd" in [notice.code for notice in notices]
    source.close()


def test_a_closed_source_takes_no_further_turn(tmp_path):

    source = IioSource("adxl355", sysfs=tmp_path, dev=tmp_path)
    source.close()
    assert list(source.blocks(threading.Event())) == []


@pytest.mark.parametrize(
    ("attributes", "text", "hint"),
    [
        ({"in_accel_sampling_frequency": "0"}, "its sampling_frequency is 0", "Write one into"),
        ({"in_accel_sampling_frequency": "nan"}, "its sampling_frequency is nan", "Write one into"),
        ({"in_accel_sampling_frequency": "-4000"}, "its sampling_frequency is -4000", "Write one into"),
        ({"in_accel_sampling_frequency": "1e12"}, "its sampling_frequency is 1e+12", "Write one into"),
        ({"in_accel_sampling_frequency": None}, "no sampling_frequency", "Write one into"),
        ({"in_accel_scale": "nan"}, "no scale that can be", "Load it again"),
        ({"in_accel_scale": "-0.1"}, "no scale that can be", "Load it again"),
        ({"in_accel_scale": None}, "no scale that can be", "Load it again"),
        ({"scan_elements__in_accel_y_index": None}, "in_accel_y_index is ''", "Load it again"),
        ({"scan_elements__in_accel_y_index": "one"}, "in_accel_y_index is 'one'", "Load it again"),
        ({"scan_elements__in_accel_y_type": None}, "is of no known form", "Load it again"),
        ({"in_accel_mount_matrix": "1, 0; 0, 1"}, "is not understood", "Load it again"),
        ({"buffer__enable": None}, "cannot be switched on", "trigger"),
    ],
)
def test_files_that_are_missing_or_wrong_are_said_with_what_to_do(tmp_path, attributes, text, hint):
    sensor = FakeSensor(tmp_path, **attributes)
    source = IioSource(sysfs=sensor.sysfs, dev=sensor.dev)
    (said,) = source.turn(0.0)
    assert said.code == "device-lost"
    assert text in said.text
    assert hint in said.hint
    assert source.format is None


def test_a_buffer_that_may_not_be_read_is_said(tmp_path, monkeypatch):
    sensor = FakeSensor(tmp_path)
    real = os.open

    def refused(path, *rest):
        if str(path).startswith(str(sensor.dev)):
            raise PermissionError(13, "Permission denied", str(path))
        return real(path, *rest)

    monkeypatch.setattr(os, "open", refused)
    (said,) = IioSource(sysfs=sensor.sysfs, dev=sensor.dev).turn(0.0)
    assert "cannot be opened: Permission denied" in said.text and "udev rule" in said.hint
    assert sensor.read("buffer/enable") == "0"

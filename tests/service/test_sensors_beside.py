"""Desks of several sensors: each has its own, and vibration is taken from the accelerometer."""

import numpy as np
import pytest

from shopmon.errors import SettingError
from shopmon.service.sensors.beside import AllSensors
from shopmon.signals.block import Block
from tests.dashboards.fake_sensors import FakeSensor, FakeValues


class Several:
    """A microphone with an accelerometer beside it."""

    def __init__(self):
        self.mic, self.board = FakeSensor("microphone", 1), FakeSensor()
        self.mic.source_id, self.mic.full_scales_g = "mic", None
        self.sources = (self.mic, self.board)
        self.source_id, self.format = "mic", self.mic.format


def block_of(source, source_id):
    form = source.format
    return Block(
        codes=np.full((64, len(form.channels)), 99, np.int16), code_format="int16",
        sample_rate_hz=form.sample_rate_hz, first_sample=0, source_id=source_id, stream_id="s",
        channels=form.channels,
    )  # fmt: skip


def test_vibration_comes_from_the_accelerometer_wherever_it_stands():
    source, taken = Several(), []
    sensors = AllSensors(FakeValues(), source, lambda: (-30.0, 0.0))
    sensors.hand_vibration_to(taken.append)
    sensors.take(block_of(source.mic, "mic"))
    sensors.take(block_of(source.board, "spindle"))
    assert [block.source_id for block in taken] == ["spindle"]
    assert sensors.vibration is sensors.of("spindle")
    assert sensors.vibration_format() is source.board.format
    assert sensors.first is sensors.of("mic") is sensors.of(None)
    with pytest.raises(SettingError, match="no source 'x' here"):
        sensors.of("x")


def test_a_microphone_alone_is_all_there_is():
    source, taken = FakeSensor("microphone", 1), []
    sensors = AllSensors(FakeValues(), source, lambda: (None, 0.0))
    sensors.hand_vibration_to(taken.append)
    sensors.take(block_of(source, "spindle"))
    assert sensors.vibration is sensors.first and len(taken) == 1


def test_each_keeps_its_own_calibration():
    source = Several()
    sensors = AllSensors(FakeValues(), source, lambda: (-30.0, 0.0))
    sensors.of("spindle").enter(1, 16.0, "g")
    assert sensors.first.calibration() is None and sensors.first.level_text() is None
    sensors.take(block_of(source.board, "spindle"))
    assert "g r.m.s." in sensors.of("spindle").level_text()

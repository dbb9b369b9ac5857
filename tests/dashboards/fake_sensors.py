"""The desk of sensors over an invented accelerometer that lies as the test says."""

import time

import numpy as np

from shopmon.capture.source import SourceFormat
from shopmon.errors import SettingError
from shopmon.service.sensors.desk import SensorsDesk
from shopmon.signals.block import Channel

RATE_HZ = 26_667.0


class FakeValues:
    """Keeps values with their history, in memory."""

    def __init__(self):
        self.rows: dict[str, list] = {}

    def value(self, key):
        return self.rows[key][-1]["value"] if key in self.rows else None

    def value_history(self, key):
        return self.rows.get(key, [])

    def set_value(self, key, value, origin):
        self.rows.setdefault(key, []).append({"value": value, "t": time.time(), "origin": origin})


class FakeSensor:
    """A source that only says what it would deliver."""

    source_id = "spindle"
    name = "sampler board spindle"
    full_scales_g = (16.0, 16.0, 16.0)

    def __init__(self, kind="accelerometer", channels=3):
        self.format = SourceFormat(
            source_id="spindle",
            name=self.name,
            sample_rate_hz=RATE_HZ,
            channels=(Channel(kind=kind),) * channels,
            code_format="int16",
        )


class Lying:
    """Stands in for the stream: the sensor at rest with one axis along gravity."""

    def __init__(self):
        self.lies = (0.0, 0.0, 1.0)
        self.g_per_full_scale = 16.0
        self.samples = None

    def take(self, block):
        """Nothing comes of blocks here."""

    def catch(self, seconds):
        if self.samples is not None:
            return self.samples
        noise = np.random.default_rng(1).normal(0, 2e-4, (round(seconds * RATE_HZ), 3))
        return np.array(self.lies) / self.g_per_full_scale + noise


def fake_sensors(kind="accelerometer", channels=3):
    """Return a desk over a sensor that lies with its z axis up."""
    desk = SensorsDesk(FakeValues(), FakeSensor(kind, channels), lambda: (-38.0, 0.0))
    desk._catcher = Lying()
    return desk


class FakeAllSensors:
    """The desk of the invented monitor, and one of a microphone beside it."""

    def __init__(self, monitor):
        self._monitor = monitor
        self.beside = fake_sensors("microphone", 1)

    @property
    def first(self):
        """Of the first sensor; a test may have put another there."""
        return self._monitor.sensors

    vibration = first

    def of(self, source_id):
        """Return the desk of a source."""
        if source_id in (None, "", "spindle"):
            return self.first
        if source_id != "spindle-mic":
            raise SettingError(f"There is no source {source_id!r} here.", "There is: spindle, spindle-mic.")
        return self.beside

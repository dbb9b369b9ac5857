"""The level of an input, on a scripted stream."""

import numpy as np
import pytest

from shopmon.capture.devices import level_of, measure_level
from shopmon.capture.portaudio import BLOCK_FRAMES
from shopmon.errors import DeviceError
from tests.capture.scripted_driver import RATE, HandClock, ScriptedDriver


def stream_of(codes, blocks=10):
    driver = ScriptedDriver(HandClock())
    driver.start_opening(None)
    driver.deliver(blocks, codes=codes.astype(np.int16))
    return driver.stream


def test_peak_and_root_mean_square():
    square = np.where(np.arange(BLOCK_FRAMES) % 2, 3277, -3277)  # a tenth of full scale
    level = level_of(stream_of(square), 0.1)
    assert level.peak_db == pytest.approx(-20.0, abs=0.01)
    assert level.rms_db == pytest.approx(-20.0, abs=0.01)
    assert level.duration_s == pytest.approx(0.1)
    assert level.sample_rate_hz == RATE


def test_full_scale_is_counted():
    level = level_of(stream_of(np.full(BLOCK_FRAMES, -32_768), blocks=1), BLOCK_FRAMES / RATE)
    assert level.clipped == BLOCK_FRAMES
    assert level.peak_db == 0.0


def test_digital_silence_has_no_level():
    level = level_of(stream_of(np.zeros(BLOCK_FRAMES)), 0.1)
    assert level.peak_db is None
    assert level.rms_db is None


def test_nothing_delivered():
    stream = stream_of(np.zeros(BLOCK_FRAMES), blocks=0)
    stream.intake.finish()
    with pytest.raises(DeviceError, match="delivers no sound") as caught:
        level_of(stream, 0.1)
    assert caught.value.hint


@pytest.mark.parametrize("seconds", [0, -1, 11, float("nan")])
def test_absurd_times_are_refused(seconds):
    with pytest.raises(ValueError, match="is not between 0 and 10 s"):
        measure_level(None, seconds)

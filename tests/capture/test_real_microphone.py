"""The microphone through the real PortAudio, fed by the virtual microphone."""

import os
import subprocess
import sys
import threading
import time

import numpy as np
import pytest

from shopmon.capture.devices import list_inputs, measure_level
from shopmon.capture.microphone import MicrophoneSource
from shopmon.capture.portaudio import BLOCK_FRAMES
from shopmon.capture.source import SourceNotice
from shopmon.errors import DeviceError
from shopmon.signals.block import Block
from tests.capture.virtual_microphone import VirtualMicrophone, numbered_pcm, place_in

pytestmark = pytest.mark.sound
RATE = 48_000


class Recorder:
    """Runs a source in a thread and keeps what it gives."""

    def __init__(self, source):
        self.source = source
        self.items = []
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self):
        for item in self.source.blocks(self._stop):
            self.items.append(item)

    def wait_for(self, code, timeout_s=20.0):
        """Wait for a notice."""
        self._wait(lambda: code in self.notices(), timeout_s)

    def wait_for_frames(self, frames, timeout_s=30.0):
        self._wait(lambda: sum(block.frames for block in self.blocks()) >= frames, timeout_s)

    def _wait(self, condition, timeout_s):
        give_up_s = time.monotonic() + timeout_s
        while not condition():
            assert time.monotonic() < give_up_s, self.notices()
            time.sleep(0.01)

    def blocks(self):
        return [item for item in list(self.items) if isinstance(item, Block)]

    def notices(self):
        return [item.code for item in list(self.items) if isinstance(item, SourceNotice)]

    def streams(self):
        """Codes of each stream, by stream."""
        ids = list(dict.fromkeys(block.stream_id for block in self.blocks()))
        return [
            np.concatenate([block.codes for block in self.blocks() if block.stream_id == stream_id])
            for stream_id in ids
        ]

    def close(self):
        self._stop.set()
        self._thread.join(10)
        self.source.close()


@pytest.fixture
def recorder(virtual_microphone):
    recorders = []

    def start(**options):
        recorders.append(Recorder(MicrophoneSource(virtual_microphone.device, **options)))
        return recorders[-1]

    yield start
    virtual_microphone.start()
    for one in recorders:
        one.close()


def assert_exact(codes, pcm):
    """Every code is the one that was played, from where the capture begins."""
    column = codes[:, 0]
    begin = place_in(pcm, column)
    assert np.array_equal(column, np.take(pcm, np.arange(begin, begin + len(column)), mode="wrap"))


def test_every_sample_arrives_as_it_was_played(virtual_microphone, recorder):
    virtual_microphone.start()
    recording = recorder()
    recording.wait_for_frames(3 * RATE)
    recording.close()
    (codes,) = recording.streams()
    assert_exact(codes, virtual_microphone.pcm[:, 0])
    assert recording.notices() == ["device-opened"]
    assert not any(block.quality.gap or block.quality.overflow for block in recording.blocks())
    assert recording.blocks()[0].code_format == "int16"


def test_two_channels(virtual_microphone, recorder):
    pcm = numbered_pcm(400)
    virtual_microphone.load(np.stack([pcm, -pcm], axis=1))
    virtual_microphone.start()
    recording = recorder(channels=2)
    recording.wait_for_frames(RATE)
    recording.close()
    (codes,) = recording.streams()
    assert np.array_equal(codes[:, 0], -codes[:, 1])
    assert_exact(codes, pcm)


def test_a_stalled_device_is_noticed_and_taken_up_again(virtual_microphone, recorder):
    virtual_microphone.start()
    recording = recorder()
    recording.wait_for_frames(RATE)
    virtual_microphone.pause()
    recording.wait_for("device-lost")
    assert recording.source.format is None
    virtual_microphone.start()
    recording.wait_for("device-returned")
    recording.wait_for_frames(2 * RATE)
    recording.close()
    first, second = recording.streams()
    assert_exact(first, virtual_microphone.pcm[:, 0])
    assert_exact(second, virtual_microphone.pcm[:, 0])
    assert recording.notices() == ["device-opened", "device-lost", "device-returned"]


def test_an_unplugged_device_is_found_again_when_it_is_plugged_in(virtual_microphone, recorder):
    virtual_microphone.start()
    recording = recorder()
    recording.wait_for_frames(RATE // 2)
    virtual_microphone.unplug()
    assert recording.notices()[-1] == "device-lost"
    time.sleep(1.5)
    with pytest.raises(DeviceError):
        measure_level(virtual_microphone.device)
    virtual_microphone.plug_in()
    virtual_microphone.start()
    recording.wait_for("device-returned")
    recording.wait_for_frames(RATE)
    recording.close()
    assert recording.notices() == ["device-opened", "device-lost", "device-returned"]
    assert len(recording.streams()) == 2


def test_a_device_that_comes_later_is_taken(virtual_microphone, recorder):
    virtual_microphone.unplug(noticed_after_s=0.0)
    recording = recorder()
    recording.wait_for("device-lost")
    virtual_microphone.plug_in()
    virtual_microphone.start()
    recording.wait_for("device-opened")
    recording.close()
    assert recording.notices() == ["device-lost", "device-opened"]


def test_a_slow_consumer_loses_nothing_until_the_ring_is_full(virtual_microphone):
    virtual_microphone.start()
    source, stop = MicrophoneSource(virtual_microphone.device), threading.Event()
    blocks = (item for item in source.blocks(stop) if isinstance(item, Block))
    codes = [next(blocks).codes]
    time.sleep(5.0)
    while sum(map(len, codes)) < 6 * RATE:
        block = next(blocks)
        assert not block.quality.gap
        codes.append(block.codes)
    stop.set()
    source.close()
    assert_exact(np.concatenate(codes), virtual_microphone.pcm[:, 0])


def test_the_level_of_an_input(virtual_microphone):
    tone = 0.1 * 2**15 * np.sin(2 * np.pi * np.arange(BLOCK_FRAMES * 10) / 64)
    virtual_microphone.load(np.round(tone))
    virtual_microphone.start()
    (device,) = [one for one in list_inputs() if one.name == virtual_microphone.device]
    level = measure_level(device.index, 0.5)
    assert level.peak_db == pytest.approx(-20.0, abs=0.05)
    assert level.rms_db == pytest.approx(-23.01, abs=0.05)
    assert level.clipped == 0
    assert level.duration_s == 0.5


def test_a_missing_device_lists_what_there_is(virtual_microphone):
    virtual_microphone.start()
    with pytest.raises(DeviceError, match="There is no sound input named 'bluetooth'") as caught:
        measure_level("bluetooth")
    assert virtual_microphone.device in caught.value.hint
    with pytest.raises(DeviceError, match="has no 500 channels"):
        next(iter_opened(MicrophoneSource(virtual_microphone.device, channels=500)))


def iter_opened(source):
    """Raise what keeps the source from opening."""
    for item in source.blocks(threading.Event()):
        if isinstance(item, SourceNotice) and item.code == "device-lost":
            source.close()
            raise DeviceError(item.text, item.hint)
        yield item


HANGING = """
import sys, threading
from shopmon.capture.microphone import MicrophoneSource
source = MicrophoneSource("simmic")
for item in source.blocks(threading.Event()):
    if getattr(item, "code", "") == "device-lost":
        break
    print("sound", flush=True)
source.close()
print("closed", flush=True)
"""


def test_a_process_can_end_while_the_driver_hangs(tmp_path):
    """Without being left behind, PortAudio would keep the process from ending for ever."""
    with VirtualMicrophone(tmp_path, numbered_pcm(100)) as microphone:
        microphone.start()
        process = subprocess.Popen(
            [sys.executable, "-c", HANGING],
            env={**os.environ, **microphone.env},
            stdout=subprocess.PIPE,
            text=True,
        )
        try:
            assert process.stdout.readline() == "sound\n"
            microphone.pause()
            assert process.communicate(timeout=60)[0].endswith("closed\n")
            assert process.returncode == 0
        finally:
            process.kill()
            process.wait()

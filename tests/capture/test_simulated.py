"""The demo source plays in a loop and says that it is invented."""

import subprocess
import sys
import threading

import numpy as np
import soundfile

from shopmon.capture.simulated import DemoSource
from shopmon.capture.source import SourceNotice
from shopmon.signals.block import Block


def test_the_count_runs_on_over_the_loop(tmp_path):
    codes = np.random.default_rng(1).integers(-999, 999, (100_000, 1)).astype(np.int16)
    soundfile.write(tmp_path / "pass.flac", codes, 48_000)
    source, stop = DemoSource(tmp_path / "pass.flac", real_time=False), threading.Event()
    expected, got, streams = 0, [], set()
    for item in source.blocks(stop):
        if isinstance(item, Block):
            assert item.first_sample == expected
            expected = item.end_sample
            got.append(item.codes)
            streams.add(item.stream_id)
            if expected == 250_000 or len(got) > 6:
                stop.set()
    assert expected >= 250_000
    assert np.array_equal(np.concatenate(got), np.resize(codes, (expected, 1)))
    assert len(streams) == 1
    source.close()
    source.close()


def test_says_that_it_is_invented(tmp_path):
    soundfile.write(tmp_path / "pass.flac", np.zeros(10, np.int16), 48_000)
    source = DemoSource(tmp_path / "pass.flac")
    assert "invented" in source.name
    assert "simulated" in source.format.name
    first = next(source.blocks(threading.Event()))
    assert isinstance(first, SourceNotice)
    assert first.code == "device-opened"
    assert "invented" in first.text


def test_neither_demo_nor_recordings_load_portaudio(tmp_path):
    soundfile.write(tmp_path / "a.wav", np.ones(10, np.int16), 48_000)
    script = (
        "import sys\n"
        "from shopmon.capture.factory import open_source\n"
        "import shopmon.capture.simulated, shopmon.capture.microphone, shopmon.capture.devices\n"
        "assert 'soundfile' not in sys.modules\n"
        "open_source(sys.argv[1]).close()\n"
        "assert 'sounddevice' not in sys.modules\n"
    )
    subprocess.run([sys.executable, "-c", script, str(tmp_path / "a.wav")], check=True, timeout=60)

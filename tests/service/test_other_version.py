"""A data folder that another version of the listener left behind is no reason not to listen."""

import numpy as np
import pytest
import soundfile as sf

from shopmon.capture.recording import RecordingSource
from shopmon.listening.setup import Setup
from shopmon.records.archive import Archive
from shopmon.records.sound.stream_info import StreamInfo
from shopmon.service.monitor import Monitor
from shopmon.service.settings import Settings

RATE_HZ = 16_000
STATES = [{"schema": "shopmon.listener-state/1", "background": {}}, {"schema": "something else"}]


@pytest.mark.parametrize("state", STATES)
def test_what_another_version_learned_is_left_alone(tmp_path, state):
    path = tmp_path / "noise.wav"
    sf.write(path, 0.01 * np.random.default_rng(1).standard_normal(2 * RATE_HZ), RATE_HZ)
    source = RecordingSource(path, real_time=False)
    archive = Archive.open(tmp_path / "data", budget_bytes=10**9)
    archive.start_stream(
        StreamInfo(
            source_id=source.source_id,
            stream_id="before",
            name="before",
            sample_rate_hz=RATE_HZ,
            channels=1,
            code_format="int16",
        )
    )
    archive.snapshot("before", 0, state, {})
    archive.end_stream("before")
    archive.flush()
    assert archive.last_state(source.source_id)["schema"] == state["schema"]
    monitor = Monitor(source, archive, Settings(), Setup())
    monitor.start()
    assert monitor.engine_finished.wait(30)
    assert not monitor.failed
    monitor.close()

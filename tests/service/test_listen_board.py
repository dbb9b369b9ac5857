"""The whole monitor with a sampler board and its tachometer, on a pair of pseudo-terminals, over HTTP."""

import os
import time
import tty

import numpy as np

from shopmon.capture.sampler.frames import BoardFrame, pack_frame
from shopmon.cutting.simulation.pass_sound import render
from shopmon.cutting.simulation.scenarios import scenario
from shopmon.listening.setup import ListenerSettings, Setup
from shopmon.service.inspection import inspect_recording
from tests.service.listen_process import ListenProcess

RATE_HZ, FRAMES, FASTER = 48_000, 480, 4.0


def frames_of(codes, track):
    """Return the frames of a board that heard `codes` at a spindle turning as `track` says."""
    times, rpm = np.array(track).T
    phase = np.cumsum(np.interp(np.arange(len(codes)) / RATE_HZ, times, rpm)) / 60 / RATE_HZ
    edges = np.flatnonzero(np.diff(np.floor(phase))) + 1.0
    for sequence, first in enumerate(range(0, len(codes) - FRAMES + 1, FRAMES)):
        within = edges[(edges >= first) & (edges < first + FRAMES)] - first
        yield pack_frame(
            BoardFrame(
                session=7, sequence=sequence, first_sample=first, dropped=0, sensor_id=4,
                sample_rate_hz=float(RATE_HZ), range_g=16.0, sample_bytes=2, temperature_c=30.0,
                tach_connected=True, edges=tuple(within), codes=codes[first : first + FRAMES, None],
            )
        )  # fmt: skip


def test_a_ringing_pass_from_a_board_with_a_tachometer(tmp_path):
    samples, truth = render(scenario("pass-that-rings"), 3)
    codes = np.round(np.clip(samples, -1, 1) * 32767).astype(np.int16)
    end, device = os.openpty()
    tty.setraw(device)
    settings = tmp_path / "settings.toml"
    settings.write_text(f'[sources.spindle]\nkind = "board"\ndevice = "{os.ttyname(device)}"\n')
    options = ("--source", "spindle", "--settings", str(settings), "--flutes", "3")
    with ListenProcess(tmp_path / "data", *options) as listening:
        listening.wait_until_served()
        begun, rates = time.monotonic(), []
        os.write(end, b"\0")
        for number, frame in enumerate(frames_of(codes, truth["spindle"]["track"])):
            while frame:
                frame = frame[os.write(end, frame) :]
            time.sleep(max(0.0, begun + number * FRAMES / RATE_HZ / FASTER - time.monotonic()))
            if number % 100 == 99:
                rates.append(listening.get("/api/state")["rpm"])
        state = listening.get("/api/state")
        assert state["input"]["channels"] == 2
        assert state["input"]["in_unit"] is None
        assert state["input"]["lost_s"] == 0
        os.close(end)
        os.close(device)
        deadline = time.monotonic() + 20
        while listening.get("/api/state")["state"] != "no-input":
            assert time.monotonic() < deadline
            time.sleep(0.05)
        (cut,) = listening.get("/api/cuts")["cuts"]
        assert cut["chatter"]
        assert listening.stop() == 0
    # the tachometer's word within the pass, though nobody said a speed
    heard = np.array([rate for rate in rates[3:] if rate])
    assert len(heard)  # how many depends on how busy this computer is
    assert np.abs(heard / truth["spindle"]["true_rpm"] - 1).max() < 0.01
    (recording,) = (tmp_path / "data").rglob("*.flac")
    again = inspect_recording(recording, setup=Setup(), settings=ListenerSettings(sensor="accelerometer"))
    rpm = [row[1] for row in again["spindle"]["track"]]
    true = [np.interp(row[0], *np.array(truth["spindle"]["track"]).T) for row in again["spindle"]["track"]]
    assert len(rpm) > 3
    live = [(round(c["frequency_hz"], 2)) for c in cut["chatter"]]
    assert [round(c["frequency_hz"], 2) for c in again["chatter"]] == live
    assert np.median(np.abs(np.array(rpm) / true - 1)) < 2e-3

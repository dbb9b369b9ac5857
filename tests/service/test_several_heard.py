"""A microphone buried in noise and an accelerometer that hears the cut: heard, recorded and heard again."""

import json

import numpy as np
import pytest
import soundfile as sf
from scipy import signal

from shopmon.capture.aligner import AlignedSource
from shopmon.capture.source import SourceFormat
from shopmon.cutting.simulation.pass_sound import render
from shopmon.cutting.simulation.scenarios import scenario
from shopmon.listening.setup import ListenerSettings, Setup
from shopmon.records.archive import Archive
from shopmon.service.inspection import inspect_recording, mixes_sensors
from shopmon.service.monitor import Monitor
from shopmon.service.settings import Settings
from shopmon.signals.block import Channel
from tests.capture.two_clocks import AXES, BOARD_HZ, MIC_HZ, board_blocks, mic_blocks

RNG = np.random.default_rng(9)


class Quiet:
    """A source of which only the name and format are asked: the events come from the script."""

    def __init__(self, source_id, rate_hz, channels):
        self.source_id = self.name = source_id
        self.format = SourceFormat(
            source_id=source_id, name=source_id, sample_rate_hz=float(rate_hz), channels=channels,
            code_format="int16",
        )  # fmt: skip

    def close(self):
        pass


class Scripted(AlignedSource):
    """Both sources as they arrive by the script, in one thread."""

    def __init__(self, events, archive):
        super().__init__([Quiet("mic", MIC_HZ, (Channel(),)), Quiet("board", BOARD_HZ, AXES)])
        self.events, self.archive = sorted(events, key=lambda event: event[:2]), archive

    def blocks(self, stop):
        for number, (at_s, lane, block) in enumerate(self.events):
            self.order.take(lane, at_s, block)
            yield from self.order.release(at_s)
            if number % 200 == 0:
                self.archive.flush(filing=False)  # the disk of a test may be slower than time
        yield from self.order.release(0.0, everything=True)


@pytest.fixture(scope="module")
def cut():
    """The sound of a pass that rings at 1422 Hz from 8.4 to 10.9 s, with its truth."""
    samples, truth = render(scenario("pass-that-rings"), 3)
    return np.asarray(samples, float), truth


def on_the_spindle(samples):
    """What the board's axes measure: the cut, its own noise, and gravity on the third."""
    times = np.arange(samples.size) / MIC_HZ
    below = np.convolve(samples, signal.firwin(201, 12_000, fs=MIC_HZ), "same")

    def axes(at_s):
        wave = np.interp(at_s, times, below)
        noise = 2e-3 * RNG.standard_normal((wave.size, 3))
        return np.outer(wave, (0.2, 0.1, 0.02)) + noise + (0, 0, 1 / 16)

    return axes


def monitored(tmp_path, cut, **board):
    """Run a monitor over both, or over the microphone alone; return it with its archive, finished."""
    samples, truth = cut
    events = mic_blocks(0.1 * samples + 0.1 * np.random.default_rng(5).standard_normal(samples.size))
    if board.pop("there", True):
        events += board_blocks(on_the_spindle(samples), samples.size / MIC_HZ, off=60e-6, **board)
    archive = Archive.open(tmp_path / "data", budget_bytes=10**10, buffer_s=60)
    setup = Setup(**{name: truth["spindle"][name] for name in ("nominal_rpm", "flutes")})
    monitor = Monitor(Scripted(events, archive), archive, Settings(), setup)
    monitor.start()
    assert monitor.engine_finished.wait(240)
    archive.flush()
    return monitor, archive


def test_the_microphone_alone_hears_nothing_of_it(tmp_path, cut):
    monitor, archive = monitored(tmp_path, cut, there=False)
    assert archive.cuts() == []
    monitor.close()


@pytest.mark.parametrize("gone", [(), ((9.2, 9.8),)], ids=["all the time", "unplugged in the chatter"])
def test_with_the_accelerometer_the_alarm_comes(tmp_path, cut, gone):
    monitor, archive = monitored(tmp_path, cut, gone=gone)
    (row,) = archive.cuts()
    told = monitor.cut(row["id"])
    first = told["chatter"][0]
    ((begin_s, end_s),) = cut[1]["engaged"]
    away_s = sum(until - since for since, until in gone) + (0.4 if gone else 0.0)  # and the window to fill
    assert -0.28 - away_s <= told["cut_time_s"] - (end_s - begin_s) <= 0.28
    assert first["frequency_hz"] == pytest.approx(1422.3, abs=10)
    assert told["quality"]["clipped_fraction"] == 0.0
    path = archive.audio_path(row["id"])
    beside = json.loads(path.with_name(path.name + ".state.json").read_text())
    assert beside["channel_sources"] == [None, "board", "board", "board"]
    assert beside["channel_kinds"] == ["microphone"] + ["accelerometer"] * 3
    again = inspect_recording(path, setup=Setup(), settings=ListenerSettings())
    spans = [(span["alarm_s"], round(span["frequency_hz"], 1)) for span in again["chatter"]]
    assert spans == [(span["alarm_s"], round(span["frequency_hz"], 1)) for span in told["chatter"]]
    codes, _ = sf.read(path, dtype="int16")
    assert mixes_sensors(path)
    beside = monitor.all_sensors.of("board").now()
    assert (beside["kind"], len(beside["channels"]), beside["level"]) == ("accelerometer", 3, None)
    monitor.all_sensors.of("board").enter(1, 16.0, "g")
    assert monitor.all_sensors.vibration is monitor.all_sensors.of("board")
    assert [channel["full_scale_g"] for channel in monitor.taps.channels()] == [16.0, None, None]
    assert " g r.m.s., calibrated" in monitor.all_sensors.of("board").level_text()
    assert monitor.state()["input"]["in_unit"] is None  # the microphone's own level has no unit by that
    played = monitor.review.part_of_sound(row["id"], "first")  # ears get the microphone alone
    assert np.array_equal(played.samples(0, 9000), codes[:9000, 0])
    monitor.close()

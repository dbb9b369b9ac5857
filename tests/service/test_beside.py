"""Two sources at once: one is listened to, both are recorded, and it is kept where they belong together."""

import shutil

import numpy as np
import pytest
import soundfile as sf

from shopmon.capture.aligner import AlignedSource
from shopmon.capture.recording import RecordingSource
from shopmon.cutting.simulation.pass_sound import render
from shopmon.cutting.simulation.scenarios import scenario
from shopmon.errors import SettingError
from shopmon.listening.setup import Setup
from shopmon.records.archive import Archive
from shopmon.service.cuts.beside import OtherStreams
from shopmon.service.monitor import Monitor
from shopmon.service.settings import Settings, SourceSettings
from shopmon.service.start import Options, make_sources
from shopmon.signals.block import Block, Channel

RATE_HZ = 48_000


class InOneThread(AlignedSource):
    """Takes from its sources by the time of their samples, as if each came at its own speed."""

    def blocks(self, stop):
        items = [[i for i in lane.source.blocks(stop) if isinstance(i, Block)] for lane in self.lanes]
        due = [
            (block.end_sample / RATE_HZ, number, block) for number, mine in enumerate(items) for block in mine
        ]
        for at_s, number, block in sorted(due, key=lambda item: item[:2]):
            self.order.take(number, at_s, block)
            yield from self.order.release(at_s)
        yield from self.order.release(0.0, everything=True)


def test_each_source_has_its_own_recording(tmp_path):
    samples, truth = render(scenario("pass-that-rings"), 1)
    codes = np.round(samples * 32767).astype("<i2")
    for name, shift in (("mic", 0), ("board", 1)):
        sf.write(tmp_path / f"{name}.wav", np.roll(codes, shift), RATE_HZ, subtype="PCM_16")
    sources = [
        RecordingSource(tmp_path / f"{name}.wav", real_time=False, source_id=name)
        for name in ("mic", "board")
    ]
    archive = Archive.open(tmp_path / "data", budget_bytes=10**10, buffer_s=60)
    setup = Setup(**{name: truth["spindle"][name] for name in ("nominal_rpm", "flutes")})
    monitor = Monitor(InOneThread(sources), archive, Settings(), setup)
    monitor.start()
    assert monitor.engine_finished.wait(120)
    assert [other["source"] for other in monitor.state()["others"]] == ["board"]
    archive.flush()
    (cut,) = archive.cuts()
    beside = [event for event in archive.events(limit=500) if event["kind"] == "recorded-beside"]
    monitor.close()
    assert [event["cut_id"] for event in beside] == [cut["id"]]
    told = beside[0]["data"]
    assert told["sample"] == pytest.approx(told["cut_sample"], abs=5)
    again = Archive.open(tmp_path / "data", budget_bytes=10**10, buffer_s=60)
    files = sorted((tmp_path / "data").rglob("*.flac"))
    assert len(files) == 2
    assert any(beside[0]["data"]["recording_id"] in file.name for file in files)
    again.close()


def test_two_sources_of_one_name_are_refused():
    settings = Settings(sources={"a": SourceSettings(kind="demo"), "b": SourceSettings(kind="demo")})
    with pytest.raises(SettingError, match="same name"):
        make_sources(Options(source="demo", others=("b",)), settings)


def test_a_recording_that_ends_in_a_cut_keeps_the_analysis_of_it(tmp_path):
    samples, truth = render(scenario("pass-that-rings"), 1)
    sf.write(tmp_path / "mic.wav", np.round(samples * 32767).astype("<i2"), RATE_HZ, subtype="PCM_16")
    archive = Archive.open(tmp_path / "data", budget_bytes=0, buffer_s=0)
    source = RecordingSource(tmp_path / "mic.wav", real_time=False)
    monitor = Monitor(source, archive, Settings(), Setup(nominal_rpm=truth["spindle"]["nominal_rpm"]))
    monitor.start()
    assert monitor.engine_finished.wait(120)
    archive.flush()
    (cut,) = archive.cuts()
    assert cut["ended"]
    monitor.close()


def test_a_tachometer_on_a_line_runs_beside_something_that_is_heard():
    made = {"turns": SourceSettings(kind="tach", gpio_pin=27), "bare": SourceSettings(kind="tach")}
    settings = Settings(sources=made)
    source = make_sources(Options(source="demo", others=("turns",)), settings)
    assert [other["source"] for other in source.others()] == ["turns"]
    with pytest.raises(SettingError, match="alone"):
        make_sources(Options(source="turns"), settings)
    with pytest.raises(SettingError, match="no line"):
        make_sources(Options(source="demo", others=("bare",)), settings)


def test_what_ran_beside_a_cut_survives_a_pulled_plug(tmp_path):
    archive = Archive.open(tmp_path / "data", budget_bytes=10**10, buffer_s=60)
    others = OtherStreams(archive, type("Same", (), {"sample_on": lambda self, source_id, sample: sample})())
    rng = np.random.default_rng(1)
    for number in range(8):
        if number == 3:
            others.cut_started("cut", RATE_HZ)
        others.block(
            Block(
                codes=rng.integers(-99, 99, (RATE_HZ, 1)).astype(np.int16), code_format="int16",
                sample_rate_hz=float(RATE_HZ), first_sample=number * RATE_HZ, source_id="board",
                stream_id="s", channels=(Channel(kind="accelerometer"),),
            )
        )  # fmt: skip
    archive.flush(filing=False)
    shutil.copytree(tmp_path / "data", tmp_path / "after")  # as the disk is when the power goes
    archive.close()
    again = Archive.open(tmp_path / "after", budget_bytes=10**10, buffer_s=60)
    again.flush()
    (file,) = (tmp_path / "after").rglob("*.flac")
    assert sf.info(file).frames > 6 * RATE_HZ
    again.close()

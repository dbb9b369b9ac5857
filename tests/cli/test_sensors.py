"""``shopmon sensors``: calibrating and describing a sensor without the pages."""

import json
import threading
import time

import numpy as np
import pytest

from shopmon.capture.source import SourceFormat, SourceNotice
from shopmon.cli import main
from shopmon.cli import sensors as command
from shopmon.records.archive import Archive
from shopmon.service.sensors import bench as sensor_bench
from shopmon.signals.block import Block, Channel

RATE_HZ = 8000.0


class Bench:
    """A source in real code's hands: three axes at rest, or a microphone with a tone."""

    full_scales_g = (16.0, 16.0, 16.0)
    stated_part, temperature_c = "IIS3DWB", 31.0

    def __init__(self, kind="accelerometer", notices=()):
        self.source_id = self.name = "spindle"
        self.kind, self.notices = kind, notices
        self.lies, self.gain = np.array([0.0, 0.0, 1.0]), np.full(3, 16.0)
        self.made = 0
        self.channels = (Channel(kind=kind),) * (3 if kind == "accelerometer" else 1)
        self.format = SourceFormat(
            source_id="spindle", name="the board", sample_rate_hz=RATE_HZ, channels=self.channels,
            code_format="int16",
        )  # fmt: skip

    def blocks(self, stop):
        yield from self.notices
        rng = np.random.default_rng(1)
        while not stop.is_set():
            first, frames = self.made * 400, 400
            if self.kind == "accelerometer":
                samples = self.lies / self.gain + 2e-4 * rng.standard_normal((frames, 3))
            else:
                at = np.arange(first, first + frames) / RATE_HZ
                samples = 0.05 * np.sin(2 * np.pi * 1000 * at)[:, None]
            self.made += 1
            yield Block(
                codes=np.rint(samples * 32768).astype(np.int16), code_format="int16", sample_rate_hz=RATE_HZ,
                first_sample=first, source_id="spindle", stream_id="s", channels=self.channels,
            )  # fmt: skip
            time.sleep(0.001)

    def close(self):
        pass


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "settings.toml").write_text('[sources.spindle]\nkind = "board"\ndevice = "/dev/ttyACM0"\n')
    return tmp_path


@pytest.fixture
def run(folder, monkeypatch, capsys):
    """Run the command over a source; return status, what was printed and what was said."""

    def made(source, *words):
        monkeypatch.setattr(sensor_bench, "make_source", lambda spec, device, settings: source)
        monkeypatch.setattr(sensor_bench, "SETTLE_S", 0.05)
        places = iter(np.vstack([sign * np.eye(3)[axis] for axis in range(3) for sign in (1, -1)]))

        def ask(question):
            if source.kind == "accelerometer":
                source.lies = next(places)
            begun = source.made
            while source.made < begun + 2:
                time.sleep(0.001)

        monkeypatch.setattr(command, "_ask", ask)
        place = ("--data", str(folder / "data"), "--settings", str(folder / "settings.toml"))
        status = main(["sensors", *place, *words])
        return status, *capsys.readouterr()

    return made


def test_nothing_is_calibrated_at_first(run):
    status, out, _ = run(Bench(), "show", "--source", "spindle")
    assert status == 0
    assert "Not calibrated" in out and "IIS3DWB" in out and "31 °C" in out
    assert " g r.m.s." not in out
    status, out, _ = run(Bench(), "list")
    assert "spindle: board, /dev/ttyACM0" in out and "Not calibrated." in out


def test_gravity_calibrates_it_and_the_date_is_kept(run):
    status, out, err = run(Bench(), "turn-over", "--source", "spindle", "--json", "-")
    kept = json.loads(out)
    assert status == 0 and "Spindle stopped" in err
    assert kept["schema"] == "shopmon.calibration/1" and kept["method"] == "turned over"
    assert [channel["per_full_scale"] for channel in kept["channels"]] == pytest.approx([16] * 3, rel=0.01)
    told = json.loads(run(Bench(), "show", "--source", "spindle", "--json", "-")[1])
    assert told["schema"] == "shopmon.sensors/1"
    assert told["calibration"] == kept and told["history"][0]["t"]
    assert "g r.m.s., calibrated 2" in told["level"]
    listed = json.loads(run(Bench(), "list", "--json", "-")[1])
    assert listed["schema"] == "shopmon.sensor-list/1"
    assert listed["sources"][0]["calibration"]["method"] == "turned over"


def test_a_wrong_scale_is_said_and_corrected(run):
    source = Bench()
    source.gain = np.full(3, 16.0 / 0.3)
    status, out, err = run(source, "turn-over", "--source", "spindle")
    assert status == 0
    assert "By its own scale gravity reads 0.30 g here" in err
    assert "its range or scale is set wrong" in out


@pytest.mark.parametrize(
    ("gain", "text"), [((16, 1e9, 16), "axis y is stuck"), ((1e9, 1e9, 1e9), "no axis answers")]
)
def test_a_stuck_axis_is_said(run, gain, text):
    source = Bench()
    source.gain = np.array(gain)
    status, _, err = run(source, "turn-over", "--source", "spindle")
    assert status == 2 and text in err.lower() and "measure all six places again" in err


def test_a_calibrators_tone(run):
    status, out, _ = run(Bench("microphone"), "level", "--source", "spindle")
    assert status == 0
    assert "94 dB calibrator" in out and "Pa" in out
    told = json.loads(run(Bench("microphone"), "show", "--source", "spindle", "--json", "-")[1])
    assert told["level"].startswith("94 dB re 20 µPa, calibrated")


def test_what_is_entered_and_described(run):
    assert "full scale is 12.5 g" in run(Bench(), "enter", "--source", "spindle", "--g", "12.5")[1]
    status, out, _ = run(
        Bench(), "describe", "--source", "spindle", "--part", "ADXL345", "--mounting", "magnet"
    )
    assert status == 0 and "part: ADXL345, fixed: magnet" in out


@pytest.mark.parametrize(
    ("words", "text"),
    [
        (("enter", "--source", "spindle"), "One figure is needed"),
        (("enter", "--source", "spindle", "--g", "2", "--pa", "1"), "One figure is needed"),
        (("enter", "--source", "spindle", "--g", "-4"), "Full scale cannot be -4.0"),
        (("enter", "--source", "spindle", "--g", "nan"), "cannot be nan"),
        (("enter", "--source", "spindle", "--g", "8", "--channel", "9"), "The channel cannot be 9"),
        (("enter", "--source", "spindle", "--db", "-26"), "is no microphone"),
        (("level", "--source", "spindle"), "is no microphone"),
        (("describe", "--source", "spindle", "--part", "XYZ"), "The part 'XYZ' is not known"),
        (("describe", "--source", "spindle", "--mounting", "hung"), "The mounting 'hung' is not known"),
        (("describe", "--source", "spindle", "--resonance-hz", "3"), "The resonance cannot be 3.0"),
    ],
)
def test_what_cannot_be_is_said_with_what_to_do(run, words, text):
    status, _, err = run(Bench(), *words)
    assert status == 2 and text in err
    assert len(err.strip().splitlines()) == 1 and err.strip().endswith(".")


def test_a_sensor_that_is_not_there(run):
    lost = SourceNotice(code="device-lost", text="There is no port.", hint="Plug it in.")
    status, _, err = run(Bench(notices=(lost,)), "show", "--source", "spindle")
    assert status == 1 and "There is no port. Plug it in." in err


def test_what_is_odd_about_it_is_said_first(run):
    odd = SourceNotice(code="range-absurd", text="Its range cannot be.", hint="Mend it.")
    status, _, err = run(Bench(notices=(odd,)), "show", "--source", "spindle")
    assert status == 0 and "Its range cannot be. Mend it." in err


def test_while_the_monitor_runs_its_page_is_named(run, folder):
    archive = Archive.open(folder / "data", budget_bytes=0)
    try:
        status, _, err = run(Bench(), "show", "--source", "spindle")
    finally:
        archive.close()
    assert status == 1 and "page Sensors" in err


def test_no_thread_is_left_behind(run):
    run(Bench(), "show", "--source", "spindle")
    assert not [thread for thread in threading.enumerate() if thread.name == "sensor"]

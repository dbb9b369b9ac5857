"""``shopmon spindle`` on simulated idle runs and on real recordings of bearings with known defects."""

import json
import os
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner

from shopmon.cli.spindle import command
from shopmon.errors import DeviceError, SettingError, ShopmonError
from shopmon.service.spindle import live as spindle_live
from shopmon.service.spindle import session as spindle_session
from tests.bearing_sound import healthy_sound
from tests.dashboards.fake_checks import blocks
from tests.dashboards.fake_checks import idle as idling

DATA = os.environ.get("SHOPMON_REFERENCE_DATA")


def run(*words):
    done = CliRunner().invoke(command, [str(word) for word in words], catch_exceptions=True)
    if isinstance(done.exception, ShopmonError):
        raise done.exception
    assert done.exit_code == 0, done.output
    return done.output


@pytest.mark.skipif(not DATA, reason="SHOPMON_REFERENCE_DATA is not set")
@pytest.mark.parametrize(("part", "near_hz"), [("Inner", 118.0), ("Outer", 80.3)])
def test_real_defects_are_named(part, near_hz):
    """MFPT data (E. Bechhoefer): shaft said to turn at 25 Hz; envelope at 118.0 and 80.0 to 80.7 Hz."""
    file = Path(DATA) / "bearings" / f"{part}RaceFault_vload_1.mat"
    # 8 rollers of 0.235 in on 1.245 in, as the data set says
    result = json.loads(run(file, "--rpm", 1500, "--bearing", "8:5.969:31.623", "--unit", "g", "--json", "-"))
    signs = {tone["part"]: tone for tone in result["bearing"]}
    named = [name for name, tone in signs.items() if tone["verdict"] == "sign"]
    assert named == [f"{part.lower()} race"]
    assert signs[named[0]]["found_hz"] == pytest.approx(near_hz, abs=0.5)
    assert result["rpm"] == pytest.approx(60 * 24.7, rel=7e-3)


@pytest.fixture(scope="module")
def idle(tmp_path_factory):
    samples = healthy_sound(np.random.default_rng(3), 48_000.0, 3.0, 60.0)
    file = tmp_path_factory.mktemp("idle") / "idle.wav"
    soundfile.write(file, 0.1 * samples / samples.std(), 48_000, subtype="PCM_24")
    return file


def test_a_healthy_run_in_words(idle):
    text = run(idle, "--rpm", 3650, "--bearing", "12:6.35:40:15")
    assert "No cutter in the spindle" in text.splitlines()[0]
    assert "Speed 3600 rpm, -1.4 %" in text
    assert "a sign of a defect" not in text
    assert "dB of full scale" in text and "mm/s" not in text


def test_units_only_when_calibrated(idle):
    plain = json.loads(run(idle, "--rpm", 3600, "--json", "-"))
    assert plain["unit"] == "FS" and plain["vibration"]["velocity_rms_mm_s"] is None
    in_g = json.loads(run(idle, "--rpm", 3600, "--full-scale", 16, "--unit", "g", "--json", "-"))
    assert in_g["vibration"]["rms"] == pytest.approx(16 * plain["vibration"]["rms"])
    assert in_g["vibration"]["velocity_rms_mm_s"] > 0


def test_multiples_instead_of_geometry(idle):
    result = json.loads(run(idle, "--rpm", 3600, "--bearing", "outer=5.1, inner=6.9", "--json", "-"))
    assert [tone["part"] for tone in result["bearing"]] == ["outer race", "inner race"]


@pytest.mark.parametrize(
    "words",
    [
        ("--rpm", 3600, "--bearing", "twelve balls"),
        ("--rpm", 3600, "--bearing", "outer=3,outer=4"),
        ("--rpm", 3600, "--bearing", "left=3"),
        ("--rpm", 3600, "--bearing", "12:6.35"),
        ("--rpm", 3600, "--rate", 48000),
        ("--rpm", 3600, "--unit", "g"),
        ("--rpm", 3600, "--column", "2"),
        ("--rpm", -1),
        ("--rpm", 60),
    ],
)
def test_bad_usage_says_what_to_do(idle, words):
    with pytest.raises(ShopmonError) as error:
        run(idle, *words)
    assert error.value.text


def test_no_such_file(tmp_path):
    with pytest.raises(ShopmonError):
        run(tmp_path / "none.wav", "--rpm", 3000)


@pytest.mark.parametrize("rate", ["nan", "-1", "0"])
def test_a_rate_that_cannot_be_is_refused(tmp_path, rate):
    np.save(tmp_path / "idle.npy", np.random.default_rng(0).standard_normal(50_000))
    with pytest.raises(ShopmonError, match="--rate"):
        run(tmp_path / "idle.npy", "--rpm", 3000, "--rate", rate)


def test_a_signal_clipped_below_full_scale_is_said(tmp_path):
    samples = healthy_sound(np.random.default_rng(1), 25_600.0, 3.0, 50.0)
    for name, signal, clipped in (("clipped", np.clip(samples, -2, 2), True), ("whole", samples, False)):
        np.save(tmp_path / f"{name}.npy", signal)
        result = json.loads(run(tmp_path / f"{name}.npy", "--rpm", 3000, "--rate", 25_600, "--json", "-"))
        assert ("sensor-clipped" in [notice["code"] for notice in result["notices"]]) is clipped


def balance_files(folder):
    from tests.signals.test_once_per_turn import RATE, run

    for name, weights in (("before", [(20.0, 70.0)]), ("with", [(20.0, 70.0), (30.0, 90.0)])):
        samples, places = run(weights)
        turning = np.zeros(samples.size)
        turning[np.ceil(places[places < samples.size - 1]).astype(int)] = 5.0
        np.savetxt(folder / f"{name}.csv", np.stack([samples, turning], axis=1), delimiter=",", fmt="%.6g",
                   header="nose,turns", comments="")  # fmt: skip
    return [folder / "before.csv", "--rate", RATE, "--rpm", 3682, "--column", "nose", "--tach", "turns"]


def test_a_trial_weight_tells_the_imbalance(tmp_path):
    words = [*balance_files(tmp_path), "--trial", "1:30:90", "--trial-run", tmp_path / "with.csv"]
    told = run(*words, "--turning-kg", 4)
    assert told.index("A trial weight only where") < told.index("Imbalance 20")
    assert "Balance quality G 1.9 (ISO 21940-11) with 4 kg" in told
    balance = json.loads(run(*words, "--json", "-"))["balance"]
    assert balance["schema"] == "shopmon.balance/1" and balance["missing"] == ["the mass of all that turns"]


@pytest.mark.parametrize(
    "words",
    [("--trial", "1:30"), ("--turning-kg", "4"), ("--trial-run", "with.csv"), ("--run-up",),
     ("--tach", "none"), ("--trial", "1:30", "--trial-run", "missing.csv")],
)  # fmt: skip
def test_a_balance_that_cannot_be_says_what_is_missing(tmp_path, words):
    with pytest.raises(ShopmonError) as error:
        run(*balance_files(tmp_path), *words)
    assert error.value.hint


class Sensor:
    """Plays a run whenever one is recorded, and quiet else."""

    source_id = name = "fake"

    def __init__(self, runs):
        self._runs, self.session = runs, None

    def blocks(self, stop):
        at = 0
        for run in self._runs:
            while self.session is None or self.session.status != "recording":
                if stop.wait(0.005):
                    return
            for block in blocks(run):
                yield replace(block, first_sample=block.first_sample + at)
            at += len(run)

    def close(self):
        pass


def live(monkeypatch, runs, *words):
    """Run the live check over a sensor that hears `runs`."""
    sensor, make = Sensor(runs), spindle_live.SpindleSession

    def session(plan):
        sensor.session = make(plan)
        return sensor.session

    monkeypatch.setattr(spindle_session, "SETTLE_S", 0.5)
    monkeypatch.setattr(spindle_session, "STEADY_S", 2.0)
    monkeypatch.setattr(spindle_live, "SpindleSession", session)
    monkeypatch.setattr(spindle_live, "make_source", lambda *_: sensor)
    return CliRunner().invoke(command, ["live", *words], input="\n" * 8)


def test_live_goes_from_speed_to_speed(monkeypatch):
    runs = [idling(50.0, 2.6), idling(100.0, 2.6)]
    done = live(monkeypatch, runs, "--speeds", "3000,6000", "--full-scale", "16", "--unit", "g")
    assert done.exit_code == 0, done.output
    order = [
        done.output.index(words)
        for words in ("No cutter", "Set 3000 rpm", "Set 6000 rpm", "Stop the spindle")
    ]
    assert order == sorted(order)
    for words in ("% against the 3000 that were stated", "mm/s", "No balance grade"):
        assert words in done.output


def test_live_balance_needs_a_tachometer_and_one_speed(monkeypatch):
    done = live(monkeypatch, [idling(50.0, 2.6)], "--speeds", "3000", "--trial", "1:30")
    assert isinstance(done.exception, SettingError) and "no phase" in done.exception.text
    assert done.output.index("A trial weight only where") < done.output.index("Set 3000 rpm")
    done = live(monkeypatch, [], "--speeds", "3000,6000", "--trial", "1:30")
    assert isinstance(done.exception, SettingError) and "one speed" in done.exception.text


def test_live_json_is_the_check(monkeypatch):
    done = live(monkeypatch, [idling(50.0, 2.6)], "--speeds", "3000", "--json", "-")
    assert json.loads(done.stdout)["schema"] == "shopmon.spindle-check/1"


def test_live_says_when_the_sensor_gives_nothing_any_more(monkeypatch):
    done = live(monkeypatch, [idling(50.0, 1.0)], "--speeds", "3000")
    assert isinstance(done.exception, DeviceError)


@pytest.mark.parametrize(
    "words",
    [
        (),
        ("--speeds", "fast"),
        ("--speeds", "3000", "--unit", "g"),
        ("--speeds", "3000", "--rate", "1000"),
        ("--speeds", "3000", "--column", "x"),
        ("--speeds", "90000"),
    ],
)
def test_live_words_that_cannot_be(monkeypatch, words):
    assert isinstance(live(monkeypatch, [], *words).exception, SettingError)

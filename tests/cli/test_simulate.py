"""``shopmon simulate`` as a person meets it, and the demo pass that ships."""

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile

import shopmon.capture
from shopmon.cli import main
from shopmon.cutting.simulation.pass_sound import render
from shopmon.cutting.simulation.scenarios import DEMO_SEED, SCENARIOS, scenario
from shopmon.cutting.simulation.truth import full_depth_stability

DEMO = Path(shopmon.capture.__file__).parent / "demo"


def test_sound_and_truth_are_written_beside_each_other(tmp_path, capsys):
    out = tmp_path / "rings.flac"
    assert main(["simulate", str(out), "--duration", "5", "--seed", "2"]) == 0
    samples, rate = soundfile.read(out)
    truth = json.loads((tmp_path / "rings.truth.json").read_text())
    assert rate == 48000 and samples.shape == (5 * 48000,)
    assert soundfile.info(out).subtype == "PCM_16"
    assert truth["schema"] == "shopmon.truth/1" and truth["seed"] == 2
    (told,) = capsys.readouterr().out.splitlines()
    assert "invented" in told and "chatter from" in told


def test_the_file_holds_what_the_renderer_gives(tmp_path):
    out = tmp_path / "idle.wav"
    assert main(["simulate", str(out), "--scenario", "idle", "--seed", "5", "--bits", "24"]) == 0
    expected, _ = render(scenario("idle"), 5)
    found, _ = soundfile.read(out, dtype="float32")
    assert soundfile.info(out).subtype == "PCM_24"
    assert np.abs(found - expected).max() < 2**-22


def test_every_option_reaches_the_truth(tmp_path):
    out = tmp_path / "all.flac"
    words = (
        "--scenario quiet-pass --duration 4 --rpm 8100 --nominal-rpm 8000 --flutes 4 --diameter 12 --ap 0.7 "
        "--ae 2 --milling conventional --feed-per-tooth 0.06 --helix 30 --runout-um 11 "
        "--mode x:1500:0.04:2e7 --mode y:1700:0.04:2e7 "
        "--material brass --snr-db 15 --level-dbfs -24 --sensor accelerometer "
        "--coolant --neighbour 1430:6:-9:1 --rate 24000"
    )
    assert main(["simulate", str(out), *words.split()]) == 0
    truth = json.loads((tmp_path / "all.truth.json").read_text())
    plan, mill = truth["plan"], truth["plan"]["assembly"]["mill"]
    assert truth["spindle"]["nominal_rpm"] == 8000 and truth["spindle"]["true_rpm"] == pytest.approx(8100)
    assert (mill["NOF"], mill["DC"], mill["FHA"], plan["assembly"]["runout_um"]) == (4, 12, 30, 11)
    assert (plan["ae_mm"], plan["milling"], plan["feed_per_tooth_mm"]) == (2, "conventional", 0.06)
    assert truth["engagements"][0]["ap_max_mm"] == 0.7
    assert truth["natural_frequencies_hz"] == [1500, 1700]
    assert plan["material"]["label"] == "free-cutting brass"
    around = plan["surroundings"]
    assert (around["snr_db"], around["level_dbfs"], around["sensor"]) == (15, -24, "accelerometer")
    assert around["coolant"] and around["neighbours"][0]["rpm"] == 1430
    assert soundfile.info(out).samplerate == 24000 and soundfile.info(out).frames == 4 * 24000


def test_scenarios_are_listed(capsys):
    assert main(["simulate", "--list-scenarios"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert [entry.split()[0] for entry in lines] == list(SCENARIOS)


@pytest.mark.parametrize(
    ("words", "status"),
    [
        (["x.flac", "--scenario", "nobody"], 2),
        (["x.mp3"], 2),
        (["x.flac", "--rpm", "0"], 2),
        (["x.flac", "--rpm", "nan"], 2),
        (["x.flac", "--rpm", "20000", "--nominal-rpm", "9000"], 2),
        (["x.flac", "--nominal-rpm", "0"], 2),
        (["x.flac", "--rpm", "9e9"], 2),
        (["x.flac", "--flutes", "0"], 2),
        (["x.flac", "--flutes", "-3"], 2),
        (["x.flac", "--flutes", "many"], 2),
        (["x.flac", "--ae", "99"], 2),
        (["x.flac", "--ap", "-1"], 2),
        (["x.flac", "--ap", "nan"], 2),
        (["x.flac", "--duration", "0"], 2),
        (["x.flac", "--duration", "nan"], 2),
        (["x.flac", "--duration", "1e9"], 2),
        (["x.flac", "--mode", "x:922"], 2),
        (["x.flac", "--mode", "z:922:0.01:1e6"], 2),
        (["x.flac", "--mode", "x:922:2:1e6"], 2),
        (["x.flac", "--neighbour", "loud"], 2),
        (["x.flac", "--neighbour", "1:2:3:4:5"], 2),
        (["x.flac", "--snr-db", "nan"], 2),
        (["x.flac", "--seed", "-4"], 2),
        (["x.flac", "--rate", "12.5"], 2),
        (["x.flac", "--rate", "1"], 2),
        (["x.flac", "--rate", "nan"], 2),
        (["x.flac", "--rate", "inf"], 2),
        (["x.flac", "--milling", "sideways"], 2),
        (["x.flac", "--ap", "1e9"], 2),
        (["x.flac", "--mode", "x:1e9:0.01:1e6"], 2),
        (["no/such/folder/x.flac"], 1),
    ],
)
def test_bad_input_is_one_line_and_the_right_status(tmp_path, capsys, words, status):
    assert main(["simulate", str(tmp_path / words[0]), *words[1:]]) == status
    told = capsys.readouterr()
    lines = [entry for entry in told.err.splitlines() if entry and not entry.startswith(("Usage:", "Try "))]
    assert len(lines) == 1 and not told.out
    assert not list(tmp_path.iterdir())


def test_a_folder_in_the_way_is_said(tmp_path, capsys):
    (tmp_path / "x.flac").mkdir()
    assert main(["simulate", str(tmp_path / "x.flac"), "--scenario", "idle"]) == 1
    assert "cannot be written" in capsys.readouterr().err


def test_the_shipped_demo_is_what_the_scenario_says():
    truth = json.loads((DEMO / "pass.truth.json").read_text())
    plan = scenario("demo")
    computed = render(plan.__class__(**{**vars(plan), "engagements": ()}), DEMO_SEED)[1]
    verdict = full_depth_stability(plan, plan.engagements[0])
    shipped = {**truth["plan"], "engagements": []}
    assert shipped == computed["plan"] and truth["seed"] == DEMO_SEED
    (engagement,) = truth["engagements"]
    assert truth["plan"]["engagements"][0]["ap_end_mm"] == plan.engagements[0].ap_end_mm
    assert truth["tooth_offsets_um"] == computed["tooth_offsets_um"]
    assert engagement["stability"]["spectral_radius"] == pytest.approx(verdict.spectral_radius, abs=2e-4)
    (event,) = truth["chatter"]
    assert 24 < event["start_s"] < 30 and event["end_s"] > 40
    assert event["frequency_hz"] == pytest.approx(verdict.chatter_hz, rel=0.01)


def test_the_shipped_demo_sounds_as_promised():
    samples, rate = soundfile.read(DEMO / "pass.flac")
    info = soundfile.info(DEMO / "pass.flac")
    assert (rate, info.channels, info.subtype, samples.size) == (48000, 1, "PCM_16", 50 * 48000)
    assert (DEMO / "pass.flac").stat().st_size < 3.5e6
    assert np.abs(samples).max() < 0.9
    level = 20 * np.log10(np.sqrt(np.mean(samples.reshape(50, -1) ** 2, axis=1)))
    assert np.median(level[11:25]) == pytest.approx(-30, abs=2)
    assert level[:9].max() < -38 and level[43:].max() < -38
    assert np.median(level[32:40]) > np.median(level[11:25]) + 8

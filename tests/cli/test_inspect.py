"""``shopmon inspect``: what it says, its JSON, the sidecar, and bad input."""

import json
import math

import pytest
import soundfile

from shopmon.cli import main
from shopmon.listening.listener import Listener
from shopmon.listening.setup import ListenerSettings, Setup
from shopmon.service.inspection import SIDECAR_SCHEMA, inspect_recording, sidecar_path
from tests.listening.hearing import listener
from tests.listening.synthetic import RATE_HZ, blocks, machine

KEYS = {
    "schema": str,
    "start": str,
    "recording": dict,
    "setup": dict,
    "spindle": dict,
    "cuts": list,
    "cut_time_s": float,
    "chatter": list,
    "stray": list,
    "steady": list,
    "notices": list,
    "level_reference": str,
    "state": str,
    "unsure": bool,
    "advice": list,
    "quality": dict,
}
NESTED = {
    "recording": {"sample_rate_hz", "duration_s", "channels", "unit"},
    "setup": {"nominal_rpm", "flutes"},
    "spindle": {"rpm", "track", "alternatives_rpm"},
    "quality": {"clipped_fraction", "gaps"},
}
ENTRIES = {
    "cuts": {"start_s", "end_s", "engaged", "cut_time_s"},
    "chatter": {
        "start_s",
        "end_s",
        "alarm_s",
        "frequency_hz",
        "level_db",
        "severity",
        "kind",
        "confidence",
    },
    "stray": {"frequency_hz", "level_db", "start_s", "end_s", "why"},
    "steady": {"rpm", "duration_s", "lines_db"},
    "notices": {"code", "text", "hint", "start_s"},
}
RINGING = machine(7.0, chatter=((3.5, 5.0),))


def assert_keeps_the_schema(result):
    """Hold a result to ``shopmon.inspection/1``: its keys, finite numbers, times in order."""
    assert result["schema"] == "shopmon.inspection/1"
    assert set(result) == set(KEYS)
    for key, kind in KEYS.items():
        assert isinstance(result[key], (int, float) if kind is float else kind), key
    for key, names in NESTED.items():
        assert set(result[key]) == names
    for key, names in ENTRIES.items():
        assert all(set(entry) == names for entry in result[key])
    assert result["state"] in ("no-input", "stopped", "spinning", "air-cut", "cutting", "chatter")
    assert all(severity["severity"] in ("slight", "clear", "heavy") for severity in result["chatter"])
    assert all(0 <= entry["confidence"] <= 1 for entry in result["chatter"])
    json.dumps(result, allow_nan=False)
    end = result["recording"]["duration_s"]
    for key in ("cuts", "chatter", "stray"):
        assert all(0 <= entry["start_s"] <= entry["end_s"] <= end + 1e-3 for entry in result[key])


def inspected(capsys, *words):
    """Run the command and return its JSON."""
    assert main(["inspect", *map(str, words), "--json", "-"]) == 0
    result = json.loads(capsys.readouterr().out)
    assert_keeps_the_schema(result)
    return result


@pytest.fixture
def recording(tmp_path):
    """A cut that rings, as 16-bit FLAC."""
    path = tmp_path / "pass.flac"
    soundfile.write(path, RINGING, int(RATE_HZ), subtype="PCM_16")
    return path


def test_json_tells_everything(capsys, recording):
    result = inspected(capsys, recording, "--rpm", 12000, "--flutes", 3)
    assert result["start"] == "cold" and result["state"] == "chatter"
    (cut,), (ringing,) = result["cuts"], result["chatter"]
    assert cut["cut_time_s"] == pytest.approx(3.0, abs=0.1) == result["cut_time_s"]
    assert ringing["start_s"] <= ringing["alarm_s"] <= ringing["end_s"]
    assert result["spindle"]["rpm"] == pytest.approx(12000, rel=1e-3)
    assert result["setup"] == {"nominal_rpm": 12000.0, "flutes": 3}
    assert result["recording"]["duration_s"] == pytest.approx(7.0)


def test_a_person_reads_plain_lines(capsys, recording):
    assert main(["inspect", str(recording), "--rpm", "12000", "--flutes", "3"]) == 0
    text = capsys.readouterr().out
    for words in ("Chatter was heard", "1437 Hz", "12000 rpm", "1 cut, 3.0 s in the cut", "no safety device"):
        assert words in text


def test_json_goes_to_a_file(recording, tmp_path):
    target = tmp_path / "out.json"
    assert main(["inspect", str(recording), "--json", str(target)]) == 0
    assert_keeps_the_schema(json.loads(target.read_text()))
    assert main(["inspect", str(recording), "--json", str(tmp_path / "none" / "out.json")]) == 1


def test_full_scale_gives_levels_a_unit(capsys, recording):
    plain = inspected(capsys, recording, "--rpm", 12000)
    result = inspected(capsys, recording, "--rpm", 12000, "--full-scale", 16, "--unit", "g")
    assert "g" in result["level_reference"] and result["recording"]["unit"] == "g"
    offset = result["chatter"][0]["level_db"] - plain["chatter"][0]["level_db"]
    assert offset == pytest.approx(20 * math.log10(16), abs=0.02)
    assert "uncalibrated" in plain["level_reference"]


def test_the_starting_state_beside_a_recording_is_used_unless_cold(capsys, tmp_path):
    first = 40_000
    ears = listener(rpm=12000, flutes=3)
    for block in blocks(RINGING[:first]):
        ears.feed(block)
    path = tmp_path / "cut.wav"
    soundfile.write(path, RINGING[first:], int(RATE_HZ), subtype="FLOAT")
    state = json.loads(json.dumps(ears.snapshot()))
    change = {"sample": first + 32_000, "nominal_rpm": 12000.0, "flutes": 4}
    data = {"schema": SIDECAR_SCHEMA, "state": state, "setup_changes": [change], "settings": {}}
    sidecar_path(path).write_text(json.dumps(data))
    result = inspected(capsys, path)
    assert result["start"] == "sidecar"
    assert result["setup"] == {"nominal_rpm": 12000.0, "flutes": 4}
    assert [cut["start_s"] for cut in result["cuts"]][1] == pytest.approx(2.0, abs=0.06)
    live = Listener(ListenerSettings(), RATE_HZ, 1, state)
    live.change_setup(Setup(nominal_rpm=12000.0, flutes=4), change["sample"])
    events = [
        e for block in blocks(RINGING[first:], first_sample=first) for e in live.feed(block)
    ] + live.finish()
    alarms = [
        (e.chatter.alarm_sample - first) / RATE_HZ for e in events if type(e).__name__ == "ChatterStarted"
    ]
    assert [event["alarm_s"] for event in result["chatter"]] == pytest.approx(alarms, abs=1e-4)
    assert inspected(capsys, path, "--cold")["start"] == "cold"


def test_a_broken_sidecar_is_said(capsys, recording):
    older = {"schema": SIDECAR_SCHEMA, "state": {"schema": "shopmon.listener-state/1"}}
    shapeless = {"schema": SIDECAR_SCHEMA, "state": []}
    for text in ("no json", "[]", '{"schema": "other/1"}', json.dumps(older), json.dumps(shapeless)):
        sidecar_path(recording).write_text(text)
        assert main(["inspect", str(recording)]) == 1
        assert "--cold" in capsys.readouterr().err
    assert main(["inspect", str(recording), "--cold"]) == 0


def test_progress_is_told(recording):
    shares = []
    inspect_recording(recording, setup=Setup(), settings=ListenerSettings(), progress=shares.append)
    assert shares == sorted(shares) and shares[-1] == pytest.approx(1.0)


def test_nothing_is_written_beside_the_recording(recording):
    before = sorted(recording.parent.iterdir())
    assert main(["inspect", str(recording)]) == 0
    assert sorted(recording.parent.iterdir()) == before


def test_a_told_speed_that_is_not_in_the_sound_gives_way_to_the_one_that_is(tmp_path):
    path = tmp_path / "cut.wav"
    soundfile.write(path, RINGING, int(RATE_HZ))
    result = inspect_recording(path, setup=Setup(nominal_rpm=26_000, flutes=3), settings=ListenerSettings())
    assert result["spindle"]["rpm"] == pytest.approx(12_000, rel=1e-3)
    assert "speed-contradicted" in [notice["code"] for notice in result["notices"]]

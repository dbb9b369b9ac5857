"""What a person says of a cut counts in the totals, and can be taken back; cuts are heard again beside it."""

import numpy as np
import pytest
import soundfile as sf

from shopmon.cutting.simulation.pass_sound import render
from shopmon.cutting.simulation.scenarios import scenario
from shopmon.errors import SettingError
from shopmon.listening.preferences import Preferences, RejectedTone
from shopmon.listening.setup import ListenerSettings, Setup
from shopmon.records.archive import Archive
from shopmon.service.cuts.hearing_again import HearingAgain, differs
from shopmon.service.cuts.judging import Judging
from shopmon.service.monitor import Monitor
from shopmon.service.settings import Settings
from shopmon.service.speeds.tool_and_job import standing
from tests.service.paced import PacedByTheArchive
from tests.waiting import until


@pytest.fixture(scope="module")
def heard(tmp_path_factory):
    """An archive with one logged cut that rang, its sound filed, and the settings it was heard with."""
    folder = tmp_path_factory.mktemp("heard")
    samples, truth = render(scenario("pass-that-rings"), 1)
    path = folder / "pass.wav"
    sf.write(path, np.round(samples * 32767).astype("<i2"), 48_000, subtype="PCM_16")
    archive = Archive.open(folder / "data", budget_bytes=10**10, buffer_s=0)
    setup = Setup(**{name: truth["spindle"][name] for name in ("nominal_rpm", "flutes")})
    monitor = Monitor(PacedByTheArchive(path, archive, []), archive, Settings(), setup)
    monitor.start()
    assert monitor.engine_finished.wait(120) and monitor.speeds.wait()
    monitor.close()
    archive = Archive.open(folder / "data", budget_bytes=10**10, buffer_s=0)
    assert not archive.recovered, "the cut was ended in good order although the recording ends within it"
    yield archive
    archive.close()


@pytest.fixture
def cut(heard):
    return heard.cut(heard.cuts()[0]["id"])


def again(archive, cut, preferences=None, *, keep=False):
    hearing = HearingAgain(archive, ListenerSettings(min_rpm=500.0, max_rpm=30_000.0))
    job = hearing.begin([cut["id"]], preferences or Preferences(), keep=keep)
    until(lambda: hearing.job(job["id"])["status"] != "running")
    hearing.close()
    return hearing.job(job["id"])


def test_a_cut_heard_again_with_the_same_settings_is_the_same_and_the_original_stays(heard, cut):
    before = heard.analyses(cut["id"])
    found = again(heard, cut, keep=True)
    (row,) = found["rows"]
    assert found["status"] == "done" and not row["changed"]
    assert row["after"] == row["before"], "a later look says what was said live"
    heard.flush()
    after = heard.analyses(cut["id"])
    assert after[: len(before)] == before and after[0]["original"]
    assert len(after) == len(before) + 1 and not after[-1]["original"]
    assert heard.cut(cut["id"])["chatter"] == cut["chatter"]


def test_a_rejected_tone_is_tried_on_stored_cuts_and_nothing_is_kept(heard, cut):
    before, hz = heard.analyses(cut["id"]), round(cut["chatter"][0]["frequency_hz"], 1)
    (row,) = again(heard, cut, Preferences(rejected=(RejectedTone(frequency_hz=hz),)))["rows"]
    assert abs(row["before"]["frequency_hz"] - hz) < 4 < abs(row["after"]["frequency_hz"] - hz)
    assert heard.analyses(cut["id"]) == before


def test_what_is_said_can_be_taken_back_and_stays_in_the_history(heard, cut):
    judging, told = Judging(heard, lambda context: told.append(context)), []
    first = judging.say(cut["id"], "no chatter", "it was the vice")
    assert [row["verdict"] for row in standing(heard.cut(cut["id"])["judgements"])] == ["no chatter"]
    judging.take_back(cut["id"], first)
    assert standing(heard.cut(cut["id"])["judgements"]) == []
    assert [row["verdict"] for row in heard.cut(cut["id"])["judgements"]] == ["no chatter", "taken back"]
    with pytest.raises(SettingError):
        judging.take_back(cut["id"], first)
    assert len(told) == 2


@pytest.mark.parametrize(
    ("verdict", "said"),
    [
        ("lovely", {}),
        (None, {}),
        ("note", {}),
        ("note", {"note": 5}),
        ("chatter", {"start_s": 2.0}),
        ("chatter", {"start_s": 3.0, "end_s": 2.0}),
        ("chatter", {"start_s": -900.0, "end_s": 2.0}),
        ("chatter", {"start_s": float("nan"), "end_s": 2.0}),
        ("chatter", {"start_s": 1.0, "end_s": 1e9}),
        ("chatter", {"frequency_hz": -1.0}),
        ("chatter", {"frequency_hz": "many"}),
        ("no chatter", {"frequency_hz": 1000.0}),
        ("chatter", {"note": "x" * 10_001}),
    ],
    ids=str,
)
def test_what_cannot_be_said_is_refused_and_nothing_kept(heard, cut, verdict, said):
    before = heard.cut(cut["id"])["judgements"]
    with pytest.raises(SettingError) as raised:
        Judging(heard).say(cut["id"], verdict, **said)
    assert raised.value.hint
    assert heard.cut(cut["id"])["judgements"] == before


def test_no_such_cut_and_no_cut_at_all(heard):
    with pytest.raises(SettingError):
        Judging(heard).say("nowhere", "chatter")
    with pytest.raises(SettingError):
        HearingAgain(heard, ListenerSettings()).begin([], Preferences(), keep=False)


def test_a_cut_whose_sound_is_gone_says_so(heard, cut, monkeypatch):
    monkeypatch.setattr(heard, "audio_path", lambda cut_id: None)
    (row,) = again(heard, cut)["rows"]
    assert row["after"] is None and not row["changed"] and "sound" in row["why"]


def test_damaged_sound_does_not_end_the_others(heard, cut, monkeypatch, tmp_path):
    broken = tmp_path / "broken.flac"
    broken.write_bytes(b"fLaC but no more")
    monkeypatch.setattr(heard, "audio_path", lambda cut_id: broken)
    found = again(heard, cut)
    assert found["status"] == "done" and found["rows"][0]["why"]


@pytest.mark.parametrize(
    ("before", "after", "other"),
    [(0, 0.1, True), (5.0, 5.2, False), (5.0, 8.0, True), (0.0, 0.0, False), (2.0, 0.0, True)],
)
def test_a_trifle_is_the_same_verdict(before, after, other):
    assert differs({"chatter_s": before}, {"chatter_s": after}) is other

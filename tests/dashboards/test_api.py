"""The interface for programs, route by route."""

import io

import pytest
import soundfile
from markupsafe import escape
from shopmon.dashboards.listening.view import suspects
from shopmon.dashboards.look.words import STATES

from shopmon.listening.intake.health import NOTICES

CUT = "00000000-0000-0000-0000-000000000002"
STATE_KEYS = {
    "state",
    "unsure",
    "rpm",
    "cut_id",
    "cut_time_s",
    "stray",
    "input",
    "notices",
    "seq",
    "clock_set",
}


def test_the_state_has_what_is_promised(client, monitor):
    monitor.show("chatter")
    state = client.get("/api/state").get_json()
    assert set(state) >= STATE_KEYS
    assert (state["state"], state["chatter"]["severity"]) == ("chatter", "clear")


def test_the_sound_of_a_cut_can_be_removed_unless_it_is_kept(client):
    client.post(f"/api/cuts/{CUT}/keep", json={"keep": False})
    assert client.post(f"/api/cuts/{CUT}/discard", json={}).status_code == 200
    client.post(f"/api/cuts/{CUT}/keep", json={"keep": True})
    refused = client.post(f"/api/cuts/{CUT}/discard", json={})
    assert refused.status_code == 409 and "keep" in refused.get_json()["error"]
    assert client.post("/api/cuts/none/discard", json={}).status_code == 404


def test_health_is_good_until_the_engine_has_failed(client, monitor):
    good = client.get("/api/health")
    assert (good.status_code, good.get_json()["ok"]) == (200, True)
    assert good.get_json()["last_frame_age_s"] is None
    monitor.spectrum()
    assert client.get("/api/health").get_json()["last_frame_age_s"] >= 0
    monitor.failed = True
    bad = client.get("/api/health")
    assert (bad.status_code, bad.get_json()["ok"]) == (503, False)


def test_cuts_come_newest_first_and_page_by_page(client):
    first = client.get("/api/cuts?limit=2").get_json()
    assert [cut["sequence"] for cut in first["cuts"]] == [5, 4]
    second = client.get(f"/api/cuts?limit=2&before={first['next_before']}").get_json()
    assert [cut["sequence"] for cut in second["cuts"]] == [3, 2]
    last = client.get(f"/api/cuts?limit=2&before={second['next_before']}").get_json()
    assert ([cut["sequence"] for cut in last["cuts"]], last["next_before"]) == ([1], None)


def test_the_list_ends_also_when_its_last_page_is_full(client):
    assert client.get("/api/cuts?limit=5").get_json()["next_before"] is None
    assert client.get("/api/cuts?before=1").get_json() == {"cuts": [], "next_before": None}


@pytest.mark.parametrize(
    ("query", "sequences"),
    [
        ("verdict=chatter", [4, 2]),
        ("verdict=quiet", [5, 3, 1]),
        ("keep=true", [2]),
        ("keep=0&limit=2", [5, 4]),
        ("until=1", []),
        ("since=1", [5, 4, 2, 1]),
        ("since=1&limit=3", [5, 4, 2]),
        ("recovered=true", [4]),
        ("ended=false", []),
        ("material=7075&flutes=3&limit=1", [5]),
        ("material=316", []),
        ("nominal_rpm=12000.0&verdict=chatter&keep=no", [4]),
        ("since=4000000000", []),
    ],
)
def test_cuts_can_be_filtered(client, query, sequences):
    assert [cut["sequence"] for cut in client.get(f"/api/cuts?{query}").get_json()["cuts"]] == sequences


def test_a_search_by_time_goes_on_where_it_stopped(client):
    found, before, pages = [], "", 0
    while before is not None:
        page = client.get(f"/api/cuts?limit=2&since=1{before and f'&before={before}'}").get_json()
        found += [cut["sequence"] for cut in page["cuts"]]
        before, pages = page["next_before"], pages + 1
    assert (found, pages) == ([5, 4, 2, 1], 2)


def test_one_cut_has_its_events(client):
    cut = client.get(f"/api/cuts/{CUT}").get_json()
    assert cut["id"] == CUT
    assert [event["kind"] for event in cut["events"]] == ["cut-started", "cut-ended"]


def test_keeping_and_not_keeping_a_cut(client, monitor):
    assert client.post(f"/api/cuts/{CUT}/keep", json={"keep": False}).get_json() == {"id": CUT, "keep": False}
    assert monitor.cut(CUT)["keep"] is False
    assert client.post(f"/api/cuts/{CUT}/keep").get_json()["keep"] is True
    assert monitor.cut(CUT)["keep"] is True


def test_features_are_thinned_and_hold_no_nan(client):
    whole = client.get(f"/api/cuts/{CUT}/features?points=20000").get_json()
    few = client.get(f"/api/cuts/{CUT}/features?points=20").get_json()
    assert whole["thinned_by"] == 1
    assert None in whole["rpm"]
    assert len(few["t_s"]) == len(few["state"]) <= 20
    assert max(few["stray_db"]) == max(whole["stray_db"])


def test_the_sound_comes_whole_and_named(client, monitor):
    response = client.get(f"/api/cuts/{CUT}/audio")
    assert response.mimetype == "audio/flac"
    assert response.headers["Accept-Ranges"] == "bytes"
    assert response.data == monitor.audio_path(CUT).read_bytes()
    assert soundfile.info(io.BytesIO(response.data)).samplerate == 48_000
    assert "attachment" not in response.headers["Content-Disposition"]
    saved = client.get(f"/api/cuts/{CUT}/audio?download=1").headers["Content-Disposition"]
    assert saved == f"attachment; filename=cut-{CUT}.flac"


@pytest.mark.parametrize(
    ("suffix", "kind"), [(".wav", "audio/wav"), (".FLAC", "audio/flac"), (".xyz", "application/octet-stream")]
)
def test_the_kind_follows_the_file(client, monitor, tmp_path, suffix, kind):
    path = tmp_path / f"sound{suffix}"
    path.write_bytes(b"RIFF")
    monitor.audio_path = lambda cut_id: path
    assert client.get(f"/api/cuts/{CUT}/audio").mimetype == kind


def test_a_name_cannot_carry_anything_into_the_header(client, monitor, tmp_path):
    path = tmp_path / "a.flac"
    path.write_bytes(b"x")
    monitor.audio_path = lambda cut_id: path
    named = client.get("/api/cuts/a%22;%20x=%0d%0aY:1/audio?download=1").headers["Content-Disposition"]
    assert named == "attachment; filename=cut-a___x___Y_1.flac"


def test_sound_that_vanished_is_said_to_be_gone(client, monitor, tmp_path):
    monitor.audio_path = lambda cut_id: tmp_path / "gone.flac"
    response = client.get(f"/api/cuts/{CUT}/audio")
    assert response.status_code == 404
    assert "room" in response.get_json()["hint"]


def test_the_context_is_told_and_read(client, monitor):
    viewer = monitor.feed.subscribe()
    viewer.next(0)
    answer = client.post("/api/context", json={"nominal_rpm": 8000, "flutes": 2, "material": None})
    assert answer.status_code == 200
    context = client.get("/api/context").get_json()["context"]
    assert answer.get_json()["context"] == context
    assert (context["nominal_rpm"], context["flutes"], "material" in context) == (8000, 2, False)
    assert viewer.next(0)[1]["nominal_rpm"] == 8000


def test_a_touch_is_told_from_a_macro(client, monitor):
    origins = []
    monitor.set_context = lambda values, origin: origins.append(origin) or values
    client.post("/api/context", json={"flutes": 2})
    assert origins == ["touched"]


def test_recent_setups(client):
    setups = client.get("/api/recent-setups?limit=2").get_json()["setups"]
    assert setups == [{"nominal_rpm": 12000.0, "flutes": 3}, {"nominal_rpm": 8000.0, "flutes": 2}]


def test_the_two_buttons_write_into_the_log(client):
    marked = client.post("/api/marks", json={"note": " wall of pocket 3 "})
    assert (marked.status_code, marked.get_json()["mark"]["text"]) == (201, "Moment marked: wall of pocket 3")
    kept = client.post("/api/keep-last", json={"seconds": 90})
    assert (kept.status_code, kept.get_json()["kept"]["kind"]) == (201, "kept")
    assert client.post("/api/keep-last").status_code == 201
    assert [entry["kind"] for entry in client.get("/api/log?limit=2").get_json()["log"]] == ["kept", "kept"]
    kept = client.get("/api/kept").get_json()["kept"]
    assert [span["duration_s"] for span in kept] == [120, 90]
    assert [mark["note"] for mark in kept[0]["marks"]] == ["wall of pocket 3"]
    marks = client.get("/api/marks?limit=1").get_json()["marks"]
    assert [mark["note"] for mark in marks] == ["wall of pocket 3"]


def test_what_was_kept_can_be_heard_also_in_parts(client, monitor):
    client.post("/api/keep-last")
    (kept,) = client.get("/api/kept").get_json()["kept"]
    whole = monitor.kept_audio_path(kept["id"]).read_bytes()
    response = client.get(kept["audio"])
    assert (response.data, response.mimetype) == (whole, "audio/flac")
    part = client.get(kept["audio"], headers={"Range": "bytes=10-19"})
    assert (part.status_code, part.data) == (206, whole[10:20])
    saved = client.get(f"{kept['audio']}?download=1").headers["Content-Disposition"]
    assert saved == f"attachment; filename=kept-{kept['id']}.flac"
    assert client.get("/api/kept/none/audio").status_code == 404


def test_a_stretch_that_is_still_being_filed_has_no_sound_yet(client, monitor):
    monitor.slow_filing = True
    client.post("/api/keep-last")
    (kept,) = client.get("/api/kept").get_json()["kept"]
    assert (kept["audio"], kept["audio_pending"]) == (None, True)
    assert "being filed" in client.get(f"/api/kept/{kept['id']}/audio").get_json()["hint"]


def test_nothing_can_be_kept_without_sound_and_the_reason_is_said(client, monitor):
    monitor.show("no-input")
    response = client.post("/api/keep-last")
    assert response.status_code == 400
    assert "no sound" in response.get_json()["error"]


def test_the_time_is_taken_once_and_only_after_a_yes(client, monitor):
    monitor.clock_set = False
    offer = {"time_s": 1_800_000_000.25}
    asked = client.post("/api/clock", json=offer)
    assert (asked.status_code, asked.get_json()["needs_confirmation"]) == (202, True)
    assert monitor.archive.clock is None
    assert client.post("/api/clock", json=offer | {"confirm": True}).get_json()["clock_set"] is True
    assert monitor.archive.clock == (1_800_000_000.25, "phone")
    again = client.post("/api/clock", json=offer | {"confirm": True})
    assert (again.status_code, set(again.get_json())) == (409, {"error", "hint"})


def test_the_background_is_listed_and_edited(client, monitor):
    origins = [entry["origin"] for entry in client.get("/api/background").get_json()["entries"]]
    assert origins == ["idle", "air-cut"]
    made = client.post("/api/background", json={"frequency_hz": 1432.6})
    assert (made.status_code, made.get_json()["entry"]["id"]) == (201, "1432.6-hz")
    client.post("/api/background", json={"order": 0.62})
    entries = client.get("/api/background").get_json()["entries"]
    assert [entry["id"] for entry in entries] == ["1432.6-hz", "0.620-order", "49.9-hz", "243.7-hz"]
    assert client.delete("/api/background/1432.6-hz").status_code == 200
    assert client.delete("/api/background/49.9-hz").status_code == 200
    entries = client.get("/api/background").get_json()["entries"]
    assert [entry["id"] for entry in entries if entry.get("heeded")] == ["49.9-hz"]
    assert client.post("/api/background/49.9-hz/believe", json={}).status_code == 200
    assert not any(entry.get("heeded") for entry in client.get("/api/background").get_json()["entries"])


@pytest.mark.parametrize(
    "body", [{}, {"frequency_hz": "loud"}, {"frequency_hz": 100, "order": 2}, {"pitch": 3}, {"order": -1}]
)
def test_a_tone_that_cannot_be_is_refused(client, body):
    answer = client.post("/api/background", json=body)
    assert answer.status_code == 400 and answer.get_json()["hint"]


def test_stray_tones_can_be_rejected_from_the_page(client, monitor):
    monitor.show("chatter")
    page = client.get("/listening").get_data(as_text=True)
    assert 'data-hz="1432.6"' in page and "data-order=" in page
    assert "Take off the list" in page


@pytest.mark.parametrize(
    ("alarm_hz", "shown"), [(1961.0, [1420.0, 1962.0]), (1500.0, [1420.0, 1500.0, 1962.0])]
)
def test_the_tone_of_the_alarm_is_listed_once(alarm_hz, shown):
    stray = [{"frequency_hz": hz, "level_db": -40.0, "why": "on no multiple"} for hz in (1962.0, 1420.0)]
    state = {"rpm": 10_830.0, "stray": stray, "chatter": {"frequency_hz": alarm_hz, "level_db": -39.0}}
    assert [tone["frequency_hz"] for tone in suspects(state)] == shown


def test_the_help_explains_every_state_and_notice(client):
    page = client.get("/help").get_data(as_text=True)
    for words in [state["word"] for name, state in STATES.items() if name != "connecting"]:
        assert words in page
    for _, hint in NOTICES.values():
        assert escape(hint.split("{")[0]) in page
    assert "{" not in page.split("<main")[1]


def test_the_present_moment_is_explained(client):
    told = client.get("/api/explain").get_json()
    assert {"at_s", "lines", "evidence", "suspect_hz", "state"} <= set(told)


def test_how_often_it_may_be_wrong_is_read_and_changed(client, monitor):
    assert client.get("/api/carefulness").get_json() == {"false_alarms_per_hour": 0.1}
    assert 'value="0.1" checked' in client.get("/listening").get_data(as_text=True)
    answer = client.post("/api/carefulness", json={"false_alarms_per_hour": 0.5})
    assert answer.get_json() == {"false_alarms_per_hour": 0.5}
    assert 'value="0.5" checked' in client.get("/listening").get_data(as_text=True)


@pytest.mark.parametrize("body", [{}, {"false_alarms_per_hour": 0}, {"false_alarms_per_hour": "rarely"}])
def test_a_carefulness_that_cannot_be_is_refused(client, body):
    answer = client.post("/api/carefulness", json=body)
    assert answer.status_code == 400 and answer.get_json()["hint"]

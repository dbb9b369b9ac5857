"""Saying what a cut was, over HTTP, and the section of its page where it is said."""

import pytest

from tests.waiting import until

CUT = "00000000-0000-0000-0000-000000000002"
GONE = "00000000-0000-0000-0000-00000000ffff"


def say(client, cut=CUT, **body):
    return client.post(f"/api/cuts/{cut}/say", json=body)


def test_a_word_stands_on_the_page_until_it_is_taken_back(client):
    made = say(client, verdict="no chatter", note="<script>alert(1)</script> the vice")
    assert made.status_code == 201
    page = client.get(f"/cuts/{CUT}").get_data(as_text=True)
    assert "It was no chatter" in page and "&lt;script&gt;" in page and "<script>alert" not in page
    said = f"/api/cuts/{CUT}/say/{made.get_json()['id']}"
    assert client.delete(said).status_code == 200
    assert "&lt;script&gt;" not in client.get(f"/cuts/{CUT}").get_data(as_text=True)
    assert client.delete(said).status_code == 400


@pytest.mark.parametrize(
    "body",
    [
        {},
        {"verdict": "x"},
        {"verdict": "chatter", "start_s": 1},
        {"verdict": "note"},
        {"verdict": "a cut", "why": 1},
    ],
    ids=str,
)
def test_what_cannot_be_said_is_refused(client, body):
    refused = say(client, **body)
    assert refused.status_code == 400 and refused.get_json()["hint"]


def test_nothing_is_said_of_no_cut(client):
    assert say(client, GONE, verdict="chatter").status_code == 404


def test_a_wish_is_tried_on_past_cuts_before_it_is_kept(client, monitor):
    before = monitor.wishes.now
    begun = client.post("/api/hear-again", json={"reject": {"frequency_hz": 1432.6}, "cuts": [CUT]})
    assert begun.status_code == 202
    address = f"/api/hear-again/{begun.get_json()['id']}"
    until(lambda: client.get(address).get_json()["status"] != "running")
    job = client.get(address).get_json()
    assert job["status"] == "done" and not job["kept"] and len(job["rows"]) == 1
    assert monitor.wishes.now == before
    kept = client.post("/api/background", json={"frequency_hz": 1432.6})
    assert kept.status_code == 201 and monitor.wishes.now != before


@pytest.mark.parametrize(
    "body",
    [
        {"cuts": []},
        {"cuts": "all"},
        {"cuts": [1]},
        {"newest": 0},
        {"newest": "many"},
        {"reject": {}, "newest": 1},
        {"reject": {"pitch": 3}},
        {"reject": {"family": True}},
        {"reject": {"frequency_hz": 1432, "family": "all"}},
        {"reject": {"frequency_hz": "high"}},
        {"heed": {"order": 2}},
        {"heed": 1432},
        {"reject": {"frequency_hz": 1432}, "heed": {"frequency_hz": 1432}},
        {"false_alarms_per_hour": 1e9},
        {"reject": {"frequency_hz": 1432}, "keep": True},
    ],
    ids=str,
)
def test_what_cannot_be_heard_again_is_refused(client, body):
    refused = client.post("/api/hear-again", json=body)
    assert refused.status_code == 400 and refused.get_json()["hint"]


def test_there_is_no_hearing_of_an_unknown_name(client):
    assert client.get("/api/hear-again/nothing").status_code == 404
    assert client.delete("/api/hear-again/nothing").status_code == 404


def test_a_tone_that_is_heeded_is_no_longer_rejected(client, monitor):
    client.post("/api/background", json={"frequency_hz": 1432.6})
    assert client.post("/api/background/heed", json={"frequency_hz": 1433.0}).status_code == 201
    assert not monitor.wishes.now.rejected and monitor.wishes.now.heeded_hz == (1433.0,)
    assert client.post("/api/background/heed", json={}).status_code == 400


def test_the_list_and_the_page_tell_the_persons_word_before_the_monitors(client, monitor):
    def sign(page):
        return " ".join(client.get(page).text.split("verdict-")[1].split("</span></span>")[0].split())

    def listed():
        page = client.get("/cuts").text
        card = next(part for part in page.split("<li>") if f'href="/cuts/{CUT}"' in part)
        return " ".join(card.split())

    assert "Chatter" in listed() and "you said" not in listed()
    assert "at 1 433&nbsp;Hz" in listed(), "the pitch stands on the card"
    assert say(client, CUT, verdict="no chatter").status_code == 201
    assert "Quiet<small>you said so; the monitor heard chatter</small>" in listed()
    assert "Quiet<small>you said so; the monitor heard chatter</small>" in sign(f"/cuts/{CUT}")
    say(client, CUT, verdict="chatter")
    assert "Chatter<small>you said so, too</small>" in listed()
    say(client, CUT, verdict="not a cut")
    assert "No cut<small>you said so; the monitor heard chatter</small>" in listed()
    say(client, CUT, verdict="note", note="the door")
    assert "No cut<small>" in listed(), "a note is no verdict"


@pytest.mark.parametrize(
    "body",
    [
        {"verdict": "chatter", "frequency_hz": 10**400},
        {"verdict": "chatter", "start_s": 10**400, "end_s": 3},
        {"verdict": "note", "note": "\u200b\u202e\u2066"},
        {"verdict": "note", "note": "\x00\x07"},
        {"verdict": "note", "note": ["a"]},
    ],
    ids=lambda body: str(body)[:40],
)
def test_numbers_without_end_and_notes_that_nobody_sees_are_refused(client, body):
    refused = say(client, CUT, **body)
    assert refused.status_code == 400 and refused.get_json()["hint"]


def test_what_turns_or_hides_a_line_is_left_out_of_a_note(client, monitor):
    assert say(client, CUT, verdict="note", note="left\u202e\x00 wall\nmarked").status_code == 201
    assert monitor.said[-1]["note"] == "left wall\nmarked"


def test_a_tone_is_rejected_with_the_tool_of_the_cut(client, monitor):
    cut = next(cut for cut in monitor._cuts if cut["id"] == CUT)
    cut["context"] = {"end_mill": "plum #3", "holder": "ER20 <short>", "stickout_mm": 38.0}
    assert 'data-only-with="plum #3, ER20 &lt;short&gt;, 38 mm out"' in client.get(f"/cuts/{CUT}").text
    words = "plum #3, ER20 <short>, 38 mm out"
    assert client.post("/api/background", json={"frequency_hz": 900, "only_with": words}).status_code == 201
    assert "with plum #3, ER20 &lt;short&gt;, 38 mm out only" in client.get("/listening").text
    cut["context"] = {}
    assert "data-only-with" not in client.get(f"/cuts/{CUT}").text
    refused = client.post("/api/background", json={"frequency_hz": 900, "only_with": ["plum"]})
    assert refused.status_code == 400 and refused.get_json()["hint"]


def test_a_family_is_offered_with_its_tone(client, monitor):
    cut = next(cut for cut in monitor._cuts if cut["id"] == CUT)
    turn_hz = cut["rpm"] / 60
    stray = dict(cut["chatter"][0], frequency_hz=cut["chatter"][0]["frequency_hz"] + 3 * turn_hz)
    cut["stray"] = [stray, dict(stray, frequency_hz=stray["frequency_hz"] + 0.3 * turn_hz)]
    page = client.get(f"/cuts/{CUT}").text
    assert "of its family: 2\u202f022&nbsp;Hz</span>" in page
    kept = client.post("/api/background", json={"frequency_hz": 1432.6, "family": True})
    assert kept.get_json()["entry"]["id"] == "1432.6-hz-family"
    assert "and its family" in client.get("/listening").text
    assert client.delete("/api/background/1432.6-hz-family").status_code == 200
    assert "and its family" not in client.get("/listening").text

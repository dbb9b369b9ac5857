"""The routes of looking at a cut afterwards: what they give, and what they refuse."""

import io
import uuid

import numpy as np
import pytest
import soundfile

CUT = f"/api/cuts/{uuid.UUID(int=2)}"


@pytest.mark.parametrize(
    "address",
    [
        "spectrogram?from=nan", "spectrogram?to=inf", "spectrogram?from=5&to=5", "spectrogram?columns=0",
        "spectrogram?columns=1e9", "spectrogram?rows=100000", "spectrogram?axis=%3Cscript%3E",
        "spectrogram?low=9&high=3", "spectrogram?high=-1", "spectrogram?from=1e300", "lanes?points=0",
        "lanes?points=99999999", "lanes?from=7&to=3", "lanes?from=..%2F..%2Fetc", "spectrum", "spectrum?at=x",
        "spectrum?at=-1", "spectrum?at=1e5", "audio?only=..%2F..%2Fetc%2Fpasswd", "audio?only=",
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_in_words(client, address):
    response = client.get(f"{CUT}/{address}")
    assert response.status_code == 400
    assert response.json["error"] and response.json["hint"]
    assert response.mimetype == "application/json"


@pytest.mark.parametrize("what", ["lanes", "spectrogram", "spectrum?at=1", "audio?only=left"])
@pytest.mark.parametrize("place", ["cuts/nothing", "cuts/..%2F..%2Fetc%2Fpasswd", "kept/nothing"])
def test_what_is_not_there_is_404(client, place, what):
    response = client.get(f"/api/{place}/{what}")
    assert response.status_code == 404 and response.json["error"]


def test_a_cut_without_its_sound_has_lanes_and_says_what_else_is_missing(client):
    silent = f"/api/cuts/{uuid.UUID(int=1)}"
    assert client.get(f"{silent}/lanes").json["messages"]
    for what in ("spectrogram", "spectrum?at=1", "audio?only=left"):
        response = client.get(f"{silent}/{what}")
        assert response.status_code == 404 and "removed" in response.json["error"]


def test_the_picture_is_bytes_column_after_column(client):
    response = client.get(f"{CUT}/spectrogram?from=15&to=17&columns=40&rows=100&high=5000")
    assert response.headers["Shopmon-Rough"] == "0"
    picture = np.frombuffer(response.data, np.uint8).reshape(40, 100)
    # the invented cut rings at 1432.6 Hz with a tenth of full scale
    assert (picture.argmax(axis=1) == 28).all()
    assert -100 + 0.4 * picture.max() == pytest.approx(-20, abs=0.4)


def test_a_part_of_the_sound_comes_whole_and_in_ranges(client):
    part = client.get(f"{CUT}/audio?only=strays", headers={"Range": "bytes=0-"})
    assert part.status_code == 206
    first, size = part.headers["Content-Range"].removeprefix("bytes ").split("/")
    assert first == f"0-{len(part.data) - 1}" and len(part.data) < int(size)
    whole = client.get(f"{CUT}/audio?only=strays")
    assert whole.status_code == 200 and len(whole.data) == int(size)
    samples, rate_hz = soundfile.read(io.BytesIO(whole.data))
    assert rate_hz == 48_000 and np.abs(samples[16 * rate_hz : 17 * rate_hz]).max() > 0.08
    assert np.abs(samples[: 13 * rate_hz]).max() == 0
    middle = client.get(f"{CUT}/audio?only=strays", headers={"Range": "bytes=1500001-1500100"})
    assert middle.data == whole.data[1500001:1500101]
    beyond = client.get(f"{CUT}/audio?only=strays", headers={"Range": f"bytes={size}-"})
    assert beyond.status_code == 416


def test_a_mark_is_opened_by_its_id(client, monitor):
    mark_id = monitor.mark_moment("here")["id"]
    opened = client.post(f"/api/marks/{mark_id}/open", json={})
    assert opened.status_code == 201 and opened.json["page"] == f"/cuts/kept/{opened.json['kept_id']}"
    assert client.get(opened.json["page"]).status_code == 200
    assert client.post("/api/marks/nothing/open", json={}).status_code == 404


def test_what_was_kept_by_hand_is_looked_at_in_the_same_way(client, monitor):
    kept = f"/api/kept/{monitor.keep_last()['id']}"
    assert client.get(f"{kept}/lanes").json["figures"]["t_s"]
    assert len(client.get(f"{kept}/spectrogram?columns=10&rows=10").data) == 100
    assert client.get(f"{kept}/spectrum?at=2").json["lines"]
    assert client.get(f"{kept}/audio?only=left", headers={"Range": "bytes=0-99"}).status_code == 206


def test_a_picture_far_longer_than_the_sound_is_refused_at_once(client):
    refused = client.get(f"{CUT}/spectrogram?from=0&to=1000000&columns=2048")
    assert refused.status_code == 400 and "shorter" in refused.get_json()["hint"]
    beyond = client.get(f"{CUT}/spectrogram?from=100000&to=100060&columns=4")
    assert beyond.status_code == 200 and not any(beyond.data), "there is nothing after the sound"

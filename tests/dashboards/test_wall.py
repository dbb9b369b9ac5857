"""The routes of *Mark on the wall*: values, photographs, and what must be refused."""

import io
import uuid

import numpy as np
import pytest
from PIL import Image

from tests.capture.test_picture_file import png_header
from tests.surfaces.walls import Camera, Wall, photograph

CUT = f"/api/cuts/{uuid.UUID(int=2)}"


def saved(picture, kind="PNG"):
    file = io.BytesIO()
    Image.fromarray(picture.astype(np.uint8)).save(file, kind)
    return file.getvalue()


@pytest.fixture(scope="module")
def wall():
    return saved(photograph(Wall(offsets_um=(5.0, 0.0, -1.0)), Camera(um_per_px=5.0, turned_deg=12)))


def keep(client, content, kind="image/png", note=""):
    return client.post(f"{CUT}/photos", data=content, content_type=kind, query_string={"note": note})


def test_expected_and_spacing(client, monitor):
    assert client.post(f"{CUT}/wall", json={}).json["expected"] == []  # the feed is not known
    told = client.post(f"{CUT}/wall", json={"feed_mm_min": 1800, "rpm": 12000}).json
    assert told["schema"] == "shopmon.surface/1" and len(told["expected"]) == 6
    assert told["cut"]["chatter_hz"] == [pytest.approx(1432.6)]
    told = client.post(f"{CUT}/wall/spacing", json={"feed_mm_min": 1800, "spacing_mm": 0.1526}).json
    assert told["verdict"] == "turn"
    monitor.units = "inch"
    assert "\u00a0in" in client.post(f"{CUT}/wall", json={"feed_mm_min": 1800}).json["expected"][0]["text"]


def test_a_photograph_stays_with_its_cut_and_is_measured(client, wall):
    photo_id = keep(client, wall, note="second pass").json["id"]
    kept = client.get(f"/api/cuts/photos/{photo_id}")
    assert kept.data == wall and kept.mimetype == "image/png"
    asked = {"um_per_pixel": 5.0, "feed_mm_min": 1800, "rpm": 12000, "region_px": [20, 20, 400, 300]}
    told = client.post(f"/api/cuts/photos/{photo_id}/marks", json=asked).json
    assert told["verdict"] == "turn" and told["picture"]["region_px"] == [20, 20, 400, 300]
    (photo,) = client.get(f"{CUT}/photos").json["photos"]
    assert photo["note"] == "second pass" and photo["reading"]["question"] == asked
    assert photo["reading"]["result"] == told


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"<script>alert(1)</script>",
        b"\x89PNG\r\n\x1a\n" + bytes(99),
        png_header(20_000, 20_000),
        b"\xff\xd8\xff" * 9,
    ],
)
def test_what_is_no_picture_is_refused_and_not_kept(client, monitor, content):
    answer = keep(client, content)
    assert answer.status_code == 400 and answer.json["error"] and answer.json["hint"]
    assert client.get(f"{CUT}/photos").json["photos"] == []


def test_other_types_and_sizes_are_refused(client, wall):
    assert keep(client, wall, "image/svg+xml").status_code == 415
    assert keep(client, wall, "text/html").status_code == 415
    assert keep(client, wall + bytes(9 * 2**20)).status_code == 413


@pytest.mark.parametrize(
    "asked",
    [
        {},
        {"um_per_pixel": 0},
        {"um_per_pixel": "5"},
        {"um_per_pixel": True},
        {"um_per_pixel": 5, "rpm": -1},
        {"um_per_pixel": 5, "flutes": 2.5},
        {"um_per_pixel": 5, "region_px": [0, 0, 10, 10]},
        {"um_per_pixel": 5, "region_px": [0, 0, 5000, 5000]},
        {"um_per_pixel": 5, "region_px": "all"},
        {"um_per_pixel": 5, "region_px": [0, 0, True, 100]},
        {"um_per_pixel": 5, "colour": "red"},
    ],
)
def test_questions_that_make_no_sense(client, wall, asked):
    photo_id = keep(client, wall).json["id"]
    answer = client.post(f"/api/cuts/photos/{photo_id}/marks", json=asked)
    assert answer.status_code == 400 and answer.json["hint"]


def test_what_is_not_there(client, monitor, wall):
    assert client.get("/api/cuts/photos/nothing").status_code == 404
    assert client.post("/api/cuts/photos/nothing/marks", json={"um_per_pixel": 5}).status_code == 404
    for address in ("wall", "wall/spacing", "photos"):
        assert client.post(f"/api/cuts/nothing/{address}", json={}).status_code in (404, 415)
    photo_id = keep(client, wall).json["id"]
    monitor.walls.photo_file(monitor.walls.photo(photo_id)).unlink()
    assert client.get(f"/api/cuts/photos/{photo_id}").status_code == 404
    assert client.post(f"/api/cuts/photos/{photo_id}/marks", json={"um_per_pixel": 5}).status_code == 503


def test_hostile_notes_are_shown_as_text(client, wall):
    keep(client, wall, note="</p><script>alert(1)</script>")
    page = client.get(f"/cuts/{uuid.UUID(int=2)}").text
    assert "<script>alert" not in page and "&lt;script&gt;" in page
    assert keep(client, wall, note="x" * 5000).status_code == 400


def test_a_cut_that_was_broken_off_or_holds_nonsense_still_has_its_page(client, monitor):
    cut = next(each for each in monitor._cuts if each["id"] == CUT.rsplit("/", 1)[1])
    cut["chatter"] = [{**cut["chatter"][0], "frequency_hz": None, "level_db": None, "severity": "unknown"}]
    assert client.post(f"{CUT}/wall", json={"feed_mm_min": 1800}).json["cut"]["chatter_hz"] == []
    cut["chatter"] = []
    cut["context"] = {"flutes": 3, "feed_mm_min": 1e9}
    assert "Mark on the wall" in client.get(f"/cuts/{cut['id']}").text
    cut["context"], cut["rpm"] = {}, None
    assert "the spindle speed and the number of flutes" in client.get(f"/cuts/{cut['id']}").text

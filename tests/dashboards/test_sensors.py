"""The page *Sensors* and its routes."""

import json

import pytest

from tests.dashboards.fake_sensors import fake_sensors


def test_the_page_says_that_nothing_is_calibrated_and_what_it_may_be_asked(client):
    text = client.get("/sensors").get_data(as_text=True)
    assert "Not calibrated: levels are shown relative to full scale only." in text
    assert "Chatter of slender end mills" in text
    assert "x points up" in text
    assert "Spindle stopped" in text


def test_a_turn_over_through_the_routes(client, monitor):
    for number, place in enumerate(monitor.sensors.now()["places"]):
        lies = [0.0, 0.0, 0.0]
        lies[number // 2] = 1.0 if number % 2 == 0 else -1.0
        monitor.sensors._catcher.lies = lies
        assert client.post("/api/sensors/place", json={"place": place}).status_code == 200
    kept = client.post("/api/sensors/turn-over", json={}).get_json()
    assert kept["schema"] == "shopmon.calibration/1"
    text = client.get("/sensors").get_data(as_text=True)
    assert "full scale is 16" in text
    assert "r.m.s., calibrated 20" in text
    assert client.get("/api/sensors").get_json()["calibration"] == kept


def test_describing_it(client):
    told = client.post(
        "/api/sensors/describe", json={"part": "ADXL345", "mounting": "glued", "resonance_hz": None}
    )
    assert told.get_json()["deaf"] is None or "sees up to" in told.get_json()["deaf"]
    assert client.post("/api/sensors/describe", json={"part": "nothing"}).status_code == 400


@pytest.mark.parametrize(
    "body", [{}, {"channel": 1, "value": "much", "what": "g"}, {"value": 1, "what": "m"}]
)
def test_absurd_entries(client, body):
    answer = client.post("/api/sensors/enter", json=body)
    assert answer.status_code == 400
    assert answer.get_json()["hint"]


def test_a_microphone_is_offered_a_calibrator(client, monitor):
    monitor.sensors = fake_sensors("microphone", 1)
    text = client.get("/sensors").get_data(as_text=True)
    assert "Calibrate by a calibrator" in text
    assert "Calibrate by gravity" not in text


def test_without_a_sensor_the_page_stands(client, monitor):
    monitor.sensors._source.format = None
    assert "No sensor delivers anything now." in client.get("/sensors").get_data(as_text=True)


def test_sources_beside_it_are_shown_with_their_drift(client, monitor, monkeypatch):
    state = monitor.state()
    other = {"source": "board", "device": "sampler board", "present": True, "drift_ppm": -41.2}
    monkeypatch.setattr(monitor, "state", lambda: {**state, "others": [other, {**other, "present": False}]})
    text = client.get("/sensors").get_data(as_text=True)
    assert "its clock runs 41.2 millionths slow" in text
    assert "delivers nothing now" in text


ODD = (None, True, [], {}, "", "much", -1, 1e400, 10**400, "1e999", [1], {"a": 1}, "x" * 10_000, 0.5)


@pytest.mark.parametrize("odd", ODD, ids=[repr(odd)[:20] for odd in ODD])
@pytest.mark.parametrize(
    ("address", "body", "name"),
    [
        ("place", {}, "place"),
        ("describe", {"part": "ADXL345"}, "mounting"),
        ("describe", {"mounting": "glued"}, "part"),
        ("describe", {"part": "ADXL345"}, "resonance_hz"),
        ("enter", {"value": 16, "what": "g"}, "channel"),
        ("enter", {"channel": 1, "what": "g"}, "value"),
        ("enter", {"channel": 1, "value": 16}, "what"),
    ],
)
def test_whatever_is_sent_is_refused_with_what_to_do_or_taken(client, address, body, name, odd):
    answer = client.post(
        f"/api/sensors/{address}", data=json.dumps({**body, name: odd}), content_type="application/json"
    )
    if answer.status_code == 200:
        assert name in ("mounting", "part", "resonance_hz", "value") and odd in (None, 0.5)
    else:
        assert answer.status_code == 400
        assert answer.get_json()["error"].endswith(".") and answer.get_json()["hint"]
        assert len(answer.get_json()["error"]) < 200


def test_a_scale_that_is_wrong_and_an_axis_that_is_stuck_are_said_on_the_page(client, monitor):
    monitor.sensors._catcher.g_per_full_scale = 16.0 / 0.3
    for place in monitor.sensors.now()["places"]:
        lies = [0.0, 0.0, 0.0]
        lies["xyz".index(place[0])] = 1.0 if place.endswith("up") else -1.0
        monitor.sensors._catcher.lies = lies
        told = client.post("/api/sensors/place", json={"place": place}).get_json()
        assert "gravity reads 0.30 g" in told["remark"]
    kept = client.post("/api/sensors/turn-over", json={}).get_json()
    assert all("reads 0.30 g: its range or scale is set wrong" in remark for remark in kept["remarks"])
    assert "its range or scale is set wrong" in client.get("/sensors").get_data(as_text=True)
    for place in monitor.sensors.now()["places"]:
        monitor.sensors._catcher.lies = [0.0, 0.0, {"z up": 1.0, "z down": -1.0}.get(place, 0.0)]
        client.post("/api/sensors/place", json={"place": place})
    answer = client.post("/api/sensors/turn-over", json={})
    assert answer.status_code == 400
    assert "is stuck" in answer.get_json()["error"] and "all six" in answer.get_json()["hint"]


def test_the_temperature_of_the_sensor_stands_there(client, monitor):
    assert "°C" not in client.get("/sensors").get_data(as_text=True)
    monitor.sensors._source.temperature_c = 31.4
    assert "31&nbsp;°C" in client.get("/sensors").get_data(as_text=True)


def test_another_sensor_is_calibrated_on_the_same_page(client, monitor):
    text = client.get("/sensors?source=spindle-mic").get_data(as_text=True)
    assert "Back to the first sensor" in text and "Calibrate by a calibrator" in text
    entered = {"channel": 1, "value": -26, "what": "dB"}
    kept = client.post("/api/sensors/enter?source=spindle-mic", json=entered)
    assert kept.get_json()["channels"][0]["unit"] == "Pa"
    assert client.get("/api/sensors?source=spindle-mic").get_json()["calibration"] == kept.get_json()
    assert client.get("/api/sensors").get_json()["calibration"] is None
    answer = client.get("/api/sensors?source=nobody")
    assert answer.status_code == 400 and answer.get_json()["hint"]
    assert client.get("/sensors?source=nobody").status_code == 400

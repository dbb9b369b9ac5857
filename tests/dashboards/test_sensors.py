"""The page *Sensors* and its routes."""

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

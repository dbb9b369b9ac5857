"""Not found, not allowed, not valid: every failure has one shape, a sentence and a hint."""

import json

import pytest
from shopmon.dashboards.app import create_app

from shopmon.errors import DeviceError, SettingError, StoreError

CUT = "00000000-0000-0000-0000-000000000002"
SILENT_CUT = "00000000-0000-0000-0000-000000000001"
JSON = "application/json"

NOT_FOUND = [
    "/api",
    "/api/",
    "/api/nonsense",
    "/api/cuts/none",
    "/api/cuts/none/audio",
    "/api/cuts/none/features",
]
NOT_FOUND += [f"/api/cuts/{SILENT_CUT}/audio", "/api/cuts/%00", "/api/cuts/..%2f..%2fetc%2fpasswd/audio"]
NOT_FOUND += ["/api/cuts/%FF%FE", "/api/cuts/" + "x" * 3000, "/api/cuts/a/b/c"]
NOT_ALLOWED = [
    ("POST", "/api/state"),
    ("DELETE", f"/api/cuts/{CUT}"),
    ("GET", "/api/keep-last"),
    ("PUT", "/api/context"),
]
NOT_ALLOWED += [("POST", "/api/stream"), ("GET", f"/api/cuts/{CUT}/keep"), ("PATCH", "/api/health")]
NOT_VALID = [
    ("GET", "/api/cuts?limit=0", None),
    ("GET", "/api/cuts?limit=501", None),
    ("GET", "/api/cuts?limit=ten", None),
    ("GET", "/api/cuts?limit=", None),
    ("GET", "/api/cuts?before=-1", None),
    ("GET", "/api/cuts?before=" + "9" * 30, None),
    ("GET", "/api/cuts?since=nan", None),
    ("GET", "/api/cuts?until=inf", None),
    ("GET", "/api/cuts?keep=perhaps", None),
    ("GET", "/api/cuts?verdict=lovely", None),
    ("GET", "/api/cuts?colour=blue", None),
    ("GET", "/api/log?limit=-5", None),
    ("GET", "/api/recent-setups?limit=1e3", None),
    ("GET", f"/api/cuts/{CUT}/features?points=1", None),
    ("GET", f"/api/cuts/{CUT}/audio?download=please", None),
    ("POST", f"/api/cuts/{CUT}/keep", {"keep": "perhaps"}),
    ("POST", f"/api/cuts/{CUT}/keep", {"keeps": True}),
    ("POST", "/api/context", {}),
    ("POST", "/api/context", []),
    ("POST", "/api/context", None),
    ("POST", "/api/context", {"nominal_rpn": 12000}),
    ("POST", "/api/context", {"nominal_rpm": -1}),
    ("POST", "/api/context", {"nominal_rpm": "12000"}),
    ("POST", "/api/context", {"nominal_rpm": 1e9}),
    ("POST", "/api/context", {"flutes": 2.5}),
    ("POST", "/api/context", {"flutes": True}),
    ("POST", "/api/context", {"milling": "sideways"}),
    ("POST", "/api/context", {"material": "x" * 201}),
    ("POST", "/api/marks", {"note": 7}),
    ("POST", "/api/marks", {"note": "x" * 501}),
    ("POST", "/api/marks", {"remark": "x"}),
    ("POST", "/api/keep-last", {"seconds": 0}),
    ("POST", "/api/keep-last", {"seconds": 1e9}),
    ("POST", "/api/keep-last", {"seconds": "long"}),
    ("POST", "/api/keep-last", {"seconds": True}),
    ("POST", "/api/clock", {"time_s": "noon"}),
    ("POST", "/api/clock", {"time_s": 12.0}),
    ("POST", "/api/clock", {}),
]


def complaint(response, status):
    """Check the one shape of an error and return it."""
    assert response.status_code == status, response.text
    assert response.mimetype == JSON
    assert response.headers["Cache-Control"] == "no-store"
    told = response.get_json()
    assert set(told) == {"error", "hint"}
    assert told["error"].endswith((".", "?"))
    assert told["hint"]
    assert "Traceback" not in response.text
    return told


@pytest.mark.parametrize("path", NOT_FOUND)
def test_what_is_not_there(client, path):
    complaint(client.get(path), 404)


@pytest.mark.parametrize(("method", "path"), NOT_ALLOWED)
def test_what_is_not_done_that_way(client, method, path):
    response = client.open(path, method=method)
    complaint(response, 405)
    assert response.headers["Allow"]


@pytest.mark.parametrize(("method", "path", "body"), NOT_VALID)
def test_what_cannot_be(client, monitor, method, path, body):
    monitor.clock_set = False
    response = client.open(
        path, method=method, data=json.dumps(body) if method == "POST" else None, content_type=JSON
    )
    complaint(response, 400)


def test_an_unknown_name_is_answered_with_the_likely_one(client):
    told = complaint(client.post("/api/context", json={"nominal_rpn": 12000}), 400)
    assert "nominal_rpn" in told["error"]
    assert "nominal_rpm" in told["hint"]


@pytest.mark.parametrize(
    "data", [b"", b"{", b"\xff\xfe", b"12", b'"text"', b"null", b"[" * 20_000, b'{"a":' * 5000]
)
def test_bodies_that_are_no_object(client, data):
    complaint(client.post("/api/context", data=data, content_type=JSON), 400)


def test_half_a_character_does_not_spoil_the_log(client):
    answer = client.post("/api/marks", data='{"note": "\\ud800"}', content_type="application/json")
    assert answer.status_code == 400
    assert client.get("/api/log").status_code == 200


def test_numbers_that_json_does_not_have(client):
    told = complaint(client.post("/api/context", data=b'{"nominal_rpm": NaN}', content_type=JSON), 400)
    assert "nan" in told["error"]


@pytest.mark.parametrize(
    "kind", ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data", ""]
)
def test_only_json_is_taken(client, kind):
    complaint(client.post("/api/context", data=b'{"flutes": 3}', content_type=kind), 415)


def test_a_body_that_is_too_large(client):
    complaint(client.post("/api/context", data=b" " * 70_000 + b"{}", content_type=JSON), 413)


@pytest.mark.parametrize(
    ("error", "status"),
    [
        (SettingError("This cannot be.", "Do that."), 400),
        (StoreError("The data folder is gone.", "Mount it."), 503),
        (DeviceError("The input is away.", "Plug it in."), 503),
    ],
)
def test_our_own_errors_keep_their_words(client, monitor, error, status):
    def fail():
        raise error

    monitor.state = fail
    assert complaint(client.get("/api/state"), status) == {"error": error.text, "hint": error.hint}


def test_an_error_of_ours_is_answered_calmly_and_logged(client, monitor, caplog):
    monitor.log = lambda limit: 1 / 0
    told = complaint(client.get("/api/log"), 500)
    assert "keeps listening" in told["error"]
    assert "division" not in told["error"] + told["hint"]
    assert "ZeroDivisionError" in caplog.text


def test_people_get_a_page(client):
    response = client.get("/nonsense")
    assert (response.status_code, response.mimetype) == (404, "text/html")
    assert "nothing at this address" in response.text
    assert 'lang="en"' in response.text


def test_programs_get_json_anywhere_if_they_ask_for_it(client):
    complaint(client.get("/nonsense", headers={"Accept": JSON}), 404)


def test_what_was_asked_for_is_not_written_into_the_page(client):
    assert "<script>alert" not in client.get("/<script>alert(1)</script>").text


def test_a_broken_template_still_gives_an_answer(monitor):
    app = create_app(monitor)
    app.jinja_loader = None
    app.jinja_env.loader = None
    response = app.test_client().get("/nonsense")
    assert response.status_code == 404
    assert "Error 404" in response.text

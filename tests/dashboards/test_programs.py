"""The pages and routes of NC programs."""

import pytest

from tests.dashboards.fake_programs import TEXT


def test_the_list_and_what_is_followed(client, monitor):
    answer = client.get("/api/programs").get_json()
    assert [program["name"] for program in answer["programs"]] == ["hub.nc"]
    assert answer["now"] is None
    assert client.post("/api/programs/follow", json={"id": "hub"}).get_json()["now"]["name"] == "hub.nc"
    assert monitor.programs.followed == "hub"
    assert client.post("/api/programs/follow", json={"id": None}).status_code == 200
    assert monitor.programs.followed is None


def test_loading(client):
    text = "\n".join(TEXT).encode()
    kind = "application/octet-stream"
    answer = client.post("/api/programs?name=lever.nc", data=text, content_type=kind)
    assert answer.status_code == 201
    assert answer.get_json()["name"] == "lever.nc"
    assert len(client.get("/api/programs").get_json()["programs"]) == 2


@pytest.mark.parametrize(
    ("content", "error"), [(b"\x00", "binary"), (b"hello", "no NC program"), (b"", "empty")]
)
def test_what_cannot_be_read_is_told(client, content, error):
    answer = client.post("/api/programs?name=x", data=content, content_type="application/octet-stream")
    assert answer.status_code == 400
    assert error in answer.get_json()["error"]
    assert answer.get_json()["hint"]


def test_too_large_a_program_is_refused(client):
    answer = client.post(
        "/api/programs?name=x", data=b"G1" * 5_000_000, content_type="application/octet-stream"
    )
    assert answer.status_code == 413


def test_tools(client, monitor):
    answer = client.post("/api/programs/hub/tools", json={"tools": {"5": "drill"}})
    assert answer.get_json()["tool_ids"] == {"3": "plum", "5": "drill"}
    assert client.post("/api/programs/hub/tools", json={"tools": 3}).status_code == 400
    assert client.post("/api/programs/none/tools", json={"tools": {}}).status_code == 400


def test_doubts(client, monitor):
    assert client.get("/api/programs/doubts").get_json()["doubts"][0]["cut_id"] == "cut-7"
    assert client.post("/api/programs/doubts/cut-7", json={}).status_code == 400
    answer = client.post("/api/programs/doubts/cut-7", json={"tool_id": "plum"})
    assert answer.get_json()["doubts"] == []
    assert client.post("/api/programs/doubts/cut-7", json={"tool_id": None}).status_code == 400


def test_the_pages(client, monitor):
    page = client.get("/programs").get_data(as_text=True)
    assert "Whose cuts were these?" in page and "plum #3" in page and "hub.nc" in page
    page = client.get("/programs/hub").get_data(as_text=True)
    assert "T3" in page and "drill 4.2 left of the box" in page and "10 mm rougher" in page
    assert client.get("/programs/none").status_code == 404
    monitor.programs.followed, monitor.programs.section = "hub", 1
    assert "Section 2 of 2: T5 drill 4.2" in client.get("/programs").get_data(as_text=True)
    assert "hub.nc: section 2 of 2: T5 drill 4.2 – likely" in client.get("/").get_data(as_text=True)


def test_a_controller_may_neither_load_nor_follow(lan_app):
    stranger = lan_app.test_client()
    far = {"REMOTE_ADDR": "192.0.2.9"}
    for path in ("/api/programs?name=x", "/api/programs/follow", "/api/programs/doubts/cut-7"):
        assert stranger.post(path, json={}, environ_base=far).status_code == 401

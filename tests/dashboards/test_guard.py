"""Hostile hosts, origins and frames; and the headers that keep a page to itself."""

import socket

import pytest
from hypothesis import given
from hypothesis import strategies as st
from shopmon.dashboards.guard import host_name, known_host

OWN = socket.gethostname().lower()
FRIENDLY = [
    "localhost",
    "localhost:8321",
    "127.0.0.1:8321",
    "[::1]:8321",
    "192.168.1.20:8321",
    "LOCALHOST",
    "localhost.",
    OWN,
    OWN + ".local:80",
]
HOSTILE = [
    "evil.example",
    "localhost.evil.example",
    "127.0.0.1.evil.example",
    "evil.example:8321",
    "localhost:80:80",
]
HOSTILE += [
    "localhost@evil.example",
    "local host",
    "127.0.0.1/..",
    "localhost:",
    "localhost:x",
    "",
    "[::1",
    "0x7f.1",
]


@pytest.mark.parametrize("host", FRIENDLY)
def test_our_own_names_are_known(client, host):
    assert known_host(host)
    assert client.get("/api/health", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize("host", HOSTILE)
def test_foreign_names_are_not(client, host):
    assert not known_host(host)
    if host:
        response = client.get("/api/health", headers={"Host": host})
        assert response.status_code in (400, 403)
        assert set(response.get_json()) == {"error", "hint"}


def test_a_name_can_be_made_known():
    assert known_host("Monitor.Shop:8321", frozenset({"monitor.shop"}))


@given(st.text(max_size=40))
def test_no_host_breaks_the_check(host):
    assert host_name(host) is None or isinstance(known_host(host), bool)


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://evil.example"},
        {"Origin": "null"},
        {"Origin": "http://localhost:9999"},
        {"Origin": "https://localhost"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
        {"Sec-Fetch-Site": "cross-site", "Origin": "http://localhost"},
    ],
)
def test_other_sites_may_change_and_read_nothing(client, monitor, headers):
    for response in (client.post("/api/marks", headers=headers), client.get("/api/state", headers=headers)):
        assert response.status_code == 403
        assert "Another site" in response.get_json()["error"]
    assert monitor.log() == []


@pytest.mark.parametrize(
    "headers",
    [{}, {"Origin": "http://localhost"}, {"Sec-Fetch-Site": "same-origin"}, {"Sec-Fetch-Site": "none"}],
)
def test_our_own_pages_and_programs_may(client, headers):
    assert client.post("/api/marks", headers=headers).status_code == 201


def test_a_link_on_another_site_may_lead_to_a_page(client):
    assert client.get("/pairing", headers={"Sec-Fetch-Site": "cross-site"}).status_code == 200


@pytest.mark.parametrize("path", ["/pairing", "/api/state", "/nonsense", "/api/nonsense"])
def test_every_answer_says_what_the_browser_may_do(client, path):
    headers = client.get(path).headers
    policy = headers["Content-Security-Policy"]
    assert "default-src 'self'" in policy
    assert "frame-ancestors 'none'" in policy
    assert "unsafe" not in policy
    assert "http" not in policy
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Referrer-Policy"] == "same-origin"
    assert headers["Cache-Control"] == "no-store"
    assert "Access-Control-Allow-Origin" not in headers


def test_text_is_compressed_for_those_who_take_it(client):
    plain = client.get("/api/cuts")
    packed = client.get("/api/cuts", headers={"Accept-Encoding": "gzip"})
    assert packed.headers["Content-Encoding"] == "gzip"
    assert len(packed.data) < len(plain.data) / 2
    assert "Accept-Encoding" in plain.headers["Vary"]
    assert "Content-Encoding" not in plain.headers
    refused = client.get("/api/cuts", headers={"Accept-Encoding": "gzip;q=0"})
    assert "Content-Encoding" not in refused.headers

"""The server itself: ports, ends, ranges, and raw bytes that are no request."""

import json
import socket
import threading
from contextlib import ExitStack

import pytest
from shopmon.dashboards import addresses
from shopmon.dashboards.app import create_app
from shopmon.dashboards.server import Server

from shopmon.errors import DeviceError
from tests.dashboards.serving import LONGEST_S, Served
from tests.waiting import until

CUT = "00000000-0000-0000-0000-000000000002"


def test_a_taken_port_is_explained(monitor, app):
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        with pytest.raises(DeviceError, match=str(port)) as caught:
            Server(app, port=port)
    assert "--port" in caught.value.hint


@pytest.mark.parametrize("host", ["192.0.2.77", "no.such.host.invalid"])
def test_an_address_that_is_not_ours_is_explained(app, host):
    with pytest.raises(DeviceError, match=host):
        Server(app, host=host, port=0)


def test_the_addresses_are_told(app, monkeypatch):
    server = Server(app, "0.0.0.0", 0)
    monkeypatch.setattr("shopmon.dashboards.server.lan_address", lambda: "192.168.1.20")
    assert server.url == f"http://127.0.0.1:{server.port}/"
    assert server.lan_url == f"http://192.168.1.20:{server.port}/"
    monkeypatch.setattr("shopmon.dashboards.server.lan_address", lambda: None)
    assert server.lan_url == server.url
    server.close()


def test_without_a_network_there_is_no_address(monkeypatch):
    monkeypatch.setattr(addresses, "source_address", lambda target: None)
    assert addresses.lan_address() is None
    monkeypatch.setattr(addresses, "source_address", lambda target: "127.0.1.1")
    assert addresses.lan_address() is None


def test_closing_ends_every_viewer_and_every_thread(monitor):
    before = set(threading.enumerate())
    served = Served(monitor)
    with ExitStack() as stack:
        readers = [stack.enter_context(served.stream()) for _ in range(8)]
        assert all(reader.next() for reader in readers)
        served.close()
        assert all(reader.next() is None for reader in readers)
    assert monitor.feed.subscribers == 0
    until(lambda: set(threading.enumerate()) <= before)
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(("127.0.0.1", served.port), 5)


def test_closing_does_not_wait_for_a_viewer_who_takes_nothing(monitor):
    served = Served(monitor)
    asleep = socket.socket()
    asleep.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
    asleep.connect(("127.0.0.1", served.port))
    asleep.sendall(b"GET /api/stream HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
    until(lambda: monitor.feed.subscribers == 1)

    def is_full():
        monitor.feed.publish("spectrum", {"bins": "x" * 20_000})
        return served.server.waiting_bytes > 100_000

    until(is_full, "for the buffers to fill")
    before = {thread.name for thread in threading.enumerate()}
    served.close()
    assert not [name for name in (t.name for t in threading.enumerate()) if name.startswith("waitress")], (
        before
    )
    asleep.close()


def test_closing_twice_before_and_without_running(app):
    server = Server(app, port=0)
    server.close()
    server.close()
    server.run()


def test_the_port_can_be_taken_again_at_once(monitor):
    first = Served(monitor)
    assert first.ask("GET", "/api/health")[0] == 200
    first.close()
    second = Server(create_app(monitor), port=first.port)
    second.close()


@pytest.mark.parametrize(
    ("wanted", "first", "last"),
    [
        ("bytes=0-9", 0, 9),
        ("bytes=100-", 100, None),
        ("bytes=-50", -50, None),
        ("bytes=7-7", 7, 7),
        ("bytes=0-", 0, None),
    ],
)
def test_parts_of_a_recording(served, wanted, first, last):
    whole = served.monitor.audio_path(CUT).read_bytes()
    end = len(whole) if last is None else last + 1
    start = first if first >= 0 else len(whole) + first
    status, headers, body = served.ask("GET", f"/api/cuts/{CUT}/audio", Range=wanted)
    assert (status, body) == (206, whole[start:end])
    assert headers["Content-Range"] == f"bytes {start}-{end - 1}/{len(whole)}"
    assert int(headers["Content-Length"]) == end - start


def test_two_parts_in_a_row_on_one_connection(served):
    whole = served.monitor.audio_path(CUT).read_bytes()
    request = f"GET /api/cuts/{CUT}/audio HTTP/1.1\r\nHost: 127.0.0.1\r\nRange: bytes=%s\r\n%s\r\n"
    answer = served.send(request % ("0-4", "") + request % ("5-9", "Connection: close\r\n"))
    assert answer.count(b"206 PARTIAL CONTENT") == 2
    assert whole[0:5] in answer
    assert answer.endswith(whole[5:10])


def test_a_part_beyond_the_end_is_refused_with_the_length(served):
    size = served.monitor.audio_path(CUT).stat().st_size
    status, headers, body = served.ask("GET", f"/api/cuts/{CUT}/audio", Range=f"bytes={size}-")
    assert (status, headers["Content-Range"]) == (416, f"bytes */{size}")
    assert set(json.loads(body)) == {"error", "hint"}


@pytest.mark.parametrize("wanted", ["bytes=9-2", "lines=1-2", "bytes=a-b", "bytes=", "bytes=0-1,5-6"])
def test_ranges_that_make_no_sense_do_no_harm(served, wanted):
    status, _, body = served.ask("GET", f"/api/cuts/{CUT}/audio", Range=wanted)
    assert status in (200, 206, 416)
    assert status == 416 or body in served.monitor.audio_path(CUT).read_bytes()


def test_an_unchanged_recording_is_not_sent_again(served):
    _, headers, _ = served.ask("GET", f"/api/cuts/{CUT}/audio")
    again = served.ask("GET", f"/api/cuts/{CUT}/audio", If_None_Match=headers["ETag"])
    assert (again[0], again[2]) == (304, b"")
    other = served.ask("GET", f"/api/cuts/{CUT}/audio", Range="bytes=0-4", If_Range='"other"')
    assert other[0] == 200


def test_a_slow_listener_holds_no_thread(served):
    """Far more downloads than threads, none of them read, and the state is still served."""
    path = f"GET /api/cuts/{CUT}/audio HTTP/1.1\r\nHost: 127.0.0.1\r\nRange: bytes=10-\r\n\r\n"
    with ExitStack() as stack:
        for _ in range(40):
            slow = stack.enter_context(socket.socket())
            slow.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
            slow.connect(("127.0.0.1", served.port))
            slow.sendall(path.encode())
        for _ in range(5):
            assert served.ask("GET", "/api/state")[0] == 200


@pytest.mark.parametrize(
    "raw",
    [
        "nonsense\r\n\r\n",
        "GET /api/state HTTP/9.9\r\n\r\n",
        "GET http://evil.example/api/state HTTP/1.1\r\nHost: evil.example\r\nConnection: close\r\n\r\n",
        "GET /api/state HTTP/1.1\r\nHost: a\r\nHost: b\r\nConnection: close\r\n\r\n",
        "POST /api/marks HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: -5\r\nConnection: close\r\n\r\n",
        "POST /api/marks HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 99999999\r\n\r\n",
        "POST /api/marks HTTP/1.1\r\nHost: 127.0.0.1\r\nTransfer-Encoding: gzip\r\nConnection: close\r\n\r\n",
        "GET /%2e%2e/%2e%2e/etc/passwd HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n",
        "GET /assets/x/../../pyproject.toml HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n",
        "GET /assets/x/app.py HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n",
    ],
)
def test_bytes_that_are_no_decent_request_get_an_error_and_nothing_else(served, raw):
    answer = served.send(raw)
    head, _, body = answer.partition(b"\r\n\r\n")
    assert 400 <= int(head.split(b" ", 2)[1]) < 600
    assert b"Content-Type: text/html" in head or set(json.loads(body)) == {"error", "hint"}
    assert b"Traceback" not in answer
    assert b"[build-system]" not in answer
    assert b"root:" not in answer
    assert served.ask("GET", "/api/health")[0] == 200
    assert served.monitor.log() == []


def test_endless_headers_are_cut_off(served):
    answer = served.send("GET /api/state HTTP/1.1\r\nHost: 127.0.0.1\r\nX: " + "y" * 200_000)
    assert not answer or b" 431 " in answer.splitlines()[0]
    assert served.ask("GET", "/api/health")[0] == 200


def test_a_connection_that_says_nothing_holds_nobody(served):
    with ExitStack() as stack:
        for _ in range(40):
            stack.enter_context(socket.create_connection(("127.0.0.1", served.port), LONGEST_S))
        assert served.ask("GET", "/api/state")[0] == 200


def test_every_error_on_the_wire_has_the_one_shape(served):
    for method, path, wanted in (
        ("GET", "/api/nonsense", 404),
        ("DELETE", "/api/state", 405),
        ("POST", "/api/context", 415),
        ("GET", "/api/cuts?limit=x", 400),
    ):
        status, headers, body = served.ask(method, path)
        assert (status, headers["Content-Type"]) == (wanted, "application/json")
        assert set(json.loads(body)) == {"error", "hint"}
    status, _, body = served.ask("POST", "/api/context", b" " * 70_000, Content_Type="application/json")
    assert status == 413
    assert set(json.loads(body)) == {"error", "hint"}


def test_the_server_does_not_boast(served):
    assert served.ask("GET", "/api/state")[1]["Server"] == "shopmon"

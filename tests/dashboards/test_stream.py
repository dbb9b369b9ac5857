"""The event stream through a real server: eight viewers, a stalled one, a full house, an interruption."""

import json
import socket
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack

import pytest
from shopmon.dashboards import server as server_module
from shopmon.dashboards.api.stream import events
from shopmon.dashboards.api.streams import STREAM_LIMIT, Streams

from shopmon.service.live_feed import LiveFeed
from tests.dashboards.serving import Served
from tests.waiting import until

ROUNDS = 30


def subscribers(served, count):
    """Wait until so many viewers are connected."""
    until(lambda: served.monitor.feed.subscribers == count, f"for {count} viewers")


def test_a_stream_begins_with_the_state_and_goes_on_with_what_happens(served):
    with served.stream() as reader:
        assert (reader.status, reader.headers["Content-Type"].split(";")[0]) == (200, "text/event-stream")
        assert "no-cache" in reader.headers["Cache-Control"]
        assert reader.headers["X-Accel-Buffering"] == "no"
        assert "Content-Encoding" not in reader.headers
        assert reader.next()[2]["state"] == "spinning"
        assert 500 <= reader.retry_ms <= 5000
        served.monitor.show("chatter")
        kinds = {reader.next()[0] for _ in range(4)}
        assert kinds == {"log", "state", "spectrum"}


def test_eight_viewers_at_once_get_every_spectrum(served):
    with ExitStack() as stack, ThreadPoolExecutor(8) as pool:
        readers = [stack.enter_context(served.stream()) for _ in range(8)]
        subscribers(served, 8)
        for number in range(ROUNDS):
            served.monitor.feed.publish("spectrum", {"seq": number, "bins": "x" * 1400})
            seen = pool.map(lambda reader: reader.next("spectrum")[2]["seq"], readers)
            assert list(seen) == [number] * 8


def test_a_viewer_who_takes_nothing_is_let_go_and_harms_nobody(monitor, monkeypatch):
    monkeypatch.setattr(server_module, "STALLED_MS", 1000)
    served = Served(monitor)
    asleep = socket.socket()
    asleep.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
    asleep.connect(("127.0.0.1", served.port))
    asleep.sendall(b"GET /api/stream HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
    subscribers(served, 1)
    with served.stream() as reader:
        subscribers(served, 2)
        number = 0
        while monitor.feed.subscribers == 2:
            number += 1
            assert number < 20_000, "the stalled viewer was never let go"
            monitor.feed.publish("spectrum", {"seq": number, "bins": "x" * 20_000})
            assert reader.next("spectrum")[2]["seq"] == number
            assert served.server.waiting_bytes < server_module.BACKLOG_BYTES + 100_000
        assert monitor.feed.subscribers == 1
        until(lambda: served.app.extensions["streams"].count == 1)
    asleep.close()
    served.close()


def test_a_full_house_says_so_and_other_requests_still_get_through(served):
    with ExitStack() as stack:
        readers = [stack.enter_context(served.stream()) for _ in range(STREAM_LIMIT)]
        assert all(reader.next() for reader in readers)
        status, headers, body = served.ask("GET", "/api/stream")
        assert (status, headers["Retry-After"]) == (503, "5")
        assert str(STREAM_LIMIT) in json.loads(body)["error"]
        assert json.loads(body)["hint"]
        assert served.ask("GET", "/api/state")[0] == 200
        assert json.loads(served.ask("GET", "/api/health")[2])["viewers"] == STREAM_LIMIT


def test_a_viewer_who_leaves_makes_room(served):
    with served.stream() as reader:
        reader.next()
    served.monitor.show("cutting")

    def noticed():
        served.monitor.spectrum()
        return served.app.extensions["streams"].count == 0 and served.monitor.feed.subscribers == 0

    until(noticed, "for the place of a viewer who left")


def test_after_an_interruption_the_log_is_made_whole(served):
    monitor = served.monitor
    with served.stream() as reader:
        reader.next("state")
        monitor.mark_moment("first")
        place = reader.next("log")[1]
    monitor.mark_moment("while away")
    monitor.mark_moment("also while away")
    with served.stream(Last_Event_ID=place) as reader:
        texts = [reader.next("log")[2]["text"] for _ in range(2)]
        assert texts == ["Moment marked: while away", "Moment marked: also while away"]


@pytest.mark.parametrize("place", ["x", "0.0", "%00", "9" * 4000, "é"])
def test_any_last_event_id_is_survived(served, place):
    served.monitor.mark_moment("first")
    with served.stream(Last_Event_ID=place) as reader:
        assert reader.status == 200
        assert reader.next("log")[2]["kind"] == "mark"


def test_asking_only_for_the_head_takes_no_place(served):
    status, _, body = served.ask("HEAD", "/api/stream")
    assert (status, body) == (200, b"")
    assert served.monitor.feed.subscribers == 0


def test_a_quiet_stream_says_that_it_lives():
    feed = LiveFeed()
    told = events(feed.subscribe(), keep_alive_s=0.001)
    assert next(told).startswith("retry:")
    assert [next(told), next(told)] == [": quiet\n\n"] * 2


def test_text_that_could_break_the_lines_of_a_stream_does_not():
    feed = LiveFeed()
    told = events(feed.subscribe())
    next(told)
    feed.publish("log", {"text": "a\n\nevent: state\r\ndata: {}\u2028", "id": "1"})
    lines = next(told).split("\n")
    assert [line.partition(":")[0] for line in lines] == ["event", "id", "data", "", ""]
    assert json.loads(lines[2].removeprefix("data: "))["text"] == "a\n\nevent: state\r\ndata: {}\u2028"


def test_a_viewer_who_missed_something_is_sent_back_to_get_it():
    feed = LiveFeed(queue_length=2)
    told = events(feed.subscribe())
    next(told)
    for number in range(5):
        feed.publish("log", {"n": number})
    assert list(told) == []


def test_a_stream_ends_with_the_feed():
    feed = LiveFeed()
    told = events(feed.subscribe())
    next(told)
    feed.close()
    assert list(told) == []


def test_places_are_counted_given_back_and_ended_by_owner():
    feed, streams = LiveFeed(), Streams(limit=2)
    first, second = streams.open(feed, "a"), streams.open(feed, "b")
    assert streams.open(feed, "c") is None
    streams.end("a")
    assert (first.closed, second.closed) == (True, False)
    streams.release(first)
    streams.release(first)
    assert streams.count == 1
    third = streams.open(feed)
    streams.close()
    assert second.closed
    assert third.closed
    assert streams.open(feed) is None

"""The live feed: order, bounds, resuming, and that nobody waits for anybody."""

import threading

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopmon.service.live_feed import LiveFeed
from tests.waiting import until


def publish(feed, *messages):
    """Publish messages written as ``"state 3"``."""
    for text in messages:
        kind, _, number = text.partition(" ")
        feed.publish(kind, {"n": int(number)})


def taken(subscription):
    """Take all that is there."""
    result = []
    while (news := subscription.next(0)) is not None:
        result.append(f"{news[0]} {news[1]['n']}")
    return result


def test_a_new_viewer_first_gets_the_latest_state_and_no_old_log():
    feed = LiveFeed()
    publish(feed, "state 1", "log 2", "state 3", "spectrum 4")
    assert taken(feed.subscribe()) == ["state 3"]


def test_before_anything_was_said_there_is_nothing():
    assert LiveFeed().subscribe().next(0) is None


def test_states_and_log_come_in_order_and_only_the_newest_spectrum():
    feed = LiveFeed()
    viewer = feed.subscribe()
    publish(feed, "spectrum 1", "state 2", "log 3", "spectrum 4", "state 5", "spectrum 6")
    assert taken(viewer) == ["state 2", "log 3", "state 5", "spectrum 6"]
    assert viewer.dropped == 0


def test_every_viewer_gets_everything():
    feed = LiveFeed()
    viewers = [feed.subscribe() for _ in range(3)]
    publish(feed, "state 1", "log 2")
    assert [taken(viewer) for viewer in viewers] == [["state 1", "log 2"]] * 3


def test_the_latest_state_survives_a_flood_of_log_entries():
    feed = LiveFeed(queue_length=4)
    viewer = feed.subscribe()
    publish(feed, "state 1", *(f"log {n}" for n in range(2, 50)))
    assert taken(viewer) == ["state 1", "log 47", "log 48", "log 49"]
    assert viewer.dropped == 45


def test_the_shortest_queue_still_ends_with_the_newest():
    feed = LiveFeed(queue_length=1)
    viewer = feed.subscribe()
    publish(feed, "state 1", "state 2")
    assert taken(viewer) == ["state 2"]


@given(
    st.lists(st.sampled_from(["state", "log", "spectrum", "take"]), max_size=120),
    st.integers(min_value=2, max_value=8),
)
def test_whatever_comes_order_is_kept_losses_are_counted_and_the_last_state_arrives(steps, queue_length):
    feed = LiveFeed(queue_length=queue_length)
    viewer = feed.subscribe()
    published, received = [], []
    for number, step in enumerate(steps):
        if step == "take":
            news = viewer.next(0)
            received += [(news[0], news[1]["n"])] if news else []
        else:
            published.append((step, number))
            feed.publish(step, {"n": number})
    while news := viewer.next(0):
        received.append((news[0], news[1]["n"]))
    for kinds in (("state", "log"), ("spectrum",)):
        sent = [item for item in published if item[0] in kinds]
        got = [item for item in received if item[0] in kinds]
        assert got == [item for item in sent if item in got]
        if kinds != ("spectrum",):
            assert viewer.dropped == len(sent) - len(got)
    for kind in ("state", "spectrum"):
        sent = [item for item in published if item[0] == kind]
        if sent:
            assert sent[-1] in received


def test_an_interrupted_viewer_gets_the_log_it_missed_and_the_latest_state():
    feed = LiveFeed()
    viewer = feed.subscribe()
    publish(feed, "state 1", "log 2")
    assert taken(viewer) == ["state 1", "log 2"]
    place = viewer.last_id
    viewer.close()
    publish(feed, "state 3", "log 4", "spectrum 5", "state 6", "log 7")
    assert taken(feed.subscribe(place)) == ["log 4", "state 6", "log 7"]


def test_the_place_never_goes_back_when_an_older_spectrum_comes_last():
    feed = LiveFeed()
    viewer = feed.subscribe()
    publish(feed, "spectrum 1", "log 2")
    assert taken(viewer) == ["log 2", "spectrum 1"]
    assert taken(feed.subscribe(viewer.last_id)) == []


@pytest.mark.parametrize("place", ["0123.4", "nonsense", "7", ".", "x.-1", "x.9e9", "\u0663.\u0663"])
def test_a_place_of_another_run_brings_all_that_is_kept(place):
    feed = LiveFeed(log_length=2)
    publish(feed, "log 1", "log 2", "log 3")
    assert taken(feed.subscribe(place)) == ["log 2", "log 3"]


def test_no_place_brings_no_log():
    feed = LiveFeed()
    publish(feed, "log 1")
    assert taken(feed.subscribe("")) == taken(feed.subscribe(None)) == []


def test_leaving_frees_the_place_and_stops_the_messages():
    feed = LiveFeed()
    with feed.subscribe() as viewer:
        assert feed.subscribers == 1
    viewer.close()
    publish(feed, "state 1")
    assert (feed.subscribers, viewer.closed, viewer.next()) == (0, True, None)


@pytest.mark.parametrize("close", [lambda feed, viewer: feed.close(), lambda feed, viewer: viewer.close()])
def test_closing_wakes_whoever_waits(close):
    feed = LiveFeed()
    viewer = feed.subscribe()
    result = []
    waiter = threading.Thread(target=lambda: result.append(viewer.next()))
    waiter.start()
    close(feed, viewer)
    waiter.join(10)
    assert (result, viewer.closed) == ([None], True)


def test_a_closed_feed_takes_no_viewers_and_may_be_closed_again():
    feed = LiveFeed()
    feed.close()
    feed.close()
    publish(feed, "state 1")
    assert feed.subscribe().closed
    assert feed.subscribers == 0


def test_publishing_wakes_a_viewer_who_waits():
    feed = LiveFeed()
    viewer = feed.subscribe()
    result = []
    waiter = threading.Thread(target=lambda: result.append(viewer.next(20)))
    waiter.start()
    publish(feed, "state 1")
    waiter.join(10)
    assert result == [("state", {"n": 1})]


def test_many_threads_at_once_lose_nothing_and_keep_the_order_of_each():
    feed = LiveFeed(queue_length=10_000)
    viewers = [feed.subscribe() for _ in range(4)]
    received: dict[int, list] = {index: [] for index in range(4)}

    def read(index):
        while len(received[index]) < 1000:
            news = viewers[index].next(10)
            received[index].append(news[1])

    def write(who):
        for n in range(500):
            feed.publish("log", {"who": who, "n": n})

    threads = [threading.Thread(target=read, args=(index,)) for index in range(4)]
    threads += [threading.Thread(target=write, args=(who,)) for who in "ab"]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)
    assert all(received[index] == received[0] for index in range(4))
    for who in "ab":
        assert [item["n"] for item in received[0] if item["who"] == who] == list(range(500))


def test_a_viewer_who_takes_nothing_keeps_nobody_waiting_and_nothing_growing():
    feed = LiveFeed(queue_length=8)
    asleep, awake = feed.subscribe(), feed.subscribe()
    for n in range(1000):
        publish(feed, f"spectrum {n}", f"state {n}")
        assert taken(awake) == [f"state {n}", f"spectrum {n}"]
    left = taken(asleep)
    assert left[-1] == "spectrum 999"
    assert left[-2] == "state 999"
    assert len(left) == 9


def test_the_age_of_the_newest_message_is_known():
    now = [100.0]
    feed = LiveFeed(clock=lambda: now[0])
    assert feed.age_s("spectrum") is None
    publish(feed, "spectrum 1")
    now[0] = 103.5
    assert feed.age_s("spectrum") == 3.5
    assert feed.age_s("state") is None


@pytest.mark.parametrize("kind", ["", "State", "news", None])
def test_unknown_kinds_are_refused(kind):
    with pytest.raises(ValueError, match="unknown kind"):
        LiveFeed().publish(kind, {})


@pytest.mark.parametrize("lengths", [{"queue_length": 0}, {"log_length": -1}])
def test_queues_without_room_are_refused(lengths):
    with pytest.raises(ValueError, match="at least 1"):
        LiveFeed(**lengths)


def test_a_late_reader_is_reached_by_waiting_for_it():
    feed = LiveFeed()
    seen = []
    viewer = feed.subscribe()
    thread = threading.Thread(target=lambda: seen.extend(iter(lambda: viewer.next(10), None)))
    thread.start()
    publish(feed, "state 1", "log 2")
    until(lambda: len(seen) == 2)
    feed.close()
    thread.join(10)
    assert [kind for kind, _ in seen] == ["state", "log"]

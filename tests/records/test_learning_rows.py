"""What learning finds in the log: the cuts of one tool as set right, and beliefs with their history."""

import pytest

from shopmon.records.cuts.learning import WHOLE_BELIEFS
from tests.records.synthetic import Feed

TOOL = {"end_mill": "plum #3", "diameter_mm": 10.0, "material": None}


@pytest.fixture
def feed(archive):
    return Feed(archive)


def log(feed, cut_id: str, context: dict) -> None:
    """Log one short cut in a context."""
    at = feed.position
    feed.archive.start_cut(cut_id, feed.info.stream_id, at, context)
    feed.to(at / feed.info.sample_rate_hz + 1)
    feed.archive.end_cut(cut_id, feed.position, [(at, feed.position)], [], {"state": "cutting"}, "0", "h")


def found(archive, values=TOOL) -> list[str]:
    archive.flush(filing=False)
    return [cut["id"] for cut in archive.cuts_of_tool(values)]


def test_values_with_and_without_a_column_and_unknown_ones_tell_tools_apart(archive, feed):
    log(feed, "a", {"end_mill": "plum #3", "diameter_mm": 10.0})
    log(feed, "b", {"end_mill": "plum #3", "diameter_mm": 8.0})
    log(feed, "c", {"end_mill": "plum #3", "diameter_mm": 10.0, "material": "316"})
    log(feed, "d", {"end_mill": "plum #3", "diameter_mm": 10.0, "ap_mm": 1.0})
    log(feed, "e", {"end_mill": "plum #4", "diameter_mm": 10.0})
    assert found(archive) == ["a", "d"], "oldest first"


def test_an_open_cut_is_not_learned_from(archive, feed):
    feed.archive.start_cut("open", feed.info.stream_id, 0, {"end_mill": "plum #3", "diameter_mm": 10.0})
    assert found(archive) == []


def test_the_newest_correction_counts_in_both_directions(archive, feed):
    log(feed, "a", {"end_mill": "plum #3", "diameter_mm": 10.0})
    log(feed, "b", {"end_mill": "plum #4", "diameter_mm": 10.0})
    archive.add_correction("cuts", "a", "end_mill", "plum #4")
    archive.add_correction("cuts", "b", "end_mill", "plum #9")
    archive.add_correction("cuts", "b", "end_mill", "plum #3")
    assert found(archive) == ["b"]


def test_what_was_said_comes_with_the_cut_in_order(archive, feed):
    log(feed, "a", {"end_mill": "plum #3", "diameter_mm": 10.0})
    for verdict in ("chatter", "no chatter"):
        archive.add_judgement("a", verdict)
    archive.flush(filing=False)
    (cut,) = archive.cuts_of_tool(TOOL)
    assert [row["verdict"] for row in cut["judgements"]] == ["chatter", "no chatter"]
    assert [row["verdict"] for row in archive.said_of("a")] == ["chatter", "no chatter"]


def test_a_name_that_is_no_column_cannot_reach_the_statement(archive, feed):
    log(feed, "a", {"end_mill": "plum #3"})
    assert found(archive, {"'; DROP TABLE cuts; --": None, 'a"b': None}) == ["a"]


def test_old_beliefs_keep_their_summary_and_the_newest_are_whole(archive):
    for number in range(WHOLE_BELIEFS + 5):
        archive.add_belief(
            "key",
            {
                "context": {}, "learner": "1", "prior": {}, "trials": [["cut", 0, str(number)]],
                "summary": {"trials": number}, "state": {"schema": "shopmon.belief/1"},
            },
        )  # fmt: skip
    archive.add_belief("other", {"context": {}, "learner": "1", "prior": {}, "summary": {}, "state": {}})
    archive.flush(filing=False)
    whole, history = archive.beliefs("key"), archive.belief_history("key")
    assert [row["summary"]["trials"] for row in history] == list(range(WHOLE_BELIEFS + 5))[::-1]
    assert len(whole) == WHOLE_BELIEFS
    assert whole[0]["state"] == {"schema": "shopmon.belief/1"}
    assert "state" not in history[0]


def test_an_event_is_found_by_its_id(archive):
    archive.add_event("e1", "chatter-started", None, None, "cut", {"frequency_hz": 1432.6})
    archive.flush(filing=False)
    assert archive.event("e1")["data"] == {"frequency_hz": 1432.6}
    assert archive.event("e2") is None


def test_values_without_a_column_can_be_filtered_by(archive, feed):
    log(feed, "a", {"diameter_mm": 10.0})
    log(feed, "b", {"diameter_mm": 8.0})
    archive.flush(filing=False)
    assert [cut["id"] for cut in archive.cuts(diameter_mm=8.0)] == ["b"]

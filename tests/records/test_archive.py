"""Rows: what is written comes back, in order, with the time it deserves, from any thread."""

import os
import threading

import pytest
import sqlalchemy as sa

from shopmon.errors import SettingError, StoreError
from shopmon.records import row_writing, tables
from shopmon.records.sound.features import STATES
from tests.records.synthetic import Feed, stream

HOSTILE = [
    "'; DROP TABLE cuts; --",
    "<script>alert(1)</script>",
    "nul \x00 inside",
    "half a pair \ud800",
    "\u202eright to left\u202c",
    "🛠" * 1000,
    "",
]


def end_cut(archive, cut_id, end, **more):
    """End a cut with an empty analysis unless told otherwise."""
    values = {
        "engaged": [],
        "chatter": [],
        "analysis": {},
        "engine_version": "0",
        "settings_hash": "h",
        **more,
    }
    archive.end_cut(cut_id, end, *values.values())


def hold_the_writer(archive) -> threading.Event:
    """Stop the writer thread, as a stalled disk would, until the event is set."""
    holding, gate = threading.Event(), threading.Event()
    archive._works.put_row(lambda: (holding.set(), gate.wait(20)))
    holding.wait(20)
    return gate


def test_states_are_those_of_the_listener():
    from shopmon.listening.events import State

    assert tuple(State) == STATES


def test_a_cut_comes_back(archive):
    feed = Feed(archive)
    feed.to(20.0)
    archive.add_context(
        "context", {"nominal_rpm": 12_000.0, "flutes": 3, "wiper": "x"}, {"flutes": "touched"}
    )
    archive.start_cut("cut", "stream", 15_000, {"nominal_rpm": 12_000.0, "flutes": 3, "wiper": "x"})
    archive.update_cut("cut", 16_000, ((15_000, 16_000),), [])
    archive.flush()
    cut = archive.cut("cut")
    assert (cut["ended"], cut["start_s"], cut["end_s"], cut["audio_pending"]) == (False, 10.0, 11.0, True)
    chatter = [{"start_sample": 16_000, "end_sample": 17_000, "alarm_sample": 16_200, "severity": "clear"}]
    engaged = ((15_000, 16_000), (17_000, 19_000))
    end_cut(archive, "cut", 19_000, engaged=engaged, chatter=chatter, analysis={"state": "chatter"})
    archive.add_event(
        "event", "chatter-started", "stream", 16_200, "cut", {"text": "Chatter", "level": float("nan")}
    )
    archive.mark_moment("mark", "stream", 18_000, "here")
    archive.flush()
    cut = archive.cut("cut")
    assert cut["engaged"] == [[10.0, 11.0], [12.0, 14.0]]
    assert (cut["cut_time_s"], cut["duration_s"], cut["chatter_time_s"]) == (3.0, 4.0, 1.0)
    assert cut["chatter"][0]["alarm_s"] == 11.2 and cut["chatter"][0]["severity"] == "clear"
    assert cut["context"] == {"nominal_rpm": 12_000.0, "flutes": 3, "wiper": "x"}
    assert cut["origins"] == {"flutes": "touched"}
    assert cut["analysis"] == {"state": "chatter"}
    assert [mark["t_s"] for mark in cut["marks"]] == [13.0]
    assert archive.events(cut_id="cut")[0]["data"] == {"text": "Chatter", "level": None}
    assert archive.cut("another") is None


def test_analyses_are_never_overwritten(archive):
    feed = Feed(archive)
    feed.to(1.0)
    archive.start_cut("cut", "stream", 0, {})
    end_cut(archive, "cut", 900, analysis={"state": "cutting"})
    archive.add_analysis("cut", {"state": "chatter"}, "2", "other")
    archive.flush()
    assert archive.cut("cut")["analysis"] == {"state": "cutting"}
    found = [(row["original"], row["result"]["state"]) for row in archive.analyses("cut")]
    assert found == [(True, "cutting"), (False, "chatter")]


def test_cuts_are_listed_newest_first_in_pages_and_filtered(archive):
    feed = Feed(archive)
    feed.to(10.0)
    for number in range(5):
        archive.start_cut(f"cut{number}", "stream", 1000 * number, {"end_mill": "A" if number % 2 else "B"})
        chatter = [{"start_sample": 1, "end_sample": 2}] if number == 3 else []
        end_cut(archive, f"cut{number}", 1000 * number + 500, chatter=chatter)
    archive.set_keep("cut2", True)
    archive.start_cut("open", "stream", 9000, {})
    archive.flush(filing=False)

    def ids(**query):
        return [cut["id"] for cut in archive.cuts(**query)]

    assert ids() == ["open", "cut4", "cut3", "cut2", "cut1", "cut0"]
    assert ids(limit=2) == ["open", "cut4"]
    assert ids(limit=2, before_sequence=archive.cut("cut4")["sequence"]) == ["cut3", "cut2"]
    assert ids(end_mill="A") == ["cut3", "cut1"]
    assert ids(keep=True) == ["cut2"]
    assert ids(ended=False) == ["open"]
    assert ids(chatter=True) == ["cut3"]
    assert ids(chatter=False, end_mill="A") == ["cut1"]
    with pytest.raises(SettingError, match="Use one of"):
        archive.cuts(colour="red")


def test_origins_stay_with_the_values_they_belong_to(archive):
    archive.add_context(
        "one", {"flutes": 3, "nominal_rpm": 9000.0}, {"flutes": "touched", "nominal_rpm": "program"}
    )
    archive.add_context("two", {"flutes": 3, "nominal_rpm": 9500.0}, {"nominal_rpm": "macro"})
    archive.add_context("three", {"flutes": None, "nominal_rpm": 9500.0}, {"flutes": "touched"})
    archive.flush()
    rows = {row["id"]: row["origins"] for row in archive._all(sa.select(tables.contexts))}
    assert rows["two"] == {"flutes": "touched", "nominal_rpm": "macro"}
    assert rows["three"] == {"flutes": "touched", "nominal_rpm": "macro"}
    assert archive.latest_context() == {"nominal_rpm": 9500.0}


def test_a_cut_in_an_unannounced_context_gets_a_row_of_its_own(archive):
    Feed(archive).to(1.0)
    archive.start_cut("cut", "stream", 0, {"material": "7075", "flutes": None})
    archive.start_cut("same", "stream", 500, {"material": "7075"})
    archive.flush(filing=False)
    assert archive.cut("cut")["context"] == {"material": "7075"}
    assert len(archive._all(sa.select(tables.contexts))) == 1


def test_recent_setups_are_different_pairs_newest_first(archive):
    for number, (rpm, flutes) in enumerate(
        [(9000.0, 3), (12_000.0, 2), (9000.0, 3), (None, 2), (7000.0, None)]
    ):
        archive.add_context(f"context{number}", {"nominal_rpm": rpm, "flutes": flutes}, {})
    archive.flush()
    pairs = [{"nominal_rpm": 9000.0, "flutes": 3}, {"nominal_rpm": 12_000.0, "flutes": 2}]
    assert archive.recent_setups(5) == pairs
    assert archive.recent_setups(1) == pairs[:1]


def test_dates_are_unknown_until_a_trusted_clock_appears_and_then_known_for_the_whole_boot(archive):
    feed = Feed(archive)
    feed.to(10.0)
    archive.start_cut("cut", "stream", 4000, {})
    archive.add_event("event", "notice", None, None, None, {})
    archive.flush()
    assert archive.cut("cut")["started_at"] is None and archive.events()[0]["t"] is None
    archive.set_clock(1_800_000_000.0, "phone")
    archive.set_clock(1_900_000_000.0, "network")
    archive.flush()
    assert 1_899_999_000 < archive.events()[0]["t"] <= 1_900_000_000
    # the cut had begun six seconds of the stream before it was announced
    assert 1_899_999_000 < archive.cut("cut")["started_at"] < archive.events()[0]["t"] - 5.9


def test_the_order_is_that_of_the_calls_whatever_the_clock(archive):
    for number in range(50):
        archive.set_clock(2e9 - 1e6 * number, "network")
        archive.add_event(f"event{number}", "notice", None, None, None, {})
    archive.flush()
    assert [event["id"] for event in archive.events(limit=3)] == ["event47", "event48", "event49"]


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_text_is_only_text(archive, text):
    Feed(archive).to(1.0)
    archive.mark_moment("mark", "stream", 500, text)
    archive.add_context("context", {"part": text, text or "other": text}, {})
    archive.add_event("event", "notice", None, None, None, {"text": text, text: 1})
    archive.add_device("device", text, "hash", "pages")
    archive.flush()
    readable = text.replace("\ud800", "?")
    assert archive.marks()[0]["note"] == readable
    assert archive.events()[0]["data"]["text"] == text
    assert archive.latest_context().get("part") == readable
    assert archive.devices()[0]["name"] == readable
    assert archive.status().rows_refused == 0


def test_a_note_longer_than_anybody_types_is_refused(archive):
    Feed(archive).to(1.0)
    with pytest.raises(SettingError, match="too long"):
        archive.mark_moment("mark", "stream", 0, "x" * (row_writing.NOTE_LIMIT + 1))


def test_one_row_the_database_refuses_does_not_take_its_neighbours(archive):
    archive.add_event("twice", "first", None, None, None, {})
    archive.add_event("twice", "second", None, None, None, {})
    archive.add_event("odd", "notice", None, 2**70, None, {})
    archive.add_event("odder", "notice", None, None, None, {"thing": object()})
    archive.add_event("good", "notice", None, None, None, {})
    archive.flush()
    assert [event["kind"] for event in archive.events()] == ["first", "notice"]
    archive.flush()
    assert archive.status().rows_refused == 3


def test_devices_are_known_and_forgotten_at_once(archive):
    archive.add_device("phone", "Phone at the mill", "hash", "pages")
    assert archive.device_by_token_hash("hash")["id"] == "phone"
    archive.remove_device("phone")
    assert archive.device_by_token_hash("hash") is None and archive.devices() == []


def test_judgements_corrections_and_values_keep_their_history(archive):
    Feed(archive).to(1.0)
    archive.start_cut("cut", "stream", 0, {})
    archive.add_judgement("cut", "quiet", "that was the coolant")
    archive.add_correction("cuts", "cut", "end_sample", 900, "the end is wrong")
    archive.set_value("calibration/mic", {"db": 1}, "measured")
    archive.set_value("calibration/mic", {"db": 2}, "measured")
    archive.flush()
    cut = archive.cut("cut")
    assert cut["judgements"][0]["verdict"] == "quiet" and cut["corrections"][0]["value"] == 900
    assert cut["end_s"] == 0.0, "a correction leaves the row as it was"
    assert archive.value("calibration/mic") == {"db": 2} and archive.value("unknown") is None
    assert [row["value"]["db"] for row in archive.value_history("calibration/mic")] == [1, 2]


@pytest.mark.parametrize("cut_id", ["", "\x00", "\ud800", "../../etc", "x" * 100_000, "%", "' OR 1=1"])
def test_ids_of_nothing_find_nothing(archive, cut_id):
    for find in (archive.cut, archive.audio_path, archive.features, archive.kept_audio_path):
        try:
            assert find(cut_id) is None
        except SettingError as exc:
            assert cut_id == "\ud800" and exc.hint


def test_absurd_pages_are_empty_or_refused(archive):
    assert archive.cuts(limit=-1) == [] and archive.cuts(limit=10**9) == []
    with pytest.raises(SettingError):
        archive.cuts(before_sequence=2**80)


def test_everything_is_there_after_closing_and_opening_again(open_archive):
    archive = open_archive()
    feed = Feed(archive)
    feed.to(6.0)
    feed.cut("cut", 5.0, 8.0)
    archive.set_clock(1.8e9, "network")
    archive.close()
    archive.close()
    again = open_archive()
    assert again.recovered == []
    cut = again.cut("cut")
    assert cut["has_audio"] and again.audio_path("cut").exists()
    assert abs(cut["started_at"] - 1.8e9) < 60
    assert again.last_state("source")["here"] == 0
    again.add_event("event", "notice", None, None, None, {})
    again.flush()
    assert again.events()[0]["sequence"] > cut["sequence"]


def test_after_closing_nothing_is_written(open_archive):
    archive = open_archive()
    archive.start_stream(stream())
    archive.close()
    with pytest.raises(StoreError, match="closed"):
        archive.add_event("event", "notice", None, None, None, {})
    archive.flush()


def test_closing_leaves_no_thread_and_no_open_file(open_archive, tmp_path):
    def ours() -> set[str]:
        links = []
        for handle in os.listdir("/proc/self/fd"):
            try:
                links.append(os.readlink(f"/proc/self/fd/{handle}"))
            except OSError:
                continue
        return {link for link in links if str(tmp_path) in link}

    archive = open_archive()
    feed = Feed(archive)
    feed.to(2.0)
    archive.cuts()
    assert ours()
    archive.close()
    names = {thread.name for thread in threading.enumerate()}
    assert not ours() and not {"archive-writer", "filer"} & names


def test_readers_see_whole_rows_while_others_write(archive):
    Feed(archive).to(1.0)
    stop, wrong = threading.Event(), []

    def read() -> None:
        while not stop.is_set():
            for cut in archive.cuts(limit=20):
                if cut["ended"] != (cut["analysis"] is not None):
                    wrong.append(cut)
            archive.latest_context()

    def write(name: str) -> None:
        for number in range(40):
            cut_id = f"{name}{number}"
            archive.start_cut(cut_id, "stream", number, {"part": cut_id})
            end_cut(archive, cut_id, number + 1)

    readers = [threading.Thread(target=read) for _ in range(6)]
    writers = [threading.Thread(target=write, args=(name,)) for name in "abc"]
    for thread in readers + writers:
        thread.start()
    for thread in writers:
        thread.join()
    archive.flush(filing=False)
    stop.set()
    for thread in readers:
        thread.join()
    assert not wrong and len(archive.cuts(limit=1000)) == 120
    sequences = [cut["sequence"] for cut in archive.cuts(limit=1000)]
    assert len(set(sequences)) == 120 and sequences == sorted(sequences, reverse=True)


def test_checkpoints_that_wait_are_replaced_by_newer_ones(archive):
    Feed(archive).to(1.0)
    archive.start_cut("cut", "stream", 0, {})
    gate = hold_the_writer(archive)
    for number in range(1000):
        archive.update_cut("cut", number, [(0, number)], [])
    assert len(archive._works) == 1
    gate.set()
    archive.flush(filing=False)
    assert archive.cut("cut")["end_sample"] == 999


def test_audio_that_finds_no_room_in_the_queue_is_counted_and_leaves_a_gap(archive):
    feed = Feed(archive)
    feed.to(1.0)
    archive.flush()
    gate = hold_the_writer(archive)
    archive._works.audio_limit_bytes = 4000
    feed.to(5.0)
    gate.set()
    archive.flush()
    archive._works.audio_limit_bytes = 10**6
    feed.cut("cut", 5.0, 6.0)
    archive.end_stream("stream")
    archive.flush()
    assert archive.status().lost_s == pytest.approx(2.0, abs=0.3)
    ((start, end),) = archive.cut("cut")["gaps"]
    assert end == 5.0 and end - start == pytest.approx(archive.status().lost_s)

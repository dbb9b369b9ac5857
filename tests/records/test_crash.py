"""Killed at random moments: nothing that was promised is lost, and at most two seconds of sound."""

import multiprocessing
import random
import sqlite3
import time
from contextlib import closing

import numpy as np
import pytest

from shopmon.records.archive import Archive
from shopmon.records.sound.filing import sidecar_path
from tests.records.doomed import RATE_HZ, read_diary, record_until_killed
from tests.records.synthetic import Feed, audio_span, codes_between, feature, read_codes, stream
from tests.waiting import until

KILLS = 34
LOST_AT_MOST = 2 * RATE_HZ


@pytest.fixture
def forks():
    """Return a way to start processes that need not import everything anew."""
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["tests.records.doomed"])
    return context


def kill_at_random(forks, folder, run: int, chance: random.Random) -> None:
    """Start a recording process and kill it outright: any time after its start, or within its last cut."""
    process = forks.Process(target=record_until_killed, args=(folder, run, chance.randrange(2**31)))
    process.start()
    if chance.random() < 0.6:
        until(lambda: "begun" in read_diary(folder, run))
    time.sleep(chance.uniform(0.0, 1.2))
    process.kill()
    process.join()
    assert process.exitcode == -9, "the process ended by itself"


def check_promises(archive: Archive, told: dict[str, list[str]], run: int) -> None:
    """Check one run's rows and audio against its diary."""
    events = {event["id"] for event in archive.events(limit=10_000)}
    assert set(told.get("noted", [])) <= events
    kept = {row["id"]: row for row in archive.kept_recordings()}
    for keep_id in told.get("kept", []):
        assert kept[keep_id]["filed"] and kept[keep_id]["duration_s"] == 5.0
    for cut_id in told.get("ended", []):
        cut = archive.cut(cut_id)
        assert cut["ended"] and not cut["recovered"] and cut["analysis"] == {"state": "cutting"}
        first, end = audio_span(archive, cut_id)
        assert first <= max(0, cut["first_sample"] - 10 * RATE_HZ) and end >= cut["end_sample"]
    if told.get("heard"):
        check_open_cut(archive, told, run)


def check_open_cut(archive: Archive, told: dict[str, list[str]], run: int) -> None:
    """The cut that was open ends where the process died, give or take, and so does its audio."""
    cut_id, heard = told["begun"][0], int(told["heard"][-1])
    cut = archive.cut(cut_id)
    assert cut["ended"] and cut["recovered"] and cut_id in archive.recovered
    assert cut["context"] == {"part": "lever"}
    assert heard - LOST_AT_MOST <= cut["end_sample"] <= heard + RATE_HZ
    assert cut["cut_time_s"] == pytest.approx(cut["duration_s"])
    assert audio_span(archive, cut_id)[1] >= heard - LOST_AT_MOST
    assert cut["gaps"] == []


def test_killed_at_random_moments(forks, tmp_path):
    chance = random.Random(20_240_611)
    cuts, were_open = set(), 0
    for run in range(KILLS):
        kill_at_random(forks, tmp_path, run, chance)
        if chance.random() < 0.3:
            continue  # killed again before anybody looked: recovery has more to do, and may be killed itself
        told = read_diary(tmp_path, run)
        with closing(sqlite3.connect(tmp_path / "data/shopmon.db")) as connection:
            assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        archive = Archive.open(tmp_path / "data", budget_bytes=10**9, buffer_s=30, reserve_bytes=0)
        archive.flush()
        check_promises(archive, told, run)
        assert cuts <= {cut["id"] for cut in archive.cuts(limit=1000)}
        cuts = {cut["id"] for cut in archive.cuts(limit=1000)}
        were_open += bool(told.get("heard"))
        assert archive.status().rows_refused == 0 and not archive._recorder.unfiled
        archive.close()
    archive = Archive.open(tmp_path / "data", budget_bytes=10**9, buffer_s=30, reserve_bytes=0)
    archive.flush()
    for cut in archive.cuts(limit=1000):
        assert cut["ended"]
        audio_span(archive, cut["id"])
    for told in (read_diary(tmp_path, run) for run in range(KILLS)):
        if told.get("heard"):
            cut = archive.cut(told["begun"][0])
            assert cut["recovered"] and cut["end_sample"] >= int(told["heard"][-1]) - LOST_AT_MOST
    promised = {cut_id for run in range(KILLS) for cut_id in read_diary(tmp_path, run).get("ended", [])}
    assert promised <= {cut["id"] for cut in archive.cuts(limit=1000)}
    assert were_open >= KILLS // 4, "too few runs came as far as an open cut"
    archive.close()
    leftovers = [path for path in (tmp_path / "data/recordings").iterdir() if path.suffix == ".tmp"]
    assert not leftovers


def abandoned(tmp_path, seconds: float) -> Feed:
    """Leave a folder as a killed process would: a cut open, its last checkpoint two seconds old."""
    archive = Archive.open(tmp_path / "data", budget_bytes=10**9, reserve_bytes=0)
    feed = Feed(archive)
    feed.to(12.0)
    archive.start_cut("cut", "stream", 12_000, {})
    feed.engaged = True
    feed.to(seconds - 2)
    archive.update_cut("cut", feed.position, [(12_000, feed.position)], [])
    feed.to(seconds)
    archive.flush(filing=False)
    # closing leaves an open cut as it is: only its end, or the next start, may end it
    archive.close()
    return feed


def test_an_open_cut_goes_on_to_where_the_features_say(tmp_path, open_archive):
    abandoned(tmp_path, 20.0)
    archive = open_archive()
    archive.flush()
    cut = archive.cut("cut")
    assert archive.recovered == ["cut"]
    assert (cut["first_sample"], cut["end_sample"], cut["recovered"]) == (12_000, 20_000, True)
    assert cut["engaged"] == [[12.0, 20.0]]
    assert audio_span(archive, "cut") == (0, 20_000)
    archive.close()
    assert open_archive().recovered == []


def test_torn_and_strange_files_do_no_harm(tmp_path, open_archive):
    abandoned(tmp_path, 20.0)
    (folder,) = (path.parent for path in (tmp_path / "data/buffer").glob("*/stream.json"))
    features = max(folder.glob("*.features"))
    with open(features, "ab") as file:
        file.write(feature(20_100, True).pack()[:-5])
    segment = max(folder.glob("*.wav"))
    with open(segment, "ab") as file:
        file.write(b"\x01")
    (folder / "000000000090000.part.wav").write_bytes(b"RIFF")
    (tmp_path / "data/buffer/empty").mkdir()
    (tmp_path / "data/recordings/half.flac.tmp").write_bytes(b"fLaC")
    archive = open_archive()
    archive.flush()
    assert archive.cut("cut")["end_sample"] == 20_000
    assert audio_span(archive, "cut") == (0, 20_000)
    assert not list((tmp_path / "data/recordings").glob("*.tmp"))
    assert not (tmp_path / "data/buffer/empty").exists()


def test_a_crash_between_the_file_and_its_row_loses_neither(tmp_path, open_archive):
    archive = open_archive()
    feed = Feed(archive)
    feed.to(12.0)
    feed.cut("cut", 11.0, 14.0)
    archive.end_stream("stream")
    archive.flush()
    archive.close()
    with closing(sqlite3.connect(tmp_path / "data/shopmon.db")) as connection:
        connection.execute("UPDATE recordings SET state = 'closing', path = NULL, audio_bytes = 0")
        connection.commit()
    for segment in (tmp_path / "data/buffer").rglob("*.wav"):
        segment.unlink()
    archive = open_archive()
    archive.flush()
    assert audio_span(archive, "cut") == (0, 14_000)
    assert sidecar_path(archive.audio_path("cut")).exists()


def test_a_recording_deleted_by_a_person_is_noted_as_removed(tmp_path, open_archive):
    archive = open_archive()
    feed = Feed(archive)
    feed.to(5.0)
    feed.cut("cut", 1.0, 5.0)
    archive.close()
    for path in (tmp_path / "data/recordings").glob("*.flac"):
        path.unlink()
    cut = open_archive().cut("cut")
    assert cut["audio_removed"] and not cut["has_audio"]


def test_many_short_runs_hold_no_more_than_one_long_one(tmp_path, open_archive):
    for run in range(6):
        archive = open_archive(buffer_s=60)
        Feed(archive, stream(stream_id=f"run{run}")).to(25.0)
        archive.close()
    archive = open_archive(buffer_s=60)
    archive.flush()
    assert len(list((tmp_path / "data/buffer").glob("*/stream.json"))) == 2
    archive.close()


def test_audio_left_from_before_is_not_kept_when_only_figures_are_wanted(tmp_path, open_archive):
    abandoned(tmp_path, 20.0)
    archive = open_archive(keep_audio=False)
    archive.flush()
    archive.flush()
    assert archive.cut("cut")["recovered"] and archive.audio_path("cut") is None
    assert len(archive.features("cut")["t_s"]) == 200
    assert not list((tmp_path / "data").rglob("*.wav")) + list((tmp_path / "data").rglob("*.flac"))


def test_the_first_part_of_a_stretch_kept_right_before_the_crash_is_whole(tmp_path, open_archive):
    archive = open_archive()
    feed = Feed(archive)
    feed.to(10.0)
    archive.keep_last("stream", 4.0, "kept")
    archive.flush(filing=False)
    archive.close()
    with closing(sqlite3.connect(tmp_path / "data/shopmon.db")) as connection:
        connection.execute("UPDATE recordings SET state = 'closing', path = NULL")
        connection.commit()
    for path in (tmp_path / "data/recordings").iterdir():
        path.unlink()
    archive = open_archive()
    archive.flush()
    found = read_codes(archive.kept_audio_path("kept"), feed.info)
    np.testing.assert_array_equal(found, codes_between(5000, 10_000, feed.info))

"""Budget, reserve, full disks: what is removed, what stops, what goes on."""

import errno
import os
import sqlite3
import subprocess
from collections import namedtuple
from contextlib import closing

import pytest

from shopmon.errors import StoreError
from shopmon.records.sound import filing, segments, space
from shopmon.records.sound.space import AudioGate, Stop, reserve_for
from tests.records.synthetic import Feed, audio_span, stream

ROUND = 1000


def cuts_far_apart(archive, feed, number, first=0):
    """Make cuts whose recordings do not touch, each about 15 s or 30 kB."""
    for index in range(first, first + number):
        start = 60.0 * index + 20
        feed.to(start)
        feed.cut(f"cut{index}", start, start + 1)
        feed.to(60.0 * (index + 1))
        archive.flush()


def with_audio(archive):
    """Return the cuts that still have their audio."""
    return sorted(cut["id"] for cut in archive.cuts() if archive.audio_path(cut["id"]))


def test_the_budget_removes_audio_only_oldest_first_and_never_what_is_kept(open_archive, tmp_path):
    archive = open_archive(budget_bytes=60_000 + 130_000, buffer_s=0)
    feed = Feed(archive)
    cuts_far_apart(archive, feed, 3)
    archive.set_keep("cut1", True)
    cuts_far_apart(archive, feed, 5, first=3)
    held = with_audio(archive)
    assert "cut1" in held and "cut0" not in held and "cut2" not in held and "cut7" in held
    assert [name for name in held if name != "cut1"] == [f"cut{n}" for n in range(9 - len(held), 8)]
    assert archive.status().recording and archive.status().bytes_used <= 200_000
    gone = archive.cut("cut0")
    assert gone["audio_removed"] and not gone["has_audio"] and gone["ended"]
    assert gone["engaged"] == [[gone["start_s"], gone["end_s"]]]
    assert len(archive.features("cut0")["t_s"]) == 140
    names = [path.name for path in (tmp_path / "data/recordings").iterdir()]
    assert len([name for name in names if name.endswith(".state.json")]) == len(held)
    assert len([name for name in names if name.endswith(".npz")]) == 8


def test_a_stretch_kept_by_hand_is_not_removed_until_its_mark_is_taken_off(open_archive):
    archive = open_archive(budget_bytes=60_000 + 100_000, buffer_s=0)
    feed = Feed(archive)
    feed.to(15.0)
    archive.keep_last("stream", 15, "kept")
    cuts_far_apart(archive, feed, 5, first=1)
    assert archive.kept_audio_path("kept")
    archive.set_keep("kept", False)
    cuts_far_apart(archive, feed, 2, first=6)
    assert archive.kept_audio_path("kept") is None
    assert archive.kept_recordings()[0]["audio_removed"]


def test_sound_is_removed_when_asked_unless_it_is_marked_keep(open_archive):
    archive = open_archive(budget_bytes=10**9, buffer_s=0)
    feed = Feed(archive)
    cuts_far_apart(archive, feed, 3)
    archive.set_keep("cut1", True)
    for name in ("cut0", "cut1", "no such cut"):
        archive.discard_sound(name)
    archive.flush()
    assert with_audio(archive) == ["cut1", "cut2"]
    gone = archive.cut("cut0")
    assert gone["audio_removed"] and gone["engaged"] and archive.features("cut0") is not None
    assert archive.status().bytes_used < 10**9


def test_a_budget_full_of_kept_recordings_stops_recording_and_says_so(open_archive):
    archive = open_archive(budget_bytes=60_000 + 85_000, buffer_s=0)
    feed = Feed(archive)
    for index in range(3):
        cuts_far_apart(archive, feed, 1, first=index)
        archive.set_keep(f"cut{index}", True)
    cuts_far_apart(archive, feed, 1, first=3)
    status = archive.status()
    assert not status.recording and "marked keep" in status.stopped_because and status.hint
    assert with_audio(archive) == ["cut0", "cut1", "cut2"]
    archive.set_keep("cut0", False)
    archive.flush()
    cuts_far_apart(archive, feed, 1, first=4)
    assert archive.status().recording and "cut4" in with_audio(archive)
    assert archive.cut("cut3")["ended"]


def test_a_budget_smaller_than_the_buffer_says_so(open_archive):
    archive = open_archive(budget_bytes=1_000_000, buffer_s=600)
    Feed(archive).to(1.0)
    archive.flush()
    assert "less than the 1 MB of the rolling buffer" in archive.status().stopped_because
    assert "budget" in archive.status().hint


def test_hours_are_those_of_the_present_rate(open_archive):
    archive = open_archive(budget_bytes=60_000 + 2 * 3600 * 1000, buffer_s=0)
    assert archive.status().hours_left is None
    Feed(archive).to(1.0)
    archive.flush()
    status = archive.status()
    assert status.hours_held == pytest.approx(1 / space.FLAC_RATIO)
    assert status.hours_left == pytest.approx(1 / space.FLAC_RATIO)


def test_the_reserve_is_two_hundred_megabytes_or_two_percent(monkeypatch, tmp_path):
    usage = namedtuple("usage", "total used free")
    for total, reserve in ((8e9, 200e6), (32e9, 640e6), (1e12, 2e9)):
        monkeypatch.setattr(space.shutil, "disk_usage", lambda _, total=total: usage(int(total), 0, 0))
        assert reserve_for(tmp_path) == int(reserve)


def test_the_gate_does_not_flutter():
    gate = AudioGate(1000)
    for free, open_ in ((1001, True), (999, False), (1001, False), (1249, False), (1250, True), (1001, True)):
        gate.look(free, None, 0.0)
        assert (gate.stop is None) == open_, free
    gate.failed(OSError(errno.EIO, "Input/output error"), 0.0)
    assert "Input/output error" in gate.stop.text
    gate.look(10**9, None, 1.0)
    assert gate.stop, "a failed write is tried again after a while, not at once"
    gate.look(10**9, None, 6.0)
    assert gate.stop is None
    gate.look(10**9, Stop("over", "hint"), 6.0)
    assert gate.stop.text == "over"


def full_disk(*args):
    """Fail as a full disk does."""
    raise OSError(errno.ENOSPC, "No space left on device")


def test_a_failing_writer_stops_audio_while_the_log_goes_on(open_archive, monkeypatch):
    archive = open_archive()
    feed = Feed(archive)
    feed.to(12.0)
    archive.flush()
    with monkeypatch.context() as broken:
        broken.setattr(segments, "_write_all", full_disk)
        archive.start_cut("cut", "stream", 11 * ROUND, {})
        feed.to(16.0)
        archive.flush()
        status = archive.status()
        assert not status.recording and status.stopped_because == "Recording stopped: the disk is full."
        assert status.hint and status.lost_s == pytest.approx(4.0)
        archive.end_cut("cut", 16 * ROUND, [(11 * ROUND, 16 * ROUND)], [], {}, "0", "h")
        archive.flush()
        assert archive.cut("cut")["cut_time_s"] == 5.0
    archive._recorder._gate._retry_at_s = 0.0
    archive.flush()
    assert archive.status().recording
    feed.to(18.0)
    archive.end_stream("stream")
    archive.flush()
    assert audio_span(archive, "cut") == (0, 18 * ROUND)
    assert archive.cut("cut")["gaps"] == [[12.0, 16.0]]


def test_a_stream_that_begins_on_a_full_disk_is_recorded_once_there_is_room(open_archive, monkeypatch):
    archive = open_archive()
    with monkeypatch.context() as broken:
        broken.setattr("shopmon.records.sound.stream_info.os.fsync", full_disk)
        feed = Feed(archive)
        feed.to(2.0)
        archive.flush()
        assert archive.status().lost_s == pytest.approx(2.0)
    archive._recorder._gate._retry_at_s = 0.0
    archive.flush()
    archive.flush()
    feed.cut("cut", 3.0, 5.0)
    archive.end_stream("stream")
    archive.flush()
    assert audio_span(archive, "cut")[1] == 5 * ROUND


def test_a_recording_that_cannot_be_filed_is_tried_again(open_archive, monkeypatch):
    archive = open_archive()
    feed = Feed(archive)
    feed.to(12.0)
    feed.cut("cut", 11.0, 13.0)
    with monkeypatch.context() as broken:
        broken.setattr(filing.soundfile.SoundFile, "write", full_disk)
        archive.end_stream("stream")
        archive.flush()
        assert archive.audio_path("cut") is None and archive.cut("cut")["audio_pending"]
        assert "could not be made" in archive.status().stopped_because
    for recording in archive._recorder.unfiled.values():
        recording.file_again_at_s = 1e-9  # else ten seconds later
    archive.flush()
    assert audio_span(archive, "cut") == (0, 13 * ROUND)
    assert archive.status().stopped_because is None


def test_a_file_that_does_not_read_back_equal_never_becomes_the_recording(
    open_archive, monkeypatch, tmp_path
):
    archive = open_archive()
    feed = Feed(archive)
    feed.to(12.0)
    feed.cut("cut", 11.0, 13.0)
    real = filing.soundfile.SoundFile.write

    def write_badly(file, codes):
        codes = codes.copy()
        codes[17] ^= 1 << 16
        real(file, codes)

    with monkeypatch.context() as broken:
        broken.setattr(filing.soundfile.SoundFile, "write", write_badly)
        archive.end_stream("stream")
        archive.flush()
    assert archive.audio_path("cut") is None
    assert {path.suffix for path in (tmp_path / "data/recordings").iterdir()} <= {".json", ".npz"}
    assert list((tmp_path / "data/buffer").rglob("*.wav")), "its segments are still there"


def test_rows_wait_in_memory_while_the_database_cannot_be_written(open_archive):
    archive = open_archive()
    Feed(archive).to(1.0)
    archive.flush()
    with closing(sqlite3.connect(archive._data.database, isolation_level=None)) as other:
        other.execute("BEGIN EXCLUSIVE")
        for number in range(20):
            archive.add_event(f"event{number}", "notice", None, None, None, {})
            archive.start_cut(f"cut{number}", "stream", number, {})
    archive.flush()
    assert len(archive.events()) == 20 and len(archive.cuts()) == 20


@pytest.fixture
def small_disk(tmp_path):
    """Mount a disk of 24 MB; plays one through the quota of a file system in memory."""
    folder = tmp_path / "disk"
    folder.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=24m", "tmpfs", folder],
        capture_output=True,
        text=True,
        check=False,
    )
    if mounted.returncode:
        yield None
        return
    yield folder
    subprocess.run(["umount", "-l", folder], check=True)


def test_a_real_full_disk(open_archive, small_disk, monkeypatch, tmp_path):
    """Others fill the disk: audio stops, cuts are logged; space returns: audio goes on."""
    if small_disk is None:
        # no right to mount: the same story with the free space told by us
        small_disk = tmp_path / "told"
        small_disk.mkdir()
        told = _told_free_space(monkeypatch)
    else:
        told = None
    archive = open_archive(small_disk / "data", reserve_bytes=4 * 2**20)
    feed = Feed(archive, stream(8000.0, 2))
    feed.to(15.0)
    archive.flush()
    assert archive.status().recording
    hog = small_disk / "hog"
    _fill(hog, told)
    archive.flush()
    status = archive.status()
    assert not status.recording and "less than 4 MB are free" in status.stopped_because
    archive.start_cut("cut", "stream", 8000 * 14, {})
    feed.to(30.0)
    archive.end_cut("cut", 8000 * 30, [(8000 * 14, 8000 * 30)], [], {}, "0", "h")
    archive.flush()
    assert archive.cut("cut")["cut_time_s"] == 16.0
    hog.unlink(missing_ok=True)
    if told is not None:
        told["free"] = 20 * 2**20
    archive.flush()
    assert archive.status().recording
    feed.to(35.0)
    archive.end_stream("stream")
    archive.flush()
    cut = archive.cut("cut")
    assert cut["has_audio"] and cut["gaps"] == [[15.0, 30.0]]


def test_a_disk_filled_to_the_last_byte_loses_no_row(open_archive, small_disk, monkeypatch):
    if small_disk is None:
        monkeypatch.setattr(segments, "_write_all", full_disk)
        archive = open_archive()
    else:
        archive = open_archive(small_disk / "data", reserve_bytes=0)
    feed = Feed(archive, stream(8000.0, 2))
    feed.to(5.0)
    archive.flush(filing=False)
    hog = None
    if small_disk is not None:
        hog = small_disk / "hog"
        with pytest.raises(OSError, match="No space"), open(hog, "wb", buffering=0) as file:
            while True:
                file.write(b"x" * 4096)
    feed.to(15.0)
    for number in range(300):
        archive.start_cut(f"cut{number}", "stream", 8000 * 5 + number, {"part": "x" * 1000 + str(number)})
        archive.end_cut(f"cut{number}", 8000 * 5 + number + 1, [], [], {"text": "x" * 1000}, "0", "h")
    if hog is not None:
        with pytest.raises(OSError, match="not on the disk yet"):
            archive.flush(timeout_s=2.0)
        assert "cannot be written" in archive.status().stopped_because or not archive.status().recording
        hog.unlink()
    archive.flush(filing=False)
    assert len(archive.cuts(limit=1000)) == 300
    assert archive.status().rows_refused == 0


def test_opening_on_a_full_disk_says_what_to_do(open_archive, small_disk):
    if small_disk is None:
        return  # nothing to show without a disk of our own
    archive = open_archive(small_disk / "data")
    archive.close()
    for place in (small_disk / "data", small_disk / "new"):
        _fill(small_disk / "hog", None, leave=0)
        try:
            open_archive(place)
        except StoreError as exc:
            assert "pace" in exc.hint, exc
        (small_disk / "hog").unlink()


def _fill(hog, told, leave=3 * 2**20) -> None:
    if told is not None:
        told["free"] = 1000
        return
    free = os.statvfs(hog.parent).f_bavail * os.statvfs(hog.parent).f_frsize
    hog.write_bytes(bytes(free - leave))


def _told_free_space(monkeypatch) -> dict:
    told = {"free": 20 * 2**20}
    monkeypatch.setattr("shopmon.records.folder.DataFolder.free_bytes", lambda data: told["free"])
    return told

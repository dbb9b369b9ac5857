"""The files under the archive, each by itself."""

import errno
import struct
import wave

import numpy as np
import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st

from shopmon.errors import RecordingError, StoreError
from shopmon.records.folder import whole_file
from shopmon.records.sound import chunks, segments
from shopmon.records.sound.chunks import ChunkLog, chunks_between
from shopmon.records.sound.features import (
    RECORD,
    SUFFIX,
    as_columns,
    load_features,
    read_records,
    write_features,
)
from shopmon.records.sound.filing import FilingJob, pieces_between
from shopmon.records.sound.segments import Segment, SegmentWriter, read_segment, segments_in
from shopmon.records.sound.stream_info import StreamInfo
from shopmon.records.work_queue import WorkQueue
from tests.records.synthetic import codes_between, feature, stream

FORMATS = ["int16", "int24", "int32", "float32"]


@given(
    form=st.sampled_from(FORMATS),
    channels=st.integers(1, 5),
    first=st.integers(0, 2**40),
    frames=st.integers(0, 50),
)
def test_codes_survive_encoding(form, channels, first, frames):
    info = stream(1000.0, channels, form)
    codes = codes_between(first, first + frames, info)
    raw = info.encode(codes)
    assert len(raw) == frames * info.frame_bytes
    np.testing.assert_array_equal(info.decode(raw), codes)


@pytest.mark.parametrize("value", [-(2**23), -1, 0, 1, 2**23 - 1])
def test_24_bit_codes_are_little_endian_twos_complement(value):
    info = stream(code_format="int24")
    assert info.encode(np.array([[value]], np.int32)) == struct.pack("<i", value)[:3]


def test_codes_in_odd_memory_are_encoded_alike():
    info = stream(channels=2)
    codes = codes_between(0, 100, info)
    odd = np.asfortranarray(codes)[::2]
    assert info.encode(odd) == info.encode(codes[::2].copy())


def test_an_impossible_stream_is_refused(tmp_path):
    for change in ({"channels": 0}, {"sample_rate_hz": 0.0}, {"code_format": "int8"}):
        good = {"source_id": "a", "stream_id": "b", "name": "c", "sample_rate_hz": 1.0, "channels": 1}
        with pytest.raises(ValueError, match=r"stream|code format"):
            StreamInfo(**{**good, "code_format": "int16", **change})
    (tmp_path / "stream.json").write_text('{"schema": "shopmon.stream/1", "sour')
    with pytest.raises(StoreError, match="does not describe"):
        StreamInfo.load(tmp_path / "stream.json")


@pytest.mark.parametrize("form", FORMATS)
def test_a_segment_can_be_read_by_others_while_it_is_written_and_after(tmp_path, form):
    info = stream(8000.0, 2, form)
    writer = SegmentWriter(tmp_path, info, 10_000)
    writer.write(info.encode(codes_between(0, 1000, info)), 0)
    writer.sync()
    (part,) = tmp_path.glob("*.part.wav")
    assert soundfile.info(part).frames == 1000
    writer.rotate()
    (path,) = tmp_path.glob("*.wav")
    assert path.name == "000000000000000.wav" and soundfile.info(path).frames == 1000
    if form == "int16":
        with wave.open(str(path)) as file:
            assert (file.getnframes(), file.getnchannels(), file.getframerate()) == (1000, 2, 8000)
    wide = soundfile.read(path, dtype="float64")[0]
    scale = {"int16": 2.0**15, "int24": 2.0**23, "int32": 2.0**31, "float32": 1.0}[form]
    np.testing.assert_array_equal(wide * scale, codes_between(0, 1000, info))


def test_segments_follow_one_another_and_a_gap_begins_a_new_one(tmp_path):
    info = stream()
    writer = SegmentWriter(tmp_path, info, 300)
    for first in (0, 100, 200, 300, 400, 700):
        writer.write(info.encode(codes_between(first, first + 100, info)), first)
    spans = [(segment.first, segment.end) for segment in segments_in(tmp_path, info)]
    assert spans == [(0, 300), (300, 500), (700, 800)]
    writer.rotate()
    writer.evict(500, lambda segment: segment.first == 0)
    assert [segment.first for segment in segments_in(tmp_path, info)] == [0, 700]


def test_a_segment_that_is_shorter_than_promised_is_said_so(tmp_path):
    info = stream()
    (tmp_path / "000000000000000.wav").write_bytes(bytes(44 + 20))
    with pytest.raises(EOFError, match="5 frames early"):
        list(read_segment(Segment(tmp_path / "000000000000000.wav", 0, 15), info, 0, 15))


def test_a_write_that_fails_half_way_leaves_whole_frames(tmp_path, monkeypatch):
    info = stream(code_format="int24", channels=2)
    writer = SegmentWriter(tmp_path, info, 1000)
    writer.write(info.encode(codes_between(0, 10, info)), 0)
    real = segments._write_all

    def half(file, raw):
        real(file, raw[: len(raw) // 2 + 1])
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as broken:
        broken.setattr(segments, "_write_all", half)
        with pytest.raises(OSError, match="No space"):
            writer.write(info.encode(codes_between(10, 20, info)), 10)
    writer.write(info.encode(codes_between(20, 30, info)), 20)
    before, after = segments_in(tmp_path, info)
    assert (before.first, before.end, after.first, after.end) == (0, 15, 20, 30)
    found = np.concatenate(list(read_segment(before, info, 0, 15)))
    np.testing.assert_array_equal(found, codes_between(0, 15, info))


spans = st.lists(st.tuples(st.integers(0, 30), st.integers(1, 60)), max_size=6)


@given(plan=spans, first=st.integers(0, 200), length=st.integers(1, 200))
def test_pieces_cover_a_stretch_without_overlap(plan, first, length):
    held, reached = [], 0
    for pause, frames in plan:
        held.append(Segment(None, reached + pause, reached + pause + frames))
        reached = held[-1].end
    job = FilingJob(
        recording_id="r",
        folder=None,
        info=stream(),
        first_sample=first,
        end_sample=first + length,
        keep_audio=True,
    )
    pieces = pieces_between(held, job)
    there = {sample for segment in held for sample in range(segment.first, segment.end)}
    wanted = there & set(range(first, first + length))
    covered = [sample for piece in pieces for sample in range(piece.first, piece.end)]
    sounding = {sample for piece in pieces if piece.segment for sample in range(piece.first, piece.end)}
    assert sounding == wanted
    assert covered == (list(range(min(wanted), max(wanted) + 1)) if wanted else [])


def test_features_survive_and_a_torn_record_is_left_out(tmp_path):
    log = ChunkLog(tmp_path, SUFFIX, 1000)
    rows = [feature(sample, engaged=sample > 1500) for sample in range(100, 3100, 100)]
    for row in rows:
        log.append(row.pack(), row.end_sample)
    log.close()
    newest = max(tmp_path.iterdir())
    newest.write_bytes(newest.read_bytes()[:-3])
    records = read_records(tmp_path, 500, 10_000)
    assert records["end_sample"].tolist() == list(range(600, 3000, 100))
    write_features(tmp_path / "f.npz", records, 500, 1000.0)
    columns = load_features(tmp_path / "f.npz")
    expected = as_columns(records, 500, 1000.0)
    for name, values in expected.items():
        if name == "schema":
            assert columns[name] == values == "shopmon.features/1"
        else:
            np.testing.assert_array_equal(columns[name], values)
    assert columns["t_s"][0] == 0.1 and columns["engaged"].sum() == 14
    assert RECORD.itemsize == 28


def test_chunks_are_found_and_forgotten_by_sample(tmp_path):
    log = ChunkLog(tmp_path, ".x", 100)
    for sample in range(0, 1000, 50):
        log.append(b"entry", sample)
    names = [int(path.name.split(".")[0]) for path in chunks_between(tmp_path, ".x", 250, 420)]
    assert names == [200, 300, 400]
    log.evict(500)
    assert min(int(path.name.split(".")[0]) for path in tmp_path.iterdir()) == 500
    log.close()


def test_an_entry_that_fails_half_way_is_taken_back(tmp_path, monkeypatch):
    log = ChunkLog(tmp_path, ".x", 100)
    log.append(b"whole", 1)
    real = chunks.os.write

    def short(file, raw):
        if raw != b"half":
            raise OSError(28, "No space left on device")
        return real(file, raw[:2])

    with monkeypatch.context() as broken:
        broken.setattr(chunks.os, "write", short)
        with pytest.raises(OSError, match="No space"):
            log.append(b"half", 2)
    log.append(b"again", 3)
    log.close()
    assert b"".join(path.read_bytes() for path in tmp_path.iterdir()) == b"wholeagain"


def test_the_queue_gives_out_in_order_and_bounds_each_kind(monkeypatch):
    works, done = WorkQueue(), []
    works.audio_limit_bytes = 100
    monkeypatch.setattr("shopmon.records.work_queue.FEATURE_LIMIT", 2)
    works.put_row(lambda: done.append("row"))
    for number in range(3):
        works.put_audio(lambda number=number: done.append(f"audio{number}"), 40, 0.5)
        works.put_feature(lambda number=number: done.append(f"feature{number}"))
    works.put_row(lambda: done.append("old"), key="k")
    works.put_row(lambda: done.append("new"), key="k")
    for work in works.take(0):
        work.run()
    assert done == ["row", "audio0", "feature0", "audio1", "feature1", "new"]
    assert (works.refused_audio_s, works.refused_features) == (0.5, 1)
    works.close()
    with pytest.raises(StoreError):
        works.put_row(lambda: None)
    assert works.take(10) == []


@pytest.mark.parametrize("fault", ("writing", "syncing"))
def test_a_file_is_there_whole_or_not_at_all(tmp_path, monkeypatch, fault):
    def full_disk(handle):
        raise OSError(errno.ENOSPC, "No space left on device")

    path = tmp_path / "kept.bin"
    with whole_file(path) as fresh:
        fresh.write_bytes(b"first")
    with monkeypatch.context() as broken, pytest.raises(OSError), whole_file(path) as fresh:
        fresh.write_bytes(b"sec")
        if fault == "writing":
            full_disk(None)
        broken.setattr("shopmon.records.folder.os.fsync", full_disk)
    assert [each.name for each in tmp_path.iterdir()] == ["kept.bin"]
    assert path.read_bytes() == b"first"


@pytest.mark.parametrize(
    "damage",
    [
        lambda whole, _: whole[: len(whole) // 2],
        lambda whole, _: b"",
        lambda whole, _: b"PK\x03\x04" + bytes(400),
        lambda whole, _: whole[:200] + bytes(100) + whole[300:],
        lambda _, saved: saved(t_s=np.arange(4.0)),
        lambda _, saved: saved(end_sample=np.arange(4), rpm=np.array([{}], object)),
        lambda _, saved: saved(end_sample=np.arange(4), rpm=np.zeros((4, 2)), state=np.full(4, 200)),
    ],
)
def test_a_damaged_file_of_figures_says_so(tmp_path, damage):
    path = tmp_path / "f.npz"
    write_features(path, np.zeros(50, RECORD), 0, 1000.0)

    def saved(**columns):
        np.savez(path, **columns)
        return path.read_bytes()

    path.write_bytes(damage(path.read_bytes(), saved))
    with pytest.raises(RecordingError, match="damaged"):
        load_features(path)

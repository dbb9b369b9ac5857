"""Recordings as they come: every format, every way to be broken."""

import itertools
import os
import struct
import subprocess
import sys
import threading
from contextlib import contextmanager

import numpy as np
import pytest
import soundfile

from shopmon.capture.audio_file import AudioFile
from shopmon.capture.recording import RecordingSource
from shopmon.capture.source import SourceNotice
from shopmon.errors import RecordingError
from shopmon.signals.block import Block

RATE = 48_000


def noise(frames=RATE, channels=1, seed=1):
    return np.random.default_rng(seed).integers(-20_000, 20_000, (frames, channels)).astype(np.int16)


def read(path, **options):
    """Everything a source gives: blocks, notices."""
    source = RecordingSource(path, real_time=False, **options)
    items = list(source.blocks(threading.Event()))
    source.close()
    source.close()
    return [i for i in items if isinstance(i, Block)], [i for i in items if isinstance(i, SourceNotice)]


def codes_of(blocks):
    return np.concatenate([block.codes for block in blocks])


def notice_codes(notices):
    return [notice.code for notice in notices]


@pytest.mark.parametrize(
    ("name", "format_", "subtype", "code_format"),
    [
        ("a.wav", "WAV", "PCM_16", "int16"),
        ("a.wav", "WAV", "PCM_24", "int24"),
        ("a.wav", "WAV", "PCM_32", "int32"),
        ("a.wav", "RF64", "PCM_24", "int24"),
        ("a.flac", "FLAC", "PCM_16", "int16"),
        ("a.flac", "FLAC", "PCM_24", "int24"),
        ("a.aiff", "AIFF", "PCM_16", "int16"),
        ("a.raw", "WAV", "PCM_16", "int16"),  # a name that says otherwise
    ],
)
def test_keeps_the_integer_codes(tmp_path, name, format_, subtype, code_format):
    wide = np.random.default_rng(2).integers(-(2**31), 2**31, (100_000, 2)).astype(np.int32)
    shift = {"int16": 16, "int24": 8, "int32": 0}[code_format]
    with soundfile.SoundFile(tmp_path / "x", "w", 44_100, 2, subtype, format=format_) as file:
        file.write(wide)
    (tmp_path / "x").rename(tmp_path / name)
    blocks, notices = read(tmp_path / name)
    assert np.array_equal(codes_of(blocks), wide >> shift)
    assert {block.code_format for block in blocks} == {code_format}
    ends = list(itertools.accumulate(block.frames for block in blocks))
    assert [block.first_sample for block in blocks] == [0, *ends[:-1]]
    assert notice_codes(notices) == ["device-opened", "recording-ended"]
    assert len({block.stream_id for block in blocks}) == 1


@pytest.mark.parametrize(
    ("rate", "channels", "subtype"), [(192_000, 1, "PCM_16"), (8000, 64, "PCM_16"), (8000, 1, "PCM_U8")]
)
def test_any_rate_any_channel_count(tmp_path, rate, channels, subtype):
    data = (noise(rate, channels) >> 8) << 8
    soundfile.write(tmp_path / "a.wav", data, rate, subtype)
    blocks, notices = read(tmp_path / "a.wav")
    assert np.array_equal(codes_of(blocks), data)
    assert blocks[0].sample_rate_hz == rate
    assert len(blocks[0].channels) == channels
    assert notice_codes(notices) == ["device-opened", "recording-ended"]


@pytest.mark.parametrize(("suffix", "format_"), [("wav", "WAV"), ("ogg", "OGG"), ("mp3", "MP3")])
def test_floats_stay_floats(tmp_path, suffix, format_):
    tone = 0.5 * np.sin(np.arange(RATE) / 10).astype(np.float32)
    subtype = "FLOAT" if format_ == "WAV" else None
    soundfile.write(tmp_path / f"a.{suffix}", tone, RATE, subtype, format=format_)
    blocks, notices = read(tmp_path / f"a.{suffix}")
    assert blocks[0].code_format == "float32"
    assert abs(codes_of(blocks)).max() == pytest.approx(0.5, abs=0.05)
    assert notice_codes(notices) == ["device-opened", "recording-ended"]


def test_one_sample(tmp_path):
    soundfile.write(tmp_path / "a.flac", noise(1), RATE)
    blocks, _ = read(tmp_path / "a.flac")
    assert codes_of(blocks).shape == (1, 1)


@pytest.mark.parametrize("cut", [0.2, 0.5, 0.67, 0.9, 0.999])
@pytest.mark.parametrize(
    ("suffix", "format_"), [("flac", None), ("wav", None), ("wav", "RF64"), ("aiff", None), ("mp3", None)]
)
def test_cut_short_gives_what_is_there_and_says_so(tmp_path, cut, suffix, format_):
    path = tmp_path / f"a.{suffix}"
    soundfile.write(path, noise(5 * RATE), RATE, format=format_)
    whole = codes_of(read(path)[0])
    path.write_bytes(path.read_bytes()[: int(cut * path.stat().st_size)])
    blocks, notices = read(path)
    got = codes_of(blocks)
    slack = {"flac": 4096 + 1024, "mp3": 3 * 1152}.get(suffix, 64) / len(whole)
    assert cut - 0.02 - slack <= len(got) / len(whole) <= cut + 0.02
    if suffix != "mp3":
        assert np.array_equal(got, whole[: len(got)])
    assert notice_codes(notices) == ["device-opened", "recording-truncated", "recording-ended"]


def test_every_whole_flac_frame_before_the_cut_is_read(tmp_path):
    path = tmp_path / "a.flac"
    soundfile.write(path, noise(5 * RATE), RATE)
    raw, whole = path.read_bytes(), noise(5 * RATE)
    for cut in range(len(raw) // 3, len(raw) // 3 + 20_000, 3001):
        path.write_bytes(raw[:cut])
        got = codes_of(read(path)[0])
        assert len(got) % 4096 == 0  # libsndfile's FLAC frames
        assert np.array_equal(got, whole[: len(got)])
        for size in (1, 1000, 4096, 4097):  # wherever the decoder gives up
            audio = AudioFile(path)
            end = len(got) - len(got) % size - size
            audio.read(end)
            rest = [audio.read(size) for _ in range(3)]
            assert np.array_equal(np.concatenate(rest), got[end:])
            assert audio.cut_short
            audio.close()


def test_ogg_cut_short(tmp_path):
    path = tmp_path / "a.ogg"
    soundfile.write(path, noise(4 * RATE), RATE, format="OGG")
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    blocks, notices = read(path)
    assert RATE < len(codes_of(blocks)) < 3 * RATE
    assert "recording-truncated" in notice_codes(notices)


@pytest.mark.parametrize(("format_", "subtype"), [("WAV", "PCM_16"), ("RF64", "PCM_16"), ("RF64", "PCM_24")])
def test_a_killed_writer_leaves_a_readable_file(tmp_path, format_, subtype):
    path = tmp_path / "a.wav"
    script = (
        "import os, sys, numpy, soundfile\n"
        "f = soundfile.SoundFile(sys.argv[1], 'w', 48000, 1, sys.argv[3], format=sys.argv[2])\n"
        "f.write((numpy.arange(50000) % 3000).astype('int16')); f.flush(); os.kill(os.getpid(), 9)\n"
    )
    subprocess.run([sys.executable, "-c", script, path, format_, subtype], check=False, timeout=60)
    blocks, notices = read(path)
    expected = np.arange(50_000) % 3000 << (8 if subtype == "PCM_24" else 0)
    assert np.array_equal(codes_of(blocks)[:, 0], expected)
    assert notice_codes(notices) == ["device-opened", "recording-truncated", "recording-ended"]


def test_a_length_that_a_pipe_could_not_know_is_no_damage(tmp_path):
    path = tmp_path / "a.wav"
    soundfile.write(path, noise(), RATE)
    raw = bytearray(path.read_bytes())
    raw[4:8] = raw[40:44] = struct.pack("<I", 0xFFFFFFFF)
    path.write_bytes(raw)
    blocks, notices = read(path)
    assert np.array_equal(codes_of(blocks), noise())
    assert notice_codes(notices) == ["device-opened", "recording-ended"]


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
@pytest.mark.parametrize("subtype", ["FLOAT", "DOUBLE"])
def test_not_a_finite_number_is_refused_with_its_time(tmp_path, bad, subtype):
    data = np.full(4 * RATE, 0.25)
    data[3 * RATE] = bad
    soundfile.write(tmp_path / "a.wav", data, RATE, subtype)
    with pytest.raises(RecordingError, match=r"not a finite number at 3 s"):
        read(tmp_path / "a.wav")


def test_a_float_beyond_float32_is_refused(tmp_path):
    soundfile.write(tmp_path / "a.wav", np.array([0.0, 1e300]), RATE, "DOUBLE")
    with pytest.raises(RecordingError, match="not a finite number"):
        read(tmp_path / "a.wav")


def test_clipped_square(tmp_path):
    square = np.where(np.arange(RATE) // 24 % 2, 32767, -32768).astype(np.int16)
    soundfile.write(tmp_path / "a.wav", square, RATE)
    blocks, _ = read(tmp_path / "a.wav")
    assert sum(block.quality.clipped for block in blocks) == RATE


def test_clipped_at_eight_bits(tmp_path):
    soundfile.write(tmp_path / "a.wav", np.full(1000, 32767, np.int16), 8000, "PCM_U8")
    blocks, _ = read(tmp_path / "a.wav")
    assert sum(block.quality.clipped for block in blocks) == 1000


def test_accelerations_in_g_are_not_clipped(tmp_path):
    soundfile.write(tmp_path / "a.wav", 20 * np.sin(np.arange(RATE) / 100), RATE, "FLOAT")
    assert not any(block.quality.clipped for block in read(tmp_path / "a.wav")[0])


@pytest.mark.parametrize("value", [0, 77])
def test_a_flat_recording_is_said_to_be_silent(tmp_path, value):
    soundfile.write(tmp_path / "a.wav", np.full(3 * RATE, value, np.int16), RATE)
    assert "input-silent" in notice_codes(read(tmp_path / "a.wav")[1])


def test_unreadable_things_are_told_apart(tmp_path):
    (tmp_path / "empty.wav").touch()
    (tmp_path / "text.wav").write_text("this is not sound\n" * 100)
    (tmp_path / "stub.wav").write_bytes(b"RIFF")
    soundfile.write(tmp_path / "none.wav", np.zeros((0, 1), np.int16), RATE)
    soundfile.write(tmp_path / "none.flac", np.zeros((0, 1), np.int16), RATE)
    soundfile.write(tmp_path / "head.flac", noise(), RATE)
    (tmp_path / "head.flac").write_bytes((tmp_path / "head.flac").read_bytes()[:4200])
    os.mkfifo(tmp_path / "pipe.wav")
    reasons = {
        "empty.wav": "is empty and holds no samples",
        "text.wav": "cannot be read as sound",
        "stub.wav": "cannot be read as sound",
        "none.wav": "holds no samples",
        "none.flac": "holds no samples",
        "head.flac": "holds no samples",
        "pipe.wav": "is not a regular file",
        ".": "is a folder",
        "missing.wav": "There is no file",
        "a\0b.wav": "is not the name of a file",
        "x" * 300 + ".wav": "cannot be opened",
    }
    for name, reason in reasons.items():
        with pytest.raises(RecordingError, match=reason) as caught:
            RecordingSource(tmp_path / name)
        assert caught.value.hint
        assert "\n" not in str(caught.value)


@contextmanager
def as_somebody_without_rights():
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(65_534)
    try:
        yield
    finally:
        os.seteuid(0)


def test_no_permission(tmp_path):
    path = tmp_path / "a.wav"
    soundfile.write(path, noise(), RATE)
    path.chmod(0)
    with as_somebody_without_rights(), pytest.raises(RecordingError, match="may not be read by this user"):
        RecordingSource(path)


def test_files_are_closed_when_they_are_refused(tmp_path):
    (tmp_path / "text.wav").write_text("this is not sound\n" * 100)
    soundfile.write(tmp_path / "none.wav", np.zeros((0, 1), np.int16), RATE)
    before = len(os.listdir("/proc/self/fd"))
    for name in ("text.wav", "none.wav"):
        for _ in range(3):
            with pytest.raises(RecordingError):
                RecordingSource(tmp_path / name)
    assert len(os.listdir("/proc/self/fd")) == before


class HandClock:
    """A clock that a test moves, and a stop event whose waiting moves it."""

    def __init__(self):
        self.now = 100.0
        self.waits = []

    def __call__(self):
        return self.now

    def is_set(self):
        return False

    def wait(self, timeout):
        self.waits.append(timeout)
        self.now += timeout
        return False


def test_real_time_is_paced_by_the_sample_clock(tmp_path):
    soundfile.write(tmp_path / "a.wav", noise(2 * RATE), RATE)
    clock = HandClock()
    source = RecordingSource(tmp_path / "a.wav", real_time=True, clock=clock)
    blocks = [item for item in source.blocks(clock) if isinstance(item, Block)]
    assert blocks[-1].end_sample == 2 * RATE
    assert clock.now - 100.0 == pytest.approx(2.0)
    assert max(clock.waits) <= 0.1


def test_a_busy_listener_gets_everything_later(tmp_path):
    soundfile.write(tmp_path / "a.wav", noise(2 * RATE), RATE)
    clock = HandClock()
    blocks = []
    for item in RecordingSource(tmp_path / "a.wav", real_time=True, clock=clock).blocks(clock):
        if isinstance(item, Block):
            blocks.append(item)
            clock.now += 0.5 if len(blocks) == 10 else 0.0
    assert np.array_equal(codes_of(blocks), noise(2 * RATE))
    assert clock.now - 100.0 == pytest.approx(2.0)


def test_each_playing_begins_at_the_beginning(tmp_path):
    soundfile.write(tmp_path / "a.wav", noise(1000), RATE)
    source = RecordingSource(tmp_path / "a.wav", real_time=False)
    first, second = (
        [item for item in source.blocks(threading.Event()) if isinstance(item, Block)] for _ in range(2)
    )
    assert np.array_equal(codes_of(first), codes_of(second))
    assert first[0].stream_id != second[0].stream_id


def test_stops_when_told(tmp_path):
    soundfile.write(tmp_path / "a.wav", noise(60 * 1000), 1000)
    stop = threading.Event()
    blocks = RecordingSource(tmp_path / "a.wav").blocks(stop)
    assert next(blocks).code == "device-opened"
    assert isinstance(next(blocks), Block)
    stop.set()
    assert list(blocks) == []


def test_reading_in_pieces_is_reading_at_once(tmp_path):
    soundfile.write(tmp_path / "a.flac", noise(10_000, 3), RATE)
    audio = AudioFile(tmp_path / "a.flac")
    pieces = [audio.read(size) for size in (1, 17, 4096, 8192)]
    assert np.array_equal(np.concatenate(pieces), noise(10_000, 3))
    assert len(audio.read(10)) == 0
    audio.rewind()
    assert np.array_equal(audio.read(20_000), noise(10_000, 3))
    assert not audio.cut_short
    audio.close()

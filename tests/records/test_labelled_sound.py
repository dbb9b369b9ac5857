"""Names in recordings, read back by readers that are not ours: byte by byte, and by the sound library."""

import io
import struct
import warnings

import numpy as np
import pytest
import soundfile
from scipy.io import wavfile

from shopmon.errors import RecordingError
from shopmon.records.sound.labelled_sound import labelled_flac, labelled_wav
from shopmon.service.cuts.cue_labels import CueLabel

RATE = 8000
LABELS = [
    CueLabel(start_s=0.5, end_s=1.25, text="in metal 1"),
    CueLabel(start_s=0.75, end_s=1.0, text="chatter 1433 Hz, −23 dB, clear"),
    CueLabel(start_s=1.5, end_s=1.5, text="marked: at the wäll"),
    CueLabel(start_s=99.0, end_s=100.0, text="outside"),
]


def recording(folder, subtype="PCM_16", suffix=".flac", channels=1, frames=2 * RATE + 1):
    """Write a recording of noise; return its path."""
    path = folder / f"sound{suffix}"
    samples = np.random.default_rng(1).uniform(-0.9, 0.9, (frames, channels))
    soundfile.write(path, samples, RATE, subtype=subtype)
    return path


def chunks(raw: bytes) -> dict[bytes, bytes]:
    """Return the chunks of a RIFF file, after checking that their sizes add up."""
    assert raw[:4] == b"RIFF" and raw[8:12] == b"WAVE"
    assert struct.unpack("<I", raw[4:8])[0] == len(raw) - 8
    found, at = {}, 12
    while at < len(raw):
        name, size = raw[at : at + 4], struct.unpack("<I", raw[at + 4 : at + 8])[0]
        found[name] = raw[at + 8 : at + 8 + size]
        at += 8 + size + size % 2
    assert at == len(raw)
    return found


@pytest.mark.parametrize(
    ("subtype", "suffix", "channels"),
    [
        ("PCM_16", ".flac", 1),
        ("PCM_24", ".flac", 2),
        ("PCM_32", ".wav", 1),
        ("FLOAT", ".wav", 2),
        ("PCM_16", ".wav", 1),
    ],
)
def test_every_sample_of_a_wav_is_as_it_was(tmp_path, subtype, suffix, channels):
    path = recording(tmp_path, subtype, suffix, channels)
    size, pieces = labelled_wav(path, LABELS)
    raw = b"".join(pieces)
    assert len(raw) == size
    kind = "float32" if subtype == "FLOAT" else "int32"
    there, rate = soundfile.read(io.BytesIO(raw), dtype=kind, always_2d=True)
    here, _ = soundfile.read(path, dtype=kind, always_2d=True)
    assert rate == RATE and there.tobytes() == here.tobytes()
    if subtype != "PCM_24":
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", wavfile.WavFileWarning)  # chunks that it passes over
            assert wavfile.read(io.BytesIO(raw))[1].shape[0] == len(here)


def test_cue_points_of_a_wav_are_where_they_belong(tmp_path):
    _, pieces = labelled_wav(recording(tmp_path), LABELS)
    found = chunks(b"".join(pieces))
    (count,) = struct.unpack("<I", found[b"cue "][:4])
    points = [struct.unpack("<II4sIII", found[b"cue "][4 + 24 * n : 28 + 24 * n]) for n in range(count)]
    assert [(number, at) for number, at, *_ in points] == [(1, 4000), (2, 6000), (3, 12000)]
    assert all(point[1] == point[5] and point[2] == b"data" for point in points)
    listed = found[b"LIST"]
    assert listed[:4] == b"adtl"
    names, lengths, at = {}, {}, 4
    while at < len(listed):
        kind, size = listed[at : at + 4], struct.unpack("<I", listed[at + 4 : at + 8])[0]
        body = listed[at + 8 : at + 8 + size]
        (number,) = struct.unpack("<I", body[:4])
        if kind == b"labl":
            assert body.endswith(b"\0")
            names[number] = body[4:-1].decode()
        else:
            lengths[number] = struct.unpack("<I", body[4:8])[0]
        at += 8 + size + size % 2
    assert names == {1: "in metal 1", 2: "chatter 1433 Hz, −23 dB, clear", 3: "marked: at the wäll"}
    assert lengths == {1: 6000, 2: 2000}


def test_a_flac_keeps_every_frame_and_gets_chapters(tmp_path):
    path = recording(tmp_path)
    head, frames_at = labelled_flac(path, LABELS, "a cut")
    raw = head + path.read_bytes()[frames_at:]
    there, _ = soundfile.read(io.BytesIO(raw), dtype="int16")
    here, _ = soundfile.read(path, dtype="int16")
    assert there.tobytes() == here.tobytes()
    with soundfile.SoundFile(io.BytesIO(raw)) as file:
        assert file.title == "a cut"
    entries = flac_comments(raw)
    assert entries["CHAPTER001"] == "00:00:00.750"
    assert entries["CHAPTER001NAME"] == "chatter 1433 Hz, −23 dB, clear"
    assert entries["CHAPTER002NAME"] == "marked: at the wäll"


def flac_comments(raw: bytes) -> dict[str, str]:
    """Read the comment block of a FLAC file."""
    at = 4
    while True:
        kind, size = raw[at], int.from_bytes(raw[at + 1 : at + 4], "big")
        if kind & 0x7F == 4:
            break
        assert not kind & 0x80
        at += 4 + size
    body, at = raw[at + 4 : at + 4 + size], 0
    (skip,) = struct.unpack("<I", body[:4])
    (count,) = struct.unpack("<I", body[4 + skip : 8 + skip])
    at, found = 8 + skip, {}
    for _ in range(count):
        (size,) = struct.unpack("<I", body[at : at + 4])
        name, _, value = body[at + 4 : at + 4 + size].decode().partition("=")
        found[name] = value
        at += 4 + size
    assert at == len(body)
    return found


def test_hours_are_written_as_hours(tmp_path):
    late = [
        CueLabel(start_s=3725.5, end_s=3726, text="late"),
        CueLabel(start_s=59.9996, end_s=60, text="edge"),
    ]
    entries = flac_comments(labelled_flac(recording(tmp_path), late, "x")[0] + b"")
    assert entries["CHAPTER000"] == "01:02:05.500"
    assert entries["CHAPTER001"] == "00:01:00.000"


def test_damaged_recordings_are_refused(tmp_path):
    bad = tmp_path / "bad.flac"
    for content in (b"", b"no sound", b"fLaC", b"fLaC\x00\x00\x00\x22" + bytes(10)):
        bad.write_bytes(content)
        with pytest.raises(RecordingError):
            labelled_wav(bad, LABELS)
        with pytest.raises(RecordingError):
            labelled_flac(bad, LABELS, "x")


def test_a_recording_that_breaks_off_gives_the_size_it_promised(tmp_path):
    path = recording(tmp_path, frames=RATE * 20)
    raw = path.read_bytes()
    path.write_bytes(raw[: len(raw) // 2])
    size, pieces = labelled_wav(path, LABELS)
    assert sum(len(piece) for piece in pieces) == size

"""Recordings with names in them: WAV with cue points, FLAC with chapters; not one sample is changed.

WAV: chunks ``cue `` and ``LIST adtl`` with ``labl`` and ``ltxt`` (Multimedia Programming Interface and Data
Specifications 1.0, IBM and Microsoft, 1991). FLAC: the comments ``CHAPTERnnn`` and ``CHAPTERnnnNAME`` (Xiph,
chapter extension of Vorbis comments) in a comment block of RFC 9639, 8.6; the audio frames are copied as they
are.
"""

import struct
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Protocol

import numpy as np

from shopmon.errors import RecordingError

READ_FRAMES = 65_536
LARGEST_WAV = 0xFFFF0000
MOST_CHAPTERS = 999
PCM, FLOAT = 1, 3
STREAMINFO, COMMENTS = 0, 4
LAST_BLOCK = 0x80
LARGEST_BLOCK = 2**24 - 1
VENDOR = b"shopmon"


class Label(Protocol):
    """A stretch with a name, in seconds from the first sample."""

    start_s: float
    end_s: float
    text: str


def labelled_wav(path: Path, labels: Sequence[Label]) -> tuple[int, Iterator[bytes]]:
    """Return the size of a WAV file with cue points, and its bytes piece by piece.

    Parameters
    ----------
    path
        Any recording that the sound library reads.
    labels
        Those that lie outside the recording are left out.

    Raises
    ------
    RecordingError
        It is damaged, or too long for a WAV file.
    """
    import soundfile

    try:
        file = soundfile.SoundFile(str(path))
    except (soundfile.SoundFileError, OSError) as exc:
        raise RecordingError(
            "The recording cannot be read; the file is damaged.", "The figures are there all the same."
        ) from exc
    with file:
        rate, channels, frames = file.samplerate, file.channels, file.frames
        code, width, kind = _form_of(file.subtype)
    data_bytes = frames * channels * width
    cues = _cue_chunks(labels, rate, frames)
    form = struct.pack("<HHIIHH", code, channels, rate, rate * channels * width, channels * width, 8 * width)
    head = b"WAVE" + _chunk(b"fmt ", form) + cues
    total = len(head) + 8 + data_bytes + data_bytes % 2
    if total > LARGEST_WAV:
        raise RecordingError("The recording is too long for a WAV file.", "Take the FLAC with its labels.")
    start = b"RIFF" + struct.pack("<I", total) + head + b"data" + struct.pack("<I", data_bytes)
    return total + 8, _pieces(path, start, kind, width, data_bytes)


def _form_of(subtype: str) -> tuple[int, int, str]:
    """Return format code, bytes per sample and the type it is read as."""
    known = {"PCM_16": (PCM, 2, "int16"), "PCM_24": (PCM, 3, "int32"), "FLOAT": (FLOAT, 4, "float32")}
    return known.get(subtype, (PCM, 4, "int32"))


def _pieces(path: Path, start: bytes, kind: str, width: int, data_bytes: int) -> Iterator[bytes]:
    import soundfile

    yield start
    left = data_bytes
    try:
        with soundfile.SoundFile(str(path)) as file:
            while len(samples := file.read(READ_FRAMES, dtype=kind, always_2d=True)):
                raw = _packed(samples, width)[:left]
                left -= len(raw)
                yield raw
    except (soundfile.SoundFileError, OSError, RuntimeError):
        pass  # the size has been promised: what cannot be read is silence
    while left > 0:
        yield bytes(min(left, READ_FRAMES))
        left -= min(left, READ_FRAMES)
    if data_bytes % 2:
        yield b"\0"


def _packed(samples: np.ndarray, width: int) -> bytes:
    if width == 3:  # left-justified in 32 bits: the lowest byte is empty
        return np.ascontiguousarray(samples.astype("<i4")).view(np.uint8).reshape(-1, 4)[:, 1:].tobytes()
    return samples.astype(samples.dtype.newbyteorder("<")).tobytes()


def _cue_chunks(labels: Sequence[Label], rate: int, frames: int) -> bytes:
    points, texts = [], []
    for label in labels:
        at, end = round(label.start_s * rate), round(label.end_s * rate)
        if not 0 <= at < frames:
            continue
        number = len(points) + 1
        points.append(struct.pack("<II4sIII", number, at, b"data", 0, 0, at))
        texts.append(_chunk(b"labl", struct.pack("<I", number) + label.text.encode() + b"\0"))
        if end > at:
            length = min(end, frames) - at
            texts.append(_chunk(b"ltxt", struct.pack("<II4sHHHH", number, length, b"rgn ", 0, 0, 0, 0)))
    if not points:
        return b""
    cue = _chunk(b"cue ", struct.pack("<I", len(points)) + b"".join(points))
    return cue + _chunk(b"LIST", b"adtl" + b"".join(texts))


def _chunk(name: bytes, content: bytes) -> bytes:
    return name + struct.pack("<I", len(content)) + content + b"\0" * (len(content) % 2)


def labelled_flac(path: Path, labels: Sequence[Label], title: str) -> tuple[bytes, int]:
    """Return a new beginning for a FLAC file, with chapters in it, and where its audio frames begin.

    Parameters
    ----------
    path
        A FLAC file.
    title
        Of the recording.

    Raises
    ------
    RecordingError
        It is no FLAC file, or damaged.
    """
    blocks, frames_at = _flac_blocks(path)
    kept = [(kind, raw) for kind, raw in blocks if kind != COMMENTS]
    kept.insert(1, (COMMENTS, _comments(labels, title)))
    out = b"fLaC"
    for number, (kind, raw) in enumerate(kept):
        last = LAST_BLOCK if number + 1 == len(kept) else 0
        out += bytes([kind | last]) + len(raw).to_bytes(3, "big") + raw
    return out, frames_at


def _flac_blocks(path: Path) -> tuple[list[tuple[int, bytes]], int]:
    damaged = RecordingError("The recording is no FLAC file that can be read.", "It may be damaged.")
    blocks = []
    try:
        with path.open("rb") as file:
            if file.read(4) != b"fLaC":
                raise damaged
            while True:
                head = file.read(4)
                raw = file.read(int.from_bytes(head[1:], "big"))
                if len(head) < 4 or len(raw) < int.from_bytes(head[1:], "big"):
                    raise damaged
                blocks.append((head[0] & 0x7F, raw))
                if head[0] & LAST_BLOCK:
                    break
            if blocks[0][0] != STREAMINFO:
                raise damaged
            return blocks, file.tell()
    except OSError as exc:
        raise RecordingError(f"The recording cannot be read ({exc.strerror}).", "Check the disk.") from exc


def _comments(labels: Sequence[Label], title: str) -> bytes:
    entries = [f"TITLE={title}"]
    for number, label in enumerate(labels[:MOST_CHAPTERS]):
        hours, rest = divmod(max(0.0, round(label.start_s, 3)), 3600)
        minutes, seconds = divmod(rest, 60)
        entries.append(f"CHAPTER{number:03d}={hours:02.0f}:{minutes:02.0f}:{seconds:06.3f}")
        entries.append(f"CHAPTER{number:03d}NAME={label.text}")
    packed = [entry.encode() for entry in entries]
    body = struct.pack("<I", len(VENDOR)) + VENDOR + struct.pack("<I", len(packed))
    body += b"".join(struct.pack("<I", len(entry)) + entry for entry in packed)
    return body

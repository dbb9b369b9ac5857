"""Turns segments of the rolling buffer into one recording; recovery after a crash runs the same code.

The recording is written beside its final name, read back and compared sample by sample, and only then
renamed. Samples that were lost stand as silence of the same length and are listed as gaps, so that nothing
after them shifts.
"""

import errno
import json
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile

from shopmon.errors import StoreError
from shopmon.records.database import to_json
from shopmon.records.folder import DataFolder, sync, whole_file
from shopmon.records.sound.features import read_records, write_features
from shopmon.records.sound.segments import READ_FRAMES, Segment, read_segment, segments_in
from shopmon.records.sound.stream_info import StreamInfo

LONGEST_GAP_S = 3600.0  # after a longer one the recording ends: it is not worth hours of silence
FLAC_CHANNELS = 8
FLAC_RATE_HZ = 655_350
SUBTYPES = {"int16": "PCM_16", "int24": "PCM_24", "int32": "PCM_32", "float32": "FLOAT"}
LEFT_SHIFT = {"int16": 16, "int24": 8, "int32": 0}
SPARE_BYTES = 4 * 2**20
WAV_LIMIT = 0xFFFF0000
SIDECAR_SCHEMA = "shopmon.sidecar/1"


@dataclass(frozen=True, kw_only=True)
class FilingJob:
    """A stretch of a stream that is to become a recording."""

    recording_id: str
    folder: Path
    info: StreamInfo
    first_sample: int
    end_sample: int
    keep_audio: bool


@dataclass(frozen=True, kw_only=True)
class Filed:
    """What became of it; ``path`` is None where there was no audio, ``gaps`` are frames of the recording."""

    first_sample: int
    end_sample: int
    path: Path | None
    audio_bytes: int
    gaps: list[list[int]]
    features_path: Path | None


SetupChanges = Callable[[str, int, int], list[dict]]


def file_recording(job: FilingJob, data: DataFolder, setup_changes: SetupChanges) -> Filed:
    """Make the recording, its features and its sidecar.

    Parameters
    ----------
    job
        What to make.
    data
        Where to put it.
    setup_changes
        Called with stream, first and end sample; returns the context changes that fall between.

    Raises
    ------
    StoreError
        What was written does not read back equal; nothing is lost, the segments are still there.
    OSError
        The disk is full or gone; the same holds.
    """
    pieces = pieces_between(segments_in(job.folder, job.info), job) if job.keep_audio else []
    if not pieces:
        return _already_filed(job, data)
    first, end = pieces[0].first, pieces[-1].end
    features_path = _file_features(job, data, first)
    target = audio_path(data, job.recording_id, job.info)
    _write_audio(target, pieces, job.info)
    gaps = [[piece.first - first, piece.end - first] for piece in pieces if piece.segment is None]
    _finish_sidecar(sidecar_path(target), job, first, end, gaps, setup_changes)
    sync(data.recordings)
    return Filed(
        first_sample=first,
        end_sample=end,
        path=target,
        audio_bytes=target.stat().st_size,
        gaps=gaps,
        features_path=features_path,
    )


@dataclass(frozen=True)
class Piece:
    """Samples ``first`` to ``end`` of a recording, out of a segment or, where that is None, silence."""

    segment: Segment | None
    first: int
    end: int


def pieces_between(segments: list[Segment], job: FilingJob) -> list[Piece]:
    """Cover the job's stretch with segments, silence between them; begin and end with sound."""
    pieces: list[Piece] = []
    for segment in segments:
        reached = pieces[-1].end if pieces else job.first_sample
        first, end = max(segment.first, reached), min(segment.end, job.end_sample)
        if first >= end:
            continue
        if pieces and first > reached:
            if first - reached > job.info.frames(LONGEST_GAP_S):
                break
            pieces.append(Piece(None, reached, first))
        pieces.append(Piece(segment, first, end))
    return pieces


def suffix_for(info: StreamInfo) -> str:
    """Return ``.flac`` where FLAC can hold the codes exactly, else ``.wav``."""
    fits = info.code_format in ("int16", "int24") and info.channels <= FLAC_CHANNELS
    return ".flac" if fits and info.sample_rate_hz <= FLAC_RATE_HZ else ".wav"


def audio_path(data: DataFolder, recording_id: str, info: StreamInfo) -> Path:
    """Return where a recording's audio is put."""
    return data.recordings / f"{recording_id}{suffix_for(info)}"


def sidecar_path(audio: Path) -> Path:
    """Return where the starting state of a recording is kept: beside it, ``NAME.flac.state.json``."""
    return audio.with_name(f"{audio.name}.state.json")


def write_sidecar(path: Path, content: dict) -> None:
    """Write a sidecar so that it is there whole or not at all."""
    with whole_file(path) as fresh:
        fresh.write_text(to_json(content), encoding="utf-8")


def _file_features(job: FilingJob, data: DataFolder, first: int) -> Path | None:
    records = read_records(job.folder, first, job.end_sample)
    path = data.recordings / f"{job.recording_id}.features.npz"
    if len(records):
        write_features(path, records, first, job.info.sample_rate_hz)
    return path if path.exists() else None


def _already_filed(job: FilingJob, data: DataFolder) -> Filed:
    # a crash between the rename and the row leaves a whole recording whose segments may be gone
    features_path = _file_features(job, data, job.first_sample)
    target = audio_path(data, job.recording_id, job.info)
    if not target.exists():
        sidecar_path(target).unlink(missing_ok=True)
        return Filed(
            first_sample=job.first_sample,
            end_sample=job.end_sample,
            path=None,
            audio_bytes=0,
            gaps=[],
            features_path=features_path,
        )
    known = read_sidecar(sidecar_path(target))
    first = known.get("first_sample", job.first_sample)
    return Filed(
        first_sample=first,
        end_sample=first + soundfile.info(str(target)).frames,
        path=target,
        audio_bytes=target.stat().st_size,
        gaps=known.get("gaps", []),
        features_path=features_path,
    )


def read_sidecar(path: Path) -> dict:
    """Return a sidecar's content, empty where there is none that can be read."""
    try:
        stored = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return stored if isinstance(stored, dict) else {}


def _finish_sidecar(
    path: Path, job: FilingJob, first: int, end: int, gaps, setup_changes: SetupChanges
) -> None:
    known = read_sidecar(path)
    if known.get("first_sample") != first or known.get("state") is None:
        # no state was kept there, or the audio it belonged before is lost: the recording starts cold
        path.unlink(missing_ok=True)
        return
    known |= {
        "schema": SIDECAR_SCHEMA,
        "recording_id": job.recording_id,
        "source_id": job.info.source_id,
        "stream_id": job.info.stream_id,
        "sample_rate_hz": job.info.sample_rate_hz,
        "first_sample": first,
        "end_sample": end,
        "gaps": gaps,
        "setup_changes": setup_changes(job.info.stream_id, first, end),
        "settings": job.info.settings,
        "channel_kinds": [column.kind for column in job.info.of],
        "channel_tops_hz": [column.top_hz for column in job.info.of],
        "channel_sources": [column.source_id for column in job.info.of],
    }
    write_sidecar(path, known)


def _write_audio(target: Path, pieces: list[Piece], info: StreamInfo) -> None:
    needed = sum(piece.end - piece.first for piece in pieces if piece.segment) * info.frame_bytes
    if shutil.disk_usage(target.parent).free < needed + SPARE_BYTES:
        # what the database lives on must not be filled up, not even for the time of an attempt
        raise OSError(errno.ENOSPC, f"{needed / 1e6:.0f} MB are needed for a recording")
    with whole_file(target) as fresh:
        _encode(fresh, pieces, info)
        _compare(fresh, pieces, info)


def _encode(path: Path, pieces: list[Piece], info: StreamInfo) -> None:
    frames = pieces[-1].end - pieces[0].first
    form = "FLAC"
    if suffix_for(info) == ".wav":
        form = "RF64" if frames * info.frame_bytes > WAV_LIMIT else "WAV"
    try:
        with soundfile.SoundFile(
            str(path),
            "w",
            samplerate=round(info.sample_rate_hz),
            channels=info.channels,
            format=form,
            subtype=SUBTYPES[info.code_format],
        ) as file:
            for codes in _wide_codes(pieces, info):
                file.write(codes)
    except (soundfile.SoundFileError, AssertionError) as exc:
        # the library asserts that everything was written; what it means is a full or failing disk
        raise OSError(f"{path.name} could not be written: {exc}") from exc


def _compare(path: Path, pieces: list[Piece], info: StreamInfo) -> None:
    kind = "float32" if info.code_format == "float32" else "int32"
    try:
        with soundfile.SoundFile(str(path)) as file:
            for codes in _wide_codes(pieces, info):
                again = file.read(len(codes), dtype=kind, always_2d=True)
                # bytes rather than numbers: NaN must equal NaN
                if again.tobytes() != codes.tobytes():
                    raise StoreError(f"{path.name} does not read back as it was written.")
            if len(file.read(1)):
                raise StoreError(f"{path.name} reads back longer than it was written.")
    except soundfile.SoundFileError as exc:
        raise StoreError(f"{path.name} does not read back ({exc}).") from exc


def _wide_codes(pieces: list[Piece], info: StreamInfo) -> Iterator[np.ndarray]:
    """Yield the codes as the library takes them: float32, or left-justified in int32."""
    for piece in pieces:
        for codes in _codes(piece, info):
            if info.code_format == "float32":
                yield codes.astype(np.float32)
            else:
                yield np.left_shift(codes.astype(np.int32), LEFT_SHIFT[info.code_format])


def _codes(piece: Piece, info: StreamInfo) -> Iterator[np.ndarray]:
    if piece.segment is not None:
        yield from read_segment(piece.segment, info, piece.first, piece.end)
        return
    for first in range(piece.first, piece.end, READ_FRAMES):
        frames = min(READ_FRAMES, piece.end - first)
        yield info.decode(bytes(frames * info.frame_bytes))

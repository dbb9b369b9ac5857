"""Puts in order what a run left behind that was killed, or stopped with a cut still open.

Nothing is thrown away: open cuts end where the last checkpoint and the features on disk say, and every
recording that was not filed is built from its segments by the same code that files it in normal operation.
"""

import logging
import shutil
from dataclasses import dataclass
from pathlib import Path

import sqlalchemy as sa

from shopmon.errors import StoreError
from shopmon.records.cuts.rows import cut_sums
from shopmon.records.folder import DataFolder
from shopmon.records.sound.features import read_records
from shopmon.records.sound.recorder import AFTER_S, OldBuffer, Recording
from shopmon.records.sound.segments import segments_in
from shopmon.records.sound.stream_info import StreamInfo
from shopmon.records.tables import cuts, kept_spans, recordings

log = logging.getLogger(__name__)


@dataclass(frozen=True)
class Recovered:
    """What was found: cuts that were open, recordings still to file, buffers of ended streams."""

    cut_ids: list[str]
    recordings: list[Recording]
    old: list[OldBuffer]


def recover(
    engine: sa.Engine, data: DataFolder, *, now_s: float, buffer_s: float, keep_audio: bool
) -> Recovered:
    """Close open cuts in the database and list what is to be filed; run before anything else writes."""
    for leftover in data.recordings.glob("*.tmp"):
        leftover.unlink(missing_ok=True)
    found = _buffers(data)
    buffers = {info.stream_id: (folder, info) for folder, info in found}
    with engine.connect() as connection, connection.begin():
        cut_ids = [
            _close_cut(connection, cut, buffers.get(cut.stream_id))
            for cut in connection.execute(
                sa.select(cuts).where(~cuts.c.ended).order_by(cuts.c.sequence)
            ).all()
        ]
        unfiled = _unfiled(connection, buffers)
        _note_missing(connection, data)
    return Recovered(cut_ids, unfiled, _old(found, now_s, buffer_s, keep_audio))


def _buffers(data: DataFolder) -> list[tuple[Path, StreamInfo]]:
    found = []
    for folder in sorted(data.buffer.iterdir(), key=lambda path: path.stat().st_mtime):
        try:
            info = StreamInfo.load(folder / "stream.json")
        except StoreError:
            # killed before the stream's first sample: nothing can be in it
            shutil.rmtree(folder, ignore_errors=True)
            continue
        found.append((folder, info))
    return found


def _close_cut(connection: sa.Connection, cut: sa.Row, buffer: tuple[Path, StreamInfo] | None) -> str:
    engaged = [list(span) for span in cut.engaged]
    end = cut.end_sample
    if buffer is not None:
        end, engaged = _extend(buffer, end, engaged, cut.first_sample)
    update = sa.update(cuts).where(cuts.c.id == cut.id)
    sums = cut_sums(engaged, cut.chatter)
    connection.execute(update.values(ended=True, recovered=True, end_sample=end, engaged=engaged, **sums))
    return cut.id


def _extend(
    buffer: tuple[Path, StreamInfo], end: int, engaged: list[list[int]], start: int
) -> tuple[int, list[list[int]]]:
    """Go on from the last checkpoint with what the features say."""
    folder = buffer[0]
    records = read_records(folder, max(end, start), 2**62)
    previous = end
    for sample, touching in zip(records["end_sample"].tolist(), records["engaged"].tolist(), strict=True):
        if touching:
            if engaged and engaged[-1][1] >= previous:
                engaged[-1][1] = sample
            else:
                engaged.append([previous, sample])
            end = sample
        previous = sample
    return end, engaged


def _unfiled(connection: sa.Connection, buffers: dict[str, tuple[Path, StreamInfo]]) -> list[Recording]:
    query = (
        sa.select(recordings)
        .where(recordings.c.state.in_(("open", "closing")))
        .order_by(recordings.c.sequence)
    )
    found = []
    for row in connection.execute(query).all():
        folder, info = buffers.get(row.stream_id) or (Path("/nonexistent"), _info_of(row))
        end = _end_of(connection, row, info, folder)
        connection.execute(
            sa.update(recordings).where(recordings.c.id == row.id).values(state="closing", end_sample=end)
        )
        found.append(Recording(row.id, info, folder, row.first_sample, end, closing=True))
    return found


def _note_missing(connection: sa.Connection, data: DataFolder) -> None:
    # removed right before the crash, or by a person: the row must not promise what is not there
    filed = connection.execute(sa.select(recordings).where(recordings.c.state == "filed")).all()
    gone = [row.id for row in filed if not (data.root / row.path).exists()]
    update = sa.update(recordings).values(state="removed", audio_bytes=0)
    for recording_id in gone:
        connection.execute(update.where(recordings.c.id == recording_id))


def _end_of(connection: sa.Connection, row: sa.Row, info: StreamInfo, folder: Path) -> int:
    if row.end_sample is not None:
        return row.end_sample
    last_cut = connection.execute(
        sa.select(sa.func.max(cuts.c.end_sample)).where(cuts.c.recording_id == row.id)
    ).scalar()
    kept = connection.execute(
        sa.select(sa.func.max(kept_spans.c.end_sample)).where(kept_spans.c.recording_id == row.id)
    ).scalar()
    end = max((last_cut or 0) + info.frames(AFTER_S) if last_cut else 0, kept or 0, row.first_sample)
    on_disk = segments_in(folder, info)
    if last_cut is None and kept is None and on_disk:
        # that of a source beside the one with the cut: all there is
        return max(on_disk[-1].end, row.first_sample)
    return min(end, max(on_disk[-1].end, row.first_sample)) if on_disk else end


def _info_of(row: sa.Row) -> StreamInfo:
    return StreamInfo(
        source_id=row.source_id,
        stream_id=row.stream_id,
        name="",
        sample_rate_hz=row.sample_rate_hz,
        channels=row.channels,
        code_format=row.code_format,
    )


def _old(
    buffers: list[tuple[Path, StreamInfo]], now_s: float, buffer_s: float, keep_audio: bool
) -> list[OldBuffer]:
    # many short runs in a row must not hold more than one long one would
    left_s, old = buffer_s, []
    for folder, info in reversed(buffers):
        held_s = (
            sum(segment.end - segment.first for segment in segments_in(folder, info)) / info.sample_rate_hz
        )
        until_s = now_s + buffer_s if held_s <= left_s and keep_audio else now_s
        left_s -= held_s
        old.append(OldBuffer(folder, info, until_s))
    return old

"""Questions to the database, answered on connections that cannot write; callable from any thread."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from shopmon.errors import SettingError, StoreError
from shopmon.records.boot_clock import wall_offsets
from shopmon.records.cuts.finding import condition
from shopmon.records.cuts.rows import (
    as_cut,
    context_values,
    corrected,
    cut_query,
    dated,
    recording_columns,
    wall_s,
)
from shopmon.records.folder import FolderPaths
from shopmon.records.sound.features import as_columns, load_features, read_records
from shopmon.records.sound.segments import segments_in
from shopmon.records.sound.stream_info import StreamInfo
from shopmon.records.tables import (
    analyses,
    contexts,
    corrections,
    cuts,
    events,
    judgements,
    kept_spans,
    listener_states,
    marks,
    paired_devices,
    recordings,
    stored_values,
    streams,
)
from shopmon.records.tools.tables import metadata

LIMIT = 10_000
SHORTEST_BEGINNING = 8  # of an id that stands for the whole


class Reader:
    """Reads one archive.

    Parameters
    ----------
    engine
        A reading engine.
    data
        The data folder.
    """

    def __init__(self, engine: sa.Engine, data: FolderPaths):
        self._engine, self._data = engine, data

    # cuts

    def cuts(self, limit: int = 100, before_sequence: int | None = None, **filters: Any) -> list[dict]:
        """Return cuts, newest first.

        Parameters
        ----------
        limit
            At most so many.
        before_sequence
            Only those with a smaller sequence number: the next page.
        filters
            ``stream_id``, ``recording_id``, ``ended``, ``recovered``, ``keep``, ``chatter`` (True: with
            some), ``words`` (each somewhere in what was said of it), ``rpm_from``, ``rpm_to`` (as heard),
            ``since``, ``until`` (of its start, s since 1970), or any value of the context, such as
            ``end_mill``.

        Raises
        ------
        SettingError
            A filter that does not exist.
        """
        query = cut_query().order_by(cuts.c.sequence.desc()).limit(_limit(limit))
        if before_sequence is not None:
            query = query.where(cuts.c.sequence < before_sequence)
        for name, value in filters.items():
            query = query.where(condition(name, value))
        with self._connect() as connection:
            rows = connection.execute(query).all()
            return self._as_cuts(connection, rows)

    def cuts_around(self, cut: dict, most: int) -> tuple[list[dict], list[dict]]:
        """Return at most so many cuts of the same stream before a cut and after it, the nearest first."""
        place, of_stream = cuts.c.first_sample, cuts.c.stream_id == cut["stream_id"]
        sides = (
            (place < cut["first_sample"], place.desc()),
            (place > cut["first_sample"], place),
        )
        with self._connect() as connection:
            before, after = (
                self._as_cuts(
                    connection,
                    connection.execute(cut_query().where(of_stream, side).order_by(order).limit(most)).all(),
                )
                for side, order in sides
            )
        return before, after

    def cut(self, cut_id: str) -> dict | None:
        """Return one cut with its judgements, corrections and the marks in its audio; None when unknown."""
        with self._connect() as connection:
            row = connection.execute(cut_query().where(cuts.c.id == cut_id)).first()
            if row is None:
                return None
            found = self._as_cuts(connection, [row])[0]
            found["marks"] = _marks_within(connection, row)
            for table, key in ((judgements, judgements.c.cut_id), (corrections, corrections.c.row_id)):
                query = sa.select(table).where(key == cut_id).order_by(table.c.sequence)
                found[table.name] = dated(connection, connection.execute(query))
            return found

    def analyses(self, cut_id: str) -> list[dict]:
        """Return every analysis of a cut, the original first."""
        query = sa.select(analyses).where(analyses.c.cut_id == cut_id).order_by(analyses.c.sequence)
        return self._all(query)

    def audio_path(self, cut_id: str) -> Path | None:
        """Return the file with a cut's audio; None while it is not filed, or when there is none."""
        return self._path_of(sa.select(cuts.c.recording_id).where(cuts.c.id == cut_id))

    def kept_audio_path(self, keep_id: str) -> Path | None:
        """Return the file of a stretch that was kept by hand."""
        return self._path_of(sa.select(kept_spans.c.recording_id).where(kept_spans.c.id == keep_id))

    def features(self, cut_id: str) -> dict | None:
        """Return the features of a cut's recording, of an open one so far; None when there are none.

        Returns
        -------
        dict or None
            See `shopmon.records.sound.features.as_columns`: ``t_s`` counts from the recording's first sample.
        """
        return self._features_of(
            sa.select(recordings)
            .join(cuts, cuts.c.recording_id == recordings.c.id)
            .where(cuts.c.id == cut_id)
        )

    def kept_features(self, keep_id: str) -> dict | None:
        """Return the features of a stretch that was kept by hand, as `features` does."""
        return self._features_of(
            sa.select(recordings)
            .join(kept_spans, kept_spans.c.recording_id == recordings.c.id)
            .where(kept_spans.c.id == keep_id)
        )

    def _features_of(self, query: sa.Select) -> dict | None:
        with self._connect() as connection:
            row = connection.execute(query).first()
        if row is None:
            return None
        if row.features_path:
            path = self._data.root / row.features_path
            return load_features(path) if path.exists() else None
        return self._features_so_far(row)

    def stream_rate_hz(self, stream_id: str) -> float:
        """Return the samples per second of a stream that was started."""
        with self._connect() as connection:
            query = sa.select(streams.c.sample_rate_hz).where(streams.c.id == stream_id)
            return float(connection.execute(query).scalar_one())

    def buffered(self, stream_id: str) -> tuple[int, int] | None:
        """Return the first and end sample that the rolling buffer holds of a stream, None when nothing."""
        for folder, info in self._buffers():
            if info.stream_id == stream_id:
                held = segments_in(folder, info)
                return (held[0].first, held[-1].end) if held else None
        return None

    def whole_cut_id(self, beginning: str) -> str:
        """Return the id of the one cut whose id begins so.

        Raises
        ------
        SettingError
            There is none, or more than one.
        """
        ids = []
        if len(beginning) >= SHORTEST_BEGINNING:
            begins = sa.func.substr(cuts.c.id, 1, len(beginning)) == beginning
            ids = [row["id"] for row in self._all(sa.select(cuts.c.id).where(begins).limit(2))]
        if len(ids) != 1:
            what = "More than one cut begins with" if ids else "There is no cut"
            raise SettingError(f"{what} '{beginning[:60]}'.", "The address of its page ends with its id.")
        return ids[0]

    @property
    def folder(self) -> FolderPaths:
        """The data folder."""
        return self._data

    def counts(self) -> dict[str, int]:
        """Return how many cuts, recordings with sound and tools there are."""
        with_sound = sa.select(sa.func.count()).where(recordings.c.state == "filed")
        queries = {
            "cuts": sa.select(sa.func.count()).select_from(cuts),
            "recordings": with_sound.select_from(recordings),
            "tools": sa.select(sa.func.count()).select_from(metadata.tables["tools"]),
        }
        with self._connect() as connection:
            return {name: connection.execute(query).scalar() or 0 for name, query in queries.items()}

    def parts_cut(self, limit: int = 50) -> list[str]:
        """Return the parts that were said, those of late first."""
        said = sa.select(
            sa.func.json_extract(sa.type_coerce(corrections.c.value, sa.Text), "$").label("part"),
            corrections.c.sequence,
        ).where(corrections.c.table_name == "cuts", corrections.c.field == "part")
        told = sa.select(contexts.c.part, cuts.c.sequence).join(cuts, cuts.c.context_id == contexts.c.id)
        both = sa.union_all(told, said).subquery()
        newest = sa.func.max(both.c.sequence)
        query = sa.select(both.c.part).where(both.c.part.is_not(None)).group_by(both.c.part)
        return [row["part"] for row in self._all(query.order_by(newest.desc()).limit(limit))]

    def photographs(self, cut_id: str) -> list[dict]:
        """Return the pictures of a cut from every table that holds some, in the order they were taken in."""
        found = []
        for table in metadata.sorted_tables:
            if {"cut_id", "path", "media_type", "note"} <= set(table.c.keys()):
                found += self._all(sa.select(table).where(table.c.cut_id == cut_id))
        return sorted(found, key=lambda row: row["sequence"])

    def path_of(self, relative: str) -> Path | None:
        """Return where a file of the data folder lies; None for a path that leaves it."""
        path = (self._data.root / relative).resolve()
        return path if path.is_relative_to(self._data.root.resolve()) else None

    def kept_recordings(self) -> list[dict]:
        """Return the stretches that were kept by hand, newest first."""
        query = (
            sa.select(kept_spans, *recording_columns())
            .outerjoin(recordings, recordings.c.id == kept_spans.c.recording_id)
            .outerjoin(streams, streams.c.id == kept_spans.c.stream_id)
            .order_by(kept_spans.c.sequence.desc())
        )
        with self._connect() as connection:
            offsets = wall_offsets(connection)
            rows = connection.execute(query).all()
            return [{**self._as_kept(row, offsets), "marks": _marks_within(connection, row)} for row in rows]

    # the rest

    def events(
        self, limit: int = 100, cut_id: str | None = None, before_sequence: int | None = None
    ) -> list[dict]:
        """Return events in the order they happened: the newest `limit` of them."""
        query = sa.select(events).order_by(events.c.sequence.desc()).limit(_limit(limit))
        if cut_id is not None:
            query = query.where(events.c.cut_id == cut_id)
        if before_sequence is not None:
            query = query.where(events.c.sequence < before_sequence)
        return self._all(query)[::-1]

    def marks(self, limit: int = 100) -> list[dict]:
        """Return the newest marked moments, newest first, each with the cut in whose audio it lies."""
        last = sa.func.coalesce(recordings.c.end_sample, marks.c.sample)
        cut_id = (
            sa.select(cuts.c.id)
            .join(recordings, recordings.c.id == cuts.c.recording_id)
            .where(recordings.c.stream_id == marks.c.stream_id)
            .where(marks.c.sample.between(recordings.c.first_sample, last))
            .limit(1)
            .scalar_subquery()
            .label("cut_id")
        )
        return self._all(sa.select(marks, cut_id).order_by(marks.c.sequence.desc()).limit(_limit(limit)))

    def latest_context(self) -> dict:
        """Return the values of the newest context that are known; empty when there is none."""
        row = self._first(sa.select(contexts).order_by(contexts.c.sequence.desc()))
        return context_values(row) if row else {}

    def latest_context_row(self) -> dict | None:
        """Return the newest context as a row."""
        return self._first(sa.select(contexts).order_by(contexts.c.sequence.desc()))

    def recent_setups(self, n: int = 6) -> list[dict]:
        """Return the last `n` different pairs of nominal speed and flutes, newest first."""
        newest = sa.func.max(contexts.c.sequence)
        query = (
            sa.select(contexts.c.nominal_rpm, contexts.c.flutes)
            .where(contexts.c.nominal_rpm.is_not(None), contexts.c.flutes.is_not(None))
            .group_by(contexts.c.nominal_rpm, contexts.c.flutes)
            .order_by(newest.desc())
            .limit(_limit(n))
        )
        return self._all(query)

    def setup_changes(self, stream_id: str, first: int, end: int) -> list[dict]:
        """Return the context changes of a stream from `first` to `end`, both exclusive, for a sidecar.

        Each has its ``sample``, ``nominal_rpm`` and ``flutes`` (None where unknown) and what else was known.
        """
        query = (
            sa.select(contexts)
            .where(contexts.c.stream_id == stream_id, contexts.c.sample > first, contexts.c.sample < end)
            .order_by(contexts.c.sequence)
        )
        unknown = {"nominal_rpm": None, "flutes": None}
        return [{"sample": row["sample"], **unknown, **context_values(row)} for row in self._all(query)]

    def last_state(self, source_id: str) -> dict | None:
        """Return the newest listener state of a source, also of an earlier run; None when there is none."""
        row = self._first(sa.select(listener_states).where(listener_states.c.source_id == source_id))
        return row["state"] if row else None

    def value(self, key: str) -> Any:
        """Return the newest stored value of `key`, None when there is none."""
        found = self.value_history(key)
        return found[-1]["value"] if found else None

    def value_history(self, key: str) -> list[dict]:
        """Return every stored value of `key`, oldest first."""
        query = sa.select(stored_values).where(stored_values.c.key == key).order_by(stored_values.c.sequence)
        return self._all(query)

    def devices(self) -> list[dict]:
        """Return the paired devices, oldest first."""
        return self._all(sa.select(paired_devices).order_by(paired_devices.c.sequence))

    def device_by_token_hash(self, token_hash: str) -> dict | None:
        """Return the paired device with this token, None when there is none."""
        return self._first(sa.select(paired_devices).where(paired_devices.c.token_hash == token_hash))

    # how

    @contextmanager
    def _connect(self) -> Iterator[sa.Connection]:
        try:
            with self._engine.connect() as connection:
                yield connection
        except sa.exc.SQLAlchemyError as exc:
            reason = getattr(exc, "orig", None) or exc
            hint = "Check the disk; 'shopmon selfcheck' says more."
            raise StoreError(f"The database cannot be read ({reason}).", hint) from exc
        except (UnicodeEncodeError, OverflowError) as exc:
            raise SettingError(
                "That cannot be the id or value of anything.", "Check how it is spelled."
            ) from exc

    def _all(self, query: sa.Select) -> list[dict]:
        with self._connect() as connection:
            return dated(connection, connection.execute(query))

    def _first(self, query: sa.Select) -> dict | None:
        found = self._all(query.limit(1))
        return found[0] if found else None

    def _path_of(self, recording_id: sa.Select) -> Path | None:
        query = sa.select(recordings.c.path).where(
            recordings.c.id == recording_id.scalar_subquery(), recordings.c.state == "filed"
        )
        with self._connect() as connection:
            relative = connection.execute(query).scalar()
        path = self._data.root / relative if relative else None
        return path if path and path.exists() else None

    def _buffers(self) -> Iterator[tuple[Path, StreamInfo]]:
        for description in self._data.buffer.glob("*/stream.json"):
            try:
                yield description.parent, StreamInfo.load(description)
            except StoreError:
                continue

    def _features_so_far(self, row: sa.Row) -> dict | None:
        for folder, info in self._buffers():
            if info.stream_id == row.stream_id:
                end = 2**62 if row.end_sample is None else row.end_sample
                records = read_records(folder, row.first_sample, end)
                return as_columns(records, row.first_sample, row.sample_rate_hz) if len(records) else None
        return None

    def _as_cuts(self, connection: sa.Connection, rows: list[sa.Row]) -> list[dict]:
        offsets = wall_offsets(connection)
        ids = [row.id for row in rows]
        found: dict[str, sa.Row] = {}
        query = sa.select(analyses).where(analyses.c.cut_id.in_(ids)).order_by(analyses.c.sequence.desc())
        for analysis in connection.execute(query):
            found[analysis.cut_id] = analysis  # the first one ends up here: the original
        return corrected(connection, [as_cut(row, offsets, found.get(row.id)) for row in rows])

    def _as_kept(self, row: sa.Row, offsets: dict[str, float]) -> dict:
        rate = row.sample_rate_hz
        return {
            "id": row.id,
            "sequence": row.sequence,
            "started_at": wall_s(row.boot_id, row.start_monotonic_s, offsets),
            "stream_id": row.stream_id,
            "recording_id": row.recording_id,
            "duration_s": (row.end_sample - row.first_sample) / rate if rate else None,
            "start_s": (row.first_sample - row.recording_first) / rate if rate else None,
            "keep": row.keep,
            "note": row.note,
            "filed": row.recording_state == "filed",
            "audio_pending": row.recording_state in ("open", "closing"),
            "audio_removed": row.recording_state == "removed",
        }


def _marks_within(connection: sa.Connection, row: sa.Row) -> list[dict]:
    first = row.first_sample if row.recording_first is None else row.recording_first
    end = row.end_sample if row.recording_end is None else row.recording_end
    query = (
        sa.select(marks)
        .where(marks.c.stream_id == row.stream_id, marks.c.sample >= first, marks.c.sample <= end)
        .order_by(marks.c.sample)
    )
    found = dated(connection, connection.execute(query))
    for mark in found:
        mark["t_s"] = (mark["sample"] - first) / row.sample_rate_hz
    return found


def _limit(limit: int) -> int:
    return max(0, min(int(limit), LIMIT))

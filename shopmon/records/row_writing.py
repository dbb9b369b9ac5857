"""Writing what is only a row: what people say, what happened around the cuts, values, devices, the clock."""

import threading
from collections.abc import Callable
from typing import Any

import sqlalchemy as sa

from shopmon.errors import SettingError
from shopmon.records.cuts.rows import context_values
from shopmon.records.ledger import Ledger
from shopmon.records.sound.recorder import Recorder
from shopmon.records.stamps import Stamps
from shopmon.records.tables import (
    CONTEXT_VALUES,
    analyses,
    clock_offsets,
    contexts,
    corrections,
    cuts,
    events,
    judgements,
    kept_spans,
    marks,
    paired_devices,
    stored_values,
)

NOTE_LIMIT = 10_000


class RowWriting:
    """The part of the archive that makes rows and nothing else; its methods return at once."""

    _stamps: Stamps
    _ledger: Ledger
    _recorder: Recorder
    _lock: threading.Lock
    _context: dict | None
    _put: Callable[..., None]
    flush: Callable[..., None]

    # cuts, afterwards

    def add_analysis(self, cut_id: str, analysis: dict, engine_version: str, settings_hash: str) -> str:
        """Keep a later analysis beside the original; return its id."""
        row = self._analysis_row(cut_id, analysis, engine_version, settings_hash, original=False)
        return self._insert(analyses, row)

    def complete_analysis(self, analysis_id: str, analysis: dict) -> None:
        """Fill in what an analysis left open (None) because it was not worked out yet; said is said."""
        statement = sa.update(analyses).where(analyses.c.id == analysis_id).values(result=analysis)
        self._put(lambda: self._ledger.write(statement))

    def set_keep(self, row_id: str, keep: bool) -> None:
        """Protect the audio of a cut (or of a stretch kept by hand) from removal, or no longer."""
        for table in (cuts, kept_spans):
            statement = sa.update(table).where(table.c.id == row_id).values(keep=bool(keep))
            self._put(lambda statement=statement: self._ledger.write(statement))
        self._put(self._recorder.sizes_have_changed)

    def add_judgement(self, cut_id: str, verdict: str, note: str = "", data: dict | None = None) -> str:
        """Keep what a person says about a cut; return the row's id."""
        row = {"cut_id": cut_id, "verdict": checked_text(verdict), "note": checked_text(note), "data": data}
        return self._insert(judgements, {**self._stamps.new(), **row})

    def add_correction(self, table_name: str, row_id: str, field: str, value: Any, note: str = "") -> str:
        """Keep a correction of one value of one row; the row itself stays as it was. Return the id."""
        row = {
            "table_name": table_name,
            "row_id": row_id,
            "field": field,
            "value": value,
            "note": checked_text(note),
        }
        return self._insert(corrections, {**self._stamps.new(), **row})

    # what happened around them

    def add_event(
        self,
        event_id: str,
        kind: str,
        stream_id: str | None,
        sample: int | None,
        cut_id: str | None,
        data: dict,
    ) -> None:
        """Keep one event of the log."""
        row = {"kind": kind, "stream_id": stream_id, "sample": sample, "cut_id": cut_id, "data": data}
        self._insert(events, {**self._stamps.new(event_id), **row}, durable=False)

    def add_context(
        self,
        context_id: str,
        values: dict,
        origins: dict,
        stream_id: str | None = None,
        sample: int | None = None,
    ) -> None:
        """Keep the whole context that holds from `sample` on.

        Parameters
        ----------
        values
            Everything known; what is missing or None is unknown from now on.
        origins
            Who said so, per name: touched, program, macro or guessed. Values that did not change keep theirs.
        """
        with self._lock:
            row = self._context_row(context_id, values, origins, stream_id, sample)
            self._context = row
        self._insert(contexts, row)

    def mark_moment(self, mark_id: str, stream_id: str, sample: int, note: str = "") -> None:
        """Keep a moment that a person marked.

        Raises
        ------
        SettingError
            The note is longer than 10,000 characters.
        """
        row = {"stream_id": stream_id, "sample": sample, "note": checked_text(note)}
        self._insert(marks, {**self._stamps.new(mark_id), **row})

    # values, devices, clock

    def set_value(self, key: str, value: Any, origin: str) -> str:
        """Keep something measured or changed on a page beside earlier values of `key`; return the id."""
        return self._insert(
            stored_values, {**self._stamps.new(), "key": key, "value": value, "origin": origin}
        )

    def add_device(self, device_id: str, name: str, token_hash: str, scope: str) -> None:
        """Keep a paired device; it is known when this returns."""
        row = {"name": checked_text(name), "token_hash": token_hash, "scope": scope}
        self._insert(paired_devices, {**self._stamps.new(device_id), **row})
        self.flush(filing=False)

    def remove_device(self, device_id: str) -> None:
        """Forget a paired device; it is unknown when this returns."""
        statement = sa.delete(paired_devices).where(paired_devices.c.id == device_id)
        self._put(lambda: self._ledger.write(statement))
        self.flush(filing=False)

    def set_clock(self, wall_s: float, origin: str) -> None:
        """Believe that it is now `wall_s` (seconds since 1970, UTC); dates every row of this boot.

        Parameters
        ----------
        wall_s
            Wall time now.
        origin
            ``network``, ``clock chip`` or ``phone``.
        """
        stamp = self._stamps.new()
        row = {"wall_offset_s": float(wall_s) - stamp["monotonic_s"], "origin": origin}
        self._insert(clock_offsets, {**stamp, **row})

    # how

    def _insert(self, table: sa.Table, row: dict, *, durable: bool = True) -> str:
        self._put(lambda: self._ledger.insert(table, row, durable=durable))
        return row["id"]

    def _analysis_row(self, cut_id, analysis, engine_version, settings_hash, *, original: bool) -> dict:
        return {
            **self._stamps.new(),
            "cut_id": cut_id,
            "original": original,
            "engine_version": engine_version,
            "settings_hash": settings_hash,
            "result": analysis,
        }

    def _sound_rows(self, cut_id: str, analysis: dict) -> list[dict]:
        flutes = (analysis.get("setup") or {}).get("flutes")
        same = {"cut_id": cut_id, "flutes": flutes}
        return [
            {
                **self._stamps.new(),
                **same,
                **{name: heard[name] for name in ("rpm", "duration_s", "lines_db")},
            }
            for heard in analysis.get("steady") or ()
        ]

    def _context_row(self, context_id, values, origins, stream_id, sample) -> dict:
        before = self._context or {}
        known = context_values(before) if before else {}
        kept = {
            name: origin
            for name, origin in (before.get("origins") or {}).items()
            if name in values and values[name] is not None and values[name] == known.get(name)
        }
        return {
            **self._stamps.new(context_id),
            "stream_id": stream_id,
            "sample": sample,
            **{name: values.get(name) for name in CONTEXT_VALUES},
            "other": {name: value for name, value in values.items() if name not in CONTEXT_VALUES} or None,
            "origins": {**kept, **{name: origin for name, origin in origins.items() if name in values}},
        }

    def _context_id(self, context: dict, stream_id: str, sample: int) -> str | None:
        """Find the row of this context, or make one where nobody announced it."""
        known = {name: value for name, value in context.items() if value is not None}
        with self._lock:
            if self._context is not None and context_values(self._context) == known:
                return self._context["id"]
            if not known:
                return None
            row = self._context_row(None, known, {}, stream_id, sample)
            self._context = row
        return self._insert(contexts, row)


def checked_text(text: str) -> str:
    """Return `text`; raises SettingError where it is longer than anybody types."""
    if len(text) > NOTE_LIMIT:
        raise SettingError(f"A text of {len(text)} characters is too long.", f"Use at most {NOTE_LIMIT:,}.")
    return text

"""Photographs of what was cut, and what was read from them; rows are only added."""

from collections.abc import Callable
from contextlib import AbstractContextManager
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from shopmon.errors import SettingError
from shopmon.records.cuts.rows import dated
from shopmon.records.photos import Photos
from shopmon.records.stamps import Stamps
from shopmon.records.tables import cut_photos, photo_readings

MOST_PHOTOS = 50


class PhotoRows:
    """The part of the archive that keeps photographs of cuts."""

    _stamps: Stamps
    _insert: Callable[..., str]
    _connect: Callable[[], AbstractContextManager[sa.Connection]]
    flush: Callable[..., None]
    photo_files: Photos

    def add_cut_photo(self, cut_id: str, content: bytes, note: str = "") -> str:
        """Keep a photograph of a cut; it can be read when this returns. Return its id.

        Raises
        ------
        SettingError
            It is no JPEG, PNG or WebP picture, too large, or there are very many already.
        """
        if len(self.cut_photos(cut_id)) >= MOST_PHOTOS:
            raise SettingError(f"This cut has {MOST_PHOTOS} photographs.", "Keep further ones elsewhere.")
        stamp = self._stamps.new()
        path, media_type = self.photo_files.keep(stamp["id"], content)
        row = {"cut_id": cut_id, "path": path, "media_type": media_type, "note": note}
        row_id = self._insert(cut_photos, {**stamp, **row})
        self.flush(filing=False)
        return row_id

    def add_photo_reading(self, photo: dict[str, Any], question: dict, result: dict) -> None:
        """Keep what was read from a photograph, beside what was read before."""
        row = {"cut_id": photo["cut_id"], "photo_id": photo["id"], "question": question, "result": result}
        self._insert(photo_readings, {**self._stamps.new(), **row})
        self.flush(filing=False)

    def cut_photos(self, cut_id: str) -> list[dict]:
        """Return the photographs of a cut with ``t`` and the newest ``reading`` (or None), newest first."""
        query = (
            sa.select(cut_photos).where(cut_photos.c.cut_id == cut_id).order_by(cut_photos.c.sequence.desc())
        )
        read = (
            sa.select(photo_readings.c.photo_id, photo_readings.c.question, photo_readings.c.result)
            .where(photo_readings.c.cut_id == cut_id)
            .order_by(photo_readings.c.sequence)
        )
        with self._connect() as connection:
            rows = dated(connection, connection.execute(query))
            readings = {
                row.photo_id: {"question": row.question, "result": row.result}
                for row in connection.execute(read)
            }
        return [row | {"reading": readings.get(row["id"])} for row in rows]

    def cut_photo(self, photo_id: str) -> dict | None:
        """Return one photograph's row, None where there is none."""
        with self._connect() as connection:
            row = connection.execute(sa.select(cut_photos).where(cut_photos.c.id == photo_id)).first()
        return dict(row._mapping) if row else None

    def photo_file(self, photo: dict[str, Any]) -> Path | None:
        """Return where a photograph lies, None where it is gone."""
        found = self.photo_files.find(photo["path"], photo["media_type"])
        return found[0] if found else None

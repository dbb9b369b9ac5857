"""Photographs of invented cuts: the real desk, with its rows in memory and its pictures in a folder."""

import itertools

from shopmon.records.photos import kind_of
from shopmon.service.walls.desk import WallDesk


class FakeWalls:
    """Keeps photographs like the archive does."""

    def __init__(self, folder):
        self._folder, self._number, self.rows, self.readings = folder, itertools.count(1), [], {}

    def add_cut_photo(self, cut_id, content, note=""):
        photo_id = f"photo-{next(self._number)}"
        self._folder.mkdir(parents=True, exist_ok=True)
        (self._folder / photo_id).write_bytes(content)
        kind = kind_of(content)
        self.rows.append({"id": photo_id, "t": 1.79e9, "cut_id": cut_id, "media_type": kind, "note": note})
        return photo_id

    def add_photo_reading(self, photo, question, result):
        self.readings[photo["id"]] = {"question": question, "result": result}

    def cut_photos(self, cut_id):
        mine = [row for row in reversed(self.rows) if row["cut_id"] == cut_id]
        return [row | {"reading": self.readings.get(row["id"])} for row in mine]

    def cut_photo(self, photo_id):
        return next((row for row in self.rows if row["id"] == photo_id), None)

    def photo_file(self, photo):
        path = self._folder / photo["id"]
        return path if path.is_file() else None


def fake_walls(folder) -> WallDesk:
    """Return the desk of walls over memory."""
    return WallDesk(FakeWalls(folder))

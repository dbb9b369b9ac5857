"""A data folder to look at, also while a monitor writes to it: nothing is locked, made or changed."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import sqlalchemy as sa

from shopmon.errors import StoreError
from shopmon.records.cuts.learning import LearningRows
from shopmon.records.database import REVISIONS, open_reader, schema_version
from shopmon.records.folder import FolderPaths
from shopmon.records.photos import Photos
from shopmon.records.reading import Reader
from shopmon.records.tools.reading import RegisterReading


class RegisterLooking(RegisterReading):
    """The tools to look at, with their photographs."""

    def __init__(self, connect, photos: Photos):
        super().__init__(connect)
        self._photos = photos

    def photo_file(self, photo_id: str):
        """Return path and media type of a photograph; None where it is not there."""
        found = self.rows("tool_photos", id=photo_id)
        return self._photos.find(found[0]["path"], found[0]["media_type"]) if found else None


class Looking(LearningRows, Reader):
    """Everything that is kept, to look at.

    Attributes
    ----------
    register
        The tools.
    """

    def __init__(self, engine: sa.Engine, data: FolderPaths):
        super().__init__(engine, data)
        with self._connect() as connection:
            version = schema_version(connection)
        if version != REVISIONS[-1]:
            raise StoreError(
                f"The log in {data.root} is of another version (schema {version}).",
                "Start this version's 'shopmon listen' on it once.",
            )
        self.register = RegisterLooking(self._connect, Photos(data))


@contextmanager
def looking_at(folder: Path) -> Iterator[Looking]:
    """Give what is kept in a data folder.

    Raises
    ------
    StoreError
        There is no log, it cannot be read, or it is of another version.
    """
    data = FolderPaths(folder)
    if not data.database.is_file():
        raise StoreError(
            f"There is no log in {folder}.", "Name its folder with --data, or run 'listen' first."
        )
    engine = open_reader(data.database)
    try:
        yield Looking(engine, data)
    finally:
        engine.dispose()

"""The register of a data folder to look at, also while a monitor writes to it."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from shopmon.errors import StoreError
from shopmon.records.database import REVISIONS, open_reader, schema_version
from shopmon.records.folder import DATABASE_NAME
from shopmon.records.reading import Reader
from shopmon.records.register_reading import RegisterReading


class _Door(Reader):
    """A reader of which only the register is wanted."""

    def register(self, folder: Path) -> RegisterReading:
        with self._connect() as connection:
            version = schema_version(connection)
        if version != REVISIONS[-1]:
            raise StoreError(
                f"The log in {folder} is of another version (schema {version}).",
                "Start this version's 'shopmon listen' on it once.",
            )
        return RegisterReading(self._connect)


@contextmanager
def looking_at(folder: Path) -> Iterator[RegisterReading]:
    """Give the register of a data folder; nothing is locked, made or changed.

    Raises
    ------
    StoreError
        There is no log, it cannot be read, or it is of another version.
    """
    path = folder / DATABASE_NAME
    if not path.is_file():
        raise StoreError(
            f"There is no log in {folder}.", "Name its folder with --data, or run 'listen' first."
        )
    engine = open_reader(path)
    try:
        yield _Door(engine, None).register(folder)
    finally:
        engine.dispose()

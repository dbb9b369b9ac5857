"""An archive to write to, closed afterwards whatever happens."""

import pytest

from shopmon.records.archive import Archive


@pytest.fixture
def open_archive(tmp_path):
    """Open archives, in one folder unless told otherwise; all are closed in the end."""
    opened = []

    def opener(folder=None, **options) -> Archive:
        options = {"budget_bytes": 10**9, "reserve_bytes": 0, **options}
        opened.append(Archive.open(folder or tmp_path / "data", **options))
        return opened[-1]

    yield opener
    for archive in opened:
        archive.close()


@pytest.fixture
def archive(open_archive):
    """Return an open, empty archive."""
    return open_archive()

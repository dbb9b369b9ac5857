"""A log that does not reach the disk is said on the page, whatever the sound is doing."""

from dataclasses import replace

import pytest

from shopmon.records.archive import Archive
from shopmon.service.monitor import log_notices


@pytest.fixture
def status(tmp_path):
    archive = Archive.open(tmp_path / "data", budget_bytes=10**9)
    yield archive.status()
    archive.close()


def test_a_log_that_is_written_needs_no_word(status):
    assert log_notices(status) == []


@pytest.mark.parametrize(
    ("trouble", "code"),
    [({"rows_waiting": 3}, "log-not-written"), ({"rows_refused": 1}, "log-incomplete")],
)
def test_a_log_that_is_not_written_is_said_with_what_to_do(status, trouble, code):
    (notice,) = log_notices(replace(status, **trouble))
    assert notice["code"] == code and notice["text"] and notice["hint"]

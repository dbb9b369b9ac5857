"""The log in memory: newest first, and dated by whatever clock is trusted by the time it is read."""

import time

from shopmon.service.journal import Log


def test_entries_are_dated_by_the_time_that_was_told_also_those_of_before():
    offset_s = None
    log = Log(lambda: offset_s)
    early = log.add("mark", "Moment marked.")
    assert (early["t"], early["clock_set"]) == (None, False)
    offset_s = 1_800_000_000.0 - time.monotonic()
    log.add("mark", "Moment marked again.")
    late, early = log.newest(5)
    assert late["text"] == "Moment marked again."
    assert early["clock_set"]
    assert 1_800_000_000.0 - 60 < early["t"] <= late["t"] < 1_800_000_000.0 + 60

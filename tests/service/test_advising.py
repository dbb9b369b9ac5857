"""Advice on a cut that rang comes beside the engine and is joined to what is kept, whatever happens."""

import threading

import pytest

from shopmon.records.archive import Archive
from shopmon.service.cuts.told import cut_for_pages
from shopmon.service.speeds.advising import Advising
from shopmon.service.thinking import Thinker
from tests.records.synthetic import Feed

ADVICE = [{"action": "less-depth"}]


@pytest.fixture
def kept(tmp_path):
    """An archive with one cut that rang, its advice still open."""
    archive = Archive.open(tmp_path / "data", budget_bytes=10**9, buffer_s=0)
    feed = Feed(archive)
    archive.start_cut("cut", feed.info.stream_id, 100, {})
    feed.to(9.0)
    told = {"state": "chatter", "advice": None}
    analysis_id = archive.end_cut("cut", 8000, [(100, 8000)], [], told, "0", "h")
    yield archive, analysis_id, told
    archive.close()


def _shown(archive):
    archive.flush()
    return cut_for_pages(archive.cut("cut"))


def test_the_cut_is_there_at_once_and_its_advice_when_it_is_ready(kept):
    archive, analysis_id, told = kept
    thinker, go, asked_on = Thinker(), threading.Event(), []

    def work():
        asked_on.append(threading.current_thread())
        assert go.wait(10)
        return ADVICE

    Advising(archive, thinker.do).take(analysis_id, told, work)
    assert (_shown(archive)["advice"], _shown(archive)["advice_waits"]) == ([], True)
    go.set()
    assert thinker.wait(10)
    thinker.close()
    assert (_shown(archive)["advice"], _shown(archive)["advice_waits"]) == (ADVICE, False)
    assert asked_on[0] is not threading.current_thread()


def test_what_still_waits_when_the_monitor_ends_is_worked_out_then_and_only_once(kept):
    archive, analysis_id, told = kept
    waiting, times = [], []
    advising = Advising(archive, lambda key, work: waiting.append(work))
    advising.take(analysis_id, told, lambda: times.append(1) or ADVICE)
    advising.settle()
    waiting[0]()
    advising.settle()
    assert _shown(archive)["advice"] == ADVICE and times == [1]


def test_advice_that_fails_leaves_the_cut_as_it_is(kept):
    archive, analysis_id, told = kept
    thinker = Thinker()
    Advising(archive, thinker.do).take(analysis_id, told, lambda: 1 / 0)
    assert thinker.wait(10)
    thinker.close()
    assert _shown(archive)["cut_time_s"] > 0 and _shown(archive)["advice"] == []

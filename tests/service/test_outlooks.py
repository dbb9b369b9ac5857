"""Outlooks are kept until something changes, and a page never waits long for them."""

import threading

import pytest

from shopmon.records.archive import Archive
from shopmon.service.speeds import outlooks as kept
from shopmon.service.speeds.outlooks import Outlooks
from tests.records.shop import Shop


@pytest.fixture
def shop(tmp_path):
    archive = Archive.open(tmp_path, budget_bytes=0, reserve_bytes=0)
    shop = Shop(archive)
    for number in range(3):
        tool_id = shop.mill(f"worn #{number}")
        shop.cut(tool_id, 60 * (50.0 + number), material="7075")
        shop.register.retire(tool_id, "flank wear")
    yield shop
    archive.close()


@pytest.fixture
def outlooks(shop):
    outlooks = Outlooks(shop.register)
    yield outlooks
    outlooks.close()


def after_all(outlooks):
    outlooks.now()
    outlooks.close()
    return outlooks.now()


def test_they_follow_every_change_and_are_kept_between(shop, outlooks, monkeypatch):
    tool_id = shop.mill("plum #1")
    assert tool_id not in after_all(outlooks), "it has not cut yet"
    shop.cut(tool_id, 600.0, material="7075")
    assert after_all(outlooks)[tool_id].remaining.age_min == pytest.approx(10.0)
    monkeypatch.setattr(shop.register, "lives", lambda: pytest.fail("nothing has changed"))
    assert tool_id in outlooks.now()
    monkeypatch.undo()
    shop.register.retire(tool_id, "chipped")
    assert tool_id not in after_all(outlooks)
    shop.register.take_back(tool_id)
    assert tool_id in after_all(outlooks)


def test_a_page_shows_what_was_known_rather_than_wait(shop, outlooks, monkeypatch):
    tool_id = shop.mill("plum #1")
    shop.cut(tool_id, 600.0, material="7075")
    before = after_all(outlooks)
    go_on, lives = threading.Event(), shop.register.lives

    def slow():
        go_on.wait(20)
        return lives()

    monkeypatch.setattr(shop.register, "lives", slow)
    monkeypatch.setattr(kept, "PAGE_WAITS_S", 0.01)
    shop.cut(tool_id, 600.0, material="7075")
    assert outlooks.now() is before
    go_on.set()
    assert after_all(outlooks)[tool_id].remaining.age_min == pytest.approx(20.0)


def test_a_register_that_cannot_be_read_costs_the_interval_and_nothing_else(shop, outlooks, monkeypatch):
    def refuse():
        raise RuntimeError("no disk")

    monkeypatch.setattr(shop.register, "lives", refuse)
    assert after_all(outlooks) == {}

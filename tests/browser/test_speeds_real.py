"""*Speeds* over a real log: from the alarm to the advice, an answer, and what the next visit has learned."""

import pytest
from playwright.sync_api import expect

from shopmon.records.archive import Archive
from shopmon.service.settings import Machine
from shopmon.service.speeds.desk import SpeedsDesk
from tests.browser.conftest import desk as desk_screen
from tests.browser.conftest import phone
from tests.service.logged_cuts import CONTEXT, Shop

EVENT = "00000000-0000-0000-0000-0000000000e2"


@pytest.fixture
def logged(served, tmp_path):
    """A real archive and the real desk behind the pages; returns the shop that logs cuts."""
    archive = Archive.open(tmp_path / "data", budget_bytes=10**9, buffer_s=0, reserve_bytes=0)
    monitor = served.monitor
    monitor.set_context({**{name: None for name in monitor.context()}, **CONTEXT}, "touched")
    real = SpeedsDesk(archive, Machine(max_rpm=18_000.0), monitor.context, monitor.state)
    monitor.speeds = real
    yield Shop(archive)
    real.close()
    archive.close()


def test_a_first_guess_then_a_cut_then_an_answer(served, logged, open_page):
    page = open_page(served.url + "speeds", **desk_screen(1440))
    page.set_default_timeout(60_000)
    expect(page.locator("#map-picture")).to_be_visible(timeout=60_000)
    expect(page.locator("#map-words")).to_contain_text("no cut of it is logged yet")
    logged.cut((3.0, 12_000.0, 1432.6), event_id=EVENT)
    page.goto(f"{served.url}speeds/event/{EVENT}")
    expect(page.locator("h1")).to_have_text("It rang at 1\u202f433\u00a0Hz")
    expect(page.locator("#live")).to_have_attribute("data-status", "ready", timeout=60_000)
    expect(page.locator(".card").first).to_contain_text("likely to be quiet")
    speeds = page.locator(".card").filter(has=page.get_by_role("button", name="Better"))
    speeds.first.get_by_role("button", name="Better").click()
    expect(page.locator(".cards")).to_contain_text("You tried it: better.")
    page.goto(served.url + "speeds")
    expect(page.locator("#map-words")).to_contain_text("2 logged cuts", timeout=60_000)
    assert page.locator("#map-picture .mark.chatter").count() == 1
    assert page.locator("#map-picture .mark.quiet").count() == 1


def test_it_asks_before_it_guesses(served, logged, open_page):
    served.monitor.set_context({name: None for name in CONTEXT}, "touched")
    page = open_page(served.url + "speeds", **phone(390))
    expect(page.locator(".asks")).to_contain_text("Cutting diameter")
    expect(page.locator(".asks")).to_contain_text("(needed)")
    page.get_by_label("Cutting diameter, mm").fill("6")
    page.get_by_label("Flutes").first.fill("2")
    page.get_by_role("button", name="Use this").tap()
    expect(page.locator("#map-picture")).to_be_visible(timeout=60_000)
    expect(page.locator(".asks")).to_contain_text("Stickout")

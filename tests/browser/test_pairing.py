"""Pairing in a real browser: what it sends with a form, and pages to be seen, touched and heard."""

import threading
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import expect
from shopmon.dashboards.access import Access
from shopmon.dashboards.app import create_app
from shopmon.dashboards.server import Server

from tests.browser.conftest import desk, phone
from tests.browser.measures import measure
from tests.dashboards.fake_monitor import FakeMonitor

# a browser here counts as this computer, unless its requests say that they were passed on
ELSEWHERE = {"extra_http_headers": {"X-Forwarded-For": "192.168.1.50"}}


@pytest.fixture
def lan(tmp_path):
    """The pages with pairing: their address and who may see them."""
    monitor = FakeMonitor(tmp_path, story=False)
    access = Access(monitor.archive, lan=True)
    server = Server(create_app(monitor, access=access), port=0)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    yield server.url, access
    server.close()
    thread.join()
    monitor.close()


def test_scanning_and_one_touch_lead_to_now(lan, open_page):
    url, access = lan
    page = open_page(access.invitation_url(url), **phone(390), **ELSEWHERE)
    page.get_by_role("button", name="Pair this device").click()
    expect(page.locator("#state-word")).to_have_text("Spinning")
    assert [device["scope"] for device in access.devices()] == ["pages"]


def test_a_stranger_types_the_code_after_a_wrong_one(lan, open_page):
    url, access = lan
    page = open_page(url, alone=True, **phone(360), **ELSEWHERE)
    code = access.code()
    page.get_by_label("Code").fill(f"{(int(code) + 1) % 10**8:08d}")
    page.get_by_role("button", name="Pair this device").click()
    expect(page.get_by_role("alert")).to_contain_text("not the code")
    page.get_by_label("Code").fill(f"{code[:4]} {code[4:]}")
    page.get_by_label("Name of this device").fill("Bench phone")
    page.get_by_role("button", name="Pair this device").click()
    expect(page.locator("#state-word")).to_be_visible()
    assert access.devices()[0]["name"] == "Bench phone"


def test_the_monitor_shows_the_new_device_by_itself_and_can_remove_it(lan, open_page):
    url, access = lan
    here = open_page(url + "pairing", **desk(1440))
    expect(here.locator("#devices")).to_contain_text("None yet")
    shown = here.locator(".code").text_content()
    access.pair_by_code(shown, "Bench phone")
    expect(here.locator("#devices")).to_contain_text("Bench phone")
    expect(here.locator(".code")).not_to_have_text(shown)
    here.get_by_role("button", name="Remove Bench phone").click()
    expect(here.locator("#devices")).to_contain_text("None yet")
    assert access.devices() == []


def test_a_key_for_a_controller_is_made_and_shown(lan, open_page):
    url, access = lan
    page = open_page(url + "pairing", **desk(1440))
    page.get_by_label("Name of the machine").fill("Mill on the left")
    page.get_by_role("button", name="Make a key").click()
    expect(page.locator(".key")).to_have_text(access_key := page.locator(".key").text_content())
    assert len(access_key) > 30
    assert access.devices()[0]["scope"] == "context"


def test_every_page_leads_to_pairing(lan, open_page):
    page = open_page(lan[0] + "cuts", **desk(1440))
    page.get_by_role("link", name="Phones, tablets").click()
    assert urlsplit(page.url).path == "/pairing"


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("kind", [phone(360), desk(1920)])
@pytest.mark.parametrize("where", ["entrance", "invitation", "pairing"])
def test_the_pages_fit_and_can_be_touched_read_and_heard(lan, open_page, kind, scheme, where):
    url, access = lan
    access.new_controller_key("Mill with a name that is as long as a name may be in this list")
    options = {**kind, "color_scheme": scheme, **({} if where == "pairing" else ELSEWHERE)}
    address = {"entrance": url, "invitation": access.invitation_url(url), "pairing": url + "pairing"}[where]
    page = open_page(address, **options)
    assert measure(page, "spills") == []
    assert measure(page, "targets", 74 if options.get("has_touch") else 45.4) == []
    assert measure(page, "contrast") == []
    assert measure(page, "names") == []

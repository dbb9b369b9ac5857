"""Every page at every width and in both schemes: fits, can be touched, can be read, can be heard."""

import uuid

import pytest
from playwright.sync_api import expect
from shopmon.dashboards.look.words import STATES

from tests.browser.conftest import desk, phone
from tests.browser.measures import measure
from tests.dashboards.fake_speeds import EVENT

SCREENS = {
    "phone-360": (phone, 360, 740),
    "phone-390": (phone, 390, 844),
    "phone-landscape": (phone, 844, 390),
    "tablet": (phone, 1024, 768),
    "desk-1440": (desk, 1440, 900),
    "desk-1920": (desk, 1920, 1080),
}
PAGES = {"now": "", "cuts": "cuts", "cut": f"cuts/{uuid.UUID(int=2)}", "kept": "cuts/kept", "lost": "nowhere",
         "help": "help", "listening": "listening", "speeds": "speeds", "tap": "tap", "spindle": "spindle",
         "advice": f"speeds/event/{EVENT}"}  # fmt: skip


NOTICE = {"code": "x", "text": "A notice.", "hint": "A hint."}
FULL_DISK = {
    "keeping": False,
    "stopped": "The disk is full.",
    "hint": "Remove something.",
    "hours_left": 0.0,
    "buffer_s": 600,
}


@pytest.fixture(params=SCREENS)
def screen(request):
    """Context options of each screen, with the name of the kind."""
    kind, width, height = SCREENS[request.param]
    return kind(width, height)


@pytest.mark.parametrize("name", PAGES)
def test_every_page_fits_and_can_be_touched(served, open_page, screen, name):
    page = open_page(served.url + PAGES[name], alone=True, **screen)
    assert measure(page, "spills") == []
    least = 74 if screen.get("has_touch") and screen["viewport"]["height"] > 480 else 45.4
    assert measure(page, "targets", least) == []


def test_now_shows_the_main_things_without_scrolling(served, open_page, screen):
    page = open_page(served.url, **screen)
    height = screen["viewport"]["height"]
    seen = ["#state-word", "#rpm", "#clock"]
    if height > 480:
        seen += ["#setup", "#mark", "#keep", "#audio-word"]
    for part in seen:
        box = page.locator(part).bounding_box()
        assert box["y"] + box["height"] <= height, part


def test_every_state_fits_in_its_place(served, open_page, screen):
    page = open_page(served.url, scripts=False, **screen)
    for state, said in STATES.items():
        measure(page, "showState", [state, said["word"]])
        assert measure(page, "spills") == [], state
        assert measure(page, "excess") <= 1, state
        size = page.evaluate("parseFloat(getComputedStyle(document.getElementById('state-word')).fontSize)")
        assert size >= 0.09 * min(screen["viewport"]["width"], 400), state


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_now_can_be_read_in_every_state(served, open_page, scheme):
    page = open_page(served.url, **desk(1440, scheme=scheme))
    page.locator("summary").click()
    page.locator("#mark").click()
    expect(page.locator("#answer")).not_to_be_empty()
    for state in [*STATES][:6]:
        served.monitor.show(state, audio=FULL_DISK, notices=[NOTICE])
        expect(page.locator("#state-word")).to_have_text(STATES[state]["word"])
        expect(page.locator("#notices")).to_contain_text("A notice.")
        assert measure(page, "contrast") == [], state
        page.locator("#setup").click()
        assert measure(page, "contrast") == [], state
        page.locator("#other").click()
        assert measure(page, "contrast") == [], state
        page.keyboard.press("Escape")


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("name", [name for name in PAGES if name != "now"])
def test_other_pages_can_be_read(served, open_page, name, scheme):
    page = open_page(served.url + PAGES[name], alone=True, **desk(1440, scheme=scheme))
    assert measure(page, "contrast") == []


@pytest.mark.parametrize("name", PAGES)
def test_every_page_can_be_heard(served, open_page, name):
    page = open_page(served.url + PAGES[name], alone=True)
    assert measure(page, "names") == []
    assert page.evaluate("document.title").endswith("– shopmon")


def test_dialogs_can_be_heard(served, open_page):
    page = open_page(served.url)
    page.locator("#setup").click()
    assert measure(page, "names") == []
    page.locator("#other").click()
    assert measure(page, "names") == []


def test_the_state_has_its_role_and_name(served, open_page):
    served.monitor.show("cutting")
    page = open_page(served.url)
    expect(page.get_by_role("region", name="Cutting")).to_be_visible()
    expect(page.get_by_role("meter", name="Input level")).to_have_attribute("aria-valuenow", "-31")
    expect(page.get_by_role("img", name="Moving spectrum")).to_be_visible()
    expect(page.get_by_role("navigation", name="Pages")).to_be_visible()
    expect(page.get_by_role("radio", name="Orders")).to_be_attached()

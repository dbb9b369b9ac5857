"""*Compare* in the browser: chosen, read on every screen, and a blind trial from plan to key."""

import pytest
from playwright.sync_api import expect

from shopmon.service.mills.blind_trials import draw_trial, trials
from tests.browser.conftest import Served, desk, phone
from tests.browser.measures import measure
from tests.dashboards.shop_monitor import ShopMonitor, furnish


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    """Pages over an invented shop in which two edges of one kind have come to their end."""
    monitor = ShopMonitor(tmp_path_factory.mktemp("compared"))
    serving = Served(monitor)
    serving.ids = furnish(monitor.shop)
    yield serving
    serving.stop()
    monitor.close()


def pages_of(shop) -> dict[str, str]:
    """Return the addresses of the pages, by name."""
    kinds = shop.monitor.register.kinds()
    ids = [shop.ids["bare #1"], shop.ids["plum #3"]]
    trial = f"compare/trials/{draw_trial(shop.monitor.register, ids, 4, '7075', 'finishing')}"
    return {
        "start": "compare",
        "compared": f"compare?a=kind:{kinds[0].id}&b=kind:{kinds[1].id}",
        "life": f"compare/life?kind={shop.monitor.shop.type_id}&material=several materials",
        "plan": trial,
        "all plans": "compare/trials",
        "grading": trial + "/grading",
    }


@pytest.mark.parametrize("name", ["start", "compared", "life", "plan", "all plans", "grading"])
def test_every_page_fits_and_can_be_read_and_heard(shop, open_page, name):
    address = shop.url + pages_of(shop)[name]
    small = open_page(address, alone=True, **phone(360))
    assert measure(small, "spills") == []
    assert measure(small, "targets", 74) == []
    for scheme in ("light", "dark"):
        page = open_page(address, alone=True, **desk(1440, scheme=scheme))
        assert measure(page, "contrast") == []
    assert measure(page, "names") == []


def test_two_kinds_are_chosen_and_compared(shop, open_page):
    page = open_page(shop.url + "mills", alone=True)
    page.get_by_role("link", name="Compare").click()
    page.locator("select[name=a]").select_option("6 mm bare two-flute")
    page.locator("select[name=b]").select_option("6 mm three-flute")
    page.get_by_role("button", name="Compare").click()
    expect(page.locator("main")).to_contain_text("6 mm three-flute against 6 mm bare two-flute")
    expect(page.locator("main")).to_contain_text("It cannot be told which lasts longer")


def test_a_blind_trial_is_graded_by_code_and_opened(shop, open_page):
    page = open_page(shop.url + pages_of(shop)["plan"], alone=True)
    page.get_by_role("link", name="Go on to grading").click()
    for number in range(4):
        expect(page.locator("main")).to_contain_text(f"{number} of 4 are graded")
        page.get_by_label("Grade, a whole number").fill(str(number))
        page.get_by_role("button", name="Keep this grade").click()
    page.get_by_role("button", name="Open the key").click()
    expect(page.locator("main")).to_contain_text("The key is open")
    (trial, *_) = [each for each in trials(shop.monitor.register) if each.opened]
    rows = trial.graded.values()
    assert sorted(row["grade"] for row in rows) == [0, 1, 2, 3] and all(row["tool_id"] for row in rows)


def test_a_finish_is_entered_with_a_decimal_comma(shop, open_page):
    page = open_page(shop.url + "compare", alone=True)
    page.get_by_label("Made by").select_option("bare #1")
    page.get_by_label("Ra, µm").fill("0,42")
    page.get_by_role("button", name="Keep this finish").click()
    expect(page.locator("#answer")).to_have_text("The finish is kept.")
    assert 0.42 in [row["Ra_um"] for row in shop.monitor.register.rows("finish_readings")]


def test_a_profile_fills_the_form_that_keeps_a_finish(shop, open_page, tmp_path):
    path = tmp_path / "wall.csv"
    marks = (f"{n * 0.001:.3f},{4 * (2 * (n * 0.005 % 1) - 1) ** 2:.5f}" for n in range(8000))
    path.write_text("\n".join(marks))
    page = open_page(shop.url + f"mills/{shop.ids['plum #3']}", alone=True)
    page.get_by_text("Enter a finish", exact=True).click()
    page.get_by_text("Take it from a measured profile", exact=True).click()
    section = page.locator("section", has=page.locator("#finish-name"))
    section.get_by_label("Compare with the marks that geometry leaves").select_option("on a wall")
    section.get_by_label("Table feed of that pass").fill("900")
    section.get_by_label("Spindle speed of that pass").fill("12000")
    section.locator("[type=file]").set_input_files(path)
    expect(section.locator(".profile-said")).to_contain_text("By ISO 21920: cut-off")
    expect(section.locator(".profile-said")).to_contain_text("times what geometry alone leaves")
    assert float(section.get_by_label("Ra, µm").input_value()) > 0.9
    expect(section.locator("form[data-api] [name=standard]")).to_have_value("ISO 21920")
    section.get_by_label("Which part").fill("hub 7")
    section.get_by_role("button", name="Keep this finish").click()
    expect(page.locator("#answer")).to_have_text("The finish is kept.")
    expect(section.locator("table")).to_contain_text("hub 7")
    path.write_text("nothing")
    page.get_by_text("Enter a finish", exact=True).click()
    page.get_by_text("Take it from a measured profile", exact=True).click()
    section.locator("[type=file]").set_input_files(path)
    expect(section.locator("form[data-profile] .problem")).not_to_be_empty()

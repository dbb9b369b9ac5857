"""The tools in the browser: touched on *Now*, entered, retired, measured, photographed, set right."""

import base64

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import Served, desk, phone
from tests.browser.measures import measure
from tests.dashboards.shop_monitor import ShopMonitor, furnish

PIXEL = base64.b64decode(
    "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNkYPhfDwAChwGA60e6kgAAAABJRU5ErkJggg=="
)


@pytest.fixture
def shop(tmp_path):
    """Pages over an invented shop."""
    monitor = ShopMonitor(tmp_path)
    serving = Served(monitor)
    serving.ids = furnish(monitor.shop)
    yield serving
    serving.stop()
    monitor.close()


def open_form(page, summary: str):
    """Open the part of the page with these words; return its form."""
    page.get_by_text(summary, exact=True).click()
    return page.locator("details", has_text=summary).locator("form")


def test_one_touch_on_now_says_which_tool(shop, open_page):
    page = open_page(shop.url, **phone(390))
    panel = page.locator("#spindle")
    expect(panel).to_contain_text("Nobody said which tool")
    panel.get_by_role("button", name="plum #2 is in the spindle now").tap()
    expect(panel.locator("a.spindle-tool")).to_have_text("plum #2")
    expect(panel).to_contain_text("in the cut since regrind 1")
    expect(page.locator("#setup-words")).to_contain_text("3\u00a0flutes")
    assert shop.monitor.context()["end_mill_id"] == shop.ids["plum #2"]
    panel.get_by_role("button", name="None of these").tap()
    expect(panel).to_contain_text("Nobody said which tool")
    assert "end_mill" not in shop.monitor.context()


def test_what_is_cut_is_chosen_beside_the_tool(shop, open_page):
    page = open_page(shop.url, **phone(390))
    page.get_by_label("Material").select_option("stainless 316")
    expect(page.locator("#answer")).to_have_text("Material: stainless 316.")
    page.get_by_label("Operation").select_option("finishing")
    expect(page.locator("#answer")).to_have_text("Operation: finishing.")
    assert {"material": "316", "operation": "finishing"}.items() <= shop.monitor.context().items()
    page.reload()
    expect(page.get_by_label("Material")).to_have_value("316")
    page.get_by_label("Material").select_option("nobody said")
    expect(page.locator("#answer")).to_have_text("Material: nobody said.")
    assert "material" not in shop.monitor.context()
    assert measure(page, "targets", 74) == [] and measure(page, "spills") == []


def test_a_tool_near_its_end_is_said_ahead_of_time(shop, open_page):
    monitor = shop.monitor
    for number in range(5):
        tool_id = monitor.shop.mill(f"old #{number}")
        monitor.shop.cut(tool_id, 60 * (50.0 + 5 * number), material="7075")
        monitor.register.retire(tool_id, "flank wear")
    tool_id = monitor.shop.mill("plum #9")
    monitor.set_context({"end_mill_id": tool_id}, "touched")
    monitor.shop.cut(tool_id, 10 * 60.0, material="7075")
    page = open_page(shop.url)
    expect(page.locator("#spindle")).to_contain_text("likely")
    expect(page.locator(".spindle-soon")).to_have_count(0)
    monitor.shop.cut(tool_id, 45 * 60.0, material="7075")
    monitor.outlooks.now()
    monitor.outlooks.close()
    page.reload()
    expect(page.locator(".spindle-soon")).to_contain_text("Look at its edges before the next part")


def test_what_another_screen_or_a_macro_says_is_followed(shop, open_page):
    page = open_page(shop.url)
    shop.monitor.set_context({"end_mill": "bare #1"}, "macro")
    expect(page.locator("a.spindle-tool")).to_have_text("bare #1")
    shop.monitor.set_context({"end_mill": "T12"}, "macro")
    expect(page.locator("#spindle")).to_contain_text("Not among your tools")


def test_the_code_on_a_tube_opens_a_page_with_one_button(shop, open_page):
    page = open_page(f"{shop.url}m/{shop.ids['bare #2'][:8]}", **phone(360))
    expect(page.locator("h1")).to_have_text("bare #2")
    page.get_by_role("button", name="This one is in the spindle now").tap()
    expect(page.locator("#answer")).to_have_text("bare #2 is in the spindle now.")
    expect(page.locator(".in-spindle")).to_be_visible()
    assert shop.monitor.context()["end_mill"] == "bare #2"


def test_a_tool_is_entered_and_what_is_missing_is_said(shop, open_page):
    page = open_page(shop.url + "mills", alone=True)
    page.get_by_role("link", name="Add a tool").click()
    page.get_by_role("button", name="Add it").click()
    expect(page.get_by_role("alert")).to_contain_text("The label is missing")
    page.get_by_label("Label, as you write it on its tube").fill("plum #2")
    page.get_by_role("button", name="Add it").click()
    expect(page.get_by_role("alert")).to_contain_text("there already")
    page.get_by_label("Label, as you write it on its tube").fill("plum #6")
    page.get_by_label("Type of end mill").select_option("6 mm three-flute")
    page.get_by_label("Diameter as measured").fill("5,98")
    page.get_by_role("button", name="Add it").click()
    expect(page.locator("h1")).to_have_text("plum #6")
    expect(page.locator("main")).to_contain_text("5.98\u00a0mm as measured")


def test_wear_in_inches_is_kept_in_millimetres(shop, open_page):
    shop.monitor.units = "inch"
    page = open_page(f"{shop.url}mills/{shop.ids['plum #3']}")
    form = open_form(page, "Enter a reading")
    form.get_by_label("VB through the microscope, in").fill("nothing")
    form.get_by_role("button", name="Keep this reading").click()
    expect(form.get_by_role("alert")).to_contain_text("“nothing” is no number")
    form.get_by_label("VB through the microscope, in").fill("0.004")
    form.get_by_role("button", name="Keep this reading").click()
    expect(page.locator("#answer")).to_have_text("The reading is kept.")
    assert shop.monitor.register.wear(shop.ids["plum #3"])[-1].VB_mm == pytest.approx(0.1016)


def test_the_indicator_reads_twice_the_runout(shop, open_page):
    page = open_page(f"{shop.url}mills/{shop.ids['plum #4']}")
    form = open_form(page, "Put it into a holder, or take it out")
    form.locator("[name=holder_id]").select_option("collet B")
    form.get_by_label("Stickout from the holder’s face, mm").fill("27.5")
    form.get_by_label("Runout: what the dial indicator reads, µm").fill("9")
    form.get_by_role("button", name="Keep this").click()
    expect(page.locator("main")).to_contain_text("collet B, 27.5\u00a0mm out, indicator reads 9\u00a0µm")
    assert shop.monitor.register.tool(shop.ids["plum #4"]).assembly.runout_um == 4.5


def test_retired_reground_and_set_right(shop, open_page):
    page = open_page(f"{shop.url}mills/{shop.ids['plum #3']}")
    form = open_form(page, "Retire it")
    form.get_by_label("Why").select_option("chipped")
    form.get_by_role("button", name="Retire plum #3").click()
    expect(page.locator(".mill-head")).to_contain_text("Retired: chipped.")
    form = open_form(page, "It was reground")
    form.get_by_label("Diameter as measured, mm").fill("5.9")
    form.get_by_role("button", name="Begin a new edge").click()
    expect(page.locator(".mill-head")).to_contain_text("not used yet since regrind 1")
    form = open_form(page, "Set something right")
    form.get_by_label("Label on its tube").fill("plum #33")
    form.get_by_role("button", name="Set it right").click()
    expect(page.locator("h1")).to_have_text("plum #33")
    expect(page.locator(".mill-history")).to_contain_text("The label was set right to plum #33.")


def test_a_photograph_is_made_smaller_and_kept(shop, open_page):
    page = open_page(f"{shop.url}mills/{shop.ids['plum #3']}")
    page.get_by_label("What it shows").fill("corner")
    photo = page.locator("form[data-photo] [type=file]")
    photo.set_input_files({"name": "a.png", "mimeType": "image/png", "buffer": PIXEL})
    expect(page.get_by_role("img", name="corner")).to_be_visible()
    (kept,) = shop.monitor.register.photos(shop.ids["plum #3"])
    assert kept.media_type == "image/jpeg"
    photo.set_input_files({"name": "a.png", "mimeType": "image/png", "buffer": b"no"})
    expect(page.locator("[data-photo] .problem")).to_contain_text("no picture")


def test_a_wrong_cut_is_credited_to_the_right_tool(shop, open_page):
    cut_id = shop.monitor.cuts(limit=1, end_mill_id=shop.ids["plum #3"])[0]["id"]
    before = shop.monitor.register.tool(shop.ids["plum #3"]).totals
    page = open_page(f"{shop.url}cuts/{cut_id}")
    page.get_by_label("Credited to").select_option("plum #4")
    page.get_by_role("button", name="Credit it to this one").click()
    expect(page.locator("form.credit[data-api$='/credit']")).to_contain_text("set right afterwards")
    after = shop.monitor.register.tool(shop.ids["plum #3"]).totals
    assert after.cuts == before.cuts - 1
    assert shop.monitor.register.tool(shop.ids["plum #4"]).totals.cuts == 1


def test_time_under_an_unknown_name_is_credited(shop, open_page):
    page = open_page(shop.url + "mills")
    page.get_by_label("What made them").select_option("plum #4")
    page.get_by_role("button", name="Credit them").click()
    expect(page.locator("#answer")).to_contain_text("All totals follow")
    expect(page.locator("main")).not_to_contain_text("T7")


def test_labels_print_without_the_rest(shop, open_page):
    page = open_page(shop.url + "mills/labels")
    assert page.locator(".labels li").count() == 7
    page.emulate_media(media="print")
    expect(page.locator(".bar")).to_be_hidden()
    expect(page.locator(".no-print")).to_be_hidden()
    box = page.locator(".labels li").first.bounding_box()
    assert box["width"] == pytest.approx(60 * 96 / 25.4, abs=1) and box["height"] == pytest.approx(
        113.4, abs=1
    )


@pytest.mark.parametrize(
    ("options", "least"), [(phone(360), 76), (phone(390, scheme="dark"), 76), (desk(1920), 45)], ids=str
)
def test_the_pages_are_for_everyone(shop, open_page, options, least):
    tool_id = shop.ids["plum #2"]
    cut_id = shop.monitor.cuts(limit=1)[0]["id"]
    pages = (
        "mills",
        f"mills/{tool_id}",
        f"mills/{tool_id}/cuts",
        "mills/new",
        "mills/kinds",
        "mills/labels",
        f"cuts/{cut_id}",
    )
    for address in pages:
        page = open_page(shop.url + address, **options)
        page.evaluate("document.querySelectorAll('details').forEach((part) => { part.open = true; })")
        assert measure(page, "targets", least) == [], address
        assert measure(page, "contrast") == [], address
        assert measure(page, "names") == [], address
        if address != "mills/labels":  # a sheet of paper is as wide as it is
            assert measure(page, "spills") == [], address
        page.context.close()


def test_the_keyboard_reaches_the_choice_of_the_tool(shop, open_page):
    page = open_page(shop.url)
    page.locator("#spindle button").first.focus()
    page.keyboard.press("Enter")
    expect(page.locator("a.spindle-tool")).to_be_visible()

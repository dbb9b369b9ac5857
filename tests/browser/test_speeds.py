"""*Speeds* in the browser: asks, thinks, advises; from the alarm to the advice, and how it went."""

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import desk, phone, until
from tests.browser.measures import measure
from tests.dashboards.fake_speeds import EVENT, trial

HOSTILE = "</script><script>document.title='taken'</script>\u202e"


def test_one_touch_leads_from_the_alarm_to_the_advice_for_it(served, open_page):
    page = open_page(served.url, **phone(390))
    expect(page.locator("#advice")).to_be_hidden()
    served.monitor.show("chatter")
    page.get_by_role("link", name="Which way to turn?").first.tap()
    page.wait_for_url(f"**/speeds/event/{EVENT}")
    expect(page.locator("h1")).to_have_text("It rings at 1\u202f433\u00a0Hz")
    expect(page.locator(".card").first).to_contain_text("Override 120\u00a0%")
    served.monitor.show("cutting")
    expect(page.locator("h1")).to_have_text("It rang at 1\u202f433\u00a0Hz")


def test_the_alarm_s_link_goes_when_the_ringing_does(served, open_page):
    served.monitor.show("chatter")
    page = open_page(served.url)
    expect(page.locator("#advice")).to_be_visible()
    served.monitor.show("cutting")
    expect(page.locator("#advice")).to_be_hidden()


def test_advice_that_is_thought_about_appears_by_itself(served, open_page):
    served.monitor.speeds.event_status = "thinking"
    page = open_page(f"{served.url}speeds/event/{EVENT}")
    expect(page.locator(".thinking")).to_contain_text("Thinking")
    served.monitor.speeds.event_status = "ready"
    expect(page.locator(".card").first).to_contain_text("Two waves fit there.")
    expect(page.locator(".thinking")).to_have_count(0)


@pytest.mark.parametrize("answer", ["Better", "Same", "Worse"])
def test_how_it_went_is_noted_with_a_touch_and_can_be_taken_back(served, open_page, answer):
    page = open_page(f"{served.url}speeds/event/{EVENT}", **phone(390))
    page.locator(".card").first.get_by_role("button", name=answer).tap()
    expect(page.locator(".card").first).to_contain_text(f"You tried it: {answer.lower()}.")
    (kept,) = served.monitor.speeds.answers
    assert (kept["answer"], kept["rpm"], kept["action"]) == (answer.lower(), 14_326.0, "speed")
    page.get_by_role("button", name="Take back").tap()
    expect(page.locator(".card").first.get_by_role("button", name=answer)).to_be_visible()
    assert served.monitor.speeds.answers == []


def test_a_learned_card_is_answered_with_its_depth(served, open_page):
    page = open_page(f"{served.url}speeds/event/{EVENT}")
    page.get_by_role("article", name="From past cuts").get_by_role("button", name="Better").click()
    expect(page.locator("#answer")).to_contain_text("Noted")
    assert served.monitor.speeds.answers[0]["ap_mm"] == 1.5


def test_an_unknown_chatter_is_told_apart_from_a_broken_page(served, open_page):
    page = open_page(f"{served.url}speeds/event/nowhere", alone=True)
    expect(page.locator("main")).to_contain_text("There is no chatter with this id.")


def test_it_asks_for_what_it_needs_and_takes_it(served, open_page):
    served.monitor.set_context({"diameter_mm": None, "flutes": None}, "touched")
    speeds = served.monitor.speeds
    speeds.status = "asks"
    speeds.asks = [{"name": "diameter_mm", "needed": True, "why": "the arc follows from it"}]
    page = open_page(served.url + "speeds", **phone(390))
    expect(page.locator(".asks")).to_contain_text("Cutting diameter: the arc follows from it (needed)")
    expect(page.locator("#live")).to_contain_text("Nothing is guessed until then")
    page.get_by_label("Cutting diameter, mm").fill("8,5")
    page.get_by_label("Flutes").first.fill("2")
    speeds.status, speeds.asks = "ready", []
    page.get_by_label("Conventional").tap()
    page.get_by_role("button", name="Use this").tap()
    expect(page.locator(".what")).to_contain_text("Ø\u00a08.5\u00a0mm · 2\u00a0flutes")
    told = served.monitor.context()
    assert (told["diameter_mm"], told["flutes"], told["milling"]) == (8.5, 2, "conventional")


def test_what_is_no_number_is_said_beside_the_button(served, open_page):
    page = open_page(served.url + "speeds", alone=True)
    page.locator("summary", has_text="Say or change").click()
    page.locator("#told-diameter_mm").fill("ten")
    page.get_by_role("button", name="Use this").click()
    expect(page.locator("#told-problem")).to_contain_text("'ten' is no number")
    page.locator("#told-diameter_mm").fill("-3")
    page.get_by_role("button", name="Use this").click()
    expect(page.locator("#told-problem")).to_contain_text("Diameter (mm) cannot be -3")
    assert served.monitor.context()["diameter_mm"] == 10.0


def test_thinking_is_shown_and_the_answer_comes_by_itself(served, open_page):
    served.monitor.speeds.status = "thinking"
    page = open_page(served.url + "speeds")
    expect(page.locator(".thinking")).to_contain_text("Thinking")
    served.monitor.speeds.status = "ready"
    expect(page.locator("#map-picture")).to_be_visible()
    expect(page.locator(".thinking")).to_have_count(0)


def test_the_three_aims_are_plain_links_for_keyboard_too(served, open_page):
    page = open_page(served.url + "speeds")
    aims = page.get_by_role("navigation", name="What you want").get_by_role("link")
    expect(aims).to_have_count(3)
    expect(aims.nth(0)).to_have_attribute("aria-current", "true")
    aims.nth(2).focus()
    page.keyboard.press("Enter")
    expect(page.locator(".aims [aria-current]")).to_contain_text("Finish")
    expect(page.get_by_role("article", name="Smooth depths")).to_contain_text("14.96\u00a0mm")
    expect(page.locator(".card").first).to_contain_text("17\u202f390\u00a0rpm")
    expect(page.locator("#wall tbody tr")).to_have_count(2)
    expect(page.locator("#wall tbody tr").nth(1)).to_contain_text("88\u00a0% likely to be quiet")


def test_a_what_if_changes_nothing_and_says_what_it_is(served, open_page):
    page = open_page(served.url + "speeds?aim=surest")
    page.locator("#if-stickout_mm").fill("22")
    page.get_by_role("button", name="Ask").click()
    expect(page.locator(".notice-line")).to_contain_text("What if: Stickout 22\u00a0mm")
    expect(page.get_by_role("article", name="As it is now")).to_contain_text("without the change 35\u00a0%")
    expect(page.locator(".aims [aria-current]")).to_contain_text("Surest")
    assert served.monitor.context()["stickout_mm"] == 30.0
    page.locator(".aims a").first.click()
    expect(page.locator(".notice-line")).to_contain_text("Stickout 22")
    page.get_by_role("link", name="Back to what it is").click()
    expect(page.locator(".notice-line")).to_have_count(0)


def test_a_what_if_that_is_no_number_is_answered_with_the_page(served, open_page):
    page = open_page(served.url + "speeds?ap_mm=deep&stickout_mm=")
    expect(page.locator(".problem").first).to_contain_text("'deep' is no number")
    expect(page.locator("#map-picture")).to_be_visible()


def test_in_inches_everything_is_in_inches(served, open_page):
    served.monitor.units = "inch"
    page = open_page(served.url + "speeds?ap_mm=0.1")
    expect(page.locator(".what")).to_contain_text("Ø\u00a00.3937\u00a0in")
    expect(page.locator(".card").first).to_contain_text("at 0.062\u00a0in")
    expect(page.locator(".card").first).to_contain_text("in/min")
    expect(page.locator(".card").first).to_contain_text("ft/min")
    assert " mm" not in page.locator("main").inner_text().replace("\u00a0", " ")
    assert served.monitor.speeds.asked[-1]["ap_mm"] == pytest.approx(2.54)
    page.locator("summary", has_text="Say or change").click()
    page.locator("#told-ap_mm").fill("0.05")
    page.get_by_role("button", name="Use this").click()
    until(page, lambda: served.monitor.context()["ap_mm"] == pytest.approx(1.27))
    assert served.monitor.context()["ae_mm"] == 4.0, "what was not touched keeps every digit"


def test_every_past_cut_is_a_mark_and_a_row(served, open_page):
    page = open_page(served.url + "speeds")
    for kind, count in (("quiet", 2), ("chatter", 2), ("uncertain", 1), ("now", 1), ("advised", 1)):
        assert page.locator(f"#map-picture .mark.{kind}").count() == count, kind
    lane = page.locator("#map-picture .lane path").bounding_box()["y"]
    untold = page.locator("#map-picture .mark.chatter").nth(1).bounding_box()["y"]
    assert untold > lane - 8, "a cut without a depth lies below the map"
    page.locator("summary", has_text="as a table").click()
    expect(page.locator("#trials tbody tr")).to_have_count(5)
    expect(page.locator("#trials")).to_contain_text("not told")
    expect(page.locator("#trials")).to_contain_text("no: the monitor was not sure")


def test_a_touch_reads_the_chance_at_that_place(served, open_page):
    page = open_page(served.url + "speeds", **phone(390))
    picture = page.locator("#map-picture")
    box = picture.bounding_box()
    picture.tap(position={"x": 0.5 * box["width"], "y": 0.78 * box["height"]})
    expect(page.locator("#readout")).to_contain_text("likely to be quiet")
    low = page.locator("#readout").inner_text()
    picture.tap(position={"x": 0.5 * box["width"], "y": 0.06 * box["height"]})
    until(page, lambda: page.locator("#readout").inner_text() != low)
    share = [int(text.split(": ")[1].split("\u00a0%")[0]) for text in (low, page.inner_text("#readout"))]
    assert share[0] > 90 > 20 > share[1]


def test_hostile_words_stay_words(served, open_page):
    served.monitor.set_context({"end_mill": HOSTILE, "material": HOSTILE}, "touched")
    served.monitor.speeds.trials = [trial(1, "uncertain", 9000.0, 1.0, why_not=HOSTILE)]
    page = open_page(served.url + "speeds")
    assert page.title() == "Speeds – shopmon"
    expect(page.locator(".what")).to_contain_text("</script>")
    assert measure(page, "spills") == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_map_is_one_scale_of_lightness(served, open_page, scheme):
    page = open_page(served.url + "speeds", **desk(1440, scheme=scheme))
    fills = page.evaluate(
        "[...new Set([...document.querySelectorAll('.shades rect')].map((r) => getComputedStyle(r).fill))]"
    )
    assert len(fills) == 1, "only the opacity differs"
    assert page.locator(".hatched rect").count() > 10

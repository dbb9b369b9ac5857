"""*Now* in the browser: follows the machine, says the same as the first paint, answers touches and keys."""

from random import Random

import pytest
from playwright.sync_api import expect
from shopmon.dashboards.look.words import STATES

from tests.browser.conftest import desk, phone, until
from tests.browser.measures import measure

SPOKEN = [
    "state-word",
    "state-facts",
    "rpm",
    "rpm-told",
    "clock-what",
    "setup-words",
    "heard",
    "quality",
    "level-text",
    "input-text",
    "audio-word",
    "audio-why",
]
FULL_DISK = {
    "keeping": False,
    "stopped": "The disk is full.",
    "hint": "Remove something.",
    "hours_left": 0.0,
    "buffer_s": 600,
}


def test_the_word_follows_the_whole_story(told, open_page):
    page = open_page(told.url)
    measure(page, "watch")
    until(page, "words.slice(words.indexOf('Air cut')).length > 3 && words.includes('Air cut')")
    words = page.evaluate("words")
    assert words[words.index("Air cut") :][:4] == ["Air cut", "Cutting", "Chatter", "Spinning"]
    assert page.title().endswith("– Now – shopmon")


@pytest.mark.parametrize("state", ["no-input", "stopped", "spinning", "air-cut", "cutting", "chatter"])
def test_the_first_paint_says_the_same_as_the_script(served, open_page, state):
    served.monitor.show(state)
    plain = open_page(served.url, java_script_enabled=False)
    live = open_page(served.url)
    live.evaluate("document.getElementById('state-word').textContent = 'old'")
    served.monitor.show(state)
    expect(live.locator("#state-word")).to_have_text(STATES[state]["word"])
    for part in SPOKEN:
        expect(live.locator(f"#{part}")).to_have_text(plain.locator(f"#{part}").text_content().strip())
    assert plain.locator("body").get_attribute("data-state") == state


def test_chatter_turns_the_whole_screen_over(served, open_page):
    for scheme in ("light", "dark"):
        served.monitor.show("cutting")
        page = open_page(served.url, color_scheme=scheme, reduced_motion="reduce")
        expect(page.locator("#state-word")).to_have_text("Cutting")
        before = measure(page, "ground")
        served.monitor.show("chatter")
        expect(page.locator("#state-word")).to_have_text("Chatter")
        after = measure(page, "ground")
        assert abs(after - before) > 500
        assert page.evaluate("getComputedStyle(document.querySelector('main')).backgroundImage") != "none"
        assert page.evaluate("getComputedStyle(document.querySelector('.state')).animationName") == "none"
        expect(page.locator("#state-facts")).to_have_text("Clear, 1\u202f433\u00a0Hz")
        expect(page.locator("#say-now")).to_contain_text("Chatter")
        served.monitor.show("spinning")
        expect(page.locator("#say-calm")).to_contain_text("Spinning")
        expect(page.locator("#say-now")).to_have_text("")


def test_shape_and_hatch_differ_for_every_state(served, open_page):
    page = open_page(served.url)
    signs = set()
    for state in ("no-input", "stopped", "spinning", "air-cut", "cutting", "chatter"):
        served.monitor.show(state)
        expect(page.locator("#state-word")).to_have_text(STATES[state]["word"])
        pattern = "getComputedStyle(document.querySelector('.hatch')).backgroundImage"
        signs.add((page.locator("#state-shape").get_attribute("href"), page.evaluate(pattern)))
    assert len({shape for shape, _ in signs}) == len({hatch for _, hatch in signs}) == 6


def test_the_live_region_is_not_spoken_at_every_message(told, open_page):
    page = open_page(told.url)
    measure(page, "watch")
    until(page, "words.includes('Chatter') && words.length > 4")
    changes, said = page.evaluate("[words.length, said]")
    assert said <= 3 * changes


def picture(page) -> str:
    """Return what the spectrum shows, as a data address."""
    return page.evaluate("document.getElementById('drawing').toDataURL()")


def test_the_spectrum_is_drawn_and_its_axis_changes_with_one_touch(served, open_page):
    served.monitor.show("chatter")
    page = open_page(served.url, **phone(390))
    until(page, lambda: served.viewers() == 1)
    served.monitor.spectrum()
    expect(page.locator("#veil")).to_be_hidden()
    assert measure(page, "colours") > 20
    hertz = picture(page)
    page.locator("#axis label", has_text="Orders").tap()
    until(page, lambda: picture(page) != hertz)
    page.reload()
    assert page.locator("#axis input[value=orders]").is_checked()


def test_two_touches_choose_a_recent_pair(served, open_page):
    page = open_page(served.url, **phone(390))
    page.locator("#setup").tap()
    page.locator("#recents button", has_text="2 flutes").tap()
    expect(page.locator("#setup-words")).to_have_text("8\u202f000\u00a0rpm · 2\u00a0flutes")
    expect(page.locator("#answer")).to_contain_text("Now told")
    assert served.monitor.context()["nominal_rpm"] == 8000
    assert served.monitor.context()["flutes"] == 2


def test_the_keypad_takes_anything_else(served, open_page):
    page = open_page(served.url, **phone(390))
    page.locator("#setup").tap()
    page.locator("#other").tap()
    for key in ("9", "4", "5", "5", "back", "0", "next", "4"):
        page.locator(f"[data-key='{key}']").tap()
    page.get_by_role("button", name="Use this").tap()
    expect(page.locator("#setup-words")).to_have_text("9\u202f450\u00a0rpm · 4\u00a0flutes")
    assert served.monitor.context()["nominal_rpm"] == 9450


def test_the_keypad_says_what_is_wrong_and_stays(served, open_page):
    page = open_page(served.url, alone=True)
    page.locator("#setup").click()
    page.locator("#other").click()
    page.locator("#enter-rpm").fill("999999")
    page.get_by_role("button", name="Use this").click()
    expect(page.locator("#keypad-problem")).to_contain_text("Spindle speed (rpm) cannot be 999999")
    page.locator("#enter-rpm").fill("")
    page.locator("#enter-flutes").fill("")
    page.get_by_role("button", name="Use this").click()
    expect(page.locator("#keypad-problem")).to_contain_text("Enter a speed")
    assert served.monitor.context()["nominal_rpm"] == 12000


def tab_to(page, selector: str) -> None:
    """Press Tab until the element has the focus."""
    for _ in range(30):
        page.keyboard.press("Tab")
        if page.evaluate("(selector) => document.activeElement.matches(selector)", selector):
            return
    raise AssertionError(f"{selector} cannot be reached with the keyboard")


def test_everything_works_with_the_keyboard_alone(served, open_page):
    page = open_page(served.url, **desk(1440))
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    tab_to(page, "#setup")
    assert page.evaluate("getComputedStyle(document.activeElement).outlineWidth") == "4px"
    page.keyboard.press("Enter")
    tab_to(page, "#other")
    page.keyboard.press("Enter")
    page.keyboard.type("7x200")
    page.keyboard.press("Tab")
    page.keyboard.type("5")
    page.keyboard.press("Enter")
    expect(page.locator("#setup-words")).to_have_text("7\u202f200\u00a0rpm · 5\u00a0flutes")
    expect(page.locator("dialog[open]")).to_have_count(0)
    tab_to(page, "#mark")
    page.keyboard.press("Space")
    expect(page.locator("#answer")).to_contain_text("Moment marked at")
    tab_to(page, "#keep")
    page.keyboard.press("Enter")
    expect(page.locator("#answer")).to_contain_text("two minutes are kept")
    tab_to(page, "#axis input")
    page.keyboard.press("ArrowRight")
    assert page.locator("#axis input[value=orders]").is_checked()
    tab_to(page, "summary")
    page.keyboard.press("Enter")
    expect(page.get_by_text("It is evidence")).to_be_visible()
    page.locator("#setup").focus()
    page.keyboard.press("Enter")
    page.keyboard.press("Escape")
    expect(page.locator("dialog[open]")).to_have_count(0)


def test_marks_reach_the_list_of_events(served, open_page):
    page = open_page(served.url)
    page.locator("#mark").click()
    expect(page.locator("#events li").first).to_contain_text("Moment marked")
    assert served.monitor.log(1)[0]["kind"] == "mark"


def test_a_button_that_cannot_do_it_says_why(served, open_page):
    served.monitor.show("no-input")
    page = open_page(served.url, alone=True)
    page.locator("#keep").click()
    expect(page.locator("#answer")).to_contain_text("nothing to keep")


def test_audio_that_is_not_kept_is_said_with_its_reason(served, open_page):
    page = open_page(served.url)
    expect(page.locator("#audio")).to_contain_text("Audio is being kept")
    served.monitor.show("cutting", audio=FULL_DISK)
    expect(page.locator("#audio")).to_contain_text("Audio is not kept")
    expect(page.locator("#audio")).to_contain_text("The disk is full. Remove something.")


def test_a_clock_that_is_not_set_takes_the_time_of_this_screen_after_a_yes(served, open_page):
    served.monitor.show("spinning", clock_set=False)
    page = open_page(served.url, **phone(390))
    expect(page.locator("#unset")).to_contain_text("The clock is not set: dates are missing")
    touch = page.get_by_role("button", name="Set it to this phone's time")
    touch.tap()
    expect(page.locator("#unset-words")).to_contain_text("Is that right?")
    assert served.monitor.archive.clock is None
    page.get_by_role("button", name="No", exact=True).tap()
    expect(page.locator("#unset-words")).to_be_empty()
    touch.tap()
    page.get_by_role("button", name="Yes, set it").tap()
    expect(page.locator("#unset")).to_be_hidden()
    expect(page.locator("#answer")).to_contain_text("The clock is set to")
    wall_s, origin = served.monitor.archive.clock
    assert origin == "phone"
    assert abs(wall_s - page.evaluate("Date.now() / 1000")) < 60
    served.monitor.show("spinning", clock_set=False)
    expect(page.locator("#unset")).to_be_visible()
    served.monitor.set_clock(wall_s, "network")
    expect(page.locator("#unset")).to_be_hidden()


def test_a_screen_whose_own_clock_is_wrong_is_told_so(served, open_page):
    served.monitor.show("spinning", clock_set=False)
    page = open_page(served.url, alone=True)
    page.clock.set_fixed_time("2001-02-03T04:05:06Z")
    page.locator("#set-clock").click()
    expect(page.locator("#unset-words")).to_contain_text("time_s cannot be")
    assert served.monitor.archive.clock is None


def test_notices_appear_and_go(served, open_page):
    page = open_page(served.url)
    clipped = {"code": "x", "text": "The input clips.", "hint": "Move it away."}
    served.monitor.show("spinning", notices=[clipped])
    expect(page.locator("#notices")).to_contain_text("The input clips.")
    served.monitor.show("spinning", notices=[])
    expect(page.locator("#notices")).to_be_hidden()


def test_hostile_text_stays_text(served, open_page):
    evil = "<img src=x onerror=alert(1)><script>alert(2)</script>"
    page = open_page(served.url)
    page.on("dialog", lambda dialog: pytest.fail("a script ran"))
    served.monitor.mark_moment(evil)
    expect(page.locator("#events li").first).to_contain_text(evil)
    served.monitor.show("spinning", notices=[{"code": "y", "text": evil, "hint": evil}])
    expect(page.locator("#notices")).to_contain_text(evil)
    page.reload()
    expect(page.locator("#events li").first).to_contain_text(evil)
    assert page.locator("main img, main script").count() == 0


def test_the_numbers_of_stray_tones_cover_no_mark_and_no_other_number(served, open_page):
    page = open_page(served.url)
    random = Random(1)
    missing = 0
    for wide in (280, 640, 1700):
        for _ in range(60):
            xs = [random.uniform(8, wide - 8) for _ in range(random.randint(1, 4))]
            marks = [{"x": x, "width": random.uniform(30, 80)} for x in xs]
            boxes = measure(page, "placed", [marks, wide])
            missing += boxes.count(None) if wide == 1700 else 0
            assert boxes[0] is not None
            assert overlaps(boxes, xs, wide) == []
    assert missing == 0


def overlaps(boxes: list, xs: list[float], wide: float) -> list:
    """Return what is out of the picture, on a diamond of half width 8, or on a number of its row."""
    faults = []
    for at, box in enumerate(boxes):
        if box is None:
            continue
        if box["left"] < 0 or box["right"] > wide:
            faults.append(("outside", box))
        beside = [other for other in boxes[:at] if other and other["row"] == box["row"]]
        others = [(other["left"], other["right"]) for other in beside]
        diamonds = [(x - 8, x + 8) for x in xs] if box["row"] == "beside" else []
        faults += [box for left, right in others + diamonds if box["left"] < right and left < box["right"]]
    return faults


@pytest.mark.parametrize("options", [phone(360), phone(390), desk(1440)], ids=["360", "390", "1440"])
def test_words_of_chatter_do_not_move_the_page_as_it_grows(served, open_page, options):
    page = open_page(served.url, **options)
    places = set()
    for severity in ("slight", "clear", "heavy"):
        for unsure in (False, True):
            served.monitor.show("chatter", severity=severity, unsure=unsure)
            expect(page.locator("#state-facts")).to_contain_text(severity.capitalize())
            expect(page.locator("#unsure")).to_be_visible(visible=unsure)
            places.add(page.locator(".figures").bounding_box()["y"])
    assert len(places) == 1


def test_a_state_that_is_not_sure_says_so_at_once_and_in_words_that_are_heard(served, open_page):
    served.monitor.show("cutting", unsure=True)
    plain = open_page(served.url, java_script_enabled=False)
    expect(plain.locator("#unsure")).to_be_visible()
    page = open_page(served.url)
    expect(page.locator("#unsure")).to_have_text("not sure")
    served.monitor.show("cutting", unsure=False)
    expect(page.locator("#unsure")).to_be_hidden()
    served.monitor.show("chatter", unsure=True)
    expect(page.locator("#say-now")).to_have_text("Chatter. Clear, 1\u202f433\u00a0Hz. Not sure.")

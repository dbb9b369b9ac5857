"""*Say what it was* in the browser: a tone with its family is tried, kept, taken off; a trial is stopped."""

import uuid

from playwright.sync_api import expect

from tests.browser.conftest import phone

CUT = str(uuid.UUID(int=2))
TRIAL_MS = 60_000


def open_said(served, open_page, **options):
    page = open_page(f"{served.url}cuts/{CUT}", **options)
    page.locator("#said").scroll_into_view_if_needed()
    return page


def test_a_tone_is_tried_with_its_family_kept_and_taken_off(served, open_page):
    page = open_said(served, open_page, **phone(390))
    before = {"cut_time_s": 15.0, "chatter_s": 8.0, "events": 1, "frequency_hz": 1432.6}
    after = before | {"chatter_s": 0.0, "events": 0, "frequency_hz": None}
    row = {"cut_id": CUT, "started_at": 1.79e9, "changed": True, "why": "", "before": before, "after": after}
    told = {"status": "done", "share": 1.0, "cuts": 1, "kept": False, "changed": 1, "without_sound": 0}
    page.route("**/api/hear-again/*", lambda route: route.fulfill(json={**told, "rows": [row]}))
    page.get_by_label("with its family").check()
    page.get_by_role("button", name="Not chatter: it stays at this pitch").tap()
    expect(page.locator("#family-word")).to_be_visible()
    keep = page.get_by_role("button", name="Keep this", exact=True)
    expect(keep).to_be_visible()
    expect(page.locator("#trial-word")).to_have_text("1 of 1 cuts would be judged otherwise.")
    expect(page.locator("#trial tbody tr")).to_contain_text("quiet")
    expect(page.locator("[data-family-too]")).to_be_hidden()
    keep.tap()
    expect(page.locator("#said-answer")).to_contain_text("It holds from this moment on")
    assert [tone.family for tone in served.monitor.wishes.now.rejected] == [True]
    page.goto(f"{served.url}listening")
    entry = page.locator("li", has_text="and its family")
    expect(entry).to_have_count(1)
    entry.get_by_role("button", name="Take off the list").tap()
    expect(entry).to_have_count(0)
    assert not served.monitor.wishes.now.rejected


def test_the_family_is_offered_where_its_other_tones_still_ring(served, open_page):
    page = open_said(served, open_page)
    rang = {"cut_time_s": 15.0, "chatter_s": 8.0, "events": 1, "frequency_hz": 1432.6}
    row = {"cut_id": CUT, "started_at": None, "changed": False, "why": "", "before": rang, "after": rang}
    told = {"status": "done", "share": 1.0, "cuts": 1, "kept": False, "changed": 0, "without_sound": 0}
    page.route("**/api/hear-again/*", lambda route: route.fulfill(json={**told, "rows": [row]}))
    page.get_by_role("button", name="Not chatter: it follows the spindle").click()
    with page.expect_request("**/api/hear-again") as asked:
        page.get_by_role("button", name="Other tones of its family still ring").click()
    wish = asked.value.post_data_json["reject"]
    assert wish["family"] is True and wish["order"] > 7 and "only_with" not in wish
    expect(page.locator("[data-family-too]")).to_be_hidden()


def test_a_tone_is_tried_with_the_tool_of_its_cut_only(served, open_page):
    page = open_said(served, open_page)
    page.get_by_label("only with this tool: plum #3").first.check()
    with page.expect_request("**/api/hear-again") as asked:
        page.get_by_role("button", name="Not chatter: it stays at this pitch").first.click()
    assert asked.value.post_data_json["reject"]["only_with"].startswith("plum #3")


def test_a_trial_can_be_stopped_and_changes_nothing(served, open_page):
    page = open_said(served, open_page)
    before = served.monitor.wishes.now
    told = {"status": "running", "share": 0.2, "cuts": 5, "rows": [], "without_sound": 0}

    def answer(route):
        if route.request.method == "GET":
            return route.fulfill(json=told)
        told["status"] = "stopped"
        return route.continue_()

    page.route("**/api/hear-again/*", answer)

    page.get_by_role("button", name="Call it earlier").click()
    button = page.locator("[data-stop]")
    expect(button).to_be_visible()
    expect(page.locator("[data-keep-wish]")).to_be_hidden()
    button.click()
    expect(button).to_be_hidden(timeout=TRIAL_MS)
    assert served.monitor.wishes.now == before


def test_a_tone_to_heed_is_typed_beside_its_button(served, open_page):
    page = open_said(served, open_page)
    button = page.get_by_role("button", name="Let this tone count")
    button.click()
    expect(page.locator("#said-answer")).to_contain_text("Type the tone in hertz")
    page.locator("#heed").fill("high")
    button.click()
    expect(page.locator("#said-answer")).to_contain_text("is no number")
    page.locator("#heed").fill("1432,6")
    button.click()
    expect(page.locator("#trial-word")).not_to_be_empty()

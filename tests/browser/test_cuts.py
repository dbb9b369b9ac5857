"""*Cuts* in the browser: the list, the page of a cut, what is still open, what is kept."""

import uuid

from playwright.sync_api import expect

from tests.browser.conftest import phone, until


def cut_url(served, number: int) -> str:
    """Address of the page of an invented cut."""
    return f"{served.url}cuts/{uuid.UUID(int=number)}"


def test_the_list_tells_each_cut_newest_first(served, open_page):
    page = open_page(served.url + "cuts", **phone(390))
    cards = page.locator(".cut-card")
    expect(cards).to_have_count(5)
    expect(cards.nth(0)).to_contain_text("Quiet, not sure")
    expect(cards.nth(1)).to_contain_text("Chatter")
    expect(cards.nth(1)).to_contain_text("recovered")
    expect(cards.nth(2)).to_contain_text("clock not set")
    expect(cards.nth(3)).to_contain_text("keep")
    expect(cards.nth(4)).to_contain_text("sound removed")
    expect(cards.nth(0)).to_contain_text("10.5\u00a0s in the cut")
    cards.nth(3).tap()
    expect(page.locator("h1")).to_contain_text("Cut of")


def test_an_empty_list_says_what_to_do(served, open_page):
    served.monitor._cuts.clear()
    page = open_page(served.url + "cuts")
    expect(page.locator("main")).to_contain_text("Start the spindle and make a pass")
    served.monitor._cuts.append(served.monitor._stored_cut(9))
    expect(page.locator(".cut-card")).to_have_count(1)


def test_long_lists_go_on_over_pages(served, open_page):
    known = served.monitor._cuts[0]
    served.monitor._cuts[:] = [dict(known, id=str(uuid.UUID(int=n)), sequence=n) for n in range(1, 61)]
    page = open_page(served.url + "cuts")
    seen = page.locator(".cut-card").count()
    while page.get_by_role("link", name="Older cuts").count():
        page.get_by_role("link", name="Older cuts").click()
        page.wait_for_load_state()
        seen += page.locator(".cut-card").count()
    assert seen == 60
    page.get_by_role("link", name="Newest cuts").click()
    expect(page.locator(".cut-card")).to_have_count(25)


def test_the_page_of_a_cut_shows_and_plays_it(served, open_page):
    page = open_page(cut_url(served, 2))
    expect(page.locator("#stretches tbody tr")).to_have_count(4)
    expect(page.locator("#stretches tbody tr").nth(2)).to_contain_text("Marked: at the wall")
    expect(page.locator("#stretches")).to_contain_text("Chatter, 1\u202f433\u00a0Hz, −23\u00a0dB, clear")
    expect(page.locator("#facts")).to_contain_text("53% of the cut time")
    until(page, "document.getElementById('sound').duration > 20")
    page.locator("#stretches [data-seek='14.0']").click()
    until(page, "document.getElementById('sound').currentTime >= 14")
    page.locator("#sight").click(position={"x": 120, "y": 120})
    until(page, "document.getElementById('sound').currentTime < 14")


def test_keep_and_take_back(served, open_page):
    page = open_page(cut_url(served, 4))
    button = page.get_by_role("button", name="Keep this cut")
    assert button.get_attribute("aria-pressed") == "false"
    button.click()
    expect(page.locator("#keep-word")).to_contain_text("kept for good")
    assert served.monitor.cut(str(uuid.UUID(int=4)))["keep"]
    button.click()
    expect(page.locator("#answer")).to_have_text("No longer kept.")
    assert not served.monitor.cut(str(uuid.UUID(int=4)))["keep"]


def test_a_cut_whose_sound_is_gone_says_so(served, open_page):
    page = open_page(cut_url(served, 1))
    expect(page.locator("main")).to_contain_text("The sound was removed to make room")
    assert page.locator("audio").count() == 0


def test_an_open_cut_grows_and_gets_its_sound_at_the_end(served, open_page):
    cut = served.monitor._cuts[2]
    whole = dict(cut)
    cut.update(ended=False, audio=None, cut_time_s=1.0, engaged=[[10.0, 11.0]], duration_s=1.0, end_s=11.0)
    page = open_page(cut_url(served, 3))
    expect(page.locator(".big-verdict")).to_contain_text("Going on")
    expect(page.locator("main")).to_contain_text("once the cut has ended")
    cut.update(cut_time_s=4.0, engaged=[[10.0, 14.0]], duration_s=4.0, end_s=14.0)
    expect(page.locator("#facts")).to_contain_text("4.0\u00a0s")
    cut.update(whole, audio=None, audio_pending=True)
    expect(page.locator(".big-verdict")).to_contain_text("Quiet")
    page.reload()
    expect(page.locator("main")).to_contain_text("The sound of this cut is being filed")
    cut.update(whole)
    expect(page.locator("#play")).to_be_visible()
    expect(page.locator(".big-verdict")).to_contain_text("Quiet")


def test_a_cut_whose_sound_was_never_kept_says_so_and_waits_for_nothing(served, open_page):
    served.monitor._cuts[4].update(audio=None)
    page = open_page(cut_url(served, 5))
    expect(page.locator("main")).to_contain_text("No sound of this cut was kept")
    assert page.locator("[data-follow]").count() == 0
    page.goto(served.url + "cuts")
    expect(page.locator(".cut-card").first).to_contain_text("no sound")


def test_what_was_kept_by_hand_is_found_from_the_log_and_heard(served, open_page):
    page = open_page(served.url + "cuts/kept", **phone(390))
    expect(page.locator("main")).to_contain_text("Nothing yet")
    served.monitor.mark_moment("the squeal")
    page.goto(served.url)
    page.locator("#keep").tap()
    page.get_by_role("link", name="Hear it again").tap()
    kept = page.locator(".by-hand article")
    expect(kept).to_have_count(1)
    expect(kept).to_contain_text("2:00")
    expect(page.locator("#marks")).to_contain_text("the squeal")
    kept.get_by_role("button", name="Marked: the squeal").tap()
    until(page, "document.querySelector('audio').currentTime >= 7.5")
    with page.expect_download() as saved:
        kept.get_by_role("link", name="Save the sound").tap()
    assert saved.value.suggested_filename.startswith("kept-")


def test_a_kept_sound_appears_when_it_is_filed(served, open_page):
    served.monitor.slow_filing = True
    kept = served.monitor.keep_last()
    page = open_page(served.url + "cuts")
    page.get_by_role("link", name="Kept by hand").click()
    expect(page.locator(".by-hand")).to_contain_text("being filed")
    served.monitor._kept[0].update(audio=f"/api/kept/{kept['id']}/audio", audio_pending=False)
    expect(page.locator("audio")).to_be_visible()


def test_an_unknown_cut_is_a_page_that_says_so(served, open_page):
    page = open_page(served.url + "cuts/nothing", alone=True)
    expect(page.locator("h1")).to_contain_text("no cut with this id")


def test_hostile_context_stays_text(served, open_page):
    evil = "<b onmouseover=alert(1)>mill</b>"
    served.monitor._cuts[1]["context"].update(end_mill=evil, part=evil)
    page = open_page(cut_url(served, 2))
    expect(page.locator("main")).to_contain_text(evil)
    page.goto(served.url + "cuts")
    expect(page.locator(".cut-card").nth(3)).to_contain_text(evil)
    assert page.locator("main b[onmouseover]").count() == 0


def test_inch_shops_read_inches(served, open_page):
    served.monitor.units = "inch"
    page = open_page(cut_url(served, 2))
    expect(page.locator("main")).to_contain_text("0.059\u00a0in")


def test_two_cuts_are_moved_together_on_a_phone(served, open_page):
    first, second = (uuid.UUID(int=number) for number in (2, 1))
    page = open_page(f"{served.url}cuts/pair?first={first}&second={second}", **phone(390))
    both = page.get_by_role("region", name="Both cuts, one over the other")
    both.focus()
    both.evaluate("region => { region.scrollLeft = 150; }")
    where = "all => all.map((each) => each.getBoundingClientRect().x)"
    lefts = both.locator("figure svg").evaluate_all(where)
    assert len(lefts) == 2 and lefts[0] == lefts[1] < -50
    size = both.locator("figure text").first.evaluate("text => text.getBoundingClientRect().height")
    assert size >= 11, "large enough to read"

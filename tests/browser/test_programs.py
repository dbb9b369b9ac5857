"""The pages of NC programs in a real browser: load, follow, name a tool, confirm whose a cut was."""

from tests.browser.conftest import phone, until
from tests.dashboards.fake_programs import TEXT

PROGRAM = {"name": "lever.nc", "mimeType": "text/plain", "buffer": "\n".join(TEXT).encode()}


def answered(page, words):
    """Wait until the page says so."""
    until(page, f"document.getElementById('answer').textContent.includes({words!r})")


def test_load_and_follow(served, open_page):
    page = open_page(f"{served.url}programs", **phone(390))
    page.set_input_files("#file", PROGRAM)
    page.click("#load button")
    answered(page, "Loaded.")
    until(page, lambda: page.locator("#list li").count() == 2)
    page.click("button[data-follow=hub]")
    answered(page, "It is followed from this moment on.")
    assert served.monitor.programs.followed == "hub"
    until(page, lambda: "hub.nc" in page.locator("#now").inner_text())
    assert page.evaluate("document.documentElement.scrollWidth") <= 390


def test_a_file_that_is_no_program_says_why(served, open_page):
    page = open_page(f"{served.url}programs", alone=True)
    page.set_input_files("#file", {"name": "x.png", "mimeType": "image/png", "buffer": b"\x89PNG\0"})
    page.click("#load button")
    answered(page, "binary")
    assert page.locator("#list li").count() == 1


def test_confirm_whose_a_cut_was(served, open_page):
    page = open_page(f"{served.url}programs")
    page.click("button[data-tool=plum]")
    answered(page, "All totals follow.")
    until(page, lambda: "No cut waits" in page.locator("#doubts").inner_text())
    assert served.monitor.programs.open_doubts == []


def test_name_a_tool(served, open_page):
    page = open_page(f"{served.url}programs/hub")
    page.select_option("#tool-5", "drill")
    answered(page, "Kept.")
    assert served.monitor.programs.named == {3: "plum", 5: "drill"}


def test_now_says_the_section_and_how_sure(served, open_page):
    page = open_page(served.url)
    assert page.locator("#program").is_hidden()
    served.monitor.programs.followed, served.monitor.programs.section = "hub", 1
    served.monitor.show("cutting")
    until(
        page,
        lambda: "hub.nc: section 2 of 2: T5 drill 4.2 – likely" in page.locator("#program").inner_text(),
    )
    assert page.locator("#program").is_visible()

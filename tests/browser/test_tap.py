"""The tap test in a real browser: cautions first, hit by hit, kept, set aside."""

from tests.browser.conftest import phone, until
from tests.dashboards.fake_checks import blocks, hits


def begun(page, served):
    """Follow the cautions, name both sensors and begin."""
    served.monitor.show("stopped")
    page.check("#safe")
    page.click("#what summary")
    page.select_option("#force", "1")
    page.select_option("#response", "2")
    page.fill("#force_full_scale", "500")
    page.fill("#response_full_scale", "60")
    page.fill("#hits", "4")
    page.click("#begin button[type=submit]")
    until(
        page,
        lambda: (
            page.locator("#live").get_attribute("data-status") == "quiet"
            or served.monitor.taps.state()["status"] == "quiet"
        ),
    )


def test_it_asks_for_the_cautions_first(served, open_page):
    page = open_page(f"{served.url}tap", alone=True)
    page.click("#begin button[type=submit]")
    until(page, "document.getElementById('problem').textContent.includes('stopped and disabled')")
    assert served.monitor.taps.state()["status"] == "off"


def test_hit_by_hit_and_kept(served, open_page):
    page = open_page(f"{served.url}tap", **phone(390))
    begun(page, served)
    for block in blocks(hits()):
        served.monitor.taps.take(block)
    until(page, lambda: "Done: 4 good hits." in page.inner_text("#said"))
    until(page, lambda: page.locator("#modes tbody tr").count() == 3)
    assert page.locator(".hits .refused").inner_text().strip() == "double hit"
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    page.fill("#note", "wax")
    page.click("#keep button")
    until(page, lambda: page.locator("#tests li").count() == 1 and "in use" in page.inner_text("#tests"))
    page.click("#tests button")
    until(page, lambda: "set aside" in page.inner_text("#tests"))
    assert served.monitor.taps.in_use() == {}


def test_given_up(served, open_page):
    page = open_page(f"{served.url}tap")
    begun(page, served)
    page.click("#give-up")
    until(page, lambda: page.inner_text("#said") == "Not begun.")

"""The page *Sensors* in a real browser: describe, turn over, calibrate."""

from tests.browser.conftest import phone, until


def answered(page, words):
    """Wait until the page says so."""
    until(page, f"document.getElementById('answer').textContent.includes({words!r})")


def test_turn_over_and_calibrate_with_a_finger(served, open_page):
    page = open_page(f"{served.url}sensors", **phone(390))
    assert page.locator("#finish").is_disabled()
    for number, axis in enumerate("xyz"):
        for way, sign in (("up", 1.0), ("down", -1.0)):
            lies = [0.0, 0.0, 0.0]
            lies[number] = sign
            served.monitor.sensors._catcher.lies = lies
            page.click(f"button[data-place='{axis} {way}']")
            answered(page, f"Measured: {axis} {way}.")
    until(page, lambda: page.locator("#finish").is_enabled())
    page.click("#finish")
    answered(page, "Calibrated and kept.")
    until(page, lambda: "full scale is 16" in page.locator("#now").inner_text())
    assert page.evaluate("document.documentElement.scrollWidth") <= 390


def test_describe_it_and_read_what_it_may_be_asked(served, open_page):
    page = open_page(f"{served.url}sensors")
    page.select_option("#part", "IIS3DWB")
    page.select_option("#mounting", "magnet")
    page.click("#describe button")
    answered(page, "Kept.")
    until(page, lambda: "chatter above is invisible" in page.locator("#fit").inner_text())


def test_what_is_wrong_is_said(served, open_page):
    page = open_page(f"{served.url}sensors", alone=True)
    page.fill("#value", "much")
    page.click("#enter button")
    answered(page, "Full scale cannot be")

"""The spindle check in a real browser: cautions first, speed by speed, finished, compared."""

from tests.browser.conftest import phone, until
from tests.dashboards.fake_checks import blocks, idle


def fed(served, rotation_hz, seed=0):
    """Let the sensor hear one steady run."""
    until_page = served.monitor.spindle
    for block in blocks(idle(rotation_hz, 10.2, seed=seed)):
        until_page.take(block)


def test_it_asks_for_the_cautions_first(served, open_page):
    page = open_page(f"{served.url}spindle", alone=True)
    page.click("#begin button[type=submit]")
    until(page, "document.getElementById('problem').textContent.includes('no cutter')")
    assert served.monitor.spindle.state()["status"] == "off"


def test_speed_by_speed_finished_and_set_aside(served, open_page):
    page = open_page(f"{served.url}spindle", **phone(390))
    page.check("#safe")
    page.check("input[name=warmed_up]")
    page.fill("#speeds", "3000 6000")
    page.fill("#temperature_c", "31,5")
    page.click("#begin summary")
    page.uncheck("input[name=run_up]")
    page.click("#begin button[type=submit]")
    for rpm in (3000, 6000):
        until(page, lambda rpm=rpm: f"Set {rpm} rpm" in page.inner_text("#said"))
        page.click("#run")
        until(page, lambda: served.monitor.spindle.state()["status"] == "recording")
        fed(served, rpm / 60)
    until(page, lambda: "The check is done" in page.inner_text("#said"))
    page.click("#finish")
    until(page, lambda: page.locator("#checks button").count() == 1)
    assert "32 °C" in page.inner_text("#checks").replace("\u00a0", " ")
    assert page.locator("#outcome table.figures").count() == 2
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    page.click("#checks button")
    until(page, lambda: "set aside" in page.inner_text("#checks"))


def test_limits_are_kept(served, open_page):
    page = open_page(f"{served.url}spindle")
    page.fill("#velocity", "1,2")
    page.click("#limits button")
    until(page, lambda: served.monitor.spindle.limits() == {"velocity": 1.2})


def test_a_balance_is_calculated_from_two_kept_runs(served, open_page):
    from shopmon.service.settings import Machine
    from tests.service.test_spindle_desk import kept_run

    kept_run(served.monitor.spindle, [(20.0, 70.0)])
    kept_run(served.monitor.spindle, [(20.0, 70.0), (30.0, 90.0)], seed=4)
    assert (
        len(served.monitor.spindle.checks()) == 2 and Machine().name == served.monitor.spindle.machine().name
    )
    page = open_page(f"{served.url}spindle", alone=True, **phone(390))
    page.click("#balance button")
    until(page, lambda: "mass or radius is missing" in page.inner_text("#balance-problem"))
    for name, value in (("mass_g", "1,0"), ("radius_mm", "30"), ("angle_deg", "90"), ("turning_kg", "4")):
        page.fill(f"#{name}", value)
    page.click("#balance button")
    until(page, lambda: "Balance quality G" in page.inner_text("#balance-told"))
    told = page.inner_text("#balance-told").replace("\u00a0", " ")
    assert "Imbalance 20 g mm" in told and "250° from the mark" in told
    assert page.evaluate("document.documentElement.scrollWidth") <= 390

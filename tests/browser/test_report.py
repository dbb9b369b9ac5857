"""The report in a real browser: on screen, printed on A4 and letter, and the pages that lead to it."""

import re

import pytest
from playwright.sync_api import expect

from shopmon.service.reporting.pdf import as_pdf, browser
from tests.browser.conftest import Served, phone
from tests.dashboards.kept_monitor import KeptMonitor
from tests.records.carrying.filled import fill

PAPERS_PT = {"a4": (595, 842), "letter": (612, 792)}


@pytest.fixture
def shop(tmp_path):
    """A filled data folder."""
    return fill(tmp_path / "data")


@pytest.fixture
def kept(shop):
    """Pages over it."""
    monitor = KeptMonitor(shop.root)
    serving = Served(monitor)
    yield serving
    serving.stop()
    monitor.close()


def wider_than_its_window(page) -> bool:
    """Tell whether the page scrolls sideways."""
    return page.evaluate("document.documentElement.scrollWidth > innerWidth + 1")


def test_the_report_opens_from_the_page_of_a_cut(shop, kept, open_page):
    page = open_page(f"{kept.url}cuts/{shop.cut_ids[0]}")
    assert not page.get_by_label("with the sound").is_checked()
    with page.expect_popup() as opened:
        page.get_by_role("button", name="Open the report").click()
    report = opened.value
    expect(report.locator("h1")).to_have_text("Report on a cut")
    assert report.locator("svg[role=img]").count() == 2 and report.locator("audio").count() == 0
    page.get_by_label("with the sound").check()
    with page.expect_popup() as opened:
        page.get_by_role("button", name="Open the report").click()
    expect(opened.value.locator("audio")).to_have_attribute("src", re.compile("^data:audio/flac;base64,"))


@pytest.mark.parametrize("width", [390, 1440])
def test_nothing_hangs_over_the_edge(shop, kept, open_page, width):
    for address in (f"cuts/{shop.cut_ids[2]}/report", "report/part?part=brake+lever", "take-along"):
        page = open_page(kept.url + address, **(phone(390) if width == 390 else {}))
        assert not wider_than_its_window(page), address


def test_data_is_taken_along(shop, kept, open_page):
    page = open_page(f"{kept.url}take-along")
    with page.expect_download() as saved:
        page.get_by_role("link", name="All cuts as CSV").click()
    assert saved.value.suggested_filename == "cuts.csv"
    for verdict, lines in (("chatter", 1), ("quiet", 4)):  # a person called the one that rang quiet
        page.get_by_label("Verdict").select_option(verdict)
        with page.expect_download() as saved:
            page.get_by_role("button", name="Only these, as CSV").click()
        assert saved.value.path().read_text().count("\n") == lines


@pytest.mark.skipif(browser() is None, reason="Chromium is not installed: nothing is printed")
@pytest.mark.parametrize("paper", PAPERS_PT)
def test_it_prints(shop, kept, paper):
    import urllib.request

    with urllib.request.urlopen(f"{kept.url}cuts/{shop.cut_ids[2]}/report?paper={paper}") as answer:
        raw = as_pdf(answer.read().decode())
    boxes = re.findall(rb"/MediaBox\s*\[\s*0\s+0\s+([\d.]+)\s+([\d.]+)", raw)
    assert 1 <= len(boxes) <= 3
    for width, height in boxes:
        assert (round(float(width)), round(float(height))) == PAPERS_PT[paper]

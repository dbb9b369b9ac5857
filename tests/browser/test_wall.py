"""*Mark on the wall* at the foot of the page of a cut: with touches, with keys, and with what cannot be."""

import uuid

import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import expect

from tests.browser.conftest import desk, phone
from tests.dashboards.fake_monitor import CHATTER_HZ
from tests.surfaces.walls import Camera, Wall, photograph

RPM, FEED = 11_796.4, 1800.0
CUT = str(uuid.UUID(int=2))  # it rang
FOUND_MS = 60_000


@pytest.fixture(scope="module")
def wall_file(tmp_path_factory):
    """A photograph of a wall that rang, as a PNG."""
    wall = Wall(rpm=RPM, feed_mm_min=FEED, chatter_hz=CHATTER_HZ, chatter_um=0.4)
    picture = photograph(wall, Camera(um_per_px=5.0, turned_deg=12, uneven=0.3, glare=0.3, blur_px=0.7))
    path = tmp_path_factory.mktemp("wall") / "wall.png"
    Image.fromarray(picture.astype(np.uint8)).save(path)
    return path


def at_the_wall(served, open_page, **screen):
    page = open_page(f"{served.url}cuts/{CUT}", **screen)
    page.locator("#wall").scroll_into_view_if_needed()
    return page


def keep_photo(page, file):
    page.locator("#wall-photo [type=file]").set_input_files(file)
    page.get_by_role("button", name="Keep it with this cut").click()
    expect(page.locator("#wall-photo-answer")).to_contain_text("is kept")
    expect(page.locator("#wall-over")).to_be_visible()


def test_it_asks_for_the_feed_and_then_says_what_to_expect(served, open_page):
    page = at_the_wall(served, open_page, **phone(390))
    expect(page.locator("#wall-missing")).to_contain_text("enter the table feed")
    page.locator("#wall-cut [name=feed_mm_min]").fill("1800,0")
    page.get_by_role("button", name="Reckon again").click()
    expect(page.locator("#wall-expected li")).to_have_count(6)
    expect(page.locator("#wall-expected")).to_contain_text("Tooth marks every 0.0509\u00a0mm")
    expect(page.locator("#wall-missing")).to_be_hidden()


def test_a_spacing_by_hand_and_one_that_is_no_number(served, open_page):
    page = at_the_wall(served, open_page)
    page.locator("#wall-cut [name=feed_mm_min]").fill("1800")
    page.locator("#wall-spacing [name=spacing_mm]").fill("0.1526")
    page.get_by_role("button", name="What is it?").click()
    expect(page.locator("#wall-spacing-answer")).to_contain_text("runout")
    page.locator("#wall-spacing [name=spacing_mm]").fill("wide")
    page.keyboard.press("Enter")
    expect(page.locator("#wall-spacing-answer")).to_contain_text("is no number")


def test_a_photograph_is_kept_measured_and_drawn_over(served, open_page, wall_file):
    page = at_the_wall(served, open_page, **desk(1440))
    page.locator("#wall-cut [name=feed_mm_min]").fill("1800")
    keep_photo(page, wall_file)
    picture = page.locator("#wall-over")
    box = picture.bounding_box()
    scale = box["width"] / 560
    for column in (80, 480):  # 400 pixels of 5 µm: two millimetres of a rule
        picture.click(position={"x": column * scale, "y": 200 * scale})
    page.locator("#wall-measure [name=rule]").fill("2")
    um = float(page.locator("#wall-measure [name=um_per_pixel]").input_value())
    assert um == pytest.approx(5.0, rel=0.01)
    page.get_by_role("button", name="Measure the marks", exact=True).click()
    expect(page.locator("#wall-verdict")).to_contain_text("Chatter at about", timeout=FOUND_MS)
    assert page.locator("#wall-over .wall-line.mark").count() >= 6
    (photo,) = served.monitor.walls.photos(CUT)
    assert photo["reading"]["result"]["verdict"] == "chatter"
    page.reload()
    expect(page.locator("#wall-photos li")).to_contain_text("Chatter at about")
    page.locator("#wall-photos button").click()
    expect(page.locator("#wall-verdict")).to_contain_text("Chatter at about")


def test_everything_by_keyboard(served, open_page, wall_file):
    page = at_the_wall(served, open_page, **desk(1440))
    keep_photo(page, wall_file)
    page.locator("[name=wall-mode][value=part]").focus()
    page.keyboard.press("Space")
    point = page.locator("[data-point='0']")
    point.focus()
    for _ in range(3):
        page.keyboard.press("Shift+ArrowRight")
    page.keyboard.press("ArrowDown")
    expect(page.locator("[data-point='0']")).to_be_focused()
    page.locator("#wall-measure [name=um_per_pixel]").fill("5")
    page.keyboard.press("Enter")
    expect(page.locator("#wall-verdict")).to_contain_text("every 0.1", timeout=FOUND_MS)
    (photo,) = served.monitor.walls.photos(CUT)
    left, top, width, _ = photo["reading"]["question"]["region_px"]
    assert left > 20 and top >= 1 and left + width == 560


def test_notes_and_pictures_that_cannot_be(served, open_page, tmp_path):
    page = at_the_wall(served, open_page, alone=True)
    bad = tmp_path / "<img src=x onerror=alert(1)>.png"
    bad.write_bytes(b"\x89PNG\r\n\x1a\n" + b"no picture" * 50)
    page.locator("#wall-photo [type=file]").set_input_files(bad)
    page.get_by_role("button", name="Keep it with this cut").click()
    expect(page.locator("#wall-photo-answer")).to_contain_text("Take")
    assert served.monitor.walls.photos(CUT) == []
    good = tmp_path / "good.png"
    Image.fromarray(np.full((80, 90), 90, np.uint8)).save(good)
    page.locator("#wall-photo [name=note]").fill("<b>bold</b><script>alert(1)</script>")
    keep_photo(page, good)
    page.reload()
    assert page.locator("#wall b, #wall-photos script").count() == 0
    expect(page.locator("#wall-photos")).to_contain_text("<b>bold</b>")
    page.locator("#wall-photos button").click()
    page.locator("#wall-measure [name=um_per_pixel]").fill("5")
    page.keyboard.press("Enter")
    expect(page.locator("#wall-verdict")).to_contain_text("Cannot tell")

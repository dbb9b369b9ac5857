"""The page of a cut in the browser: picture, lanes, cursor, zoom, sound and the spectrum of a moment."""

import uuid

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import desk, phone, until

CUT = str(uuid.UUID(int=2))
READY = (
    "document.getElementById('review').dataset.whole === 'true'"
    " && document.getElementById('here-speed').textContent !== '–'"
)
AT = "Number(document.getElementById('review').dataset.at)"
SOUND = "document.getElementById('sound')"


@pytest.fixture
def open_cut(served, open_page):
    """Open the page of a cut that rings, and wait until its picture is whole."""

    def open_(wait=True, cut_id=CUT, **options):
        page = open_page(f"{served.url}cuts/{cut_id}", **options)
        if wait:
            until(page, READY)
        return page

    return open_


def ink(page) -> float:
    """Share of the picture's pixels that are far from its commonest colour."""
    return page.evaluate(
        """() => {
      const drawn = document.getElementById("lanes-canvas");
      const copy = document.createElement("canvas");
      [copy.width, copy.height] = [drawn.width, Math.round(drawn.height * 0.5)];
      const pen = copy.getContext("2d", { willReadFrequently: true });
      pen.drawImage(drawn, 0, 0);
      const data = pen.getImageData(0, 0, copy.width, copy.height).data;
      const light = [];
      for (let at = 0; at < data.length; at += 4) light.push(data[at] + data[at + 1] + data[at + 2]);
      const middle = light.slice().sort((a, b) => a - b)[light.length >> 1];
      return light.filter((value) => Math.abs(value - middle) > 150).length / light.length;
    }"""
    )


def test_the_picture_is_drawn_and_says_what_is_at_the_cursor(open_cut):
    page = open_cut()
    assert 0.005 < ink(page) < 0.5
    sight = page.get_by_role("slider", name="Moment in the sound")
    assert sight.get_attribute("aria-valuemax") == "21.0"
    assert "in metal" in sight.get_attribute("aria-valuetext")
    page.locator("#stretches [data-seek='14.0']").click()
    page.locator("#play").click()
    sight.focus()
    page.keyboard.press("ArrowRight")
    expect(page.locator("#here-state")).to_contain_text("chatter at 1\u202f433\u00a0Hz")
    assert "chatter" in sight.get_attribute("aria-valuetext")


def test_everything_is_reached_by_keys(open_cut):
    page = open_cut()
    page.locator("#sight").focus()
    page.keyboard.press("Home")
    assert page.evaluate(AT) == 0
    page.keyboard.press("Shift+ArrowRight")
    assert page.evaluate(AT) == pytest.approx(2.1, abs=0.01)
    page.keyboard.press("ArrowUp")
    page.keyboard.press("+")
    page.keyboard.press("ArrowRight")
    assert page.evaluate(AT) == pytest.approx(2.1 + 0.0525, abs=0.005)
    page.keyboard.press("PageDown")
    assert page.evaluate(AT) > 6
    page.keyboard.press("0")
    page.keyboard.press("End")
    assert page.evaluate(AT) == pytest.approx(21.0, abs=0.01)
    page.keyboard.press("Home")
    page.keyboard.press(" ")
    until(page, f"!{SOUND}.paused && {AT} > 0.2")
    page.keyboard.press(" ")
    until(page, f"{SOUND}.paused")
    reached = set()
    for _ in range(60):
        page.keyboard.press("Tab")
        reached.add(page.evaluate("document.activeElement.id || document.activeElement.name || ''"))
    assert {"play", "slow", "only", "sight"} <= reached | {"sight"}


def test_from_the_whole_cut_to_single_turns_without_a_gap(open_cut):
    page = open_cut()
    page.locator("#sight").focus()
    for _ in range(11):
        page.keyboard.press("ArrowUp")
        assert ink(page) > 0.001, "something is drawn at once at every step"
    until(page, READY)
    begun = page.evaluate("performance.getEntriesByName('review-step').length")
    assert begun >= 11
    for _ in range(11):
        page.keyboard.press("ArrowDown")
    until(page, READY)
    assert ink(page) > 0.005


def test_wheel_and_drag_and_orders(open_cut):
    page = open_cut()
    box = page.locator("#sight").bounding_box()
    x, y = box["x"] + box["width"] * 0.7, box["y"] + 150
    page.mouse.move(x, y)
    page.mouse.wheel(0, -600)
    until(page, "performance.getEntriesByName('review-step').length > 0")
    before = page.evaluate(AT)
    page.mouse.down()
    page.mouse.move(x - 200, y, steps=5)
    page.mouse.up()
    assert page.evaluate(AT) == before, "a drag goes along and leaves the cursor"
    page.mouse.click(x, y)
    assert page.evaluate(AT) != before
    page.locator("[name=axis][value=orders]").check()
    until(page, READY)
    assert ink(page) > 0.003
    scrolled = page.evaluate("scrollY")
    page.get_by_role("button", name="Whole cut").click()
    page.mouse.move(x, y)
    page.mouse.wheel(0, 300)
    until(page, f"scrollY > {scrolled}")


def test_a_touch_puts_the_cursor_and_two_fingers_zoom(open_cut):
    page = open_cut(**phone(390))
    page.locator("#sight").scroll_into_view_if_needed()
    box = page.locator("#sight").bounding_box()
    page.touchscreen.tap(box["x"] + box["width"] * 0.75, box["y"] + 120)
    assert page.evaluate(AT) > 12
    steps = page.evaluate("performance.getEntriesByName('review-step').length")
    page.evaluate(
        """() => {
      const sight = document.getElementById("sight");
      sight.setPointerCapture = () => {};
      const box = sight.getBoundingClientRect();
      const fire = (type, pointerId, x) => sight.dispatchEvent(new PointerEvent(type, {
        pointerId, pointerType: "touch", clientX: box.left + x, clientY: box.top + 100, bubbles: true }));
      fire("pointerdown", 1, 150); fire("pointerdown", 2, 200);
      for (let apart = 0; apart < 50; apart += 5) {
        fire("pointermove", 1, 150 - apart);
        fire("pointermove", 2, 200 + apart);
      }
      fire("pointerup", 1, 100); fire("pointerup", 2, 250);
    }"""
    )
    until(page, f"performance.getEntriesByName('review-step').length > {steps}")
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_the_sound_and_the_cursor_go_together(open_cut):
    page = open_cut()
    page.locator("[data-seek='12.5']").click()
    until(page, f"{SOUND}.currentTime > 13")
    apart = page.evaluate(
        f"""async () => {{
      const apart = [];
      for (let n = 0; n < 20; n += 1) {{
        await new Promise(requestAnimationFrame);
        apart.push(Math.abs({SOUND}.currentTime - {AT}));
      }}
      return Math.max(...apart);
    }}"""
    )
    assert apart < 0.05
    page.locator("[name=slow][value='0.5']").check()
    assert page.evaluate(f"{SOUND}.playbackRate") == 0.5
    page.locator("[name=slow][value='0.25']").check()
    assert page.evaluate(f"{SOUND}.playbackRate") == 0.25
    assert page.evaluate(f"{SOUND}.preservesPitch")
    page.locator("[name=only][value=left]").check()
    until(page, f"{SOUND}.src.endsWith('only=left') && !{SOUND}.paused && {SOUND}.currentTime > 13")
    assert page.evaluate(f"{SOUND}.playbackRate") == 0.25
    page.locator("#play").click()
    where = page.evaluate(AT)
    page.locator("[name=only][value=strays]").check()
    until(page, f"{SOUND}.src.endsWith('only=strays') && {SOUND}.readyState > 1")
    assert page.evaluate(f"{SOUND}.currentTime") == pytest.approx(where, abs=0.01)
    assert page.evaluate(f"{SOUND}.duration") == pytest.approx(21.0, abs=0.01)


def test_the_spectrum_of_the_moment_names_its_lines(open_cut):
    page = open_cut()
    page.locator("#sight").focus()
    page.keyboard.press("End")
    for _ in range(2):
        page.keyboard.press("Shift+ArrowLeft")
    rows = page.locator("#moment-lines tbody tr")
    expect(rows.filter(has_text="tooth passing").first).to_be_visible()
    until(page, "document.getElementById('moment-spectrum').dataset.status === 'ready'")
    stray = rows.filter(has_text="1432.6")
    expect(stray).to_contain_text("new since the tooth met metal")
    expect(stray).to_contain_text("7.29")
    expect(stray).to_contain_text("−20\u00a0dB")
    expect(page.locator("#moment-said")).to_contain_text("the alarm is raised at")


def test_a_cut_without_tones_offers_none(open_cut):
    page = open_cut(cut_id=str(uuid.UUID(int=5)))
    expect(page.locator("[name=only][value=strays]")).to_be_disabled()
    expect(page.locator("[name=only][value=left]")).to_be_enabled()


def test_without_its_sound_the_lanes_are_there_and_say_why(open_cut):
    page = open_cut(wait=False, cut_id=str(uuid.UUID(int=1)))
    expect(page.locator("#review-messages")).to_contain_text("removed to make room")
    expect(page.locator("#here-speed")).to_contain_text("rpm")
    assert page.locator("#play").count() == 0
    expect(page.locator("#moment-spectrum")).to_be_hidden()


def test_a_file_that_went_missing_is_said_and_the_rest_works(served, open_cut):
    path = served.monitor.audio_path(CUT)
    away = path.with_name("away.flac")
    path.rename(away)
    try:
        page = open_cut(wait=False, alone=True)
        expect(page.locator("#review-messages")).to_contain_text("missing")
        expect(page.locator("#here-speed")).to_contain_text("rpm")
        page.get_by_role("button", name="Keep this cut").click()
        expect(page.locator("#answer")).to_contain_text("No longer kept.")
    finally:
        away.rename(path)


def test_a_hostile_tone_stays_text(served, open_cut):
    evil = "<img src=x onerror=alert(1)>"
    served.monitor._cuts[1]["stray"] = [
        {"frequency_hz": 2100.0, "level_db": -40.0, "start_s": 1.0, "end_s": 4.0, "why": evil}
    ]
    served.monitor._cuts[1]["marks"][0]["note"] = evil * 1000
    page = open_cut()
    assert page.locator("main img[src=x]").count() == 0


@pytest.mark.parametrize(
    "options", [phone(360), phone(390, scheme="dark"), desk(1920), desk(1440, scheme="dark")]
)
def test_nothing_is_wider_than_the_screen(open_cut, options):
    page = open_cut(**options)
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_a_mark_that_no_cut_covers_opens_like_a_cut(served, open_page):
    served.monitor.mark_moment("the squeal")
    page = open_page(served.url + "cuts/kept")
    page.get_by_role("button", name="Look at its sound").click()
    page.wait_for_url("**/cuts/kept/*")
    until(page, READY)
    assert ink(page) > 0.005
    expect(page.locator("#play")).to_be_visible()
    page.get_by_role("button", name="Marked: the squeal").click()
    until(page, f"!{SOUND}.paused && {AT} > 7.5")


def test_a_mark_whose_sound_is_gone_says_so(served, open_page):
    served.monitor.mark_moment("long ago")
    page = open_page(served.url + "cuts/kept", alone=True)
    served.monitor.show("no-input")
    page.get_by_role("button", name="Look at its sound").click()
    expect(page.locator("#mark-answer")).to_contain_text("no sound coming in")


def test_an_unknown_kept_sound_is_a_page_that_says_so(served, open_page):
    page = open_page(served.url + "cuts/kept/nothing", alone=True)
    expect(page.locator("h1")).to_contain_text("no kept sound with this id")


def test_where_it_rang_is_one_touch_away_and_makes_no_noise(open_cut):
    page = open_cut(**phone(390))
    page.get_by_role("button", name="Rang from 14.0").tap()
    expect(page.locator("#here-state")).to_contain_text("chatter")
    assert page.evaluate(f"{SOUND}.paused")


def test_what_a_step_nearer_would_show_is_fetched_while_nothing_moves(open_cut):
    """Finer columns than those that are seen are asked for by the page itself."""
    page = open_cut()
    page.evaluate(
        """() => {
      window.widths = [];
      const fetched = window.fetch;
      window.fetch = async (url, options) => {
        if (!String(url).includes("/spectrogram?")) return fetched(url, options);
        const query = new URLSearchParams(String(url).split("?")[1]);
        window.widths.push(query.get("to") - query.get("from"));
        return new Response(new Uint8Array(65536));
      };
    }"""
    )
    page.locator("#sight").focus()
    for _ in range(3):
        page.keyboard.press("ArrowUp")
        until(page, READY)
    # of the 2.6 s that are seen a tile holds 0.8 s, of what a step nearer would show 0.4 s
    until(page, "window.widths.some((width) => width < 0.9) && Math.min(...window.widths) < 0.5")


def test_nothing_is_fetched_ahead_from_a_monitor_that_is_slow(open_cut):
    page = open_cut()
    asked, over = [], []

    def slowly(route):
        asked.append(route.request.url)
        page.wait_for_timeout(400)
        route.continue_()

    def ended(request):
        over.extend([request.url] if "/spectrogram?" in request.url else [])

    page.on("requestfinished", ended)
    page.on("requestfailed", ended)
    page.route("**/spectrogram?*", slowly)
    page.reload()  # from its first picture on, so that nothing was fetched ahead while it was still quick
    until(page, READY)
    until(page, lambda: asked and len(over) >= len(asked))
    asked.clear()
    page.wait_for_timeout(1000)
    assert not asked


def test_a_monitor_in_trouble_is_not_hurried(served, open_page):
    """A picture that cannot be had is asked for again after a while, not at every frame."""
    page = open_page(f"{served.url}cuts", alone=True)
    asked = []

    def fail(route):
        asked.append(route.request.url)
        route.fulfill(status=503, body="{}", content_type="application/json")

    page.route("**/spectrogram?*", fail)
    page.goto(f"{served.url}cuts/{CUT}")
    until(page, lambda: len(asked) >= 1)
    page.wait_for_timeout(1500)
    assert len(asked) <= 4, f"{len(asked)} times in a second and a half"
    page.unroute("**/spectrogram?*")
    until(page, READY)

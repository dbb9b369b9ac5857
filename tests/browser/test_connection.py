"""What the page does when the monitor is away, silent, crowded, or nobody looks."""

from playwright.sync_api import expect
from shopmon.dashboards.app import create_app

from tests.browser.conftest import until
from tests.browser.measures import measure

LONG_MS = 20_000


def test_a_monitor_that_goes_away_is_never_shown_as_present(served, open_page):
    served.monitor.show("cutting")
    page = open_page(served.url, alone=True)
    until(page, lambda: served.viewers() == 1)
    served.monitor.show("cutting")
    served.stop()
    expect(page.locator("#state-word")).to_have_text("No connection", timeout=LONG_MS)
    expect(page.locator("#state-facts")).to_contain_text("since")
    expect(page.locator("#state-facts")).to_contain_text("trying again")
    for part in ("rpm", "clock", "level-text"):
        expect(page.locator(f"#{part}")).to_have_text("–")
    expect(page.locator("#veil")).to_be_visible()
    expect(page.locator("#audio")).to_contain_text("not known")
    page.locator("#mark").click()
    expect(page.locator("#answer")).to_contain_text("did not answer")
    served.monitor.mark_moment("while it was away")
    served.start()
    expect(page.locator("#state-word")).to_have_text("Cutting", timeout=LONG_MS)
    expect(page.locator("#answer")).to_contain_text("Connected again at")
    expect(page.locator("#events")).to_contain_text("while it was away")
    served.monitor.show("chatter")
    expect(page.locator("#state-word")).to_have_text("Chatter")


def test_a_network_that_swallows_everything_is_noticed_too(served, open_page):
    page = open_page(served.url, alone=True)
    until(page, lambda: served.viewers() == 1)
    page.context.set_offline(True)
    expect(page.locator("#state-word")).to_have_text("No connection", timeout=LONG_MS)
    page.context.set_offline(False)
    expect(page.locator("#state-word")).to_have_text("Spinning", timeout=LONG_MS)


def test_a_quiet_monitor_is_not_called_away(served, open_page):
    page = open_page(served.url)
    page.wait_for_timeout(4000)
    expect(page.locator("#state-word")).to_have_text("Spinning")


def test_a_hidden_page_closes_its_stream_and_takes_it_up_again(served, open_page):
    page = open_page(served.url)
    until(page, lambda: served.viewers() == 1)
    measure(page, "hide", True)
    served.monitor.show("cutting")
    until(page, lambda: served.viewers() == 0)
    served.monitor.show("stopped")
    expect(page.locator("#state-word")).to_have_text("Spinning")
    measure(page, "hide", False)
    expect(page.locator("#state-word")).to_have_text("Stopped")
    until(page, lambda: served.viewers() == 1)


def test_where_all_places_are_taken_the_state_still_follows(served, open_page):
    served.app.extensions["streams"].limit = 0
    page = open_page(served.url, alone=True)
    expect(page.locator("#veil")).to_contain_text("Too many screens")
    served.monitor.show("chatter")
    expect(page.locator("#state-word")).to_have_text("Chatter", timeout=LONG_MS)
    served.app.extensions["streams"].limit = 4
    until(page, lambda: served.viewers() == 1)
    served.monitor.show("cutting")
    expect(page.locator("#veil")).to_be_hidden()


def test_pages_carry_their_own_files_for_ever_and_nothing_else(served):
    client = create_app(served.monitor).test_client()
    first = client.get("/")
    address = first.text.split('href="')[2].split('"')[0]
    assert "immutable" in client.get(address).headers["Cache-Control"]
    assert client.get("/assets/0/look/style.css").headers["Cache-Control"] == "no-cache"
    for hidden in ("now/view.py", "now/now.html", "../pyproject.toml", "look/%2e%2e/app.py"):
        assert client.get(f"/assets/0/{hidden}").status_code == 404
    assert first.headers["Cache-Control"] == "no-store"

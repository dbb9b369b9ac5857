"""A real browser, and the pages served to it over an invented monitor."""

import threading
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from shopmon.dashboards.app import create_app
from shopmon.dashboards.server import Server

from tests.dashboards.fake_monitor import FakeMonitor

CHROMIUM = Path("/usr/bin/chromium")
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
PATIENCE_MS = 10_000


def pytest_collection_modifyitems(items):
    """Everything in this folder needs the browser."""
    for item in items:
        if "tests/browser" in item.path.as_posix():
            item.add_marker(pytest.mark.browser)


def until(page, truth) -> None:
    """Wait until `truth`, an expression in the page or a function here, is true; fail when it never is.

    The pages forbid what Playwright's own waiting for an expression needs: turning text into code.
    """
    for _ in range(PATIENCE_MS // 50):
        if page.evaluate(truth) if isinstance(truth, str) else truth():
            return
        page.wait_for_timeout(50)
    raise AssertionError(f"never came true: {truth}")


class Served:
    """A monitor and the server of its pages, which can be taken away and brought back at the same address."""

    def __init__(self, monitor: FakeMonitor):
        self.monitor = monitor
        self.port = 0
        self.start()

    def start(self) -> None:
        """Serve, at the address of before."""
        self.app = create_app(self.monitor)
        self._server = Server(self.app, "127.0.0.1", self.port)
        self.port = self._server.port
        self._thread = threading.Thread(target=self._server.run, daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Go away, as after a power cut."""
        self._server.close()
        self._thread.join()

    def viewers(self) -> int:
        """Number of open event streams."""
        return self.app.extensions["streams"].count

    @property
    def url(self) -> str:
        """Address of *Now*."""
        return f"http://127.0.0.1:{self.port}/"


@pytest.fixture(scope="session")
def browser():
    """One Chromium for all tests."""
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    if not CHROMIUM.exists():
        pytest.skip(f"{CHROMIUM} is not installed: the pages are not tried in a browser")
    with playwright.sync_playwright() as driver:
        running = driver.chromium.launch(executable_path=str(CHROMIUM), args=ARGUMENTS)
        yield running
        running.close()


@pytest.fixture(scope="session")
def recordings(tmp_path_factory):
    """Folder where the invented recordings are written once."""
    return tmp_path_factory.mktemp("recordings")


@pytest.fixture
def served(recordings):
    """Pages over a monitor whose state the test sets."""
    monitor = FakeMonitor(recordings, story=False)
    serving = Served(monitor)
    yield serving
    serving.stop()
    monitor.close()


@pytest.fixture
def told(recordings):
    """Pages over a monitor that tells its story, four times as fast as life."""
    monitor = FakeMonitor(recordings, speed=4.0)
    serving = Served(monitor)
    yield serving
    serving.stop()
    monitor.close()


@pytest.fixture
def open_page(browser):
    """Open pages that may neither fail, nor complain, nor ask anyone but the monitor.

    Call it with an address and options of the browser context; ``alone=True`` lets requests fail,
    ``scripts=False`` keeps the page as the server made it while the test can still look at it.
    """
    contexts, complaints = [], []

    def open_(url: str, *, alone: bool = False, scripts: bool = True, **options):
        options.setdefault("viewport", {"width": 1200, "height": 800})
        context = browser.new_context(**options)
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(PATIENCE_MS)
        host = urlsplit(url).netloc
        if not scripts:
            page.route("**/*.js", lambda route: route.fulfill(body="", content_type="text/javascript"))

        def asked(request):
            parts = urlsplit(request.url)
            if parts.scheme not in ("data", "blob") and parts.netloc != host:
                complaints.append(f"asked {request.url}")

        def said(message):
            network = "Failed to load resource" in message.text
            if message.type in ("error", "warning") and not (alone and network):
                complaints.append(message.text)

        page.on("request", asked)
        page.on("console", said)
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.goto(url)
        return page

    yield open_
    for context in contexts:
        context.close()
    assert not complaints


def phone(width: int, height: int = 844, scheme: str = "light") -> dict:
    """Context options of a phone or tablet."""
    touch = {"has_touch": True, "is_mobile": True}
    return {"viewport": {"width": width, "height": height}, "color_scheme": scheme, **touch}


def desk(width: int, height: int = 900, scheme: str = "light") -> dict:
    """Context options of a screen with a mouse."""
    return {"viewport": {"width": width, "height": height}, "color_scheme": scheme}

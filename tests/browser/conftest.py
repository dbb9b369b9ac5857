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


@pytest.fixture
def served(tmp_path):
    """Pages over a monitor whose state the test sets."""
    monitor = FakeMonitor(tmp_path, story=False)
    serving = Served(monitor)
    yield serving
    serving.stop()
    monitor.close()


@pytest.fixture
def told(tmp_path):
    """Pages over a monitor that tells its story, four times as fast as life."""
    monitor = FakeMonitor(tmp_path, speed=4.0)
    serving = Served(monitor)
    yield serving
    serving.stop()
    monitor.close()


@pytest.fixture
def open_page(browser):
    """Open pages that may neither fail, nor complain, nor ask anyone but the monitor.

    Call it with an address and options of the browser context; ``alone=True`` lets requests fail.
    """
    contexts, complaints = [], []

    def open_(url: str, *, alone: bool = False, **options):
        options.setdefault("viewport", {"width": 1200, "height": 800})
        context = browser.new_context(**options)
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(PATIENCE_MS)
        host = urlsplit(url).netloc

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
    return {"viewport": {"width": width, "height": height}, "has_touch": True, "is_mobile": True, "color_scheme": scheme}


def desk(width: int, height: int = 900, scheme: str = "light") -> dict:
    """Context options of a screen with a mouse."""
    return {"viewport": {"width": width, "height": height}, "color_scheme": scheme}

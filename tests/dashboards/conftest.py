"""A monitor without a machine, and applications in front of it."""

import pytest
from shopmon.dashboards.access import Access
from shopmon.dashboards.app import create_app

from tests.dashboards.fake_monitor import FakeMonitor
from tests.dashboards.serving import Served


@pytest.fixture(scope="session")
def recordings(tmp_path_factory):
    """Folder of the invented recordings, written once."""
    return tmp_path_factory.mktemp("recordings")


@pytest.fixture
def monitor(recordings):
    """The stand-in, told by the test what happens."""
    monitor = FakeMonitor(recordings, story=False)
    yield monitor
    monitor.close()


@pytest.fixture
def app(monitor):
    """The application for this computer only."""
    return create_app(monitor)


@pytest.fixture
def client(app):
    """A browser on this computer."""
    return app.test_client()


@pytest.fixture
def now():
    """A clock that the test moves: ``now[0]`` in seconds."""
    return [1000.0]


@pytest.fixture
def access(monitor, now):
    """Access with pairing, on the test's clock."""
    return Access(monitor.archive, lan=True, clock=lambda: now[0])


@pytest.fixture
def lan_app(monitor, access):
    """The application on the network."""
    return create_app(monitor, access=access)


@pytest.fixture
def served(monitor):
    """The application behind a real server."""
    served = Served(monitor)
    yield served
    served.close()

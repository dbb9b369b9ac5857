"""What all tests share: the real recordings, and which tests need a part of the system that is not there."""

import ctypes.util
import os
from pathlib import Path

import pytest

ALSA = Path("/usr/share/alsa/alsa.conf")


@pytest.fixture(scope="session")
def reference_data() -> Path:
    """Folder of real recordings nobody here made; found only through the environment."""
    folder = os.environ.get("SHOPMON_REFERENCE_DATA")
    if not folder:
        pytest.skip("SHOPMON_REFERENCE_DATA is not set: real recordings are not at hand")
    return Path(folder)


def pytest_runtest_setup(item):
    """Skip what is heard through PortAudio where that, or ALSA for the virtual microphone, is absent."""
    if item.get_closest_marker("sound") and not (ctypes.util.find_library("portaudio") and ALSA.exists()):
        pytest.skip("PortAudio with ALSA is not installed: the virtual microphone is not heard")

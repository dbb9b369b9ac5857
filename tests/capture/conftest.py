"""The virtual microphone of this process: PortAudio reads the ALSA configuration once, so there is one."""

import os

import pytest

from tests.capture.virtual_microphone import VirtualMicrophone, numbered_pcm


@pytest.fixture(scope="session")
def session_microphone(tmp_path_factory):
    """The one virtual microphone that PortAudio knows in this process."""
    with VirtualMicrophone(tmp_path_factory.mktemp("alsa"), numbered_pcm(1500)) as microphone:
        before = os.environ.get("ALSA_CONFIG_PATH")
        os.environ.update(microphone.env)
        yield microphone
        if before is None:
            del os.environ["ALSA_CONFIG_PATH"]
        else:
            os.environ["ALSA_CONFIG_PATH"] = before


@pytest.fixture
def virtual_microphone(session_microphone):
    """Play numbered samples from the first on; paused until started."""
    session_microphone.pause()
    session_microphone.load(numbered_pcm(1500))
    yield session_microphone
    session_microphone.start()  # so that a stream that a failed test left behind can be closed

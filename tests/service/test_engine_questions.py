"""What a page asks the listener is answered after every change that was made before it was asked."""

import threading
from types import SimpleNamespace

import numpy as np
import pytest

from shopmon.listening.setup import ListenerSettings, Setup
from shopmon.service.engine import Engine
from tests.listening.synthetic import blocks

FASTER = Setup(nominal_rpm=9000.0, flutes=2)


class Sink:
    """Hears nothing but the blocks; does one thing in the middle of the second."""

    def __init__(self):
        self.heard = 0
        self.meanwhile = lambda: None

    def __getattr__(self, name):
        return lambda *_: None

    def block(self, _):
        self.heard += 1
        if self.heard == 2:
            self.meanwhile()


@pytest.fixture
def engine():
    sound = np.zeros(20_000)
    source = SimpleNamespace(
        name="test", source_id="test", blocks=lambda stop: blocks(sound), close=lambda: None
    )
    return Engine(source, ListenerSettings(), Sink(), Setup(nominal_rpm=12_000.0, flutes=2))


def test_a_change_made_just_before_holds_in_the_answer(engine):
    told = []

    def change_and_ask():
        # as from a page, while the listener works on a block
        engine.change_setup(FASTER, lambda stream_id, sample: None)
        asking = threading.Thread(
            target=lambda: told.append(engine.ask(lambda ear: ear.setup.nominal_rpm, 60.0)), daemon=True
        )
        asking.start()
        while not engine._questions:
            assert asking.is_alive()
        engine.asking = asking

    engine._sink.meanwhile = change_and_ask
    engine.start()
    engine.finished.wait(60)
    engine.asking.join(60)
    assert told == [9000.0] and engine.failure is None


def test_a_question_nobody_waits_for_any_more_is_dropped(engine):
    asked = []
    engine._sink.meanwhile = lambda: engine.ask(asked.append, timeout_s=0.0)
    engine.start()
    engine.finished.wait(60)
    assert asked == [] and engine.failure is None

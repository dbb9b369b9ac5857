"""A listener state that cannot be read, of another version or from elsewhere, keeps nobody from listening."""

from types import SimpleNamespace

import numpy as np
import pytest

from shopmon.listening.listener import Listener
from shopmon.listening.setup import ListenerSettings, Setup
from shopmon.listening.state import learned
from shopmon.service.engine import Engine
from shopmon.service.monitor import _learned_before
from tests.listening.synthetic import RATE_HZ, blocks


class Sink:
    """Counts the blocks."""

    def __init__(self):
        self.heard = 0

    def __getattr__(self, name):
        return lambda *_: None

    def block(self, _):
        self.heard += 1


def good() -> dict:
    """Return what a listener learned in a second of noise."""
    listener = Listener(ListenerSettings(), RATE_HZ, 1)
    for block in blocks(np.random.default_rng(1).normal(0, 0.01, 48_000)):
        listener.feed(block)
    return learned(listener.snapshot())


@pytest.mark.parametrize(
    "spoil",
    [
        lambda state: state["speed"].popitem(),
        lambda state: state.update(background=[]),
        lambda state: state.update(shape=None),
        lambda state: state.clear(),
    ],
)
def test_it_listens_all_the_same(spoil):
    state = good()
    spoil(state)
    sound = np.zeros(20_000)
    source = SimpleNamespace(
        name="test",
        source_id=next(iter(blocks(sound))).source_id,
        blocks=lambda stop: blocks(sound),
        close=lambda: None,
    )
    sink = Sink()
    engine = Engine(source, ListenerSettings(), sink, Setup(nominal_rpm=12_000.0, flutes=2), state)
    engine._run()
    assert engine.failure is None and sink.heard


def test_a_state_without_its_parts_is_none():
    class Archive:
        def last_state(self, source_id):
            return {"schema": good()["schema"]}

    assert _learned_before(Archive(), "mic") is None

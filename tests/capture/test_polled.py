"""What live sources have in common: turns until stopped or closed, and each loss said once."""

import threading

from shopmon.capture.polled import RETURN_HINT, PolledSource


class Counting(PolledSource):
    """Yields the number of its turn; closed or stopped by what it is told."""

    def __init__(self, ends):
        super().__init__("x", "x", lambda: 5.0)
        self.turns, self.ends = 0, ends

    def turn(self, now_s):
        assert now_s == 5.0
        self.turns += 1
        if self.turns == 3:
            self.ends(self)
        yield self.turns

    def _news(self):
        return type("News", (), {"wait": lambda self, timeout_s: None})()


def test_it_takes_turns_until_it_is_stopped():
    stop = threading.Event()
    assert list(Counting(lambda source: stop.set()).blocks(stop)) == [1, 2, 3]


def test_it_takes_turns_until_it_is_closed():
    def close(source):
        source._closed = True

    assert list(Counting(close).blocks(threading.Event())) == [1, 2, 3]


def test_a_loss_is_said_once_until_it_is_back():
    source = Counting(None)
    (lost,) = source._lost("Gone.")
    assert (lost.code, lost.hint) == ("device-lost", RETURN_HINT)
    assert not list(source._lost("Gone."))
    assert source._here("it", "1 Hz").text == "Listening to it: 1 Hz."
    assert [notice.hint for notice in source._lost("Gone.", "Look.")] == ["Look."]
    assert source._here("it", "1 Hz").code == "device-returned"

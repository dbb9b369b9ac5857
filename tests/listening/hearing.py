"""Run a listener over samples and look at what it said."""

import numpy as np

from shopmon.listening.events import ChatterEnded, ChatterStarted, CutEnded, Frame, Notice
from shopmon.listening.listener import Listener
from shopmon.listening.setup import ListenerSettings, Setup
from tests.listening.synthetic import RATE_HZ, blocks


def listener(rate_hz=RATE_HZ, *, rpm=None, flutes=None, channels=1, start=None, **settings):
    """Return a listener with a setup from its first sample on."""
    made = Listener(ListenerSettings(**settings), rate_hz, channels, start)
    if start is None:
        made.change_setup(Setup(nominal_rpm=rpm, flutes=flutes), 0)
    return made


def listen(samples, rate_hz=RATE_HZ, *, size=4000, **kwargs):
    """Return all events of a recording."""
    channels = 1 if np.ndim(samples) == 1 else np.shape(samples)[1]
    ears = listener(rate_hz, channels=channels, **kwargs)
    events = []
    for block in blocks(samples, size, rate_hz=rate_hz):
        events += ears.feed(block)
    return events + ears.finish()


def plain(events):
    """Return the events as plain tuples that compare exactly."""
    return [
        (
            type(event).__name__,
            *(v.tobytes() if isinstance(v, np.ndarray) else v for v in vars(event).values()),
        )
        for event in events
    ]


def of(kind, events):
    """Return the events of one kind."""
    return [event for event in events if isinstance(event, kind)]


def states(events):
    """Return the states in the order they were entered."""
    found = []
    for frame in of(Frame, events):
        if not found or found[-1] != frame.state:
            found.append(frame.state)
    return [str(state) for state in found]


def cuts(events):
    """Return the ended cuts."""
    return [event.cut for event in of(CutEnded, events)]


def chatter(events):
    """Return the ended chatter events."""
    return [event.chatter for event in of(ChatterEnded, events)]


def alarms(events):
    """Return the chatter events as first raised."""
    return [event.chatter for event in of(ChatterStarted, events)]


def codes(events):
    """Return the codes of the notices."""
    return [event.code for event in of(Notice, events)]

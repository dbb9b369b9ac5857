"""Several sources on one clock: arrival order changes nothing, and a tachometer finds its place."""

import random
import threading

import numpy as np
import pytest

from shopmon.capture.aligner import AlignedSource, Lane, Order
from shopmon.capture.source import SourceFormat, SourceNotice
from shopmon.signals.block import Block, Channel
from shopmon.signals.sensors.tachometer import edge_codes, edge_places

MIC, BOARD = (Channel(),), (Channel(kind="accelerometer"), Channel(kind="tachometer"))


class Scripted:
    """A source that says what it is told to."""

    def __init__(self, source_id, items, channels=MIC, rate_hz=48_000.0):
        self.source_id = self.name = source_id
        self.items, self.closed = items, 0
        self.format = SourceFormat(
            source_id=source_id,
            name=source_id,
            sample_rate_hz=rate_hz,
            channels=channels,
            code_format="int16",
        )

    def blocks(self, stop):
        yield from self.items

    def close(self):
        self.closed += 1


def block_of(source_id, first, frames, channels=MIC, rate_hz=48_000.0, edges=(), stream="1"):
    codes = np.full((frames, len(channels)), 7, np.int16)
    if channels[-1].kind == "tachometer":
        codes[:, -1] = edge_codes([edge - first for edge in edges], frames, "int16")
    return Block(
        codes=codes, code_format="int16", sample_rate_hz=rate_hz, first_sample=first, source_id=source_id,
        stream_id=f"{source_id}{stream}", channels=channels,
    )  # fmt: skip


def story(seconds=4.0):
    """(arrival, lane, block) of a microphone at 48 kHz and a board at 3 kHz whose clock is a bit slow."""
    events = []
    for number in range(int(seconds * 50)):
        end = (number + 1) * 960
        events.append((0.01 + end / 48_000, 0, block_of("mic", end - 960, 960)))
    edges = np.arange(30, seconds * 3000, 30.0)  # 100 turns a second
    for number in range(int(seconds * 10)):
        first = number * 300
        within = edges[(edges >= first) & (edges < first + 300)]
        arrived = 0.01 + (first + 300) / 3000 * (1 + 1e-4)
        events.append((arrived, 1, block_of("board", first, 300, BOARD, 3000.0, within)))
    return sorted(events, key=lambda event: event[:2])


def ordered(events, delays=None):
    """Play the story; each block keeps its time of arrival but is handed over up to 0.15 s later."""
    order, latest, handed = Order([Lane(source=None), Lane(source=None)]), [0.0, 0.0], []
    for at, lane, block in events:
        late = at + (delays.random() * 0.15 if delays else 0.0)
        latest[lane] = max(latest[lane] + 1e-9, late)  # a source's own order stays
        handed.append((latest[lane], at, lane, block))
    out = []
    for now, at, lane, block in sorted(handed, key=lambda item: item[0]):
        order.take(lane, at, block)
        out += order.release(now)
    return out + list(order.release(99.0, everything=True))


def facts(blocks):
    return [(b.source_id, b.first_sample, b.frames, b.codes.tobytes()) for b in blocks]


@pytest.mark.parametrize("seed", range(5))
def test_the_order_in_which_they_are_handed_over_changes_nothing(seed):
    assert facts(ordered(story(), random.Random(seed))) == facts(ordered(story()))


def test_everything_arrives_once_and_in_its_own_order():
    out = ordered(story(), random.Random(1))
    for source_id, total in (("mic", 200), ("board", 40)):
        mine = [block for block in out if block.source_id == source_id]
        assert len(mine) == total
        streams = [block.stream_id for block in mine]
        for one in dict.fromkeys(streams):
            firsts = [block.first_sample for block in mine if block.stream_id == one]
            assert firsts == sorted(firsts)


def test_the_pulses_of_the_board_become_a_column_of_the_microphone():
    mic = [block for block in ordered(story()) if block.source_id == "mic"]
    late = [block for block in mic if block.channels[-1].kind == "tachometer"]
    assert len(late) > 150
    assert len({block.stream_id for block in late}) == 1
    assert late[0].first_sample == 0
    places = np.concatenate([edge_places(b.tach_codes, b.first_sample) for b in late])
    assert np.median(np.diff(places)) == pytest.approx(480.0, rel=1e-3)
    assert np.abs(np.diff(places[20:]) - 480).max() < 25
    assert [channel.kind for channel in late[0].channels] == ["microphone", "accelerometer", "tachometer"]


def test_a_source_that_stalls_does_not_hold_up_the_first():
    events = [event for event in story() if event[1] == 0 or event[0] < 1.0]
    order = Order([Lane(source=None), Lane(source=None)])
    held = []
    for at, lane, block in events:
        order.take(lane, at, block)
        held += order.release(at)
    assert sum(block.source_id == "mic" for block in held) >= 198


def heard(source):
    return list(source.blocks(threading.Event()))


def test_notices_of_the_others_are_told_as_theirs():
    lost = SourceNotice(code="device-lost", text="Gone.")
    mic = Scripted("mic", [SourceNotice(code="device-opened", text="Here."), block_of("mic", 0, 960)])
    gate = threading.Event()

    def board():
        yield block_of("board", 0, 300, BOARD, 3000.0)
        yield lost
        gate.set()

    def slow(stop):
        yield from mic.items
        gate.wait(5)
        threading.Event().wait(0.2)

    mic.blocks = slow
    other = Scripted("board", board(), BOARD, 3000.0)
    source = AlignedSource([mic, other])
    items = heard(source)
    codes = [item.code for item in items if isinstance(item, SourceNotice)]
    assert codes[0] == "device-opened"
    assert "other-lost" in codes
    assert "device-lost" not in codes
    (told,) = source.others()
    assert told == {
        "source": "board", "device": "board", "present": False, "use": "heard", "drift_ppm": None
    }  # fmt: skip
    source.close()
    assert mic.closed == other.closed == 1


def test_an_error_of_the_first_is_raised_and_one_of_the_others_is_told():
    def broken():
        yield block_of("mic", 0, 960)
        raise OSError("torn")

    with pytest.raises(OSError, match="torn"):
        heard(AlignedSource([Scripted("mic", broken()), Scripted("b", [])]))


def test_where_a_cut_lies_in_the_other_source():
    order = Order([Lane(source=None), Lane(source=None)])
    for at, lane, block in story():
        order.take(lane, at, block)
        list(order.release(at))
    # 3 s into the microphone's first stream, less where its second stream began
    origin = order._layout.origin
    assert order.sample_on(1, 3 * 48_000 - origin) == pytest.approx(9000, abs=3)

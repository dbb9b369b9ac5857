"""A board at the other end of a real serial line: a pair of pseudo-terminals, opened by pyserial."""

import os
import random
import threading
import time
import tty

import numpy as np
import pytest

from shopmon.capture.factory import open_source
from shopmon.capture.sampler.board import BoardSource
from shopmon.capture.source import SourceNotice
from shopmon.errors import SettingError
from shopmon.signals.block import Block
from tests.capture.sampler.boards import SoftBoard, numbers_of


class Line:
    """The board's end of a serial line."""

    def __init__(self):
        self.end, device = os.openpty()
        tty.setraw(device)
        self.path = os.ttyname(device)
        self._device = device

    def send(self, data):
        while data:
            data = data[os.write(self.end, data[:2000]) :]

    def unplug(self):
        os.close(self.end)
        os.close(self._device)


class Ear:
    """Reads a source in a thread of its own."""

    def __init__(self, source):
        self.source, self.stop = source, threading.Event()
        self.items: list[Block | SourceNotice] = []
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self):
        for item in self.source.blocks(self.stop):
            self.items.append(item)

    @property
    def blocks(self):
        return [item for item in self.items if isinstance(item, Block)]

    @property
    def codes(self):
        return [item.code for item in self.items if isinstance(item, SourceNotice)]

    def wait(self, until, timeout_s=20.0):
        deadline = time.monotonic() + timeout_s
        while not until(self):
            assert time.monotonic() < deadline, (self.codes, len(self.blocks))
            time.sleep(0.01)

    def end(self):
        self.stop.set()
        self._thread.join(5)
        self.source.close()
        self.source.close()


@pytest.fixture
def line():
    line = Line()
    yield line
    for end in (line.end, line._device):
        try:
            os.close(end)
        except OSError:
            continue


@pytest.fixture
def ear(line):
    ear = Ear(BoardSource(line.path))
    ear.wait(lambda ear: ear.source._fetcher is not None)
    yield ear
    ear.end()


def test_a_whole_stream_arrives_whole(line, ear):
    board = SoftBoard()
    for _ in range(200):
        line.send(board.packed())
    ear.wait(lambda ear: sum(block.frames for block in ear.blocks) == 6400)
    assert ear.codes == ["device-opened"]
    assert isinstance(ear.items[0], SourceNotice)
    index = np.concatenate([numbers_of(block.codes) for block in ear.blocks])
    assert (index == np.arange(6400)).all()
    assert ear.source.format.sample_rate_hz == 26_667.0


def hostile(board, rng, frames, corrupt, lost):
    """Yield the bytes of a bad line: bytes changed, frames missing, resets, garbage in between."""
    for number in range(frames):
        if number % 400 == 399:
            # a reset in mid-frame, with what a starting board prints
            yield board.packed()[: rng.randrange(100)]
            yield b"MPY: soft reboot\r\n"
            board.restart(sample_rate_hz=rng.choice([26_667.0, 26_640.5]))
            yield b"\0"
            continue
        packed = bytearray(board.packed())
        if rng.random() < lost:
            continue
        for at in range(len(packed)):
            if rng.random() < corrupt:
                packed[at] = rng.randrange(256)
        yield bytes(packed)


def check_truth(blocks):
    """Every sample right, every gap of its true length; return how many samples came."""
    origin, end, stream, taken = 0, 0, None, 0
    for block in blocks:
        index = numbers_of(block.codes)
        if block.stream_id != stream:
            stream, origin, end = block.stream_id, index[0], 0
            assert block.first_sample == 0
            assert block.quality.gap == 0
        assert (index == origin + block.first_sample + np.arange(block.frames)).all()
        assert block.first_sample - end == block.quality.gap
        end = block.end_sample
        taken += block.frames
    return taken


@pytest.mark.parametrize("frames", [8, 32])
def test_a_bad_line_gives_no_wrong_sample_and_every_gap(line, ear, frames):
    """1 % of the bytes changed, 5 % of the frames lost, resets and rate changes."""
    board, rng = SoftBoard(frames=frames), random.Random(frames)
    for piece in hostile(board, rng, 2000, 0.01, 0.05):
        line.send(piece)
    board.restart(sample_rate_hz=12_345.0)
    line.send(b"\0" + board.packed())
    ear.wait(lambda ear: ear.blocks and ear.blocks[-1].sample_rate_hz == 12_345.0)
    taken = check_truth(ear.blocks)
    # what a frame of that length survives: 0.99 to the power of its bytes, times 0.95
    expected = 2000 * frames * 0.95 * 0.99 ** len(board.packed())
    assert 0.7 * expected < taken < 1.3 * expected
    assert len({block.stream_id for block in ear.blocks}) >= 5
    assert "line-lost" in ear.codes


def test_an_unplugged_board_is_waited_for_and_taken_again(line, ear):
    board = SoftBoard()
    line.send(board.packed() + board.packed())
    ear.wait(lambda ear: ear.blocks)
    line.unplug()
    ear.wait(lambda ear: "device-lost" in ear.codes)
    assert ear.source.format is None
    again = Line()
    ear.source._wanted = again.path
    ear.wait(lambda ear: ear.source._fetcher is not None)
    for _ in range(10):
        again.send(board.packed())
    ear.wait(lambda ear: "device-returned" in ear.codes)
    assert ear.codes.count("device-lost") == 1
    assert len({block.stream_id for block in ear.blocks}) == 2
    check_truth(ear.blocks)
    again.unplug()


def test_a_port_that_is_not_there_is_waited_for(tmp_path):
    ear = Ear(BoardSource(str(tmp_path / "ttyACM9")))
    ear.wait(lambda ear: ear.items)
    assert ear.codes == ["device-lost"]
    assert "ttyACM9" in ear.items[0].text
    ear.end()


def test_a_port_that_sends_something_else_is_said(line, ear):
    line.send(b"ok T:21.0\0\nok T:21.0\0\n" * 5)
    ear.wait(lambda ear: "device-lost" in ear.codes)
    text = next(item.text for item in ear.items if item.code == "device-lost")
    assert "nothing that can be read" in text
    line.send(b"\0" + SoftBoard().packed())
    ear.wait(lambda ear: ear.blocks)


def test_a_board_without_a_port_in_the_settings_is_refused():
    with pytest.raises(SettingError, match="on which port"):
        open_source("board")


def test_a_full_queue_is_said_and_counted(line, ear, monkeypatch):
    monkeypatch.setattr("shopmon.capture.sampler.board.QUEUE_BYTES", -1)
    board = SoftBoard()
    for _ in range(20):
        line.send(board.packed())
    ear.wait(lambda ear: "consumer-slow" in ear.codes)
    monkeypatch.undo()
    for _ in range(3):
        line.send(board.packed())
    ear.wait(lambda ear: ear.blocks)
    check_truth(ear.blocks)

"""Another source on the first one's clock: tones right, what is missing said as missing."""

import threading

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shopmon.capture.aligner import AlignedSource, Lane, Order
from shopmon.capture.joining import LEAST_MISSING_S
from shopmon.signals.block import Block, Channel
from tests.capture.two_clocks import BOARD_HZ, MIC_HZ, board_blocks, mic_blocks, played

SECONDS, END = 6.0, -4800  # the very end waits for what never comes
TIMES = np.arange(round(SECONDS * MIC_HZ)) / MIC_HZ
MIC = 0.1 * np.sin(2 * np.pi * 311 * TIMES)


def tone(hz, level=0.3):
    """A tone on the board's three axes, the third at rest; times are those of the common clock."""

    def axes(at_s):
        wave = level * np.sin(2 * np.pi * hz * at_s)
        return np.stack([wave, 0.5 * wave, np.full_like(wave, 1 / 16)], axis=1)

    return axes


def whole(blocks):
    """All frames of the last stream, shape (frames, columns)."""
    last = [block for block in blocks if block.stream_id == blocks[-1].stream_id]
    return np.concatenate([block.codes for block in last])


def strongest_hz(codes):
    window = codes[END - 2 * MIC_HZ : END] * np.hanning(2 * MIC_HZ)
    power = np.abs(np.fft.rfft(window, 8 * window.size))
    power[:2000] = 0
    return np.argmax(power) * MIC_HZ / (8 * window.size)


@pytest.mark.parametrize("off", [0.0, 80e-6, -4e-3])
def test_a_tone_of_the_board_has_level_and_frequency_on_the_microphones_clock(off):
    out = played(mic_blocks(MIC), board_blocks(tone(2500.0), SECONDS, off=off))
    codes = whole(out)
    assert codes.shape[1] == 4
    assert [channel.source_id for channel in out[-1].channels] == [None, "board", "board", "board"]
    assert strongest_hz(codes[:, 1].astype(float)) == pytest.approx(2500.0, abs=0.3)
    settled = codes[-MIC_HZ:END, 1:] / 32768
    assert np.std(settled, axis=0) * 2**0.5 == pytest.approx([0.3, 0.15, 0], abs=2e-3)
    assert settled[:, 2].mean() == pytest.approx(1 / 16, abs=1e-4)
    assert not (codes[-MIC_HZ:END, 1:] == 0).any()


def test_the_microphone_is_as_it_was():
    alone = np.concatenate([block.codes for _, _, block in mic_blocks(MIC)])
    gone = played(mic_blocks(MIC), board_blocks(tone(2500.0), SECONDS, gone=((2.0, 3.5),)))
    assert np.array_equal(np.concatenate([block.codes[:, :1] for block in gone]), alone)
    assert sum(block.quality.gap for block in gone) == 0


def test_what_is_missing_is_said_as_missing_and_the_stream_goes_on():
    out = played(mic_blocks(MIC), board_blocks(tone(2500.0), SECONDS, gone=((2.0, 3.5),)))
    assert len({block.stream_id for block in out}) <= 2  # its own first blocks, and all that have both
    codes = whole(out)
    ends = codes.shape[0] - round((SECONDS - 2.0) * MIC_HZ)
    silent = codes[ends + 2000 : ends + round(1.4 * MIC_HZ), 1:]
    assert (silent == 0).all()
    assert not (codes[-MIC_HZ:END, 1:] == 0).any()


def test_a_lost_frame_is_a_hole_that_cannot_be_overheard():
    out = played(mic_blocks(MIC), board_blocks(tone(2500.0), SECONDS, lost=(200,)))
    there = whole(out)[MIC_HZ:END, 1] != 0
    begun, ended = np.flatnonzero(np.diff(there.astype(int)))
    assert not there[begun + 1]
    assert LEAST_MISSING_S * MIC_HZ <= ended - begun < 3 * LEAST_MISSING_S * MIC_HZ


def test_an_overload_stays_an_overload():
    def axes(at_s):
        wave = np.clip(3 * np.sin(2 * np.pi * 900 * at_s), -1, 1)
        return np.stack([wave] * 3, axis=1)

    codes = whole(played(mic_blocks(MIC), board_blocks(axes, SECONDS)))[-MIC_HZ:END, 1]
    assert np.mean(np.abs(codes.astype(int)) >= 32700) == pytest.approx(0.78, abs=0.03)


@settings(deadline=None, max_examples=15)
@given(st.lists(st.integers(100, 4000), min_size=1, max_size=6), st.lists(st.integers(16, 900), min_size=1))
def test_the_sizes_of_the_blocks_change_nothing(of_mic, of_board):
    mic, axes = MIC[: 2 * MIC_HZ], tone(1200.0)
    first = played(mic_blocks(mic, late_s=0.0), board_blocks(axes, 2.0, late_s=0.0))
    other = played(
        mic_blocks(mic, sizes=of_mic, late_s=0.0), board_blocks(axes, 2.0, sizes=of_board, late_s=0.0)
    )
    a, b = whole(first)[-MIC_HZ:END], whole(other)[-MIC_HZ:END]
    if b.shape == a.shape and not (b[:, 1:] == 0).any():
        assert np.abs(a.astype(int) - b).max() < 330  # of 9830: the clock is known from other arrivals


def test_a_source_too_slow_or_too_wide_is_recorded_only():
    slow = [
        (block.end_sample / 500 + 0.01, 1, block)
        for block in (
            Block(
                codes=np.ones((50, 3), np.int16), code_format="int16", sample_rate_hz=500.0,
                first_sample=50 * number, source_id="slow", stream_id="s",
                channels=(Channel(kind="accelerometer"),) * 3,
            )
            for number in range(40)
        )
    ]  # fmt: skip
    out = played(mic_blocks(MIC[: 2 * MIC_HZ]), slow)
    assert {block.codes.shape[1] for block in out} == {1}


def test_a_change_of_rate_in_the_middle_begins_a_stream():
    board = board_blocks(tone(2500.0), 3.0)
    slower = board_blocks(tone(2500.0), 3.0, rate_hz=12_000.0, stream="b")
    board += [(3.0 + at, lane, block) for at, lane, block in slower]
    out = played(mic_blocks(MIC), board)
    tops = list(dict.fromkeys((block.stream_id, block.channels[-1].top_hz) for block in out))
    assert [round(top or 0) for _, top in tops][-2:] == [10933, 4920]


def test_what_comes_while_the_primary_is_away_is_not_held_for_ever():
    order, out = Order([Lane(source=None), Lane(source=None)]), []
    for at, _, block in board_blocks(tone(500.0), 12.0):
        order.take(1, at, block)
        out += order.release(at)
    assert len(order.lanes[1].joint._fed) * 400 / BOARD_HZ < 7
    assert len(order.lanes[1].waiting) * 400 / BOARD_HZ < 7
    assert sum(block.frames for block in out) > 5 * BOARD_HZ  # recorded, whether the primary is there or not


def test_who_fetches_late_loses_nothing_that_was_there_in_time():
    """The engine's thread was held up for 3 s: everything waits in the queue when it goes on."""
    mic, board = mic_blocks(MIC), board_blocks(tone(2500.0), SECONDS)
    sources = [Fixed("mic", MIC_HZ, (Channel(),)), Fixed("board", BOARD_HZ, board[0][2].channels)]
    source = AlignedSource(sources, clock=lambda: 3.0 + SECONDS)
    for at_s, lane, block in sorted([*mic, *board], key=lambda event: event[:2]):
        source._queue.put((lane, at_s, block))
    source._queue.put((0, SECONDS, None))
    out = [item for item in source.blocks(threading.Event()) if item.source_id == "mic"]
    assert not (whole(out)[MIC_HZ:END, 1:] == 0).any()


class Fixed:
    """A source that is only asked for its name: what it sends is in the queue already."""

    def __init__(self, source_id, rate_hz, channels):
        self.source_id = self.name = source_id

    def blocks(self, stop):
        stop.wait()
        return iter(())

"""A microphone and a board whose clocks differ, as blocks with the time at which each arrives."""

import numpy as np

from shopmon.capture.aligner import Lane, Order
from shopmon.signals.block import Block, Channel

MIC_HZ, BOARD_HZ = 48_000, 26_667.0
AXES = (Channel(kind="accelerometer"),) * 3


def _sized(total, sizes):
    first, number = 0, 0
    while first < total:
        size = min(sizes[number % len(sizes)], total - first)
        yield first, size
        first, number = first + size, number + 1


def mic_blocks(samples, sizes=(960,), late_s=0.004, seed=1):
    """(arrival, lane, block) of a microphone; its clock is the common one."""
    rng = np.random.default_rng(seed)
    codes = np.rint(np.clip(samples, -1, 1) * 32767).astype(np.int16)[:, None]
    return [
        (
            (first + size) / MIC_HZ + 0.01 + late_s * rng.random(),
            0,
            Block(
                codes=codes[first : first + size], code_format="int16", sample_rate_hz=float(MIC_HZ),
                first_sample=first, source_id="mic", stream_id="mic", channels=(Channel(),),
            ),
        )
        for first, size in _sized(len(samples), sizes)
    ]  # fmt: skip


def board_blocks(
    axes, seconds, *, off=0.0, sizes=(400,), late_s=0.004, gone=(), lost=(), rate_hz=BOARD_HZ, stream="a"
):
    """(arrival, lane, block) of a board whose clock is fast by a share `off`.

    Parameters
    ----------
    axes
        From times of the common clock to samples of shape (frames, 3).
    gone
        Stretches of time in which it is unplugged; afterwards its samples count from 0 in a new stream.
    lost
        Numbers of blocks that got lost.
    """
    rng = np.random.default_rng(2)
    true_hz = rate_hz * (1 + off)
    out, origin, part = [], 0, 0
    for number, (first, size) in enumerate(_sized(int(seconds * true_hz), sizes)):
        end_s = (first + size) / true_hz
        if any(begin <= end_s <= end for begin, end in gone):
            origin, part = first + size, part + 1
            continue
        if number in lost:
            continue
        samples = axes(np.arange(first, first + size) / true_hz)
        block = Block(
            codes=np.rint(np.clip(samples, -1, 32767 / 32768) * 32768).astype(np.int16),
            code_format="int16", sample_rate_hz=rate_hz, first_sample=first - origin, source_id="board",
            stream_id=f"{stream}{part}", channels=AXES,
        )  # fmt: skip
        out.append((end_s + 0.012 + late_s * rng.random(), 1, block))
    return out


def played(*lanes):
    """Let everything arrive at its time; return the blocks of the first source as they are delivered."""
    order, out = Order([Lane(source=None) for _ in lanes]), []
    events = [event for lane in lanes for event in lane]
    for at_s, number, block in sorted(events, key=lambda event: event[:2]):
        order.take(number, at_s, block)
        out += order.release(at_s)
    out += order.release(0.0, everything=True)
    return [block for block in out if block.source_id == "mic"]

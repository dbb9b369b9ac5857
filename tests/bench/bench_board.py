"""What a sampler board at full speed costs: 26.7 kS/s of three axes, captured and listened to."""

import os
import subprocess
import sys
import time
import tty
from collections.abc import Callable

import numpy as np

from shopmon.capture.sampler.board import BoardSource
from shopmon.cutting.simulation.pass_sound import render
from shopmon.cutting.simulation.scenarios import scenario
from shopmon.listening.listener import Listener
from shopmon.listening.setup import ListenerSettings, Setup
from shopmon.signals.block import Block
from tests.capture.sampler.boards import SoftBoard
from tests.capture.two_clocks import MIC_HZ, board_blocks, mic_blocks, played

RATE_HZ, FRAMES, SECONDS = 26_667.0, 128, 14.0
SENDER = """
import os, sys, time
data, period, end = open(sys.argv[1], "rb").read(), float(sys.argv[2]), int(sys.argv[3])
frames = data.split(b"\\0")[:-1]
begun = time.monotonic()
for number, frame in enumerate(frames):
    time.sleep(max(0.0, begun + number * period - time.monotonic()))
    frame += b"\\0"
    while frame:
        frame = frame[os.write(end, frame):]
"""


def _captured() -> float:
    """Take the board's stream over a pair of pseudo-terminals; return the share of one core, in percent."""
    import tempfile

    board = SoftBoard(frames=FRAMES, sample_rate_hz=RATE_HZ, tach_connected=True, edges=(50.0,))
    count = int(SECONDS * RATE_HZ / FRAMES)
    end, device = os.openpty()
    tty.setraw(device)
    with tempfile.NamedTemporaryFile() as file:
        file.write(b"".join(board.packed() for _ in range(count)))
        file.flush()
        source = BoardSource(os.ttyname(device))
        while source._fetcher is None:
            list(source.turn(time.monotonic()))
            time.sleep(0.02)
        command = [sys.executable, "-c", SENDER, file.name, str(FRAMES / RATE_HZ), str(end)]
        sender = subprocess.Popen(command, pass_fds=[end])
        taken, gaps, blocks, last = 0, 0, 0, time.monotonic()
        cpu, wall = time.process_time(), last
        while taken < count * FRAMES and time.monotonic() - last < 3:
            for item in source.turn(time.monotonic()):
                if isinstance(item, Block):
                    taken, gaps, blocks = taken + item.frames, gaps + item.quality.gap, blocks + 1
                    last = time.monotonic()
            source._fetcher.wait(0.05)
        cpu, wall = time.process_time() - cpu, last - wall
        sender.wait()
    source.close()
    print(f"sent       {count * FRAMES} samples of 3 axes at {RATE_HZ:g} Hz in {SECONDS:g} s")
    print(f"taken      {taken}, {gaps} missing, in {blocks} blocks over {wall:.1f} s")
    return 100 * cpu / wall


def _cut() -> np.ndarray:
    """Some seconds of a simulated cut that rings, at the microphone's rate."""
    samples, _ = render(scenario("pass-that-rings"), 3)
    samples = np.asarray(samples, float)
    return samples[: round(SECONDS * MIC_HZ)]


def _on_the_spindle(samples: np.ndarray):
    times, rng = np.arange(samples.size) / MIC_HZ, np.random.default_rng(1)

    def axes(at_s):
        noise = 2e-3 * rng.standard_normal((at_s.size, 3))
        return np.outer(np.interp(at_s, times, samples), (0.2, 0.1, 0.02)) + noise

    return axes


def _share(work: Callable[[], object], seconds: float) -> float:
    """Percent of one core: the least of three runs, because others use the computer, too."""
    spent = []
    for _ in range(3):
        begun = time.process_time()
        work()
        spent.append(time.process_time() - begun)
    return 100 * min(spent) / seconds


def _hear(blocks: list[Block]) -> None:
    last = [block for block in blocks if block.stream_id == blocks[-1].stream_id]
    heard = [last[0].channels[column] for column in last[0].sound_columns]
    ears = Listener(ListenerSettings(), last[0].sample_rate_hz, heard)
    ears.change_setup(Setup(nominal_rpm=11_000, flutes=3), last[0].first_sample)
    for block in last:
        ears.feed(block)


def main():
    """Print what capturing, bringing onto another clock, and listening take of one core."""
    captured = _captured()
    samples = _cut()
    seconds = samples.size / MIC_HZ
    mic, board = mic_blocks(samples), board_blocks(_on_the_spindle(samples), seconds, off=60e-6)
    both, alone = played(mic, board), played(mic)
    joined = _share(lambda: played(mic, board), seconds) - _share(lambda: played(mic), seconds)
    heard_alone, heard_both = (_share(lambda b=blocks: _hear(b), seconds) for blocks in (alone, both))
    heard_board = _share(lambda: _hear([block for _, _, block in board]), seconds)
    print("percent of one core:")
    print(f"  the board's stream up to its blocks                   {captured:5.1f}")
    print(f"  its three axes onto a microphone's clock at 48 kHz    {joined:5.1f}")
    print(f"  the listener with the microphone alone                {heard_alone:5.1f}   (yardstick)")
    print(f"  the listener with the microphone and three axes       {heard_both:5.1f}")
    print(f"  the listener with the board's three axes alone        {heard_board:5.1f}")
    whole, beside = captured + heard_board, captured + joined + heard_both - heard_alone
    print(f"board alone, heard                                      {whole:5.1f}   (aim: at most 10)")
    print(f"what the board adds to a microphone, heard              {beside:5.1f}   (aim: at most 10)")

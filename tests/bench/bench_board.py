"""What a sampler board at full speed costs: 26.7 kS/s of three axes over a pair of pseudo-terminals."""

import os
import subprocess
import sys
import time
import tty

from shopmon.capture.sampler.board import BoardSource
from shopmon.signals.block import Block
from tests.capture.sampler.boards import SoftBoard

RATE_HZ, FRAMES, SECONDS = 26_667.0, 128, 20.0
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


def main():
    """Print the share of one core that the source takes, and whether anything was lost."""
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
    print(f"CPU        {100 * cpu / wall:.1f} % of one core   (aim: at most 10 %)")

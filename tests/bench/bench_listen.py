"""Figures of the whole service: start-up, memory with eight viewers, and sound-to-screen latency.

Each figure stands beside its yardstick from the same run: start-up beside a bare Python that imports the same
libraries, memory beside the same process half a minute after its start, latency beside one block of sound.
"""

import argparse
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

import numpy as np
import psutil

from tests.service.listen_process import ListenProcess

VIEWERS = 8
RATE_HZ = 48_000


def start_up_times(repeats: int = 5) -> tuple[list[float], list[float]]:
    """Seconds from process start to the first served page, and those of the yardstick."""
    ours, bare = [], []
    for _ in range(repeats):
        with tempfile.TemporaryDirectory() as folder:
            listening = ListenProcess(Path(folder) / "data", "--source", "demo").wait_until_served()
            listening.get_bytes("/")
            ours.append(time.monotonic() - listening.started)
            listening.stop()
        begin = time.monotonic()
        subprocess.run(
            [sys.executable, "-c", "import numpy, scipy.fft, flask, sqlalchemy, waitress, soundfile"],
            check=True,
        )
        bare.append(time.monotonic() - begin)
    return ours, bare


def memory_with_viewers(minutes: float) -> list[tuple[float, float]]:
    """Resident megabytes once every half minute while eight viewers look on."""
    readings = []
    with tempfile.TemporaryDirectory() as folder:
        listening = ListenProcess(Path(folder) / "data", "--source", "demo").wait_until_served()
        process = psutil.Process(listening.process.pid)
        seconds = minutes * 60
        for _ in range(VIEWERS):
            threading.Thread(target=lambda: list(listening.stream(seconds)), daemon=True).start()
        begin = time.monotonic()
        while (passed := time.monotonic() - begin) < seconds:
            time.sleep(min(30.0, seconds - passed + 0.01))
            readings.append(((time.monotonic() - begin) / 60, process.memory_info().rss / 1e6))
        cpu = process.cpu_times()
        share = 100 * (cpu.user + cpu.system) / seconds
        print(f"  processor time of the whole service: {share:.1f} % of one core")
        listening.stop()
    return readings


def latencies(seconds: float) -> list[float]:
    """Milliseconds from a sample leaving the virtual microphone to its event at a viewer."""
    from tests.capture.virtual_microphone import VirtualMicrophone

    noise = np.random.default_rng(1).normal(0, 800, RATE_HZ * 4).astype("<i2")
    found = []
    with tempfile.TemporaryDirectory() as folder, VirtualMicrophone(Path(folder), noise) as microphone:
        listening = ListenProcess(
            Path(folder) / "data", "--device", microphone.device, environment=microphone.env
        ).wait_until_served()
        begin = time.monotonic()
        microphone.start()
        for kind, data in listening.stream(seconds):
            if kind == "spectrum":
                found.append(1000 * (time.monotonic() - begin - data["t_s"]))
        listening.stop()
    return found


def main(arguments: list[str] | None = None) -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=5.0)
    options, _ = parser.parse_known_args(arguments)
    ours, bare = start_up_times()
    median = statistics.median
    print(f"Start to first served page: median {median(ours):.2f} s, worst {max(ours):.2f} s (aim 3 s)")
    print(f"  yardstick, the same libraries imported by a bare Python: {median(bare):.2f} s")
    late = latencies(20.0)
    print(
        f"Sound to screen: median {median(late):.0f} ms, 95 % below {np.percentile(late, 95):.0f} ms, "
        f"over {len(late)} events (aim 150 ms); yardstick: one sound block is {1024 / RATE_HZ * 1000:.0f} ms"
    )
    readings = memory_with_viewers(options.minutes)
    print(f"Resident memory with {VIEWERS} viewers (aim 180 MB, not growing):")
    for minute, megabytes in readings:
        print(f"  {minute:4.1f} min {megabytes:6.1f} MB")


if __name__ == "__main__":
    main()

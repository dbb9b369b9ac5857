"""CPU cost of listening: the whole engine, each stage, and `inspect`, beside a bare FFT of the same sound."""

import tempfile
import time
from pathlib import Path

import numpy as np
import soundfile
from scipy import fft

from shopmon.listening import chain
from shopmon.listening.chain import Chain
from shopmon.listening.chatter import suspect
from shopmon.listening.intake.front import Front
from shopmon.listening.listener import Listener
from shopmon.listening.rotation import speed
from shopmon.listening.setup import ListenerSettings, Setup
from shopmon.service.inspection import inspect_recording
from tests.listening.synthetic import blocks, machine

RATE_HZ = 48_000.0
SECONDS = 12.0
RUNS = 9
FFT_LENGTH = 8192
STAGES = {
    "front: levels, decimation, spectrum, floor": (Front, "look"),
    "speed: search, tracker, comb": (speed.Speed, "follow"),
    "engagement and background": (Chain, "_hear_engagement"),
    "stray lines, family, evidence": (Chain, "_hear_strays"),
    "  of that: finding lines": (suspect, "find_lines"),
    "frame": (chain, "frame_of"),
}


def sound():
    """Return a pass with a chattering stretch, float32."""
    return machine(SECONDS, engaged=((2.0, 11.0),), chatter=((6.0, 11.0),), rate_hz=RATE_HZ).astype(
        np.float32
    )


def best(work, runs=RUNS):
    """Return the least CPU time of several runs, s: what others do to the machine only adds."""
    taken = []
    for _ in range(runs):
        start = time.process_time()
        work()
        taken.append(time.process_time() - start)
    return min(taken)


def bare_fft(samples):
    """Real FFTs with 50 % overlap, window and magnitude left out."""
    for start in range(0, len(samples) - FFT_LENGTH, FFT_LENGTH // 2):
        fft.rfft(samples[start : start + FFT_LENGTH])


def heard(made, setup):
    """Run a listener over blocks made beforehand."""
    ears = Listener(ListenerSettings(), RATE_HZ, len(made[0].channels))
    ears.change_setup(setup, 0)
    for block in made:
        ears.feed(block)
    ears.finish()


class Stopwatch:
    """Adds up the CPU time spent within one function while it is in place."""

    def __init__(self, owner, name):
        self.owner, self.name, self.inner = owner, name, getattr(owner, name)
        self.total = 0.0

    def __enter__(self):
        def timed(*args, **kwargs):
            start = time.process_time()
            try:
                return self.inner(*args, **kwargs)
            finally:
                self.total += time.process_time() - start

        setattr(self.owner, self.name, timed)
        return self

    def __exit__(self, *exc):
        setattr(self.owner, self.name, self.inner)


def stage(owner, name, made, setup):
    """Return the least time within a stage over several runs, s."""
    taken = []
    for _ in range(RUNS):
        with Stopwatch(owner, name) as watch:
            heard(made, setup)
        taken.append(watch.total)
    return min(taken)


def show(label, seconds, yardstick):
    """Print one line of the table."""
    print(f"{label:45s} {1000 * seconds / SECONDS:8.2f} ms/s {seconds / yardstick:8.1f} x bare FFT")


def main():
    """Print the table."""
    samples = sound()
    made = list(blocks(samples, 1024, rate_hz=RATE_HZ))
    known = Setup(nominal_rpm=12_000, flutes=3)
    yardstick = best(lambda: bare_fft(samples))
    print(f"48 kHz mono, per second of sound; best of {RUNS}; aim for the whole listener: 15 ms/s here")
    show(f"yardstick: rfft({FFT_LENGTH}), 50 % overlap", yardstick, yardstick)
    show("whole listener, speed given", best(lambda: heard(made, known)), yardstick)
    rng = np.random.default_rng(0)
    second = 0.3 * samples + 0.002 * rng.standard_normal(samples.size).astype(np.float32)
    both = list(blocks(np.stack([samples, second], axis=1), 1024, rate_hz=RATE_HZ))
    show("whole listener, two channels", best(lambda: heard(both, known)), yardstick)
    show("whole listener, speed unknown", best(lambda: heard(made, Setup())), yardstick)
    for label, (owner, name) in STAGES.items():
        show(label, stage(owner, name, made, known), yardstick)
    inspected(samples, known, yardstick)
    state = Listener(ListenerSettings(), RATE_HZ, 1).snapshot()
    print(f"a snapshot holds {len(str(state)) / 1024:.0f} kB")


def inspected(samples, setup, yardstick):
    """Print how many times real time `inspect` takes, decoding included."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "pass.flac"
        soundfile.write(path, samples, int(RATE_HZ), subtype="PCM_16")
        taken = best(lambda: inspect_recording(path, setup=setup, settings=ListenerSettings()), 3)
    show("inspect a FLAC", taken, yardstick)
    print(f"inspect: {SECONDS / taken:.0f} x real time on one core (aim: 60)")


if __name__ == "__main__":
    main()

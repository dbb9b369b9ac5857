"""What capturing costs, and how soon a lost device is noticed: ``python tests/bench/run.py capture``."""

import os
import tempfile
import threading
import time
from pathlib import Path

import numpy as np
import soundfile

from shopmon.capture.intake import Intake
from shopmon.capture.microphone import MicrophoneSource
from shopmon.capture.portaudio import BLOCK_FRAMES
from shopmon.capture.quality import ClipCounter, ConstantWatch
from shopmon.capture.recording import RecordingSource
from shopmon.capture.source import SourceNotice
from shopmon.signals.block import Block
from tests.capture.virtual_microphone import VirtualMicrophone, numbered_pcm

RATE = 48_000
BLOCKS_PER_S = RATE / BLOCK_FRAMES


def best_s(function, repeats=5):
    """Shortest time of several runs, in seconds of CPU of this thread."""
    times = []
    for _ in range(repeats):
        begin = time.thread_time()
        function()
        times.append(time.thread_time() - begin)
    return min(times)


def row(what, value, yardstick=""):
    """Print one line of the table."""
    print(f"{what:<58} {value:>16}   {yardstick}")


def cost_of_the_callback():
    """Microseconds per callback against a bare copy of the same bytes."""
    data, blocks = numbered_pcm(1).tobytes(), 400
    target, source = np.empty(len(data), np.uint8), np.frombuffer(data, np.uint8)

    def callbacks():
        intake = Intake(RATE, 1, "int16")
        begin = time.thread_time()
        for _ in range(blocks):
            intake.callback(data, BLOCK_FRAMES, None, None)
        return time.thread_time() - begin

    def copies():
        for _ in range(blocks):
            target[:] = source

    callback_us = min(callbacks() for _ in range(5)) / blocks * 1e6
    copy_us = best_s(copies) / blocks * 1e6
    row("audio callback, per block of 21 ms", f"{callback_us:.1f} us", f"bare numpy copy {copy_us:.1f} us")


def cost_of_the_reader():
    """CPU milliseconds per second of sound, from the ring to blocks with their quality."""
    pcm = numbered_pcm(470)
    codes = pcm[:, None]

    def check():
        clips, constant = ClipCounter("int16", 1), ConstantWatch(RATE, 1)
        for begin in range(0, len(codes), BLOCK_FRAMES):
            clips.count(codes[begin : begin + BLOCK_FRAMES])
            constant.feed(codes[begin : begin + BLOCK_FRAMES])

    def floats():
        for begin in range(0, len(codes), BLOCK_FRAMES):
            codes[begin : begin + BLOCK_FRAMES].astype(np.float32)

    seconds = len(pcm) / RATE
    ms, yard_ms = best_s(check) / seconds * 1e3, best_s(floats) / seconds * 1e3
    what = "clipping and standing still, per second of 48 kHz mono"
    row(what, f"{ms:.2f} ms", f"astype float32 {yard_ms:.2f} ms")


def speed_of_recordings(folder):
    """How many times real time a recording is read, against libsndfile alone."""
    codes = (np.random.default_rng(1).standard_normal(60 * RATE) * 3000).astype(np.int16)
    for suffix in ("wav", "flac"):
        path = folder / f"noise.{suffix}"
        soundfile.write(path, codes, RATE)
        ours = best_s(lambda path=path: play(path), 3)
        bare = best_s(lambda path=path: soundfile.read(path, dtype="int16"), 3)
        row(f"reading {suffix}", f"{60 / ours:.0f} x real time", f"soundfile alone {60 / bare:.0f} x")


def play(path):
    """Read a recording to its end."""
    for _ in RecordingSource(path, real_time=False).blocks(threading.Event()):
        pass


def times_of_the_microphone(folder):
    """Loss, return and CPU through the real PortAudio."""
    with VirtualMicrophone(folder, numbered_pcm(1500)) as microphone:
        os.environ.update(microphone.env)
        microphone.start()
        bare_ms = cpu_ms_per_second(lambda: bare_stream(microphone.device))
        source, stop = MicrophoneSource(microphone.device), threading.Event()
        items = source.blocks(stop)
        next(item for item in items if isinstance(item, Block))
        ms = cpu_ms_per_second(lambda: take(items, 10.0))
        what = "CPU of the process while capturing, per second"
        row(what, f"{ms:.1f} ms", f"bare callback {bare_ms:.1f} ms")
        lost, back = [], []
        for _ in range(3):
            lost.append(until(items, "device-lost", microphone.pause))
            back.append(until(items, "device-returned", microphone.start))
            take(items, 0.5)
        stop.set()
        source.close()
    row("stalled device noticed after, worst of 3", f"{max(lost):.2f} s", "aim 2 s")
    row("sound again after the device plays again, worst of 3", f"{max(back):.2f} s", "retried each second")


def cpu_ms_per_second(run):
    """CPU milliseconds of the whole process (feeder, PortAudio and all) for each second that `run` takes."""
    begin, begin_s = time.process_time(), time.monotonic()
    run()
    return (time.process_time() - begin) / (time.monotonic() - begin_s) * 1e3


def bare_stream(name):
    """Run PortAudio with a callback that does nothing."""
    import sounddevice

    options = {"channels": 1, "samplerate": RATE, "dtype": "int16", "blocksize": BLOCK_FRAMES}
    with sounddevice.RawInputStream(device=name, callback=lambda *_: None, **options):
        time.sleep(5.0)


def take(items, seconds):
    """Take blocks for a while."""
    until_s = time.monotonic() + seconds
    while time.monotonic() < until_s:
        next(items)


def until(items, code, action):
    """Seconds from an action to a notice."""
    action()
    begin_s = time.monotonic()
    next(item for item in items if isinstance(item, SourceNotice) and item.code == code)
    return time.monotonic() - begin_s


def main():
    """Print the table."""
    cost_of_the_callback()
    cost_of_the_reader()
    with tempfile.TemporaryDirectory() as folder:
        speed_of_recordings(Path(folder))
        times_of_the_microphone(Path(folder))


if __name__ == "__main__":
    main()

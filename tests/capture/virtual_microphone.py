"""A microphone made of a pipe: ALSA's file plug-in, through the real PortAudio, at the pace of a real device.

Rules that make it exact, each found by breaking it: every write is one whole block and at most 4096 bytes, so
that it is atomic; the feeder holds the pipe open for reading and writing, so that the reader never meets its
end; the configuration includes the system's own; ``ALSA_CONFIG_PATH`` is set before PortAudio starts; the
pipe carries the sample format that is asked for (int16).

For a separate process::

    with VirtualMicrophone(tmp_path, pcm) as mic:
        command = [..., "listen", "--source", "mic", "--device", mic.device]
        subprocess.Popen(command, env={**os.environ, **mic.env})
        mic.start()

In this process use the fixture ``virtual_microphone`` (tests/capture/conftest.py), one for the whole session.
"""

import fcntl
import os
import threading
import time
from pathlib import Path

import numpy as np

from shopmon.capture.portaudio import BLOCK_FRAMES

DEVICE = "simmic"
SAMPLE_RATE_HZ = 48_000
_SET_PIPE_SIZE = 1031  # F_SETPIPE_SZ of Linux
_ATOMIC_BYTES = 4096


class VirtualMicrophone:
    """Feeds int16 samples to whoever opens the ALSA device ``simmic``.

    Parameters
    ----------
    folder
        Where the pipe and the ALSA configuration are put.
    pcm
        int16, shape ``(frames,)`` or ``(frames, channels)``; played over and over. Frames beyond the last
        whole block are not played.
    sample_rate_hz
        The pace.

    Attributes
    ----------
    device
        Name of the device for ``--device``.
    env
        What the process that listens needs in its environment.
    frames_played
        How many frames have gone into the pipe.
    """

    device = DEVICE

    def __init__(self, folder: Path, pcm: np.ndarray, sample_rate_hz: float = SAMPLE_RATE_HZ):
        self.sample_rate_hz = sample_rate_hz
        self.frames_played = 0
        self._fifo = folder / "microphone.fifo"
        self._lock = threading.Lock()
        self._descriptor: int | None = None
        self._paused, self._quit = threading.Event(), threading.Event()
        self._paused.set()
        self.load(pcm)
        configuration = folder / "alsa.conf"
        configuration.write_text(
            "</usr/share/alsa/alsa.conf>\n"
            f"pcm.{DEVICE} {{ type file slave.pcm {{ type null }} "
            f'file "/dev/null" infile "{self._fifo}" format "raw" }}\n'
        )
        self.env = {"ALSA_CONFIG_PATH": str(configuration)}
        self.plug_in()
        self._thread = threading.Thread(target=self._feed, name="virtual-microphone", daemon=True)
        self._thread.start()

    def load(self, pcm: np.ndarray) -> None:
        """Change what is played, from its beginning; what is still in the pipe is thrown away.

        Only while nobody listens.
        """
        pcm = np.atleast_2d(np.asarray(pcm, "<i2").T).T
        blocks = len(pcm) // BLOCK_FRAMES
        if not blocks or BLOCK_FRAMES * pcm.shape[1] * 2 > _ATOMIC_BYTES:
            raise ValueError("give at least one block of one or two channels")
        with self._lock:
            whole = np.ascontiguousarray(pcm[: blocks * BLOCK_FRAMES])
            self.pcm = whole
            self._blocks = [piece.tobytes() for piece in np.split(whole, blocks)]
            self._next = 0
            self._drain()

    def start(self) -> None:
        """Play, or go on after `pause`."""
        self._paused.clear()

    def pause(self) -> None:
        """Go silent like a driver that hangs: the stream stays open and nothing comes."""
        with self._lock:
            self._paused.set()

    def unplug(self, noticed_after_s: float = 3.0) -> None:
        """Go away like a device that is pulled out: first nothing comes, then the device is gone.

        Blocks for `noticed_after_s`, which must be long enough for the listener to have noticed: a pipe whose
        writer goes while it is read is no unplugged device but an endless flood.
        """
        self.pause()
        time.sleep(noticed_after_s)
        with self._lock:
            self._fifo.unlink()
            os.close(self._descriptor)
            self._descriptor = None

    def plug_in(self) -> None:
        """Be there (again), still paused."""
        os.mkfifo(self._fifo)
        with self._lock:
            self._descriptor = os.open(self._fifo, os.O_RDWR | os.O_NONBLOCK)
            fcntl.fcntl(self._descriptor, _SET_PIPE_SIZE, _ATOMIC_BYTES)

    def close(self) -> None:
        """Stop for good; whoever still listens must have stopped before."""
        self._quit.set()
        self._thread.join()
        with self._lock:
            if self._descriptor is not None:
                os.close(self._descriptor)
                self._descriptor = None
        self._fifo.unlink(missing_ok=True)

    def __enter__(self) -> "VirtualMicrophone":
        return self

    def __exit__(self, *exc_info) -> None:
        self.close()

    def _feed(self) -> None:
        block_s = BLOCK_FRAMES / self.sample_rate_hz
        due_s = time.monotonic()
        while not self._quit.is_set():
            if self._paused.is_set():
                time.sleep(0.005)
                due_s = time.monotonic() + block_s
                continue
            time.sleep(max(0.0, min(due_s - time.monotonic(), block_s)))
            if self._write():
                due_s += block_s
            else:
                time.sleep(0.002)
                due_s = max(due_s, time.monotonic() - block_s)  # a device does not catch up at any speed

    def _drain(self) -> None:
        try:
            while self._descriptor is not None and os.read(self._descriptor, _ATOMIC_BYTES):
                pass
        except BlockingIOError:
            return

    def _write(self) -> bool:
        with self._lock:
            if self._descriptor is None or self._paused.is_set():
                return False
            try:
                os.write(self._descriptor, self._blocks[self._next])
            except BlockingIOError:
                return False
            self._next = (self._next + 1) % len(self._blocks)
            self.frames_played += BLOCK_FRAMES
            return True


def numbered_pcm(blocks: int) -> np.ndarray:
    """Samples in which every frame that is lost, repeated or torn shows: int16 of shape ``(frames,)``."""
    index = np.arange(blocks * BLOCK_FRAMES, dtype=np.int64)
    return (index * 7919 % 65_521 - 32_760).astype("<i2")


def place_in(pcm: np.ndarray, captured: np.ndarray) -> int:
    """Return the frame of `pcm` (one channel) at which `captured` begins.

    Raises
    ------
    LookupError
        It is nowhere in it.
    """
    head = captured[:64]
    starts = np.flatnonzero(pcm == head[0])
    for start in starts:
        if np.array_equal(np.take(pcm, np.arange(start, start + len(head)), mode="wrap"), head):
            return int(start)
    raise LookupError("what was captured does not begin anywhere in what was played")

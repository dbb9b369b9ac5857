"""Any part of a recording at once: a few decoded blocks are remembered, because one looks there again."""

import threading
from collections import OrderedDict
from pathlib import Path

import numpy as np

from shopmon.capture.audio_file import AudioFile
from shopmon.errors import RecordingError
from shopmon.signals.block import SCALES

BLOCK_FRAMES = 2**18
BLOCKS_KEPT = 24  # of a megabyte each


class SoundReader:
    """The first channel of one recording; callable from any thread.

    Parameters
    ----------
    path
        The file.

    Attributes
    ----------
    sample_rate_hz, frames
        Samples per second, and how many there are.
    damaged
        Whether a part could not be read; it is taken for silence.

    Raises
    ------
    RecordingError
        The file cannot be read as sound.
    """

    def __init__(self, path: Path):
        self._audio = AudioFile(path)
        if self._audio.declared_frames is None:
            self._audio.close()
            raise RecordingError(f"{path.name} does not say how long it is.", "Look at another cut.")
        self.sample_rate_hz, self.frames = self._audio.sample_rate_hz, self._audio.declared_frames
        self.damaged = False
        self._scale = np.float32(SCALES[self._audio.code_format])
        self._blocks: OrderedDict[int, np.ndarray] = OrderedDict()
        self._lock = threading.Lock()

    @property
    def duration_s(self) -> float:
        """Length of the recording."""
        return self.frames / self.sample_rate_hz

    def read(self, first: int, end: int) -> np.ndarray:
        """Return samples `first` to `end` (exclusive) as float32, full scale being 1."""
        first, end = max(0, first), min(self.frames, end)
        if end <= first:
            return np.zeros(0, np.float32)
        with self._lock:
            parts = [
                self._block(index)[max(0, first - index * BLOCK_FRAMES) : end - index * BLOCK_FRAMES]
                for index in range(first // BLOCK_FRAMES, -(-end // BLOCK_FRAMES))
            ]
        return parts[0] if len(parts) == 1 else np.concatenate(parts)

    def glance(self, first: int, frames: int) -> np.ndarray:
        """Return a short piece without remembering what lies around it."""
        first = max(0, min(first, self.frames - frames))
        with self._lock:
            return self._decoded(first, min(frames, self.frames - first))

    def close(self) -> None:
        """Let the file go; calling it twice is harmless."""
        with self._lock:
            self._audio.close()
            self._blocks.clear()

    def _block(self, index: int) -> np.ndarray:
        if index in self._blocks:
            self._blocks.move_to_end(index)
            return self._blocks[index]
        first = index * BLOCK_FRAMES
        block = self._decoded(first, min(BLOCK_FRAMES, self.frames - first))
        self._blocks[index] = block
        while len(self._blocks) > BLOCKS_KEPT:
            self._blocks.popitem(last=False)
        return block

    def _decoded(self, first: int, frames: int) -> np.ndarray:
        samples = np.zeros(frames, np.float32)
        try:
            self._audio.seek(first)
            codes = self._audio.read(frames)
        except RecordingError:
            self.damaged = True
            return samples
        samples[: len(codes)] = codes[:, 0] * self._scale
        self.damaged |= len(codes) < frames
        return samples

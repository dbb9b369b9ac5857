"""Parts of a recording as a sound of their own: without the teeth, stray tones, or the first channel.

They are worked out where they are heard: a WAV file of known length, of which any part can be had at once.
"""

import struct
import threading
from collections import OrderedDict
from pathlib import Path

import numpy as np

from shopmon.service.review.sound_reader import SoundReader
from shopmon.service.review.stretch import Stretch
from shopmon.signals.comb.removal import stretch_frames, within_bands, without_comb

PARTS = ("left", "strays", "first")
HEADER_BYTES, SAMPLE_BYTES = 44, 2
CHUNK_S = 2.0
CHUNKS_KEPT = 24
SLOWEST_HZ, USUAL_HZ = 5.0, 200.0
LONGEST_BYTES = 2**32 - 2**16
BESIDE_S = 0.1  # a stray tone is heard a little before and after it was found


class PartOfSound:
    """One part of one recording, as the bytes of a WAV file; callable from any thread.

    Parameters
    ----------
    stretch
        Tells the speed and where stray tones were found.
    reader
        The recording.
    part
        ``left``, ``strays`` or ``first``.
    """

    def __init__(self, stretch: Stretch, reader: SoundReader, part: str):
        self._stretch, self._reader, self._part = stretch, reader, part
        rpm = stretch.figures["rpm"]
        known = rpm[np.isfinite(rpm)]
        # one length for the whole, so that every part of it comes out alike
        slowest_hz = float(np.percentile(known, 5)) / 60 if known.size else (stretch.rpm or 0) / 60
        rate = reader.sample_rate_hz
        self._length = stretch_frames(max(SLOWEST_HZ, slowest_hz or USUAL_HZ), rate)
        half = self._length // 2
        self._chunk = max(1, round(CHUNK_S * rate / half)) * half
        self._chunks: OrderedDict[int, np.ndarray] = OrderedDict()
        self._lock = threading.Lock()
        self.size = HEADER_BYTES + SAMPLE_BYTES * reader.frames

    def read(self, first: int, end: int) -> bytes:
        """Return bytes `first` to `end` (exclusive) of the file."""
        end = min(end, self.size)
        head = self._header()[first:end] if first < HEADER_BYTES else b""
        begin, stop = max(first, HEADER_BYTES) - HEADER_BYTES, end - HEADER_BYTES
        if stop <= begin:
            return head
        samples = self.samples(begin // SAMPLE_BYTES, -(-stop // SAMPLE_BYTES))
        raw = samples.tobytes()
        return head + raw[begin % SAMPLE_BYTES :][: stop - begin]

    def samples(self, first: int, end: int) -> np.ndarray:
        """Return samples `first` to `end` (exclusive) as 16-bit codes."""
        parts = []
        for index in range(first // self._chunk, -(-end // self._chunk)):
            begin = index * self._chunk
            parts.append(self._chunk_at(index)[max(0, first - begin) : end - begin])
        return np.concatenate(parts) if parts else np.zeros(0, "<i2")

    def _chunk_at(self, index: int) -> np.ndarray:
        with self._lock:
            if index not in self._chunks:
                self._chunks[index] = self._made(index)
                while len(self._chunks) > CHUNKS_KEPT:
                    self._chunks.popitem(last=False)
            self._chunks.move_to_end(index)
            return self._chunks[index]

    def _made(self, index: int) -> np.ndarray:
        begin, half = index * self._chunk, self._length // 2
        first, end = begin - half, begin + self._chunk + half
        if self._part == "first":
            return _as_int16(self._reader.read(begin, begin + self._chunk))
        if self._part == "strays" and not self._bands(first, end):
            return np.zeros(min(self._chunk, self._reader.frames - begin), "<i2")
        # strays are filtered out of what is left, whose own ends fade
        margin = half if self._part == "strays" else 0
        samples = self._left(first - margin, end + margin)
        if margin:
            samples = samples[margin:-margin]
            samples = within_bands(
                samples, self._reader.sample_rate_hz, self._length, self._bands(first, end)
            )
        samples = samples[half:-half][: self._reader.frames - begin]
        return _as_int16(samples)

    def _left(self, first: int, end: int) -> np.ndarray:
        rate = self._reader.sample_rate_hz
        inside = self._reader.read(first, end)
        before = max(0, -first)
        samples = np.pad(inside, (before, end - first - before - inside.size))
        times = (first + np.arange(0, end - first + 1, 256)) / rate
        rotation = self._stretch.rotation_hz(times)
        per_sample = np.repeat(rotation, 256)[: end - first] / rate
        turns = np.where(np.isfinite(per_sample), np.cumsum(np.nan_to_num(per_sample)), np.nan)
        return without_comb(samples, turns, rate, self._length)

    def _bands(self, first: int, end: int) -> list[tuple[int, int, float, float]]:
        rate = self._reader.sample_rate_hz
        found = []
        for box in self._stretch.strays:
            begin, stop = round((box.start_s - BESIDE_S) * rate), round((box.end_s + BESIDE_S) * rate)
            if begin < end and stop > first:
                found.append((begin - first, stop - first, box.low_hz, box.high_hz))
        return found

    def _header(self) -> bytes:
        rate = round(self._reader.sample_rate_hz)
        data = min(SAMPLE_BYTES * self._reader.frames, LONGEST_BYTES)
        form = struct.pack("<HHIIHH", 1, 1, rate, rate * SAMPLE_BYTES, SAMPLE_BYTES, 16)
        whole = struct.pack("<I", data + 36)
        return (
            b"RIFF" + whole + b"WAVEfmt " + struct.pack("<I", 16) + form + b"data" + struct.pack("<I", data)
        )


def _as_int16(samples: np.ndarray) -> np.ndarray:
    return np.clip(np.rint(samples * 32768), -32768, 32767).astype("<i2")


class PartsOfSound:
    """Remembers the parts that are being listened to."""

    def __init__(self, most: int = 4):
        self._most = most
        self._parts: OrderedDict[tuple, PartOfSound] = OrderedDict()
        self._lock = threading.Lock()

    def get(self, stretch: Stretch, path: Path, reader: SoundReader, part: str) -> PartOfSound:
        """Return a part of a recording; `stretch` must be the present one."""
        key = (path, part, len(stretch.strays), stretch.figures["t_s"].size, id(reader))
        with self._lock:
            if key not in self._parts:
                self._parts[key] = PartOfSound(stretch, reader, part)
                while len(self._parts) > self._most:
                    self._parts.popitem(last=False)
            self._parts.move_to_end(key)
            return self._parts[key]

"""What a stream is: fixed when it begins, written beside its buffer so that recovery needs no database."""

import json
import os
from dataclasses import asdict, dataclass, field
from pathlib import Path

import numpy as np

from shopmon.errors import StoreError
from shopmon.signals.block import SCALES, Channel, CodeFormat

SAMPLE_BYTES: dict[str, int] = {"int16": 2, "int24": 3, "int32": 4, "float32": 4}


@dataclass(frozen=True, kw_only=True)
class StreamInfo:
    """One stream of one source.

    Attributes
    ----------
    source_id, stream_id, name
        Who delivers; ``stream_id`` is a new one after every reconnect.
    sample_rate_hz
        As read back from the device.
    channels
        Number of columns.
    code_format
        The device's own codes.
    settings
        The listener's settings as plain data; written into every sidecar.
    of
        What each column is; empty where nobody said.
    """

    source_id: str
    stream_id: str
    name: str
    sample_rate_hz: float
    channels: int
    code_format: CodeFormat
    settings: dict = field(default_factory=dict)
    of: tuple[Channel, ...] = ()

    def __post_init__(self):
        if self.code_format not in SCALES:
            raise ValueError(f"unknown code format {self.code_format!r}")
        if not self.sample_rate_hz > 0 or self.channels < 1:
            raise ValueError(f"{self.channels} channels at {self.sample_rate_hz!r} Hz are no stream")

    @property
    def frame_bytes(self) -> int:
        """Bytes of one frame as it is written."""
        return SAMPLE_BYTES[self.code_format] * self.channels

    @property
    def bytes_per_s(self) -> float:
        """Bytes that one second takes before it is packed as FLAC."""
        return self.frame_bytes * self.sample_rate_hz

    def frames(self, seconds: float) -> int:
        """Return the number of frames in `seconds`, rounded."""
        return round(seconds * self.sample_rate_hz)

    def encode(self, codes: np.ndarray) -> bytes:
        """Return `codes` of shape ``(frames, channels)`` as the bytes of a WAV file, a copy of them."""
        if codes.ndim != 2 or codes.shape[1] != self.channels:
            raise ValueError(f"codes of shape {codes.shape} do not have {self.channels} channels")
        if self.code_format == "int24":
            words = np.ascontiguousarray(codes, dtype="<i4").view(np.uint8)
            return words.reshape(-1, 4)[:, :3].tobytes()
        kind = {"int16": "<i2", "int32": "<i4", "float32": "<f4"}[self.code_format]
        return np.ascontiguousarray(codes, dtype=kind).tobytes()

    def decode(self, raw: bytes) -> np.ndarray:
        """Return the codes in `raw`, shape ``(frames, channels)``; the reverse of `encode`."""
        if self.code_format == "int24":
            words = np.zeros((len(raw) // 3, 4), np.uint8)
            words[:, 1:] = np.frombuffer(raw, np.uint8).reshape(-1, 3)
            return (words.view("<i4") >> 8).reshape(-1, self.channels)
        kind = {"int16": "<i2", "int32": "<i4", "float32": "<f4"}[self.code_format]
        return np.frombuffer(raw, kind).reshape(-1, self.channels)

    def save(self, path: Path) -> None:
        """Write it as JSON, durably."""
        with open(path, "w", encoding="utf-8") as file:
            json.dump({"schema": "shopmon.stream/1", **asdict(self)}, file)
            file.flush()
            os.fsync(file.fileno())

    @classmethod
    def load(cls, path: Path) -> "StreamInfo":
        """Read what `save` wrote.

        Raises
        ------
        StoreError
            The file is missing or torn.
        """
        try:
            stored = json.loads(path.read_text(encoding="utf-8"))
            stored.pop("schema")
            # of an older version, only the kinds of the columns
            kinds = [{"kind": kind} for kind in stored.pop("kinds", ())]
            of = tuple(Channel(**column) for column in stored.pop("of", kinds))
            return cls(**stored, of=of)
        except (OSError, ValueError, TypeError, KeyError) as exc:
            raise StoreError(f"{path} does not describe a stream ({exc}).") from exc

"""A run of samples with everything needed to understand it: samples never travel alone."""

from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

CodeFormat = Literal["int16", "int24", "int32", "float32"]

SCALES: dict[str, float] = {"int16": 2.0**-15, "int24": 2.0**-23, "int32": 2.0**-31, "float32": 1.0}


@dataclass(frozen=True, kw_only=True)
class Channel:
    """What one column of a block measures.

    Attributes
    ----------
    kind
        ``"microphone"``, ``"accelerometer"``, or ``"tachometer"``: a column that is 0 but where a pulse
        begins (`shopmon.signals.sensors.tachometer.edge_codes`).
    unit
        ``"FS"`` (fraction of full scale) until a calibration says otherwise.
    top_hz
        Up to where it hears, None where only the sample rate limits it.
    source_id
        The source it was brought over from (`shopmon.capture.joining`), None for a column of the block's own
        source.
    """

    kind: Literal["microphone", "accelerometer", "tachometer"] = "microphone"
    unit: str = "FS"
    top_hz: float | None = None
    source_id: str | None = None


@dataclass(frozen=True, kw_only=True)
class Quality:
    """What went wrong while a block was captured; false when all is well.

    Attributes
    ----------
    overflow
        Number of overflow reports from the driver during this block.
    clipped
        Number of samples at full scale, all channels together.
    gap
        Number of frames missing right before this block (its ``first_sample`` jumps by as many).
    """

    overflow: int = 0
    clipped: int = 0
    gap: int = 0

    def __bool__(self) -> bool:
        return bool(self.overflow or self.clipped or self.gap)


@dataclass(frozen=True, kw_only=True, eq=False)
class Block:
    """Consecutive frames of one stream.

    Attributes
    ----------
    codes
        The device's own integer codes (or floats of a float recording), shape ``(frames, channels)``;
        dtype int16 for ``"int16"``, int32 for ``"int24"`` (right-justified) and ``"int32"``.
    code_format
        Which codes these are; it fixes the power-of-two scale.
    sample_rate_hz
        As read back from the device.
    first_sample
        Index of the first frame since the stream began; a jump against the last block is a gap.
    source_id, stream_id
        A reconnect starts a new stream of the same source, and its sample count starts at 0 again.
    channels
        One entry per column.
    quality
        What went wrong during this block.
    """

    codes: np.ndarray
    code_format: CodeFormat
    sample_rate_hz: float
    first_sample: int
    source_id: str
    stream_id: str
    channels: tuple[Channel, ...]
    quality: Quality = field(default_factory=Quality)

    def __post_init__(self):
        if self.codes.ndim != 2 or self.codes.shape[1] != len(self.channels):
            raise ValueError(f"codes of shape {self.codes.shape} do not hold {len(self.channels)} channels")
        if self.code_format not in SCALES:
            raise ValueError(f"unknown code format {self.code_format!r}")

    @property
    def frames(self) -> int:
        """Number of frames."""
        return self.codes.shape[0]

    @property
    def end_sample(self) -> int:
        """Index one past the last frame."""
        return self.first_sample + self.frames

    @property
    def sound_columns(self) -> tuple[int, ...]:
        """Columns that are heard: all but those of a tachometer."""
        return sound_columns(self.channels)

    def own(self) -> "Block":
        """Return the block without the columns that were brought over from other sources."""
        columns = [column for column, channel in enumerate(self.channels) if channel.source_id is None]
        if len(columns) == len(self.channels):
            return self
        channels = tuple(self.channels[column] for column in columns)
        return replace(self, codes=self.codes[:, columns], channels=channels)

    def samples(self) -> np.ndarray:
        """Return what is heard as float32 of shape ``(frames, sound channels)``, full scale being 1."""
        columns = self.sound_columns
        codes = self.codes if len(columns) == len(self.channels) else self.codes[:, columns]
        return codes.astype(np.float32) * np.float32(SCALES[self.code_format])

    @property
    def tach_codes(self) -> np.ndarray | None:
        """The column of the first tachometer, shape ``(frames,)``; None where there is none."""
        for column, channel in enumerate(self.channels):
            if channel.kind == "tachometer":
                return self.codes[:, column]
        return None


def sound_columns(channels: tuple[Channel, ...]) -> tuple[int, ...]:
    """Return which of these channels are heard: all but those of a tachometer."""
    return tuple(column for column, channel in enumerate(channels) if channel.kind != "tachometer")

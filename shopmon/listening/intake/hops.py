"""From blocks of any size to hops of one size: how the sound was delivered must change nothing."""

from dataclasses import dataclass

import numpy as np

from shopmon.listening.state import Memory, encode
from shopmon.signals.decimation import decimation_factor

HOP_S = 0.05
SUBFRAMES = 5


@dataclass(frozen=True, kw_only=True)
class Rates:
    """The grid the engine works on.

    Attributes
    ----------
    sample_rate_hz
        Of the stream.
    factor
        Decimation factor.
    rate_hz
        Of the analysis.
    subframe
        Analysis samples per sub-frame (about 10 ms).
    """

    sample_rate_hz: float
    factor: int
    rate_hz: float
    subframe: int

    @classmethod
    def of(cls, sample_rate_hz: float) -> "Rates":
        """Choose the grid for a sample rate."""
        factor = decimation_factor(sample_rate_hz)
        rate = sample_rate_hz / factor
        return cls(
            sample_rate_hz=sample_rate_hz,
            factor=factor,
            rate_hz=rate,
            subframe=max(4, round(rate * HOP_S / SUBFRAMES)),
        )

    @property
    def hop(self) -> int:
        """Analysis samples per hop."""
        return self.subframe * SUBFRAMES

    @property
    def hop_frames(self) -> int:
        """Frames of the stream per hop."""
        return self.hop * self.factor

    @property
    def hop_s(self) -> float:
        """Duration of a hop."""
        return self.hop / self.rate_hz


class HopCutter(Memory):
    """Collects frames until a hop is full.

    Parameters
    ----------
    frames
        Frames per hop.
    channels
        Number of channels.
    """

    kept = ("start_sample", "filled", "part")

    def __init__(self, frames: int, channels: int):
        self.frames = frames
        self.start_sample: int | None = None
        self.filled = 0
        self.part = np.zeros((frames, channels), dtype=np.float32)

    @property
    def next_sample(self) -> int | None:
        """Index of the frame expected next, None before the first."""
        return None if self.start_sample is None else self.start_sample + self.filled

    def restart(self, sample: int) -> None:
        """Drop what was collected; the next frame is `sample`."""
        self.start_sample = sample
        self.filled = 0

    def hops(self, samples: np.ndarray):
        """Yield ``(start sample, hop)`` for every hop that `samples` completes.

        The hop is a view that the next one overwrites.
        """
        done = 0
        while done < len(samples):
            take = min(self.frames - self.filled, len(samples) - done)
            self.part[self.filled : self.filled + take] = samples[done : done + take]
            self.filled += take
            done += take
            if self.filled == self.frames:
                start = self.start_sample
                self.start_sample += self.frames
                self.filled = 0
                yield start, self.part

    def snapshot(self) -> dict:
        """Return only the frames that are waiting."""
        return {**super().snapshot(), "part": encode(self.part[: self.filled])}

    def restore(self, data: dict) -> None:
        """Take up the waiting frames."""
        full = self.part
        super().restore(data)
        full[: self.filled] = self.part
        self.part = full

"""A sampler board that exists in software only: each of its samples tells its own number."""

from dataclasses import replace

import numpy as np

from shopmon.capture.sampler.frames import BoardFrame, pack_frame


def numbered(first, frames):
    """Codes of three axes from which the number of the sample can be read again, and a mixture as a check."""
    index = np.arange(first, first + frames, dtype=np.int64)
    mixed = (index * 2654435761 + 12345) & 0xFFFF
    columns = np.stack([index & 0xFFFF, index >> 16 & 0xFFFF, mixed], axis=1)
    return columns.astype(np.uint16).view(np.int16)


def numbers_of(codes):
    """Return the number of each sample; fails where a sample was changed."""
    wide = codes[:, :3].view(np.uint16).astype(np.int64)
    index = wide[:, 0] | wide[:, 1] << 16
    assert ((index * 2654435761 + 12345) & 0xFFFF == wide[:, 2]).all(), "a wrong sample was accepted"
    return index


class SoftBoard:
    """Sends frames of numbered samples.

    Parameters
    ----------
    frames
        Samples in a frame.
    **form
        What the frames say of themselves.
    """

    def __init__(self, frames=32, **form):
        self.frames = frames
        self.form = {
            "session": 1, "sensor_id": 4, "sample_rate_hz": 26_667.0, "range_g": 16.0, "sample_bytes": 2,
            "temperature_c": 31.5, "tach_connected": False, "edges": (), **form,
        }  # fmt: skip
        self.sequence = self.position = self.dropped = 0

    def restart(self, **changes):
        """Begin a new session."""
        self.form |= {"session": self.form["session"] + 1, **changes}
        self.sequence = self.position = self.dropped = 0

    def drop(self, samples):
        """Lose samples on the board."""
        self.position += samples
        self.dropped += samples

    def frame(self):
        """Return the next frame."""
        frame = BoardFrame(
            sequence=self.sequence,
            first_sample=self.position,
            dropped=self.dropped,
            codes=numbered(self.position, self.frames),
            **self.form,
        )
        self.sequence += 1
        self.position += self.frames
        return frame

    def packed(self):
        """Return the next frame as bytes."""
        return pack_frame(self.frame())


def with_codes(frame, codes):
    """Return the frame with other codes."""
    return replace(frame, codes=codes)

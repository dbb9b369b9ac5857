"""The newest samples of every channel, in one piece at any time."""

import numpy as np

SPARE = 2  # lengths of room: what is kept is moved to the front once per length, not with every push


class Recent:
    """Keeps the last samples so that a view of them costs nothing.

    Parameters
    ----------
    channels
        Number of channels.
    length
        Samples kept of each.
    """

    def __init__(self, channels: int, length: int):
        self.length = length
        self._room = np.zeros((channels, (1 + SPARE) * length), dtype=np.float32)
        self._end = length

    def clear(self) -> None:
        """Keep silence."""
        self._room[:] = 0

    def push(self, new: np.ndarray) -> None:
        """Take in samples, shape ``(channels, new)``, at most `length` of them."""
        count = new.shape[1]
        if self._end + count > self._room.shape[1]:
            self._room[:, : self.length] = self.last(self.length)
            self._end = self.length
        self._room[:, self._end : self._end + count] = new
        self._end += count

    def last(self, count: int, back: int = 0) -> np.ndarray:
        """Return a view of `count` samples, of which `back` newer ones follow the last, at most `length`."""
        return self._room[:, self._end - back - count : self._end - back]

    def fill(self, samples: np.ndarray) -> None:
        """Keep these samples, shape ``(channels, length)``."""
        self._end = self.length
        self._room[:, : self.length] = samples

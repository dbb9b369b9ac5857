"""What can be said about the samples themselves: full scale reached, or a channel that does not move at all.

Nothing here depends on how the samples are cut into blocks.
"""

import numpy as np

from shopmon.capture.codes import full_scale
from shopmon.capture.source import SourceNotice
from shopmon.signals.block import CodeFormat

CONSTANT_S = 2.0  # no converter with a live microphone gives one and the same code for this long


class ClipCounter:
    """Counts samples at full scale, in runs of two and more.

    A single sample at full scale is also what a recording levelled to its own peak has: it says nothing.

    Parameters
    ----------
    code_format
        Format of the codes.
    channels
        Codes per frame.
    bits
        Resolution of what made the codes, when coarser than 16 bits.
    open_ended
        The codes are floats that may well be greater than 1, such as accelerations in g: only those that stop
        at 1 itself count.
    """

    def __init__(self, code_format: CodeFormat, channels: int, bits: int = 16, open_ended: bool = False):
        self._low, self._high = full_scale(code_format, bits)
        self._ceiling = 2.0 - self._high if open_ended else np.inf
        self._tail = np.zeros((2, channels), np.int8)

    def count(self, codes: np.ndarray) -> int:
        """Return how many clipped samples these codes complete, all channels together.

        Parameters
        ----------
        codes
            Shape ``(frames, channels)``, following what was given before.
        """
        if not len(codes):
            return 0
        if codes.max() < self._high and codes.min() > self._low:
            self._tail[:] = 0
            return 0
        side = (codes >= self._high).astype(np.int8) - (codes <= self._low)
        side[np.abs(codes) > self._ceiling] = 0
        side = np.concatenate([self._tail, side])
        self._tail = side[-2:]
        pair = (side[1:] == side[:-1]) & (side[1:] != 0)
        begun = pair[1:] & ~pair[:-1]  # the first sample of a run is known as clipped only with its second
        return int(np.count_nonzero(pair[1:]) + np.count_nonzero(begun))

    def restart(self) -> None:
        """Forget the last samples: what follows is not their continuation."""
        self._tail[:] = 0


class ConstantWatch:
    """Notices channels that deliver exactly the same code for a while.

    Parameters
    ----------
    sample_rate_hz
        Frames per second.
    channels
        Codes per frame.
    constant_s
        For how long a channel may stand still.
    """

    def __init__(self, sample_rate_hz: float, channels: int, constant_s: float = CONSTANT_S):
        self._limit = max(2, round(constant_s * sample_rate_hz))
        self._constant_s = constant_s
        self._run = np.zeros(channels, np.int64)
        self._last: np.ndarray | None = None
        self._silent = np.zeros(channels, bool)

    def feed(self, codes: np.ndarray) -> list[SourceNotice]:
        """Return a notice when a channel went silent or came back.

        Parameters
        ----------
        codes
            Shape ``(frames, channels)``, following what was given before.
        """
        notices, step = [], self._limit - 1  # too short to come back and to fall silent again
        for begin in range(0, len(codes), step):
            notices += self._feed_piece(codes[begin : begin + step])
        return notices

    def _feed_piece(self, codes: np.ndarray) -> list[SourceNotice]:
        if self._moves_plainly(codes):
            return []
        before = self._silent
        longest = self._extend_runs(codes)
        self._silent = self._run >= self._limit
        fell = (longest >= self._limit) & ~before
        rose = (before | fell) & ~self._silent
        notices = [self._silent_notice(fell)] if fell.any() else []
        return [*notices, self._back_notice(rose)] if rose.any() else notices

    def _moves_plainly(self, codes: np.ndarray) -> bool:
        """Settle the usual case at little cost: nothing is or falls silent here, and all moves at the end."""
        longest_now = int(self._run.max()) + len(codes)
        if longest_now >= self._limit or len(codes) < 2 or (codes[-1] == codes[-2]).any():
            return False
        self._run[:] = 1
        self._last = codes[-1].copy()
        return True

    def _extend_runs(self, codes: np.ndarray) -> np.ndarray:
        longest = np.zeros_like(self._run)
        for channel in range(codes.shape[1]):
            column = codes[:, channel]
            first_same = self._last is not None and column[0] == self._last[channel]
            run, longest[channel] = _runs(column, int(self._run[channel]) if first_same else 0)
            self._run[channel] = run
        self._last = codes[-1].copy()
        return longest

    def _silent_notice(self, channels: np.ndarray) -> SourceNotice:
        who = _channel_words(channels)
        seconds = f"{self._constant_s:g} s"
        return SourceNotice(
            code="input-silent",
            text=f"{who} has delivered one and the same value for {seconds}, so nothing can be heard.",
            hint="See whether the microphone is muted, switched off or unplugged from its interface.",
        )

    def _back_notice(self, channels: np.ndarray) -> SourceNotice:
        return SourceNotice(code="input-back", text=f"{_channel_words(channels)} moves again.")


def _runs(column: np.ndarray, carried: int) -> tuple[int, int]:
    """Length of the run that ends the column and of the longest in it, `carried` samples running on."""
    if column[0] == column[-1] and column.min() == column.max():
        return carried + len(column), carried + len(column)
    changes = np.flatnonzero(column[1:] != column[:-1]) + 1
    bounds = np.concatenate([[-carried], changes, [len(column)]])
    lengths = np.diff(bounds)
    return int(lengths[-1]), int(lengths.max())


def _channel_words(channels: np.ndarray) -> str:
    if channels.all():
        return "The input"
    numbers = [str(index + 1) for index in np.flatnonzero(channels)]
    return ("Channel " if len(numbers) == 1 else "Channels ") + ", ".join(numbers) + " of the input"

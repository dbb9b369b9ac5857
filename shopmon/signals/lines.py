"""Lines of a spectrum as a map: for every bin the nearest line, where exactly it lies and how high."""

from dataclasses import dataclass

import numpy as np

from shopmon.signals.spectra import LineReader

REACH_BINS = 2
LEAST_DB = 5.0


@dataclass(frozen=True, kw_only=True, eq=False)
class LineMap:
    """For every bin the line nearest to it, within two bins.

    Attributes
    ----------
    position
        Where that line lies, in bins and parts of a bin, shape ``(bins,)``; far away where there is none.
    height_db
        How high it stands above the floor, shape ``(bins,)``; 0 where there is none.
    """

    position: np.ndarray
    height_db: np.ndarray


def find_lines(
    spectrum_db: np.ndarray, floor_db: np.ndarray, read: LineReader, least_db: float, bins: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Find the lines among the first `bins` bins.

    Parameters
    ----------
    spectrum_db, floor_db
        Shape ``(bins,)``.
    read
        Reader of that window's lines.
    least_db
        How high above the floor a line must stand.
    bins
        How many bins to look at, at most all.

    Returns
    -------
    tuple
        Bin of each peak, its place in bins and parts of a bin, its level in dB; ascending.
    """
    height = spectrum_db[:bins] - floor_db[:bins]
    inner = height[1:-1]
    peaks = np.flatnonzero((inner > least_db) & (inner >= height[:-2]) & (inner > height[2:])) + 1
    return (peaks, *read(spectrum_db, peaks))


def map_lines(spectrum_db: np.ndarray, floor_db: np.ndarray, read: LineReader, bins: int) -> LineMap:
    """Find the lines among the first `bins` bins of a spectrum.

    A strong line is known to a small part of a bin; who only asks for the level near a frequency cannot tell
    a line of the comb from a stray line a bin or two away, and is pulled by it.

    Parameters
    ----------
    spectrum_db, floor_db
        Shape ``(bins,)``.
    read
        Reader of that window's lines.
    bins
        How many bins to look at and to map; from `comb_fit.bins_needed` where only combs are asked for.
    """
    peaks, where, level = find_lines(spectrum_db, floor_db, read, LEAST_DB, bins)
    above = level - floor_db[peaks]
    order = np.argsort(above, kind="stable")
    peaks, where, above = peaks[order], where[order], above[order]
    position = np.full(bins + 2 * REACH_BINS, -100.0, dtype=np.float32)
    heights = np.zeros(position.size, dtype=np.float32)
    # the nearest line wins, between two as near the stronger: later writing stays
    for away in range(REACH_BINS, -1, -1):
        for side in (peaks - away, peaks + away):
            position[side + REACH_BINS] = where
            heights[side + REACH_BINS] = above
    return LineMap(position=position[REACH_BINS:-REACH_BINS], height_db=heights[REACH_BINS:-REACH_BINS])

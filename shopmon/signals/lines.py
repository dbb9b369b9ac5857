"""Lines of a spectrum as a map: for every bin the nearest line, where exactly it lies and how high."""

from dataclasses import dataclass

import numpy as np

from shopmon.signals.spectra import LineReader

REACH_BINS = 2
AWAY = REACH_BINS + np.array([[-2], [2], [-1], [1], [0]])


@dataclass(frozen=True, kw_only=True, eq=False)
class SeenLines:
    """The lines of a spectrum, ascending; all arrays of shape ``(lines,)``.

    Attributes
    ----------
    bins
        Bin of each peak.
    place
        Where it lies, in bins and parts of a bin.
    level_db, height_db
        Read there, and above the floor at the bin.
    """

    bins: np.ndarray
    place: np.ndarray
    level_db: np.ndarray
    height_db: np.ndarray


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
    spectrum_db: np.ndarray,
    floor_db: np.ndarray,
    above_floor_db: np.ndarray,
    read: LineReader,
    least_db: float,
) -> SeenLines:
    """Find the lines of a spectrum, or of its first bins.

    Parameters
    ----------
    spectrum_db, floor_db
        Shape ``(bins,)``.
    above_floor_db
        Their difference in as many of the first bins as are to be looked at.
    read
        Reader of that window's lines.
    least_db
        How high above the floor a line must stand.
    """
    inner = above_floor_db[1:-1]
    peak = inner > least_db
    peak &= inner >= above_floor_db[:-2]
    peak &= inner > above_floor_db[2:]
    peaks = peak.nonzero()[0] + 1
    place, level_db = read(spectrum_db, peaks)
    return SeenLines(bins=peaks, place=place, level_db=level_db, height_db=level_db - floor_db[peaks])


def map_lines(lines: SeenLines, bins: int) -> LineMap:
    """Map the lines among the first `bins` bins of a spectrum.

    A strong line is known to a small part of a bin; who only asks for the level near a frequency cannot tell
    a line of the comb from a stray line a bin or two away, and is pulled by it.

    Parameters
    ----------
    lines
        From `find_lines`.
    bins
        How many bins to map; from `comb_fit.bins_needed` where only combs are asked for.
    """
    count = lines.bins.searchsorted(bins - 1)
    order = lines.height_db[:count].argsort(kind="stable")
    peaks, where, above = lines.bins[order], lines.place[order], lines.height_db[order]
    position = np.full(bins + 2 * REACH_BINS, -100.0, dtype=np.float32)
    heights = np.zeros(position.size, dtype=np.float32)
    # the nearest line wins, between two as near the stronger: later writing stays
    places = peaks + AWAY
    position[places] = where
    heights[places] = above
    return LineMap(position=position[REACH_BINS:-REACH_BINS], height_db=heights[REACH_BINS:-REACH_BINS])

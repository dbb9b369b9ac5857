"""Where the lines of the chatter truly lie from moment to moment.

A single frequency for a whole pass does not tell: as depth and motion grow, it wanders by a percent and more;
and where two modes ring, each axis has a line of its own, of which the motion shows one best and the sound
the other.
"""

import numpy as np

WINDOW_S, STEP_S = 0.3, 0.1


def lines_of(cuts):
    """Strongest lines of the non-periodic motion over time, as plain data.

    Parameters
    ----------
    cuts
        What the simulation showed of each engagement.

    Returns
    -------
    list
        Of ``[time in s, frequency in Hz, …]``: the strongest line of either axis, by place and by
        acceleration, in the window around that time.
    """
    rows = []
    for cut in cuts:
        for start, end in cut.chatter_s:
            for middle in np.arange(start, end + STEP_S / 2, STEP_S):
                rows.append([round(float(middle), 2), *_lines_at(cut, float(middle))])
    return rows


def _lines_at(cut, middle_s):
    """Frequencies of the strongest lines in one window, each told once."""
    motion, half = cut.judged, WINDOW_S / 2
    first, last = np.searchsorted(motion.turn_start_s, [middle_s - half, middle_s + half])
    last = min(last, motion.x_m.shape[0])
    if last - first < 2:
        return []
    turn_s = float(np.mean(np.diff(motion.turn_start_s[first : last + 1])))
    found = set()
    for values in (motion.x_m[first:last], motion.y_m[first:last]):
        rows = values.reshape(-1, values.shape[1] // cut.periods_per_turn)
        step_s = turn_s / values.shape[1]
        spectrum = np.abs(np.fft.rfft(_windowed(rows)))
        for weight in (1.0, np.arange(spectrum.size) ** 2.0):
            found.add(round(float(_peak_bin(spectrum * weight)) / (values.size * step_s), 1))
    return sorted(found)


def _windowed(rows):
    """What does not repeat from row to row, fading in and out."""
    values = (rows - rows.mean(axis=0)).ravel()
    return (values - values.mean()) * np.hanning(values.size)


def _peak_bin(spectrum):
    """Place of the highest line in bins, refined by a parabola through the logarithms."""
    top = int(np.argmax(spectrum[1:-1])) + 1
    below, at, above = np.log(spectrum[top - 1 : top + 2] + 1e-300)
    return top + 0.5 * (below - above) / min(below - 2 * at + above, -1e-300)

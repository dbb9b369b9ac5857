"""Receptance of the tool tip as a function of frequency, from modes or from a measured response."""

from collections.abc import Callable

import numpy as np

from shopmon.cutting.nouns import FrequencyResponse, Mode, require

LEAST_TIP, MOST_TIP = 1e-12, 1e-3  # m/N at the highest peak: beyond, the unit is not m/N
LEAST_LINES = 3  # within the half-power band of a mode
PEAK_SHARE = 0.3  # of the highest: lower peaks hardly matter to stability
BASE_LINES, MODE_LINES = 1000, 400
MEASURE_LONGER = "Measure longer: the spacing of the lines is one over the duration."

Receptance = Callable[[np.ndarray], np.ndarray]


def receptance_of_modes(modes: tuple[Mode, ...]) -> tuple[Receptance, np.ndarray]:
    """Receptance matrix of some modes and frequencies at which it is worth looking at.

    Returns
    -------
    receptance
        From frequencies in Hz, shape ``(lines,)``, to m/N, complex, shape ``(lines, 2, 2)``.
    frequency_hz
        Ascending; dense where a mode turns the phase.
    """
    require(len(modes) > 0, "Stability needs at least one mode.", "Give a mode for x, for y or for both.")

    def receptance(frequency_hz: np.ndarray) -> np.ndarray:
        """Sum the modes of each axis."""
        matrix = np.zeros((*frequency_hz.shape, 2, 2), dtype=complex)
        for mode in modes:
            index = "xy".index(mode.axis)
            matrix[..., index, index] += mode.receptance_m_per_n(frequency_hz)
        return matrix

    natural = np.array([mode.frequency_hz for mode in modes])
    spread = np.sinh(np.linspace(-5, 5, MODE_LINES)) / np.sinh(5)
    lines = [np.geomspace(natural.min() / 4, natural.max() * 4, BASE_LINES)]
    lines += [mode.frequency_hz * (1 + min(0.9, 40 * mode.damping_ratio) * spread) for mode in modes]
    return receptance, np.unique(np.concatenate(lines))


def receptance_of_responses(
    responses: tuple[FrequencyResponse, ...],
) -> tuple[Receptance, np.ndarray]:
    """Receptance matrix of measured responses, on a line between their frequencies.

    Parameters
    ----------
    responses
        One per direction: ``"xx"``, ``"yy"``, and ``"xy"`` and ``"yx"`` where they were measured.

    Returns
    -------
    receptance, frequency_hz
        As `receptance_of_modes`, within what all of them cover.

    Raises
    ------
    SettingError
        Where a direction is missing or doubled, the ranges do not overlap, or a mode is cut off by the range
        or too sharp for the spacing of the lines.
    """
    directions = [response.direction for response in responses]
    require(len(directions) > 0, "Stability needs at least one frequency response.")
    require(
        len(set(directions)) == len(directions),
        f"A direction is given twice: {' '.join(directions)}.",
        "Keep the better response of each direction.",
    )
    require(
        "xx" in directions or "yy" in directions,
        "Cross responses alone do not say how the tool tip gives way.",
        "Give the response in x, in y or in both.",
    )
    for response in responses:
        if response.direction in ("xx", "yy"):
            check_resolution(response)
    low = max(float(response.frequency_hz[0]) for response in responses)
    high = min(float(response.frequency_hz[-1]) for response in responses)
    require(low < high, "The frequency ranges of the responses do not overlap.", "Measure over one range.")

    def receptance(frequency_hz: np.ndarray) -> np.ndarray:
        """Read each response between its lines."""
        matrix = np.zeros((*frequency_hz.shape, 2, 2), dtype=complex)
        for response in responses:
            row, column = ("xy".index(letter) for letter in response.direction)
            values = np.interp(frequency_hz, response.frequency_hz, response.receptance_m_per_n)
            matrix[..., row, column] = values
        return matrix

    lines = np.unique(np.concatenate([response.frequency_hz for response in responses]))
    return receptance, lines[(lines >= max(low, 1e-6)) & (lines <= high)]


def _check_unit_and_sign(response: FrequencyResponse, size: np.ndarray) -> None:
    """Refuse what no tool tip does: a peak of another order than m/N, or one ahead of the force."""
    top = int(np.argmax(size))
    require(
        LEAST_TIP <= size[top] <= MOST_TIP,
        f"The highest peak in {response.direction} is {size[top]:.2g} m/N, which no tool tip has.",
        "Give displacement over force in m/N; a table in µm/N or mm/N must be converted.",
    )
    require(
        response.receptance_m_per_n[top].imag < 0,
        f"At the highest peak in {response.direction} the tip runs ahead of the force "
        f"({response.frequency_hz[top]:.0f} Hz, imaginary part above 0).",
        "Turn the sign of the imaginary part, or of the sensor.",
    )


def check_resolution(response: FrequencyResponse) -> None:
    """Refuse a response whose lines are too far apart, or end too early, to hold its modes.

    Raises
    ------
    SettingError
        Naming the mode and what would do.
    """
    size = np.abs(response.receptance_m_per_n)
    require(size.size >= 8, f"A response of {size.size} lines is too coarse to hold a mode.", MEASURE_LONGER)
    _check_unit_and_sign(response, size)
    inner = (size[1:-1] >= size[:-2]) & (size[1:-1] > size[2:])
    peaks = 1 + np.nonzero(inner & (size[1:-1] >= PEAK_SHARE * size.max()))[0]
    high = size >= PEAK_SHARE * size.max()
    # past a mode the tip moves against the force; a rise at the other end leads to one
    cut_below = high[0] and (response.receptance_m_per_n[0].real < 0 or np.argmax(size) == 0)
    cut_above = high[-1] and size[-1] > size[-2]
    for cut, edge in ((cut_below, 0), (cut_above, -1)):
        require(
            not cut,
            f"A mode in {response.direction} is cut off by the end of the range, "
            f"{response.frequency_hz[edge]:g} Hz.",
            "Measure over a range that holds the mode and both its sides.",
        )
    require(
        peaks.size > 0, f"The response in {response.direction} holds no mode.", "Measure over a wider range."
    )
    for peak in peaks:
        near = size >= size[peak] / np.sqrt(2)
        before = np.nonzero(~near[:peak])[0]
        after = np.nonzero(~near[peak:])[0]
        first = before[-1] + 1 if before.size else 0
        last = peak + after[0] - 1 if after.size else size.size - 1
        require(
            last - first + 1 >= LEAST_LINES,
            f"The mode at {response.frequency_hz[peak]:.0f} Hz in {response.direction} is sharper than the "
            f"spacing of the lines, {response.frequency_hz[peak] - response.frequency_hz[peak - 1]:.3g} Hz, "
            "can hold.",
            MEASURE_LONGER,
        )

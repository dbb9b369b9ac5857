"""The map of lines and the fit of combs to it: what counts is where exactly a line lies."""

import numpy as np
import pytest

from shopmon.signals.comb.fit import CombFit
from shopmon.signals.lines import find_lines, map_lines
from shopmon.signals.spectra import LineReader, LocalFloor, hann_window, sine_power_spectrum, sine_scaled

RATE_HZ, LENGTH, SIZE = 16_000.0, 6400, 8000
BIN_HZ = RATE_HZ / SIZE
READ = LineReader(LENGTH, SIZE)


def _lines(tones, noise=1e-3, seed=0):
    time = np.arange(LENGTH) / RATE_HZ
    sound = noise * np.random.default_rng(seed).standard_normal(LENGTH)
    for frequency_hz, level in tones:
        sound += level * np.sin(2 * np.pi * frequency_hz * time + frequency_hz)
    power = sine_power_spectrum(sound[None], sine_scaled(hann_window(LENGTH)), SIZE)[0]
    spectrum_db = 10 * np.log10(power)
    floor_db = LocalFloor(spectrum_db.size, 80)(spectrum_db)
    return map_lines(find_lines(spectrum_db, floor_db, spectrum_db - floor_db, READ, 5.0), spectrum_db.size)


@pytest.mark.parametrize("frequency_hz", [333.3, 1000.7, 2500.0])
def test_every_bin_near_a_line_knows_where_exactly_it_lies(frequency_hz):
    lines = _lines([(frequency_hz, 0.1)])
    middle = round(frequency_hz / BIN_HZ)
    near = slice(middle - 1, middle + 2)
    assert lines.position[near] * BIN_HZ == pytest.approx(frequency_hz, abs=0.02)
    assert np.ptp(lines.height_db[near]) == 0 and lines.height_db[middle] > 40


def test_of_two_lines_the_nearer_one_counts():
    lines = _lines([(1000.0, 0.1), (1008.0, 0.01)])
    assert lines.position[round(1008.0 / BIN_HZ)] * BIN_HZ == pytest.approx(1008.0, abs=0.3)


def test_no_line_is_far_away_and_of_no_height():
    lines = _lines([])
    empty = lines.height_db == 0
    assert empty.any() and np.all(lines.position[empty] < 0)


def test_a_strong_family_beside_the_comb_does_not_pull_it():
    rotation_hz = 86.7
    comb = [(order * rotation_hz, 0.02 if order % 3 else 0.04) for order in range(1, 12)]
    beside = [((order - 0.09) * rotation_hz, 0.4) for order in (14, 17, 20, 23)]
    candidates = rotation_hz * np.exp(5e-4 * np.arange(-70, 71))
    fit = CombFit(candidates, BIN_HZ, SIZE // 2 + 1, 3)
    assert candidates[np.argmax(fit(_lines(comb + beside)))] == pytest.approx(rotation_hz, rel=6e-4)


def test_noise_fits_no_comb():
    candidates = 150.0 * np.exp(5e-4 * np.arange(-70, 71))
    assert CombFit(candidates, BIN_HZ, SIZE // 2 + 1, None)(_lines([], seed=3)).max() < 0


def test_one_loud_line_buys_no_comb():
    candidates = 200.0 * np.exp(5e-4 * np.arange(-70, 71))
    assert CombFit(candidates, BIN_HZ, SIZE // 2 + 1, None)(_lines([(1437.0, 1.0)])).max() < 0

"""Levels, hertz and orders of pictures, held to scipy and to tones of known level."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal

from shopmon.signals.levels import power_db
from shopmon.signals.spectra import power_of, sine_scaled
from shopmon.signals.spectrogram import (
    as_codes,
    bin_edges_hz,
    column_levels,
    column_starts,
    onto_orders,
    onto_rows,
    window_length,
)
from shopmon.signals.tone_levels import ToneLevels

RATE_HZ = 48_000.0
WINDOWS = ("hann", "hamming", "blackman", "blackmanharris", "flattop", "nuttall", ("kaiser", 8.6), "boxcar")


def tone(frequency_hz, level_db, samples, phase=0.3):
    time = np.arange(samples) / RATE_HZ
    return (10 ** (level_db / 20) * np.sin(2 * np.pi * frequency_hz * time + phase)).astype(np.float32)


@settings(max_examples=150, deadline=None)
@given(
    window=st.sampled_from(WINDOWS[:-1]),
    length=st.integers(257, 9001),
    place=st.floats(20.0, 100.0),
    level_db=st.floats(-70.0, 0.0),
    phase=st.floats(0, 6.28),
    padding=st.sampled_from([1, 2, 4]),
)
def test_a_tone_reads_its_level_with_any_window_and_length(window, length, place, level_db, phase, padding):
    shape = signal.get_window(window, length)
    frequency_hz = place * RATE_HZ / length
    sound = tone(frequency_hz, level_db, length, phase).astype(float)
    levels = power_db(power_of(np.fft.rfft(sound * sine_scaled(shape), length * padding)))
    corrector = ToneLevels(shape, length * padding)
    assert corrector.correct(levels).max() == pytest.approx(level_db, abs=0.2)
    places, read = corrector.places(levels, np.array([int(levels.argmax())]))
    assert read[0] == pytest.approx(level_db, abs=0.2)
    if window != "flattop":  # made to tell levels and not places
        assert places[0] / padding == pytest.approx(place, abs=0.06)


@pytest.mark.parametrize("column_s", [0.0008, 0.0031, 0.0125, 0.05, 0.2, 3.2])
@pytest.mark.parametrize("off", [0.0, 0.25, 0.5, 0.77])
def test_every_zoom_reads_a_test_tone_right(column_s, off):
    length = window_length(column_s, RATE_HZ)
    frequency_hz = (round(2000 / (RATE_HZ / length)) + off) * RATE_HZ / length
    sound = tone(frequency_hz, -17.3, int(12 * RATE_HZ))
    starts = column_starts(3.0 * RATE_HZ, column_s * RATE_HZ, 3, length)
    levels = column_levels(sound, np.minimum(starts, sound.size), length)
    assert levels.max(axis=1) == pytest.approx(-17.3, abs=0.2)
    # the byte that is sent adds half a step of its own
    assert -100 + 0.4 * as_codes(levels).max() == pytest.approx(-17.3, abs=0.4)


def test_the_columns_are_those_of_scipy():
    rng = np.random.default_rng(3)
    sound = (0.01 * rng.standard_normal(48_000) + tone(1437.0, -20, 48_000)).astype(np.float32)
    length, hop = 2048, 1024
    transform = signal.ShortTimeFFT(
        signal.get_window("hann", length), hop, RATE_HZ, scale_to="magnitude", fft_mode="onesided2X"
    )
    first, last = transform.lower_border_end[1], transform.upper_border_begin(sound.size)[1]
    theirs = 20 * np.log10(np.abs(transform.stft(sound.astype(float), p0=first, p1=last)))
    starts = np.arange(first, last)[:, None] * hop - length // 2
    ours = column_levels(sound, starts, length)
    # only the peaks differ, which are read between the bins
    inner = slice(1, -1)
    peak = (ours[:, inner] >= ours[:, :-2]) & (ours[:, inner] > ours[:, 2:])
    difference = (ours[:, inner] - theirs.T[:, inner])[~peak]
    assert np.abs(difference).max() < 0.01


def test_a_column_holds_the_loudest_of_what_lies_in_it():
    sound = np.zeros(10 * 48_000, np.float32)
    sound[5 * 48_000 : 5 * 48_000 + 12_000] = tone(1437.0, -20, 12_000)
    length = window_length(2.0, RATE_HZ)
    levels = column_levels(sound, column_starts(0, 2 * RATE_HZ, 5, length), length).max(axis=1)
    assert levels[2] == pytest.approx(-20, abs=0.2)
    assert (levels[[0, 1, 3, 4]] < -90).all()


def test_rows_keep_the_loudest_line_and_its_place():
    length = 8192
    sound = tone(1500.0, -12.0, 20_000)
    levels = column_levels(sound, np.array([[2000]]), length)
    edges = np.linspace(0, 5000, 201)
    rows = onto_rows(levels, bin_edges_hz(length, RATE_HZ), edges)
    assert rows.shape == (1, 200)
    assert edges[rows[0].argmax()] <= 1500 + 6 and edges[rows[0].argmax() + 1] >= 1500 - 6
    assert rows.max() == pytest.approx(-12, abs=0.2)
    # rows narrower than a bin
    fine = onto_rows(levels, bin_edges_hz(length, RATE_HZ), np.linspace(1480, 1520, 101))
    assert fine.max() == pytest.approx(-12, abs=0.2) and fine.shape == (1, 100)


def test_orders_follow_a_speed_that_changes():
    # a spindle that runs up from 150 to 250 turns a second: its third multiple stays on one row of orders
    seconds = 6.0
    time = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    rotation = 150 + 100 * time / seconds
    turns = np.cumsum(rotation) / RATE_HZ
    sound = (0.1 * np.sin(2 * np.pi * 3 * turns)).astype(np.float32)
    length, step, count = 4096, 4800, 55
    starts = column_starts(2400, step, count, length)
    levels = column_levels(sound, starts, length)
    middles = (starts.mean(axis=1) + length / 2).astype(int)
    edges = np.linspace(0, 10, 101)
    picture = onto_orders(levels, bin_edges_hz(length, RATE_HZ), edges, rotation[middles], -200.0)
    found = edges[picture.argmax(axis=1)]
    assert np.abs(found - 3.0).max() <= 0.11
    over_hertz = bin_edges_hz(length, RATE_HZ)[levels.argmax(axis=1)]
    assert over_hertz[-1] - over_hertz[0] > 200


def test_where_no_speed_is_known_there_are_no_orders():
    levels = np.zeros((3, 1025), np.float32)
    picture = onto_orders(
        levels, bin_edges_hz(2048, RATE_HZ), np.linspace(0, 10, 11), np.array([200, np.nan, 9e3]), -1.0
    )
    assert (picture[0] == 0).all() and (picture[1] == -1).all()
    assert (picture[2, :3] == 0).all() and (picture[2, 3:] == -1).all()


def test_a_sound_shorter_than_the_window_gives_columns_all_the_same():
    levels = column_levels(np.zeros(100, np.float32), column_starts(0, 50, 2, 256), 256)
    assert levels.shape == (2, 129) and np.isfinite(levels).all()

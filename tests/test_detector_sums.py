"""The benchmark's sums of sines: what is called true of them is what is heard in them."""

import json
from itertools import islice

import numpy as np
import pytest
from scipy.interpolate import CubicSpline

from shopmon.errors import SettingError
from tests.bench.detector import corpus, running, sum_making
from tests.bench.detector.making import TURNS_STEP_S
from tests.bench.detector.plain import WINDOW_S, peaks_db
from tests.bench.detector.sum_drawing import drawn


def plainly_heard(kind, count):
    """The first few cases of a kind with little noise and nothing else to be heard."""
    every = (drawn("S", seed) for seed in range(2000))
    clear = (case for case in every if case.kind == kind and case.snr_db > 15 and not case.tags)
    return islice((case for case in clear if case.turning.rotation_hz > 40), count)


def level_db(samples, rate_hz, frequency_hz, start_s, end_s):
    """Highest line within one per cent of a frequency, dB of full scale."""
    part = samples[int(start_s * rate_hz) : int(end_s * rate_hz)] / 32768
    window = np.hanning(part.size)
    lines = np.abs(np.fft.rfft(part * window)) * 2 / window.sum()
    near = np.abs(np.fft.rfftfreq(part.size, 1 / rate_hz) / frequency_hz - 1) < 0.01
    return 20 * np.log10(lines[near].max())


def off_the_comb_db(samples, truth, start_s, end_s):
    """Highest line off the rotation comb over the highest on it, at its highest between two times."""
    turns = CubicSpline(TURNS_STEP_S * np.arange(len(truth["case"]["turns"])), truth["case"]["turns"])
    rate, ends = truth["recording"]["sample_rate_hz"], np.arange(start_s + WINDOW_S, end_s, 0.1)
    return max(peaks_db(samples / 32768, turns, end, rate, 1) for end in ends)


def test_chatter_begins_when_it_is_said_to_begin():
    loud = (case for case in plainly_heard("chatter", 40) if case.ringing.over_comb_db > 10)
    for case in islice((c for c in loud if c.ringing.spans_s[0][0] > c.engaged_s[0][0]), 4):
        samples, truth = sum_making.rendered(case)
        first = truth["chatter"][0]
        start, end = first["start_s"], first["end_s"]
        heard = [
            level_db(samples, case.rate_hz, first["frequency_hz"], *span)
            for span in ((start - 0.3, start), (max(start, end - 0.4), end))
        ]
        assert heard[1] - heard[0] > 15
        assert off_the_comb_db(samples, truth, *truth["engaged"][0]) > 0


def test_a_stable_cut_has_no_line_off_the_comb():
    for case in plainly_heard("stable", 4):
        samples, truth = sum_making.rendered(case)
        assert truth["chatter"] == [] and not truth["chatters"]
        settled = max(start for start, _ in truth["engaged"]) + 0.5
        assert off_the_comb_db(samples, truth, settled, truth["engaged"][-1][1]) < -6


def test_the_same_seed_gives_the_same_sound():
    first, again, other = (sum_making.rendered(drawn("S", seed))[0] for seed in (3, 3, 4))
    assert np.array_equal(first, again) and not np.array_equal(first[:1000], other[:1000])


def test_chatter_lies_within_the_metal_and_off_the_comb():
    for case in (drawn("S", seed) for seed in range(300)):
        assert (case.ringing is not None) == (case.kind == "chatter")
        for start, end in case.ringing.spans_s if case.ringing else ():
            assert any(a <= start < end <= b for a, b in case.engaged_s)
            order = case.ringing.frequency_hz / case.turning.loaded_hz
            assert abs(order - round(order)) * case.turning.loaded_hz > 4.99


def test_the_family_without_chatter_has_none():
    cases = [drawn("T", seed) for seed in range(100)]
    assert all(case.ringing is None for case in cases)
    assert sum("long notes" in case.tags for case in cases) > 40


def test_sums_are_drawn_and_scored_like_other_families(tmp_path, capsys):
    corpus.draw(tmp_path, "S", 6, 1)
    corpus.draw(tmp_path, "T", 0, 1)
    for stem in corpus.stems(tmp_path):
        truth = corpus.truth_of_stem(stem)
        recording = truth["recording"]
        assert json.loads(json.dumps(truth, allow_nan=False)) == truth
        assert corpus.samples_of(stem).shape == (
            round(recording["duration_s"] * recording["sample_rate_hz"]),
        )
    outcomes = [case.outcome for case in running.score(tmp_path)]
    assert outcomes[0] in ("hit", "missed", "early") and outcomes[1] in ("quiet", "false")
    assert "2 cases, 2 off the comb" in capsys.readouterr().out


def test_a_sum_has_one_sensor():
    with pytest.raises(SettingError, match="one sensor"):
        drawn("S", 0, sensors=2)

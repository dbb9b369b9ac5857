"""The benchmark's own arithmetic: what counts as a hit, intervals, delays, both plain methods, the drawer."""

import json

import numpy as np
import pytest

from shopmon.cutting.simulation.time_domain import Motion
from shopmon.listening.chatter.strays import Track
from shopmon.listening.chatter.suspect import Suspicion
from shopmon.listening.chatter.verdict import ChatterJudge
from tests.bench.detector import (
    corpus,
    hearing,
    looking,
    plain,
    running,
    scoring,
    shop_day,
    shop_floor,
    surroundings,
)
from tests.bench.detector.drawing import drawn
from tests.bench.detector.making import TURNS_STEP_S, split_power

RATE = 8000.0
ROTATION_HZ = 50.0


SAID = {
    "kind": "stable",
    "sensor": "microphone",
    "told_rpm": 3000.0,
    "told_flutes": 2,
    "speed_error": "right",
    "physics": "A tool",
    "material": "7075",
    "tags": ["plain"],
    "seed": 1,
}


def truth(chatter=(), *, engaged=((0.0, 4.0),), flutes=2, **case):
    """What is true of four seconds at a steady speed."""
    turns = (ROTATION_HZ * np.arange(0, 4.1, TURNS_STEP_S)).tolist()
    drawn_as = {
        "snr_db": 20.0,
        "chatter_over_comb_db": 10.0,
        "hidden": False,
        "marginal": False,
        "turns": turns,
    }
    return {
        "recording": {"sample_rate_hz": RATE, "duration_s": 4.0},
        "spindle": {"flutes": flutes, "true_rpm": 60 * ROTATION_HZ},
        "plan": {"assembly": {"mill": {"pitch_deg": None}}, "spindle": {"droop": 0.0}},
        "engaged": [list(span) for span in engaged],
        "engagements": [],
        "chatter": [{"start_s": a, "end_s": b, "frequency_hz": f} for a, b, f in chatter],
        "case": drawn_as | case,
    }


@pytest.mark.parametrize(
    ("alarm_s", "outcome"),
    [(None, "missed"), (1.8, "early"), (1.9, "hit"), (2.4, "hit"), (3.9, "hit"), (4.5, "missed")],
)
def test_an_alarm_before_the_chatter_is_no_hit(alarm_s, outcome):
    assert scoring.judged(truth([(2.0, 3.0, 420.0)]), alarm_s).outcome == outcome


def test_without_chatter_every_alarm_is_false():
    assert scoring.judged(truth(), 1.0).outcome == "false"
    assert scoring.judged(truth(), None).outcome == "quiet"


def test_balanced_accuracy_counts_early_alarms_as_missed():
    ringing = [scoring.judged(truth([(2.0, 3.0, 420.0)]), alarm) for alarm in (2.2, 0.5, None, 2.3)]
    quiet = [scoring.judged(truth(), alarm) for alarm in (None, None, None, 1.0)]
    assert scoring.balanced(ringing + quiet) == pytest.approx((0.5 + 0.75) / 2)


def test_intervals_agree_with_published_values():
    # Newcombe, Statistics in Medicine 17 (1998) 857-872, table I, score method: 81/263 and 0/20 [memory]
    assert scoring.wilson(81, 263) == pytest.approx((0.2553, 0.3662), abs=2e-4)
    assert scoring.wilson(0, 20) == pytest.approx((0.0, 0.1611), abs=2e-4)
    # Garwood's interval for no event: 0 to -ln(0.025); for ten: 4.795 to 18.39 (standard tables) [memory]
    assert scoring.poisson_bound(0) == pytest.approx((0.0, 3.689), abs=1e-3)
    assert scoring.poisson_bound(10) == pytest.approx((4.795, 18.390), abs=1e-3)


def test_delay_is_held_against_the_least_possible():
    near = scoring.judged(truth([(2.0, 3.0, 402.0)]), 2.6)
    assert scoring.floor_s(near) == pytest.approx(0.5, rel=1e-3)  # 2 Hz from the eighth order
    far = scoring.judged(truth([(2.0, 3.0, 425.0)]), 2.6)
    assert scoring.floor_s(far) == pytest.approx(5 / ROTATION_HZ, rel=1e-3)


@pytest.mark.parametrize(
    ("said_hz", "teeth", "rotation"),
    [
        (420.5, True, True),
        (320.0, True, True),
        (380.0, True, True),
        (470.0, False, True),
        (400.0, False, False),
    ],
)
def test_a_frequency_counts_when_it_is_of_the_family(said_hz, teeth, rotation):
    answer = {"alarms": [{"at_s": 2.4, "frequency_hz": said_hz}]}
    case = scoring.judged(truth([(2.0, 3.0, 420.0)]), 2.4, answer)
    assert scoring.near_family(case) is teeth
    assert scoring.near_family(case, "rotation") is rotation
    assert scoring.near_by_chance(case, "rotation") == pytest.approx(4 * 3 / 50)


def written(folder, number, made, tones):
    """Keep four seconds of tones that begin at given times as a case; returns its stem."""
    time = np.arange(int(4 * RATE)) / RATE
    sound = 0.002 * np.random.default_rng(number).standard_normal(time.size)
    for frequency, level, start in tones:
        sound += level * np.sin(2 * np.pi * frequency * time) * (time >= start)
    corpus.keep(folder / str(number), np.round(32768 * sound).astype(np.int16), made)
    return folder / str(number)


def test_both_plain_methods_tell_a_loud_stray_line_from_a_comb(tmp_path):
    comb = [(ROTATION_HZ * k, 0.1 / k, 0.0) for k in (2, 4, 6, 8)]
    stems = [
        written(tmp_path, 1, truth([(2.0, 4.0, 435.0)]), [*comb, (435.0, 0.2, 2.0)]),
        written(tmp_path, 2, truth(), comb),
    ]
    wanted, truths = running.chosen(tmp_path)
    assert wanted == stems
    judged, _ = running.plain_judged(wanted, truths)
    for method in plain.METHODS:
        assert [case.outcome for case in judged[method]] == ["hit", "quiet"]
    again, _ = running.plain_judged(wanted, truths)  # now from the file beside the corpus
    assert [case.alarm_s for case in again["peaks"]] == [case.alarm_s for case in judged["peaks"]]


def test_once_per_revolution_variance_has_the_published_size():
    # reference: a line of amplitude A off the comb gives a variance of A²/2 between revolutions
    time = np.arange(0, 2.0, 1 / RATE)
    comb = sum(0.3 * np.cos(2 * np.pi * ROTATION_HZ * k * time + k) for k in range(1, 8))
    starts = np.arange(0, 1.9, 1 / ROTATION_HZ)
    other, periodic = split_power(comb + 0.4 * np.sin(2 * np.pi * 437.0 * time), starts, RATE)
    assert other == pytest.approx(0.08, rel=0.05)
    assert periodic == pytest.approx(7 * 0.045, rel=0.05)


def test_the_same_family_and_seed_draw_the_same_case():
    assert drawn("D", 11) == drawn("D", 11)
    assert drawn("D", 11).plan != drawn("E", 11).plan


def test_a_drawn_case_says_what_the_scoring_needs(tmp_path):
    corpus.draw(tmp_path, "A", 4, 1)
    (stem,) = corpus.stems(tmp_path)
    made, samples = corpus.truth_of_stem(stem), corpus.samples_of(stem)
    case = made["case"]
    assert json.loads(json.dumps(made, allow_nan=False)) == made
    assert samples.shape == (round(made["recording"]["duration_s"] * made["recording"]["sample_rate_hz"]),)
    assert case["kind"] in ("chatter", "stable", "air", "idle", "noise") and case["family"] == "A"
    assert case["speed_error"] in ("right", "0.5", "2", "unknown")
    assert np.isfinite(hearing.true_rpm_at(made, 1.0))


@pytest.mark.parametrize("name", surroundings.SOURCES)
def test_every_other_sound_is_finite_and_of_unit_size(name):
    time = np.arange(0, 3.0, 1 / 16000)
    made = surroundings.SOURCES[name](time, 16000.0, np.random.default_rng(1))
    size = np.abs(made).max() if name == "bang" else np.sqrt(np.mean(made[made != 0] ** 2))
    assert made.shape == time.shape and np.all(np.isfinite(made))
    assert 0.7 < size < 1.5


def test_automatic_gain_evens_out_the_level():
    time = np.arange(0, 4.0, 1 / RATE)
    sound = np.sin(2 * np.pi * 300 * time) * np.where(time < 2, 0.02, 0.5)
    out = surroundings.automatic_gain(sound, RATE, attack_s=0.01, release_s=0.2)
    levels = [np.sqrt(np.mean(out[(time > a) & (time < a + 0.5)] ** 2)) for a in (1.0, 3.0)]
    assert levels[1] / levels[0] == pytest.approx(1, abs=0.1)


def test_a_pass_taken_apart_repeats_but_for_fresh_chance():
    wave = np.sin(2 * np.pi * np.arange(400) / 400)
    at_once = np.zeros(shop_floor.WINDOW)
    at_once[0] = 1.0
    apart = shop_floor.TakenApart(None, wave, np.full(100, 0.1), at_once)
    turns = np.arange(50_000) / 960
    still = shop_floor.around_turn(wave, turns)
    first, second = (apart.played(turns, np.random.default_rng(seed)) - still for seed in (1, 2))
    assert still == pytest.approx(np.sin(2 * np.pi * turns), abs=1e-3)
    assert abs(np.corrcoef(first, second)[0, 1]) < 0.05
    assert first.std() == pytest.approx(second.std(), rel=0.05)


def struck_by_one_tooth(turn, turns):
    """A mode struck once a turn by chance alone, at rest again before the next; shape ``(turns, turn)``."""
    rng = np.random.default_rng(3)
    time = np.arange(turn) / shop_floor.RATE_HZ
    ring = np.exp(-time / 0.008) * np.sin(2 * np.pi * 900 * time)
    blows = np.where(time < 0.002, 1.0, 1e-3) * rng.standard_normal((turns, turn))
    return np.convolve(blows.ravel(), ring)[: turns * turn].reshape(turns, turn)


def test_what_a_slow_tooth_leaves_to_chance_dies_away_before_the_next():
    """Chance that held its phase over turns would be a tone that no slow pass has."""
    turn, turns = 1360, 60
    blows, ring = shop_floor.struck(struck_by_one_tooth(turn, turns))
    apart = shop_floor.TakenApart(None, np.zeros(100), blows, ring)
    played = apart.played(np.arange(turns * turn) / turn, np.random.default_rng(4)).reshape(turns, turn)
    true = struck_by_one_tooth(turn, turns)
    assert played.std() == pytest.approx(true.std(), rel=0.1)
    early, late = slice(0, turn // 4), slice(turn // 2, turn)
    assert played[:, late].std() < 0.1 * played[:, early].std()
    alike = np.mean(played[1:] * played[:-1]) / np.mean(played**2)
    assert abs(alike) < 0.15


def test_what_rings_after_chance_keeps_its_spectrum():
    noise = np.random.default_rng(3).standard_normal(64 * shop_floor.WINDOW)
    noise = np.convolve(noise, np.ones(8) / 8, "same")
    window = np.hanning(shop_floor.WINDOW)

    def power(values):
        rows = values[: values.size // window.size * window.size].reshape(-1, window.size)
        return np.mean(np.abs(np.fft.rfft(rows * window)) ** 2, axis=0) / np.sum(window**2)

    ring = shop_floor.ring_of(power(noise))
    low = slice(10, 600)
    assert (np.abs(np.fft.rfft(ring)) ** 2)[low].mean() == pytest.approx(power(noise)[low].mean(), rel=0.05)
    assert np.sum(ring[:9] ** 2) > 0.9 * np.sum(ring**2)


def test_most_of_an_hour_in_the_shop_is_cutting():
    rng = np.random.default_rng(6)
    lengths = rng.uniform(*shop_floor.STRETCH_S, 40)
    cut = sum(bite.end_s - bite.start_s for length in lengths for bite in shop_floor.cuts_within(length, rng))
    assert 0.5 < cut / lengths.sum() < 0.9


def test_judges_with_other_wishes_hear_the_same_and_are_only_counted():
    line = Track(frequency_hz=1437.0, power=1e-3, margin_db=20.0, since_sample=0)
    sure = Suspicion(track=line, log_odds=1.5)
    beside = shop_day.Beside(ChatterJudge(0.1), (0.01, 8.0))
    first = {}
    for hop in range(1, 40):
        beside.weigh(sure, 800 * hop)
        beside.decide(sure, 800 * hop, 0, 6400)
        for label, raised in beside.raised.items():
            if raised:
                first.setdefault(label, hop)
    assert first["8 an hour"] < first["default"] < first["0.01 an hour"]
    assert [len(raised) for raised in beside.raised.values()] == [1, 1, 1]
    beside.end(32_000, 32_000)
    assert beside.span is None and beside.evidence == 0


def test_a_folder_is_scored_and_its_worst_cases_are_shown(tmp_path, capsys):
    comb = [(ROTATION_HZ * k, 0.1 / k, 0.0) for k in (2, 4, 6, 8)]
    for number in range(1, 7):
        made = truth([(2.0, 4.0, 435.0)] if number % 2 else ())
        made["case"] |= SAID
        written(tmp_path, number, made, [*comb, (435.0, 0.2, 2.0)] if number % 2 else comb)
    judged = running.score(tmp_path, lines=2)
    printed = capsys.readouterr().out
    assert [case.answer["number"] for case in judged] == list(range(1, 7))
    assert "everything from 0 dB" in printed and "once/rev" in printed and "worst" in printed
    looking.look(tmp_path, 1)
    assert "told {'rpm': 3000.0" in capsys.readouterr().out


def motion_with_other_rhythm(share):
    """A motion of one wave a turn and a slower rhythm of a share of its size, both along x."""
    turns, steps = 200, 40
    at = (np.arange(turns * steps) / steps).reshape(turns, steps)
    wave = np.sin(2 * np.pi * at) + share * np.sin(2 * np.pi * 0.37 * at)
    still = np.zeros_like(wave)
    return Motion(
        turn_start_s=0.022 * np.arange(turns + 1), x_m=1e-6 * wave, y_m=still, fx_n=still, fy_n=still
    )


def test_how_restless_a_pass_is_comes_from_its_motion():
    assert shop_floor.restlessness(motion_with_other_rhythm(0.0)) < 1e-6
    third, whole = (shop_floor.restlessness(motion_with_other_rhythm(share)) for share in (0.05, 0.15))
    assert whole == pytest.approx(0.15, rel=0.25)  # within a window the rhythms are not quite apart
    assert whole == pytest.approx(3 * third, rel=0.1)

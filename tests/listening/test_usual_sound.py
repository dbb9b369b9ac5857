"""What a job's cuts sound like is learned in metal: noise that is as loud again is no news, chatter is."""

from types import SimpleNamespace

import numpy as np
import pytest

from shopmon.listening.chatter.usual_sound import BATCH_HOPS, LONGEST_HOPS, UsualSound
from shopmon.listening.events import ChatterStarted
from tests.listening.hearing import listen, listener, of
from tests.listening.synthetic import RATE_HZ, blocks, gate
from tests.listening.test_steadiness import LINE_HZ as MODE_HZ
from tests.listening.test_steadiness import ROTATION_HZ, shaken_cut

BINS, BIN_HZ, WINDOW_S, HOP_S = 400, 2.0, 0.4, 0.05
LEVEL_DB, LINE_HZ = -60.0, 401.0
NO_COMB = np.zeros(0, dtype=np.intp)


def scene(spectrum_db, comb_bins=NO_COMB):
    """As much of a scene as is learned from."""
    return SimpleNamespace(
        view=SimpleNamespace(spectrum_db=np.asarray(spectrum_db, dtype=np.float32)),
        window=SimpleNamespace(bin_hz=BIN_HZ, duration_s=WINDOW_S),
        comb=SimpleNamespace(bins=comb_bins),
    )


def noise(rng):
    """One spectrum of noise: power is distributed exponentially, amplitude after Rayleigh."""
    return scene(LEVEL_DB + 10 * np.log10(rng.exponential(1.0, BINS)))


def steady(level_db=LEVEL_DB):
    """One spectrum in which nothing moves."""
    return scene(np.full(BINS, level_db))


def after(hops, made, over_db, line_hz=LINE_HZ, usual=None):
    """Newness of a line after so many hops."""
    usual = UsualSound() if usual is None else usual
    for _ in range(hops):
        usual.learn(made())
    return usual.newness(line_hz, LEVEL_DB + over_db, made(), HOP_S)


def shaking(seed=1):
    """Scenes of noise, one after the other."""
    rng = np.random.default_rng(seed)
    return lambda: noise(rng)


def test_noise_that_is_as_loud_again_is_as_ever_and_what_is_far_louder_is_new():
    """Standard deviation over mean is 1 for exponentially distributed power (Rayleigh amplitudes)."""
    assert after(100, shaking(), 3.0) == pytest.approx(-1.0, abs=0.05)
    assert after(100, shaking(), 25.0) == pytest.approx(1.0, abs=0.05)
    assert after(100, shaking(), 14.0) > -0.2


def test_what_keeps_its_level_stays_suspicious():
    assert after(100, steady, 0.0) == 0.0
    assert after(100, steady, 25.0) == pytest.approx(1.0)


def test_it_takes_seconds_to_know():
    assert after(9, shaking(), 3.0) == 0.0  # one batch waits for the next
    assert -0.6 < after(15, shaking(), 3.0) < 0.0
    assert after(45, shaking(), 3.0) < -0.8


def test_what_was_gathered_just_before_a_suspicion_is_dropped():
    usual, made = UsualSound(), shaking()
    for _ in range(4 * BATCH_HOPS):
        usual.learn(made())
    known = usual.sums.copy()
    for _ in range(BATCH_HOPS - 1):
        usual.learn(steady(LEVEL_DB + 40))
    usual.drop()
    for _ in range(BATCH_HOPS):
        usual.learn(made())
    assert np.array_equal(usual.sums, known)


def test_the_lines_of_the_comb_are_left_out_at_any_speed():
    usual, made = UsualSound(), shaking()
    for at in (200, 230):
        for _ in range(60):
            loud = made()
            loud.view.spectrum_db[at - 2 : at + 3] = -20.0
            loud.comb.bins = np.array([at])
            usual.learn(loud)
    for hz in (2 * 200.0, 2 * 230.0):
        assert after(0, made, 25.0, hz, usual) > 0.8


def test_it_forgets_slowly():
    usual = UsualSound()
    after(LONGEST_HOPS, steady, 0.0, usual=usual)
    assert usual.sums[0].max() <= LONGEST_HOPS
    assert after(5 * LONGEST_HOPS, lambda: steady(LEVEL_DB - 20), 0.0, usual=usual) > 0.8


@pytest.mark.parametrize("gain_db", [-60.0, -20.0, 10.0])
def test_gain_changes_nothing(gain_db):
    plain, moved, made = UsualSound(), UsualSound(), shaking()
    for _ in range(60):
        one = made()
        plain.learn(one)
        moved.learn(scene(one.view.spectrum_db + gain_db))
    for over_db in (0.0, 9.0, 16.0):
        found = moved.newness(LINE_HZ, LEVEL_DB + over_db + gain_db, one, HOP_S)
        assert found == pytest.approx(plain.newness(LINE_HZ, LEVEL_DB + over_db, one, HOP_S), abs=1e-3)


def test_another_window_begins_anew():
    usual = UsualSound()
    assert after(60, shaking(), 3.0, usual=usual) < -0.9
    longer = scene(np.full(2 * BINS, LEVEL_DB))
    assert usual.newness(LINE_HZ, LEVEL_DB, longer, HOP_S) == 0.0
    usual.learn(longer)
    assert usual.sums.shape == (3, 2 * BINS) and not usual.sums.any()


def test_a_restored_memory_goes_on_as_the_first_would_have():
    first, made = UsualSound(), shaking()
    for _ in range(33):
        first.learn(made())
    again = UsualSound()
    again.restore(first.snapshot())
    for _ in range(33):
        one = made()
        first.learn(one)
        again.learn(one)
    assert np.array_equal(first.sums, again.sums)
    again.clear()
    assert again.newness(LINE_HZ, LEVEL_DB, one, HOP_S) == 0.0


LONG_S, BITE, RINGS_S = 16.0, ((2.0, 15.0),), 11.0
TOLD_RPM = 60 * ROTATION_HZ


def test_chatter_of_a_mode_that_was_shaken_before_is_heard_at_once():
    _, cut, beaten = shaken_cut(LONG_S, BITE)
    rings = gate(LONG_S, ((RINGS_S, 15.0),)) * np.cos(2 * np.pi * MODE_HZ * np.arange(cut.size) / RATE_HZ)
    started = of(ChatterStarted, listen(cut + 0.3 * beaten * rings, RATE_HZ, rpm=TOLD_RPM, flutes=1))
    at = [event.sample / RATE_HZ for event in started]
    assert [time_s for time_s in at if 4.0 < time_s < RINGS_S] == []
    assert any(RINGS_S < time_s < RINGS_S + 0.7 for time_s in at)


def test_it_is_learned_in_metal_only_explained_and_forgotten_with_the_job():
    _, cut, _ = shaken_cut(LONG_S, BITE)
    ears = listener(rpm=TOLD_RPM, flutes=1)
    said = set()
    for block in blocks(cut, 4800):
        ears.feed(block)
        if block.first_sample < BITE[0][0] * RATE_HZ:
            assert not ears.chain.doubts.usual_sound.sums.any()
        told = ears.explain()
        said |= {what for what, _ in told.parts} if told else set()
    assert ears.chain.doubts.usual_sound.sums.any()
    assert "this job's cuts sounded like that all along, without chatter" in said
    ears.change_setup(type(ears.setup)(nominal_rpm=TOLD_RPM, flutes=1, job="another"), cut.size)
    ears.feed(next(iter(blocks(np.zeros(9600), 9600, first_sample=cut.size))))
    assert not ears.chain.doubts.usual_sound.sums.any()

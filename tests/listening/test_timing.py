"""When a tooth is in metal: short bites, cuts without quiet before, and what is loud but no cut."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shopmon.listening.background import Background
from shopmon.listening.engagement.burst import weigh_burst
from shopmon.listening.engagement.contact import CERTAIN
from shopmon.listening.engagement.edges import date_end, date_start
from shopmon.listening.intake.front import Window
from shopmon.signals.levels import power_db
from shopmon.signals.spectra import hann_window, sine_power_spectrum, sine_scaled
from tests.listening.hearing import cuts, listen
from tests.listening.synthetic import RATE_HZ, comb, gate, machine

RPM, FLUTES = 12_000, 3
ROTATION_HZ = RPM / 60
PECKS = tuple((2.0 + 0.7 * k, 2.0 + 0.7 * k + length) for k, length in enumerate((0.2, 0.3, 0.25, 0.4, 0.2)))


def heard(sound, **setup):
    return [span for cut in cuts(listen(sound, **setup)) for span in cut.engaged]


def rush(seconds, spans, level, seed=3):
    noise = np.random.default_rng(seed).standard_normal(round(seconds * RATE_HZ))
    return level * gate(seconds, spans) * noise


def test_every_short_bite_is_heard_and_dated():
    spans = heard(machine(8.0, engaged=PECKS), rpm=RPM, flutes=FLUTES)
    assert len(spans) == len(PECKS)
    for (start, end), (true_start, true_end) in zip(spans, PECKS, strict=True):
        assert start / RATE_HZ == pytest.approx(true_start, abs=0.03)
        assert end / RATE_HZ == pytest.approx(true_end, abs=0.03)


def test_a_recording_that_begins_in_mid_cut_is_understood_when_the_cut_ends():
    engaged = ((0.0, 2.0), (3.0, 3.5), (4.5, 6.0))
    spans = heard(machine(8.0, engaged=engaged), rpm=RPM, flutes=FLUTES)
    assert len(spans) == len(engaged)
    total = sum(end - start for start, end in spans) / RATE_HZ
    assert total == pytest.approx(4.0, abs=0.12)


def test_a_light_cut_is_heard():
    sound = machine(8.0, engaged=()) + gate(8.0, ((3.0, 6.0),)) * comb(200.0, 8.0, level=0.008, seed=2)
    ((start, end),) = heard(sound, rpm=RPM, flutes=FLUTES)
    assert (end - start) / RATE_HZ == pytest.approx(3.0, abs=0.15)


@pytest.mark.parametrize("setup", [{}, {"rpm": RPM, "flutes": FLUTES}])
def test_coolant_bangs_and_a_beep_are_no_cut(setup):
    sound = machine(9.0, engaged=()) + rush(9.0, ((2.0, 4.0), (5.0, 5.12)), 0.05)
    time = np.arange(sound.size) / RATE_HZ
    sound += 0.1 * gate(9.0, ((6.0, 6.5),)) * np.sin(2 * np.pi * 1000.0 * time)
    assert not heard(sound, **setup)


@pytest.mark.parametrize("lead_s", [1.0, 0.0, -0.5])
def test_coolant_before_with_or_after_contact_moves_no_edge(lead_s):
    sound = machine(9.0, engaged=((3.0, 5.0),)) + rush(9.0, ((3.0 - lead_s, 7.0),), 0.03)
    ((start, end),) = heard(sound, rpm=RPM, flutes=FLUTES)
    assert start / RATE_HZ == pytest.approx(3.0, abs=0.06)
    assert end / RATE_HZ == pytest.approx(5.0, abs=0.08)


def test_a_spindle_that_starts_is_no_cut():
    seconds, ramp = 7.0, 0.8
    time = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    share = np.clip((time - 2.0) / ramp, 0, 1)
    turns = np.cumsum(200.0 * share) / RATE_HZ
    sound = sum(np.cos(2 * np.pi * order * turns + order) / order for order in range(1, 13))
    sound = 0.02 * share * sound + 0.003 * np.random.default_rng(1).standard_normal(time.size)
    assert not heard(sound, rpm=RPM, flutes=FLUTES)


@settings(max_examples=30, deadline=None)
@given(start=st.floats(40, 120), entry=st.floats(1, 25), level_db=st.floats(6, 40), seed=st.integers(0, 99))
def test_first_contact_is_where_a_straight_entry_begins(start, entry, level_db, seed):
    frames = np.arange(200)
    added = 10 ** (level_db / 10) * np.clip((frames - start) / entry, 0, 1) ** 2
    noise = np.random.default_rng(seed).uniform(0.9, 1.1, (200, 10))
    history_db = power_db(noise + added[:, None])
    quiet, spread = np.full(10, -0.3), np.full(10, 0.3)
    inside = min(round(start + entry) + 3, 199)
    tolerance = 3.0 + 0.3 * entry
    assert date_start(history_db, quiet, spread, inside, 1) == pytest.approx(start, abs=tolerance)
    mirrored = date_end(history_db[::-1], quiet, spread, 199 - inside, 1)
    assert mirrored == pytest.approx(199 - start, abs=tolerance)


def weighed(added, seconds=0.3):
    """Weigh a short stretch of an idle machine with something added against the idle machine."""
    window = Window(RATE_HZ, 0.4)
    idle = machine(1.0, engaged=())
    background = Background()
    spectra = [
        sine_power_spectrum(idle[at : at + window.length], window.taper, window.size)
        for at in (0, 4000, 8000)
    ]
    background.use(np.mean(spectra, axis=0))
    count = round(seconds * RATE_HZ)
    taper = sine_scaled(hann_window(count))
    power = sine_power_spectrum(idle[:count] + added[:count], taper, window.size)
    return weigh_burst(power, seconds, window, background, ROTATION_HZ, FLUTES)


@settings(max_examples=25, deadline=None)
@given(level=st.floats(0.005, 0.3), seconds=st.floats(0.1, 0.4), seed=st.integers(0, 99))
def test_only_what_sits_on_the_comb_is_a_cut(level, seconds, seed):
    time = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    noise = level * np.random.default_rng(seed).standard_normal(time.size)
    assert weighed(noise, seconds).score < CERTAIN
    assert weighed(level * np.sin(2 * np.pi * 1437.0 * time), seconds).score < CERTAIN
    other = comb(163.7, seconds, flutes=4, level=level, seed=seed)
    assert weighed(other, seconds).score < CERTAIN
    assert weighed(comb(ROTATION_HZ, seconds, level=max(level, 0.02), seed=seed), seconds).score > CERTAIN


def test_a_family_off_the_comb_is_a_cut_that_rings():
    time = np.arange(round(0.3 * RATE_HZ)) / RATE_HZ
    family = sum(
        0.1 / 3 ** abs(k) * np.sin(2 * np.pi * (1437.0 + k * FLUTES * ROTATION_HZ) * time + k)
        for k in (-2, -1, 0, 1, 2)
    )
    assert weighed(family).score > CERTAIN


def test_too_short_a_stretch_says_nothing():
    assert weighed(np.zeros(4000), 0.006) is None


def test_a_spindle_that_runs_up_and_down_in_between_is_no_cut():
    run = 1.2
    t = np.arange(int(9 * RATE_HZ)) / RATE_HZ
    share = np.clip(np.minimum((t - 2) / run, (7 - t) / run), 0, 1)
    share = share * share * (3 - 2 * share)
    turns = 2 * np.pi * np.cumsum(100.0 * share) / RATE_HZ
    comb = sum(np.cos(k * turns + k * k) / k for k in range(1, 25))
    noise = 0.003 * np.random.default_rng(2).standard_normal(t.size)
    assert cuts(listen((0.05 * share * comb + noise).astype(np.float32), rpm=6000, flutes=2)) == []

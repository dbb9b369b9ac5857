"""A rendered pass: deterministic, at the levels asked for, and its sound bears out its truth."""

import json
from dataclasses import replace

import numpy as np
import pytest

from shopmon.cutting.simulation.pass_sound import render
from shopmon.cutting.simulation.plan import (
    Corner,
    Engagement,
    Neighbour,
    PassPlan,
    SpeedChange,
    Spindle,
    Surroundings,
)
from shopmon.cutting.simulation.scenarios import SCENARIOS, assembly, bending, scenario
from shopmon.cutting.simulation.truth import full_depth_stability
from shopmon.errors import SettingError

RATE = 48000


def short(name="quiet-pass", **changes) -> PassPlan:
    """A scenario cut down to one engagement from 1 to 3 s of 4 s, changed."""
    plan = replace(
        scenario(name), duration_s=4.0, engagements=(Engagement(start_s=1.0, end_s=3.0, ap_start_mm=1.0),)
    )
    return replace(plan, **changes)


def ringing(**changes) -> PassPlan:
    """A pass that chatters from half-way."""
    deepening = Engagement(start_s=1.0, end_s=4.0, ap_start_mm=0.6, ap_end_mm=5.0, entry_s=0.2)
    return replace(scenario("pass-that-rings"), duration_s=5.0, engagements=(deepening,), **changes)


def spectrum(samples, start_s, end_s, rate=RATE):
    """Frequencies and amplitudes (Hann window) of a stretch."""
    part = np.asarray(samples[int(start_s * rate) : int(end_s * rate)], dtype=float)
    window = np.hanning(part.size)
    return np.fft.rfftfreq(part.size, 1 / rate), np.abs(np.fft.rfft(part * window)) * 2 / window.sum()


def line(samples, frequency_hz, start_s, end_s, width_hz=3.0):
    """Amplitude of the highest line near a frequency."""
    frequency, amplitude = spectrum(samples, start_s, end_s)
    return amplitude[np.abs(frequency - frequency_hz) < width_hz].max()


def level_db(samples, start_s, end_s, rate=RATE):
    """Root mean square of a stretch, dB re full scale."""
    part = np.asarray(samples[int(start_s * rate) : int(end_s * rate)], dtype=float)
    return 10 * np.log10(np.mean(part**2))


def test_same_seed_same_samples_other_seed_other_samples():
    plan = short()
    first, truth = render(plan, 3)
    again, truth_again = render(plan, 3)
    other, _ = render(plan, 4)
    assert np.array_equal(first, again)
    assert truth == truth_again
    assert not np.array_equal(first, other)


@pytest.mark.parametrize("name", SCENARIOS)
def test_every_scenario_tells_a_truth_that_json_can_hold(name):
    plan = scenario(name)
    last = max((item.end_s for item in plan.engagements[:1]), default=plan.duration_s)
    plan = replace(plan, duration_s=min(last + 0.5, 12.0), engagements=(), loops=False)
    samples, truth = render(plan, 1)
    assert plan.name == name and plan.description
    assert json.loads(json.dumps(truth, allow_nan=False)) == truth
    assert truth["schema"] == "shopmon.truth/1" and "Invented" in truth["note"]
    assert samples.dtype == np.float32 and samples.shape == (round(plan.duration_s * RATE),)
    assert np.abs(samples).max() < 1


def test_levels_are_those_asked_for():
    samples, truth = render(short(surroundings=Surroundings(level_dbfs=-26, snr_db=30)), 1)
    assert level_db(samples, 1.5, 2.5) == pytest.approx(-26, abs=0.5)
    assert truth["recording"]["quiet_cut_dbfs"] == -26
    idle = level_db(samples, 0.2, 0.9) - level_db(samples, 1.5, 2.5)
    assert idle == pytest.approx(-12, abs=1.0)


def test_noise_obeys_the_ratio():
    silent = Spindle(nominal_rpm=12000, level_db=-100)
    plan = short(spindle=silent, surroundings=Surroundings(snr_db=12, hum_db=-90))
    samples, _ = render(plan, 1)
    assert level_db(samples, 0.1, 0.9) - level_db(samples, 1.5, 2.5) == pytest.approx(-12, abs=0.7)


def test_nothing_clips_unless_the_sensor_may():
    loud = Surroundings(level_dbfs=-6, snr_db=30)
    samples, truth = render(ringing(surroundings=loud), 1)
    assert np.abs(samples).max() == pytest.approx(0.89, abs=0.001)
    assert truth["recording"]["quiet_cut_dbfs"] < -6
    clipped, _ = render(ringing(surroundings=replace(loud, clip=True)), 1)
    assert np.mean(np.abs(clipped) >= 1) > 0.01


def test_engaged_times_are_heard():
    samples, truth = render(short(), 2)
    ((start, end),) = truth["engaged"]
    assert (start, end) == pytest.approx((1.0, 3.0), abs=0.01)
    assert level_db(samples, start + 0.15, end - 0.15) > level_db(samples, 0.2, start - 0.1) + 8
    assert level_db(samples, end + 0.3, 3.9) < level_db(samples, start + 0.15, end - 0.15) - 8


def test_the_comb_stands_at_the_true_speed_not_the_nominal_one():
    spindle = Spindle(nominal_rpm=9000, slip=0.017, droop=0.01)
    samples, truth = render(short(spindle=spindle), 1)
    turning_hz = truth["engagements"][0]["rpm"] / 60
    assert turning_hz == pytest.approx(150 * 0.983 * 0.99, rel=1e-3)
    for order in (3, 6, 9):
        near, nominal = (line(samples, order * hz, 1.8, 2.8, 2.0) for hz in (turning_hz, 150.0))
        assert near > 5 * nominal
    times, rpm = np.array(truth["spindle"]["track"]).T
    assert rpm[times < 0.9] == pytest.approx(9000 * 0.983, rel=2e-3)


@pytest.mark.parametrize("seed", [1, 2])
def test_much_runout_makes_rotation_lines_as_strong_as_tooth_passing(seed):
    def shares(runout_um):
        tool = assembly(10, 3, stickout_mm=32, runout_um=runout_um)
        # here the tenth rotation line, no tooth-passing line, falls near a natural frequency of the tool
        light = short(
            assembly=tool, tooth_scatter_um=0.0, feed_per_tooth_mm=0.02, spindle=Spindle(nominal_rpm=10900)
        )
        samples, truth = render(light, seed)
        hz = truth["engagements"][0]["rpm"] / 60
        lines = [line(samples, order * hz, 1.8, 2.8) for order in range(1, 13)]
        return max(lines[2::3]), max(amplitude for order, amplitude in enumerate(lines, 1) if order % 3)

    teeth, rotation = shares(0.0)
    assert rotation < 0.3 * teeth
    teeth, rotation = shares(20.0)
    assert rotation > teeth


@pytest.mark.parametrize("sensor", ["microphone", "accelerometer"])
def test_chatter_is_heard_at_its_frequency_and_only_from_its_onset(sensor):
    plan = ringing(surroundings=Surroundings(sensor=sensor, snr_db=20))
    samples, truth = render(plan, 1)
    event = truth["chatter"][-1]
    assert truth["chatters"] and truth["engagements"][0]["stability"]["verdict"] == "chatter"
    assert 1.5 < event["start_s"] < 3.5 and event["end_s"] > 3.7
    verdict_hz = truth["engagements"][0]["stability"]["chatter_hz"]
    assert event["frequency_hz"] == pytest.approx(verdict_hz, rel=0.02)
    assert min(abs(hz - event["frequency_hz"]) for hz in truth["natural_frequencies_hz"]) < 100
    before = line(samples, event["frequency_hz"], 1.3, 2.0, 8.0)
    assert line(samples, event["frequency_hz"], 3.2, 3.9, 8.0) > 5 * before
    family = [hz for hz in event["family"]["lines_hz"] if 700 < hz < 3000]
    assert (
        len(family) >= 3 and np.diff(event["family"]["lines_hz"]).max() <= event["family"]["spacing_hz"] + 0.1
    )


def test_quiet_by_the_theory_is_quiet_in_motion():
    _, truth = render(short(), 1)
    assert not truth["chatters"] and truth["engagements"][0]["stability"]["verdict"] == "quiet"


def test_period_doubling_that_hides_in_the_comb_is_still_told():
    deep = Engagement(start_s=1.0, end_s=3.0, ap_start_mm=3.0)
    _, truth = render(replace(scenario("finishing-wall"), duration_s=4.0, engagements=(deep,)), 1)
    (event,) = truth["chatter"]
    order = event["frequency_hz"] / (truth["engagements"][0]["rpm"] / 60)
    assert event["kind"] == "period-doubling"
    assert order == pytest.approx(round(order), abs=0.03) and round(order) % 2 == 1
    assert "twin" in truth["engagements"][0]["measured_on"]


def test_three_flutes_double_at_half_orders():
    deep = Engagement(start_s=1.0, end_s=3.0, ap_start_mm=2.6)
    _, truth = render(replace(scenario("lever-edge"), duration_s=4.0, engagements=(deep,)), 1)
    order = truth["chatter"][-1]["frequency_hz"] / (truth["engagements"][0]["rpm"] / 60)
    assert order % 1 == pytest.approx(0.5, abs=0.02)


def test_pecks_are_as_many_engagements_as_planned():
    plan = scenario("pecks")
    _, truth = render(plan, 1)
    planned = np.array([(item.start_s, item.end_s) for item in plan.engagements])
    assert np.array(truth["engaged"]) == pytest.approx(planned, abs=0.02)


def test_a_spindle_that_starts_and_stops():
    spindle = Spindle(nominal_rpm=6000, start_s=0.5, stop_s=2.5, ramp_s=0.5)
    plan = short(engagements=(), spindle=spindle, surroundings=Surroundings(snr_db=50, hum_db=-90))
    samples, truth = render(plan, 1)
    assert level_db(samples, 0.0, 0.4) < level_db(samples, 1.2, 2.4) - 20
    assert level_db(samples, 3.2, 3.9) < level_db(samples, 1.2, 2.4) - 20
    rpm = dict(truth["spindle"]["track"])
    assert rpm[0.25] < 1 and rpm[1.5] == pytest.approx(6000, rel=2e-3) and rpm[3.5] < 1


def test_cutting_with_a_standing_spindle_is_refused():
    with pytest.raises(SettingError, match="stands or crawls"):
        render(short(spindle=Spindle(nominal_rpm=6000, start_s=2.0)), 1)


def test_the_neighbour_brings_a_comb_of_its_own():
    other = Neighbour(rpm=2870, flutes=4, level_db=-6, start_s=2.0)
    plan = short(engagements=(), surroundings=Surroundings(snr_db=30, neighbours=(other,)))
    samples, _ = render(plan, 1)
    assert line(samples, 2870 / 60 * 4, 2.5, 3.9) > 10 * line(samples, 2870 / 60 * 4, 0.2, 1.6)


def test_coolant_hisses_from_before_the_cut_until_after():
    dry, wet = (render(short(surroundings=Surroundings(snr_db=6, coolant=on)), 1)[0] for on in (False, True))
    frequency, before = spectrum(wet, 0.4, 0.9)
    _, without = spectrum(dry, 0.4, 0.9)
    band = (frequency > 2000) & (frequency < 8000)
    assert np.sum(before[band] ** 2) > 1.5 * np.sum(without[band] ** 2)


@pytest.mark.parametrize("rate", [8000, 44100, 192000])
def test_other_rates_hear_the_same_pass(rate):
    samples, truth = render(short(sample_rate_hz=float(rate)), 1)
    assert samples.size == 4 * rate
    hz = truth["engagements"][0]["rpm"] / 60 * 3
    frequency, amplitude = spectrum(samples, 1.8, 2.8, rate)
    low = (frequency > 300) & (frequency < 700)
    assert frequency[low][np.argmax(amplitude[low])] == pytest.approx(hz, abs=1.5)


def test_a_loop_has_no_seam():
    plan = short(loops=True, engagements=(), surroundings=Surroundings(snr_db=60, hum_db=-90))
    samples, _ = render(plan, 1)
    assert samples.size == 4 * RATE
    around = np.concatenate([samples[-200:], samples[:200]])
    bend = np.abs(np.diff(around, 2))
    assert bend[190:210].max() < 1.5 * np.abs(np.diff(samples, 2)).max()
    assert abs(samples[0] - samples[-1]) < 3 * np.std(np.diff(samples))


def test_unequal_pitch_one_flute_and_many_flutes_render():
    for flutes, pitch in ((1, None), (7, None), (3, (100.0, 120.0, 140.0))):
        tool = assembly(12, flutes, stickout_mm=30, runout_um=5)
        mill = replace(tool.mill, pitch_deg=pitch)
        plan = short(assembly=replace(tool, mill=mill), modes=bending(1500.0, 0.04, 4e7))
        samples, truth = render(plan, 1)
        assert np.all(np.isfinite(samples)) and truth["spindle"]["flutes"] == flutes


def test_slow_spindles_do_not_mistake_coming_in_for_chatter():
    tool = assembly(20, 7, stickout_mm=40, runout_um=8)
    spindle = Spindle(nominal_rpm=500)
    plan = short(assembly=tool, spindle=spindle, modes=bending(2000.0, 0.03, 3e7), ae_mm=6.0)
    _, truth = render(plan, 1)
    assert truth["engagements"][0]["stability"]["verdict"] == "quiet" and not truth["chatters"]


def test_progress_rises_to_the_end():
    shares = []
    render(scenario("pecks"), 1, progress=shares.append)
    assert shares == sorted(shares) and shares[0] >= 0 and 0.8 < shares[-1] <= 1


@pytest.mark.parametrize("seed", [-1, 1.5, "seven"])
def test_absurd_seeds_are_refused(seed):
    with pytest.raises(SettingError, match="seed"):
        render(short(), seed)


@pytest.mark.parametrize(
    "changes",
    [
        {"duration_s": 0.0},
        {"duration_s": float("nan")},
        {"sample_rate_hz": 10.0},
        {"ae_mm": 50.0},
        {"modes": ()},
        {"feed_per_tooth_mm": 0.0},
        {"force_noise": -1.0},
        {"engagements": (Engagement(start_s=1, end_s=9, ap_start_mm=1),)},
        {
            "engagements": (
                Engagement(start_s=1, end_s=3, ap_start_mm=1),
                Engagement(start_s=2, end_s=3.5, ap_start_mm=1),
            )
        },
    ],
)
def test_absurd_plans_are_refused(changes):
    with pytest.raises(SettingError):
        short(**changes)


def test_the_override_takes_speed_and_tooth_passing_along():
    plan = short(spindle=Spindle(nominal_rpm=12000, changes=(SpeedChange(start_s=1.8, override=0.8),)))
    samples, truth = render(plan, 2)
    speeds = dict(map(tuple, truth["spindle"]["track"]))
    assert speeds[1.5] == pytest.approx(12000, rel=2e-3)
    assert speeds[2.5] == pytest.approx(9600, rel=2e-3)
    tooth_hz = 12000 / 60 * 3
    assert line(samples, 0.8 * tooth_hz, 2.3, 2.9) > 5 * line(samples, tooth_hz, 2.3, 2.9)


def test_the_least_stable_speed_of_the_override_decides():
    plan = ringing(spindle=Spindle(nominal_rpm=11000))
    alone = full_depth_stability(plan, plan.engagements[0]).spectral_radius
    turned = replace(plan.spindle, changes=(SpeedChange(start_s=2.0, override=0.93),))
    both = full_depth_stability(replace(plan, spindle=turned), plan.engagements[0]).spectral_radius
    slower = replace(plan.spindle, nominal_rpm=0.93 * 11000)
    only = full_depth_stability(replace(plan, spindle=slower), plan.engagements[0]).spectral_radius
    assert both == pytest.approx(max(alone, only))


def test_a_corner_takes_more_metal_for_a_moment():
    corner = Corner(start_s=1.8, end_s=2.2, factor=1.5)
    bite = Engagement(start_s=1.0, end_s=3.0, ap_start_mm=1.0, corners=(corner,))
    assert [bite.depth_mm(time) for time in (1.5, 1.85, 2.0, 2.5)] == pytest.approx([1, 1.25, 1.5, 1])
    assert bite.ap_max_mm == 1.5
    samples, _ = render(short(engagements=(bite,)), 2)
    assert level_db(samples, 1.9, 2.1) > level_db(samples, 1.4, 1.6) + 1.5


def test_coolant_may_come_after_the_metal():
    around = Surroundings(snr_db=0, coolant=True, coolant_lead_s=-0.8, coolant_trail_s=0.0)
    samples, _ = render(short(surroundings=around), 2)
    frequency, before = spectrum(samples, 1.3, 1.7)
    _, after = spectrum(samples, 2.3, 2.7)
    band = (frequency > 5000) & (frequency < 8000)
    assert np.mean(after[band] ** 2) > 4 * np.mean(before[band] ** 2)


def test_the_resonances_between_cut_and_sensor_are_ones_own():
    usual, _ = render(short(), 2)
    shaped, _ = render(short(surroundings=Surroundings(resonances=((600.0, 0.01, 5.0),))), 2)
    tooth_hz = scenario("quiet-pass").spindle.true_rpm / 60 * 3
    relative = [
        line(made, tooth_hz, 1.5, 2.9, 8) / line(made, 2 * tooth_hz, 1.5, 2.9, 8) for made in (usual, shaped)
    ]
    assert relative[1] > 2 * relative[0]


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: Corner(start_s=2, end_s=1, factor=2),
        lambda: Corner(start_s=1, end_s=2, factor=0),
        lambda: SpeedChange(start_s=1, override=3),
        lambda: Surroundings(resonances=((0.0, 0.1, 1.0),)),
    ],
)
def test_absurd_extras_are_refused(wrong):
    with pytest.raises(SettingError):
        wrong()

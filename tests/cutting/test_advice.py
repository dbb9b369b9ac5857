"""The contract of the advice, whatever is heard, and that it knows more than the plain rule."""

import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shopmon.cutting.advising.one_line import ChatterTone, SpeedLimits, advise
from shopmon.cutting.advising.plausible import least_limit
from shopmon.cutting.advising.quiet_speeds import EarlierLine, candidate_speeds, quiet_speeds, usual_arcs
from shopmon.cutting.geometry import entry_exit
from shopmon.cutting.stability.many_cuts import Systems, spectral_radius
from shopmon.errors import SettingError

TONE = {"frequency_hz": 1432.6, "rpm": 11900.0, "nominal_rpm": 12000.0, "flutes": 3}


@given(
    frequency=st.floats(200, 6000),
    rpm=st.floats(2000, 40000),
    slip=st.floats(0.97, 1.03),
    flutes=st.integers(1, 7),
    milling=st.sampled_from(["climb", "conventional", "slot", None]),
    share=st.floats(0.03, 1.0),
    top=st.one_of(st.none(), st.floats(1.0, 2.0)),
    rated=st.one_of(st.none(), st.floats(1.0, 2.0)),
)
@settings(max_examples=12, deadline=None)
def test_keeps_the_contract(frequency, rpm, slip, flutes, milling, share, top, rated):
    limits = SpeedLimits(
        min_rpm=0.5 * rpm,
        max_rpm=top and top * rpm,
        rated_rpm=rated and rated * rpm,
        override_step_percent=10.0,
    )
    tone = ChatterTone(
        frequency_hz=frequency,
        rpm=rpm,
        nominal_rpm=rpm / slip,
        flutes=flutes,
        milling=milling,
        diameter_mm=10.0,
        ae_mm=10.0 * share,
    )
    found = advise(tone, limits)
    assert found
    speeds = [entry for entry in found if entry.action == "speed"]
    highest = min([1.0001 * rpm * factor for factor in (top, rated) if factor] or [rpm])
    chances = [entry.probability_quiet for entry in speeds]
    assert chances == sorted(chances, reverse=True)
    for entry in speeds:
        assert 0.4999 * rpm <= entry.rpm <= highest
        assert entry.command_rpm == pytest.approx(entry.rpm / slip, rel=1e-4)
        assert entry.feed_factor == pytest.approx(entry.rpm / rpm, abs=1e-3)
        assert entry.lobe >= 1
        assert ("Speed first" in entry.reason) == (entry.rpm > rpm)
        assert ("Feed first" in entry.reason) == (entry.rpm < rpm)
        if entry.override_percent:
            assert entry.override_percent % 10 == 0 and 50 <= entry.override_percent <= 120
            assert entry.override_percent / 100 * rpm <= highest
    if not top and not rated:
        assert any("No speed above" in entry.reason for entry in found)
    assert advise(tone, limits) == found


def test_no_speed_for_unequal_pitch():
    (only,) = advise(ChatterTone(**TONE, pitch_equal=False), SpeedLimits(max_rpm=20000))
    assert only.action == "less-depth" and "pitch" in only.reason


@pytest.mark.parametrize("unknown", ["rpm", "flutes"])
def test_says_what_is_missing(unknown):
    (only,) = advise(ChatterTone(**{**TONE, unknown: None}), SpeedLimits(max_rpm=20000))
    assert only.action == "none" and "Without" in only.reason


def test_is_silent_about_speed_where_the_lobes_are_too_narrow():
    tone = ChatterTone(frequency_hz=2500.0, rpm=2000.0, flutes=4)
    actions = [entry.action for entry in advise(tone, SpeedLimits(max_rpm=3000))]
    assert actions == ["less-depth", "less-stickout", "other-tool"]


@pytest.mark.parametrize(
    ("milling", "share", "flutes", "rpm", "depth"),
    [("climb", 0.3, 3, 14500.0, 1.5), ("conventional", 0.2, 2, 19000.0, 1.5), ("slot", 1.0, 3, 14500.0, 1.4)],
)
def test_the_advised_speed_is_quiet_for_a_single_mode(milling, share, flutes, rpm, depth):
    mode = Systems("y", np.array([[1000.0]]), np.array([[0.03]]), np.array([[5e6]]), np.array([0.3]))
    arc = entry_exit(milling, share, 1.0)
    forces = np.geomspace(1e4, 1e8, 400)
    many = mode.pick(np.zeros(400, dtype=int))
    limit = forces[int(np.argmax(spectral_radius(many, arc, flutes, rpm, forces).radius > 1))]
    heard = spectral_radius(mode, arc, flutes, rpm, depth * limit, lines=True)
    tone = _tone_of(heard, rpm, flutes, milling, share)
    first = advise(tone, SpeedLimits(max_rpm=1.9 * rpm))[0]
    assert first.action == "speed"
    assert spectral_radius(mode, arc, flutes, first.rpm, depth * limit).radius[0] < 1


@pytest.mark.parametrize(
    "wrong",
    [
        {"frequency_hz": float("nan")},
        {"frequency_hz": 0.0},
        {"flutes": 0},
        {"flutes": 2.5},
        {"rpm": -1.0},
        {"rpm": 1e6},
        {"milling": "sideways"},
        {"ae_mm": 12.0, "diameter_mm": 10.0},
        {"ap_mm": float("inf")},
    ],
)
def test_refuses_what_cannot_be(wrong):
    with pytest.raises(SettingError):
        ChatterTone(**{**TONE, **wrong})


def test_refuses_an_empty_range():
    with pytest.raises(SettingError):
        SpeedLimits(min_rpm=9000, max_rpm=8000)


def _tone_of(heard, rpm, flutes, milling, share):
    """What is told of a cut with a tool of 10 mm that rings."""
    return ChatterTone(
        frequency_hz=float(heard.line_hz[0]),
        rpm=rpm,
        flutes=flutes,
        milling=milling,
        diameter_mm=10.0,
        ae_mm=10.0 * share,
    )


def _limit(machine, arc, flutes, rpm):
    """Force at which a machine begins to ring."""
    forces = np.geomspace(0.5, 12, 300) * least_limit(machine, flutes, arc)
    many = machine.pick(np.zeros(300, dtype=int))
    return forces[int(np.argmax(spectral_radius(many, arc, flutes, rpm, forces).radius > 1))]


@pytest.mark.parametrize(("milling", "share"), [("climb", 0.25), ("slot", 1.0)])
def test_two_lines_at_different_speeds_locate_the_mode_better_than_one(milling, share):
    arc, arcs = entry_exit(milling, share, 1.0), usual_arcs(milling, 10 * share, 10.0)
    off = []
    for damping, speeds, over in (
        (0.03, (11_900.0, 17_000.0), 1.3),
        (0.03, (12_600.0, 8_900.0), 1.6),
        (0.04, (11_900.0, 16_500.0), 1.6),
        (0.02, (12_600.0, 16_800.0), 2.0),
    ):
        machine = Systems(
            "y", np.array([[1400.0]]), np.array([[damping]]), np.array([[1e7]]), np.array([0.3])
        )
        force = over * max(_limit(machine, arc, 3, rpm) for rpm in speeds)
        heard = [spectral_radius(machine, arc, 3, rpm, force, lines=True) for rpm in speeds]
        first, second = (float(each.line_hz[0]) for each in heard)
        asked = candidate_speeds(first, 3, 8000, 18_000)
        one = quiet_speeds(first, speeds[0], 3, arcs, asked).mode_hz
        earlier = (EarlierLine(frequency_hz=second, rpm=speeds[1]),)
        two = quiet_speeds(first, speeds[0], 3, arcs, asked, earlier).mode_hz
        off.append([abs(np.log(middle / 1400)) for _, middle, _ in (one, two)])
    by_one, by_two = np.mean(off, axis=0)
    assert by_two < 0.75 * by_one


@pytest.mark.parametrize(("milling", "share", "flutes"), [("climb", 0.3, 3), ("slot", 1.0, 2)])
def test_the_depth_advised_is_quiet_at_the_present_speed(milling, share, flutes):
    machine = Systems("y", np.array([[1000.0]]), np.array([[0.03]]), np.array([[5e6]]), np.array([0.3]))
    arc, rpm = entry_exit(milling, share, 1.0), 43_500.0 / flutes
    force = 1.8 * _limit(machine, arc, flutes, rpm)
    heard = spectral_radius(machine, arc, flutes, rpm, force, lines=True)
    tone = _tone_of(heard, rpm, flutes, milling, share)
    (less,) = (one for one in advise(tone, SpeedLimits(max_rpm=1.9 * rpm)) if one.action == "less-depth")
    told = float(re.search(r"with (\d+) % of its depth", less.reason)[1]) / 100
    assert less.probability_quiet == 0.8 and 0.25 <= told < 1
    assert spectral_radius(machine, arc, flutes, rpm, told * force).radius[0] < 1


def test_a_shallower_cut_is_more_probably_quiet_and_the_same_is_not():
    arcs, asked = usual_arcs("climb", 3.0, 10.0), candidate_speeds(1432.6, 3, 6000, 18_000)
    found = quiet_speeds(1432.6, 11_900.0, 3, arcs, asked)
    assert found.at_less_depth[0] == 0 and (np.diff(found.at_less_depth) >= 0).all()
    assert found.at_less_depth[-1] > 0.8


def test_the_first_advice_is_that_of_which_most_metal_is_expected():
    for rpm in (9000.0, 10_300.0, 11_900.0, 13_100.0, 14_500.0):
        tone = ChatterTone(**{**TONE, "rpm": rpm}, milling="climb", diameter_mm=10.0, ae_mm=3.0)
        told = advise(tone, SpeedLimits(min_rpm=6000, max_rpm=18_000))
        less = next(one for one in told if one.action == "less-depth")
        speed = next(one for one in told if one.action == "speed")
        share = float(re.search(r"with (\d+) % of its depth", less.reason)[1]) / 100
        by_speed, by_depth = speed.probability_quiet * speed.feed_factor, 0.8 * share
        if abs(by_speed - by_depth) > 0.02:
            assert told[0] == (speed if by_speed > by_depth else less)


def test_speeds_are_told_of_between_those_asked_about():
    asked = candidate_speeds(1432.6, 3, 6000, 18_000)
    found = quiet_speeds(1432.6, 11_900.0, 3, usual_arcs("climb", 3.0, 10.0), asked)
    assert (np.diff(found.rpm) > 0).all() and len(found.rpm) > 3 * len(asked)
    assert np.abs(np.log(found.rpm / asked[:, None])).min(axis=1).max() < 1e-9
    assert ((found.probability >= 0) & (found.probability <= 1)).all()


def test_an_earlier_line_is_used_only_where_it_says_something_new():
    limits = SpeedLimits(max_rpm=18_000)
    tone, at = ChatterTone(**TONE), {"frequency_hz": 1390.0, "flutes": 3}
    alone = advise(tone, limits)
    useless = (
        ChatterTone(**at, rpm=11_950.0),
        ChatterTone(**at, rpm=None),
        ChatterTone(frequency_hz=1390.0, flutes=4, rpm=10_000.0),
        ChatterTone(**at, rpm=10_000.0, pitch_equal=False),
    )
    assert advise(tone, limits, useless) == alone
    told = advise(tone, limits, (ChatterTone(**at, rpm=10_000.0),))
    assert "1390 Hz at 10000 rpm" in told[0].reason
    assert "Together" not in alone[0].reason


def test_an_earlier_line_that_fits_nothing_does_not_silence_the_advice():
    stranger = ChatterTone(frequency_hz=310.0, flutes=3, rpm=9000.0)
    told = advise(ChatterTone(**TONE), SpeedLimits(max_rpm=18_000), (stranger,))
    assert told
    assert all(entry.probability_quiet is None or 0 <= entry.probability_quiet <= 1 for entry in told)


def test_a_line_of_another_mode_says_nothing():
    limits = SpeedLimits(max_rpm=18_000)
    far = ChatterTone(frequency_hz=4000.0, flutes=3, rpm=10_000.0)
    assert advise(ChatterTone(**TONE), limits, (far,)) == advise(ChatterTone(**TONE), limits)


def test_where_no_speed_is_likely_it_says_so():
    told = advise(ChatterTone(**TONE), SpeedLimits(min_rpm=11_750, max_rpm=12_100))
    assert told[0].action == "less-depth"
    assert "No speed within reach is likely to be quiet" in told[0].reason

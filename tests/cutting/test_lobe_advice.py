"""Advice from modes: within the limits, quiet by the plain method, and silent where nothing is known."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shopmon.cutting.advising.lobes import SURE, SpeedRange, lobe_advice
from shopmon.cutting.advising.lobes import _quiet_down_to as quiet_down_to
from shopmon.cutting.advising.lobes import _scattered as scattered
from shopmon.cutting.advising.lobes import _share_quiet as share_quiet
from shopmon.cutting.advising.one_line import ORDER_DOWN, ORDER_UP, SpeedLimits
from shopmon.cutting.stability.maps import stability_map
from shopmon.cutting.stability.semidiscretization import stability
from shopmon.errors import SettingError
from tests.cutting.test_semidiscretization import case

LOW = case(ae_mm=0.8, milling="climb", flutes=2)
DEEP = 1.5


def within(present_rpm, max_rpm):
    return SpeedRange(present_rpm=present_rpm, limits=SpeedLimits(max_rpm=max_rpm))


@settings(max_examples=5, deadline=None)
@given(
    present=st.floats(6000, 20000),
    max_rpm=st.none() | st.floats(6000, 24000),
    tool_rpm=st.none() | st.floats(6000, 24000),
    ap_mm=st.floats(0.5, 9.0),
)
def test_no_speed_beyond_any_limit(present, max_rpm, tool_rpm, ap_mm):
    speeds = SpeedRange(present_rpm=present, limits=SpeedLimits(max_rpm=max_rpm, rated_rpm=tool_rpm))
    highest = min([limit for limit in (max_rpm, tool_rpm) if limit] or [present])
    for entry in lobe_advice(LOW, ap_mm, speeds):
        if entry.action == "speed":
            assert entry.rpm <= highest * (1 + 1e-9)
            assert stability(LOW, entry.rpm, ap_mm).spectral_radius < 1.03
            if entry.rpm != present:
                assert (ORDER_UP if entry.rpm > present else ORDER_DOWN) in entry.caution
            assert entry.feed_factor == pytest.approx(entry.rpm / present, abs=1e-3)
        if max_rpm is None and tool_rpm is None and entry.action == "speed":
            assert "nothing faster" in entry.reason


def test_an_override_step_is_its_speed():
    found = [
        entry
        for present in (7000, 9500, 12000)
        for entry in lobe_advice(LOW, 4.0, within(present, 20000))
        if entry.action == "speed" and entry.override_percent
        and abs(entry.rpm / (present * entry.override_percent / 100) - 1) > 0.02
    ]  # fmt: skip
    assert not found


def test_less_depth_is_quiet_at_the_speed_it_names():
    hard = case(milling="slot")
    (*_, last) = lobe_advice(hard, 6.0, SpeedRange(present_rpm=12000))
    assert last.action == "less-depth"
    depth = float(last.reason.split("more than ")[1].split(" mm")[0])
    assert 0 < depth < 6.0
    assert not stability(hard, last.rpm, depth).chatters


@pytest.mark.parametrize("helix_deg", [0.0, 40.0])
def test_work_that_is_spared_changes_no_speed_or_depth_that_is_told(helix_deg):
    cases = scattered(replace(case(milling="slot"), helix_deg=helix_deg))
    rpm, depths = np.linspace(6000, 20000, 9), DEEP * (np.arange(1, 25) / 24) ** 1.5
    quiet = np.mean([stability_map(one, rpm, [DEEP]).spectral_radius[:, 0] < 1 for one in cases], axis=0)
    told = share_quiet(cases, rpm, DEEP)
    hoped = told > 1 / len(cases)
    assert 0 < hoped.sum() < rpm.size
    assert told[hoped] == pytest.approx(((quiet * len(cases) + 0.5) / (len(cases) + 1))[hoped])
    assert quiet[~hoped].max() < 0.25
    held = np.logical_and.accumulate(
        [stability_map(one, [9000], depths).spectral_radius[0] < 1 for one in cases], axis=1
    )
    good = np.nonzero(held.mean(axis=0) >= SURE)[0]
    assert quiet_down_to(cases, 9000, depths) == (depths[good[-1]] if good.size else None)


def test_a_quiet_cut_at_the_limit_is_left_alone():
    (only,) = lobe_advice(LOW, 0.05, within(12000, 12000))
    assert only.action == "none"
    assert only.probability_quiet > 0.9


def test_nothing_known_of_any_speed_gives_no_advice():
    assert lobe_advice(LOW, 1.0, SpeedRange()) == ()


@pytest.mark.parametrize(
    "speeds", [{"present_rpm": -1}, {"present_rpm": 3000, "limits": SpeedLimits(min_rpm=4000)}]
)
def test_impossible_limits_are_refused(speeds):
    with pytest.raises(SettingError):
        SpeedRange(**speeds)


def test_the_same_question_gets_the_same_answer():
    speeds = within(12000, 18000)
    assert lobe_advice(LOW, 4.0, speeds) == lobe_advice(LOW, 4.0, speeds)

"""What past cuts teach: one cut at a time, robust, the same each time, and kept as plain data."""

import json

import numpy as np
import pytest

from shopmon.cutting.advising.learned import frequency_band
from shopmon.cutting.advising.learned_map import Job, QuietMap, advised_point, quiet_map, trial_point
from shopmon.cutting.advising.learning import PastCut, belief_from, belief_state, first_belief, learn
from shopmon.cutting.advising.prior import HeardTone, Prior, prior_of
from shopmon.cutting.materials import material
from shopmon.cutting.nouns import EndMillType, Mode, ToolAssembly
from shopmon.cutting.stability.many_cuts import spectral_radius
from shopmon.errors import SettingError

JOB = Job(
    flutes=3,
    diameter_mm=10.0,
    milling="climb",
    ae_mm=3.0,
    min_rpm=8000.0,
    max_rpm=18000.0,
    max_ap_mm=10.0,
)
CUT = {"flutes": 3, "milling": "climb", "ae_mm": 3.0, "diameter_mm": 10.0}
SMALL = 400


def small_map(belief):
    return quiet_map(belief, JOB, 12, 40)


def border(belief):
    return float(np.median(small_map(belief).limit_mm))


def taught(*cuts):
    belief = first_belief(Prior(), SMALL)
    for cut in cuts:
        belief = learn(belief, PastCut(**CUT, **cut))
    return belief


QUIET = {"rpm": 12000.0, "ap_mm": 2.0, "chattered": False}
RINGING = {"rpm": 12000.0, "ap_mm": 1.0, "chattered": True, "chatter_hz": 1480.0}


def test_quiet_cuts_raise_the_border_and_ringing_ones_lower_it():
    before = border(first_belief(Prior(), SMALL))
    assert border(taught(QUIET, QUIET)) > before > border(taught(RINGING, RINGING))


@pytest.mark.parametrize("ap_mm", [1.0, None])
def test_a_line_sharpens_the_frequency_with_and_without_a_depth(ap_mm):
    belief = taught({**RINGING, "ap_mm": ap_mm})
    systems, kt = belief.prior.systems(belief.latent)
    arc = belief.cuts[0].arc_rad
    line = spectral_radius(systems, arc, 3, 12000.0, kt * 1e-3, lines=True).line_hz
    assert np.mean(np.abs(line / 1480.0 - 1) < 0.02) > 0.6


def test_a_depth_that_nobody_typed_is_the_one_that_others_had():
    # lines of one simulated cutter, 5 mm deep: at 1 mm the last of them would lie elsewhere
    belief = taught(
        {"rpm": 10000.0, "ap_mm": 5.0, "chattered": True, "chatter_hz": 1914.9},
        {"rpm": 13000.0, "ap_mm": 5.0, "chattered": False},
        {"rpm": 16000.0, "chattered": True, "chatter_hz": 2081.2},
    )
    systems, kt = belief.prior.systems(belief.latent)
    line = spectral_radius(systems, belief.cuts[0].arc_rad, 3, 16000.0, kt * 5e-3, lines=True).line_hz
    assert np.mean(np.abs(line / 2081.2 - 1) < 0.02) > 0.6


def test_one_wrong_label_does_not_rule():
    right = taught(QUIET, {**QUIET, "ap_mm": 1.9}, {**QUIET, "ap_mm": 2.1})
    wrong = {"rpm": 12000.0, "ap_mm": 0.4, "chattered": True}
    confused = learn(right, PastCut(**CUT, **wrong))
    place = small_map(confused)
    near = int(np.argmin(np.abs(place.rpm - 12000.0)))
    shallow = int(np.argmin(np.abs(place.ap_mm - 1.0)))
    assert place.probability[near, shallow] > 0.6
    assert 3 in confused.doubtful_cuts


def test_the_same_cuts_give_the_same_belief():
    assert np.array_equal(taught(QUIET, RINGING).latent, taught(QUIET, RINGING).latent)


def test_a_belief_is_kept_as_plain_data():
    belief = taught(QUIET, RINGING)
    again = belief_from(json.loads(json.dumps(belief_state(belief))))
    assert again.cuts == belief.cuts and again.prior == belief.prior
    assert small_map(again).probability == pytest.approx(small_map(belief).probability, abs=0.03)


@pytest.mark.parametrize("wrong", [{"frequency_hz": -1.0}, {"kt_spread": "wide"}, {"measured": 4}])
def test_a_prior_that_cannot_be_is_refused(wrong):
    state = belief_state(first_belief(Prior(), SMALL))
    with pytest.raises(SettingError, match="Learn it anew"):
        belief_from({**state, "prior": {**state["prior"], **wrong}})


@pytest.mark.parametrize("broken", [None, {}, {"schema": "shopmon.belief/2"}, {"schema": "shopmon.belief/1"}])
def test_a_broken_state_is_refused(broken):
    with pytest.raises(SettingError):
        belief_from(broken)


def test_advised_points_keep_their_promise_on_the_map():
    found = small_map(taught(QUIET, RINGING))
    chances = []
    for stated in (0.5, 0.8, 0.9):
        point = advised_point(found, "most-metal", stated)
        if point is not None:
            assert point.probability_quiet >= stated
            assert JOB.min_rpm <= point.rpm <= JOB.max_rpm and point.ap_mm <= JOB.max_ap_mm
            chances.append(point.rpm * point.ap_mm)
    assert chances == sorted(chances, reverse=True) and chances
    surest = advised_point(found, "surest", 0.5)
    assert surest.probability_quiet >= advised_point(found, "most-metal", 0.5).probability_quiet
    assert trial_point(found).rpm * trial_point(found).ap_mm > 0


def test_more_depth_is_never_more_probably_quiet():
    assert np.all(np.diff(small_map(taught(RINGING)).probability, axis=1) <= 1e-9)


def test_a_stiffer_tool_is_believed_to_stand_more():
    def of(stickout):
        mill = EndMillType(DC=10.0, NOF=3)
        prior = prior_of(ToolAssembly(mill=mill, stickout_mm=stickout), material("7075"))
        return border(first_belief(prior, SMALL))

    assert of(30.0) > 1.5 * of(50.0)


def test_measured_modes_are_a_sharp_prior():
    modes = (
        Mode(axis="x", frequency_hz=1500.0, damping_ratio=0.03, stiffness_n_per_m=8e6),
        Mode(axis="y", frequency_hz=1560.0, damping_ratio=0.03, stiffness_n_per_m=8e6),
    )
    prior = prior_of(measured=modes)
    systems, _ = prior.systems(first_belief(prior, SMALL).latent)
    assert np.std(np.log(systems.frequency_hz[:, 0])) < 0.03
    with pytest.raises(SettingError):
        prior_of(measured=(modes[0],) * 3)


@pytest.mark.parametrize(
    "wrong",
    [
        {"rpm": 0.0},
        {"rpm": float("nan")},
        {"rpm": 1e6},
        {"ap_mm": -1.0},
        {"ap_mm": 5000.0},
        {"chatter_hz": float("inf")},
        {"ae_mm": 11.0},
        {"flutes": 0},
        {"milling": "up"},
    ],
)
def test_absurd_cuts_are_refused(wrong):
    with pytest.raises(SettingError):
        PastCut(**{**CUT, **QUIET, **wrong})


@pytest.mark.parametrize("wrong", [{"max_rpm": 100.0}, {"max_ap_mm": 0.01}, {"ae_mm": 20.0}, {"flutes": 0}])
def test_impossible_jobs_are_refused(wrong):
    values = {name: getattr(JOB, name) for name in JOB.__dataclass_fields__}
    with pytest.raises(SettingError):
        Job(**{**values, **wrong})


TONES = (
    HeardTone(
        axis="x", frequency_hz=1450.0, damping_ratio=0.028, frequency_error_hz=3.0, damping_error=0.002
    ),
    HeardTone(axis="x", frequency_hz=2310.0, damping_ratio=0.012),
)


def test_a_tap_without_a_force_sharpens_frequency_and_damping_and_leaves_the_depth():
    wide, told = first_belief(Prior(), SMALL), first_belief(Prior(heard=TONES[:1]), SMALL)
    low, middle, high = frequency_band(told)
    assert (low, middle, high) == pytest.approx((1450, 1450, 1450), rel=0.12)
    assert frequency_band(wide)[2] / frequency_band(wide)[0] > 3
    systems, _ = told.prior.systems(told.latent)
    x = systems.damping_ratio[:, 0]
    assert np.median(x) == pytest.approx(0.028, rel=0.05) and np.log(x).std() == pytest.approx(0.21, abs=0.03)
    spread = [np.log(one.prior.systems(one.latent)[0].stiffness_n_per_m[:, 0]).std() for one in (wide, told)]
    assert spread[1] > 0.6 * spread[0], "nothing was learned of the stiffness"


def test_which_of_two_heard_tones_is_the_tools_own_is_left_open():
    belief = first_belief(Prior(heard=TONES), SMALL)
    first = belief.prior.systems(belief.latent)[0].frequency_hz[:, [0, 2]]
    near = np.abs(np.log(first[:, :1] / [1450.0, 2310.0])) < 0.1
    assert near.any(axis=1).all() and 0.1 < near[:, 1].mean() < 0.6
    assert np.allclose(np.sort(first, axis=1), [1450.0, 2310.0], rtol=0.1)


def test_cuts_teach_the_depth_where_the_frequency_was_heard():
    belief = first_belief(Prior(heard=TONES[:1]), SMALL)
    before = border(belief)
    for cut in (QUIET, {**QUIET, "ap_mm": 3.0}):
        belief = learn(belief, PastCut(**CUT, **cut))
    assert border(belief) > before
    again = belief_from(json.loads(json.dumps(belief_state(belief))))
    assert again.prior == belief.prior and border(again) == pytest.approx(border(belief), rel=1e-3)


@pytest.mark.parametrize(
    "bad",
    [{"axis": "z"}, {"frequency_hz": 0.0}, {"damping_ratio": 1.0}, {"damping_error": float("nan")}],
)
def test_tones_that_cannot_be_heard(bad):
    with pytest.raises(SettingError):
        HeardTone(**{"axis": "x", "frequency_hz": 1450.0, "damping_ratio": 0.03, **bad})


def test_no_other_trial_is_both_surer_and_worth_more():
    for cuts in ((), (QUIET,), (QUIET, RINGING)):
        found = small_map(taught(*cuts))
        trial = trial_point(found)
        removal = found.rpm[:, None] * found.ap_mm
        better = (removal > trial.rpm * trial.ap_mm) & (found.probability > trial.probability_quiet)
        assert not better.any() and trial.probability_quiet > 0.2


def test_what_is_said_of_a_point_is_the_share_of_systems_that_are_quiet_there():
    belief = taught(RINGING)
    found = quiet_map(belief, JOB, 5)
    systems, kt = belief.prior.systems(belief.latent)
    for place in (40, 80, 100):
        force = kt * found.ap_mm[place] * 1e-3
        radius = spectral_radius(systems, belief.cuts[0].arc_rad, 3, found.rpm[2], force).radius
        assert np.mean(radius < 1) == pytest.approx(found.probability[2, place], abs=0.08)


def test_the_more_cuts_rang_the_surer_the_next_trial():
    found = small_map(taught(RINGING))
    quiet, ringing = (PastCut(**CUT, **cut) for cut in (QUIET, RINGING))
    bold, careful = trial_point(found, 4 * (quiet,)), trial_point(found, 4 * (ringing,))
    assert careful.probability_quiet > bold.probability_quiet


def test_a_trial_is_worth_more_than_what_is_sure_already():
    found = small_map(taught(QUIET, QUIET))
    sure, trial = advised_point(found, "most-metal", 0.9), trial_point(found)
    assert trial.rpm * trial.ap_mm > sure.rpm * sure.ap_mm and trial.probability_quiet < 0.9


def test_where_all_is_sure_the_trial_is_what_removes_most():
    found = small_map(taught(QUIET))
    certain = QuietMap(found.rpm, found.ap_mm, np.full(found.probability.shape, 0.98), found.limit_mm)
    for point in (trial_point(certain), advised_point(certain, "most-metal", 0.9)):
        assert (point.rpm, point.ap_mm) == pytest.approx((found.rpm[-1], found.ap_mm[-1]))
        assert point.probability_quiet == pytest.approx(0.98)


def test_most_metal_goes_as_deep_as_what_is_stated_allows_between_two_depths():
    found = small_map(taught(RINGING))
    for stated in (0.7, 0.8, 0.9):
        point = advised_point(found, "most-metal", stated)
        good = found.probability >= stated
        assert point.rpm * point.ap_mm >= (found.rpm[:, None] * found.ap_mm)[good].max()
        assert point.probability_quiet == pytest.approx(stated, abs=1e-6)
        speed = int(np.argmin(np.abs(found.rpm - point.rpm)))
        deeper = np.searchsorted(found.ap_mm, point.ap_mm * (1 + 1e-9))
        assert found.probability[speed, deeper] < stated

"""The desk of spindle checks over a real archive: cautions, once a week, trends, limits."""

import time

import pytest

from shopmon.errors import SettingError
from shopmon.records.archive import Archive
from shopmon.service.settings import Machine
from shopmon.service.spindle import desk as spindle_desk
from shopmon.service.spindle import session as spindle_session
from shopmon.service.spindle.desk import SpindleDesk
from tests.dashboards.fake_checks import FORM, blocks, idle
from tests.waiting import until

ASKED = {"safe": True, "speeds": "6000, 3000", "warmed_up": True, "temperature_c": "30", "running_min": 20,
         "again": True}  # fmt: skip
CALIBRATION = {"method": "turned over", "t": 1.79e9,
               "channels": [{"channel": 1, "unit": "g", "per_full_scale": 16.0}]}  # fmt: skip


SHORT_S = 2.6


@pytest.fixture(autouse=True)
def shorter_runs(monkeypatch):
    """Runs of two seconds: what is said of them is the same, and it is sooner said."""
    monkeypatch.setattr(spindle_session, "SETTLE_S", 0.5)
    monkeypatch.setattr(spindle_session, "STEADY_S", 2.0)


class Shop:
    """A sensor and a calendar."""

    def __init__(self):
        self.form, self.calibration, self.now = FORM, None, time.time()


@pytest.fixture
def shop():
    return Shop()


@pytest.fixture
def desk(tmp_path, shop):
    archive = Archive.open(tmp_path / "data", budget_bytes=10**9, buffer_s=0, reserve_bytes=0)
    archive.set_clock(time.time(), "network")
    desk = SpindleDesk(
        archive, Machine(max_rpm=12_000.0), lambda: shop.form, lambda: shop.calibration, lambda: shop.now
    )
    yield desk
    desk.stop()
    archive.close()


def checked(desk, loud=1.0, seed=0, **asked):
    """Run a whole check without a run-up."""
    desk.start({**ASKED, **asked})
    for rpm in (3000.0, 6000.0):
        desk.begin_run()
        for block in blocks(idle(rpm / 60, SHORT_S, loud=loud, seed=seed)):
            desk.take(block)
        until(lambda: desk.state()["status"] in ("ready", "failed"))
        assert desk.state()["error"] is None
    return desk.finish("note")


def test_nothing_begins_before_the_cautions_or_without_a_sensor(desk, shop):
    with pytest.raises(SettingError, match="no cutter"):
        desk.start({**ASKED, "safe": "yes"})
    shop.form = None
    with pytest.raises(SettingError, match="No input"):
        desk.start(ASKED)


@pytest.mark.parametrize(
    "bad",
    [{"speeds": ""}, {"speeds": "fast"}, {"speeds": "20000"}, {"temperature_c": "hot"}, {"running_min": -1},
     {"channel": 7}, {"bearing": "nonsense"}, {"speeds": [float("nan")]}],
)  # fmt: skip
def test_what_cannot_be_asked(desk, bad):
    with pytest.raises(SettingError) as error:
        desk.start({**ASKED, **bad})
    assert error.value.hint
    assert desk.state()["status"] == "off"


def test_once_a_week_is_enough_unless_something_happened(desk, shop):
    checked(desk)
    with pytest.raises(SettingError, match="once a week"):
        desk.start({**ASKED, "again": False})
    shop.now += 7 * 86_400
    assert desk.start({**ASKED, "again": False})["status"] == "ready"


def test_a_check_is_kept_with_temperature_and_minutes(desk):
    checked(desk, bearing="outer=4.97,inner=7.03")
    (row,) = desk.checks()
    assert (row["temperature_c"], row["running_min"], row["warmed_up"]) == (30.0, 20.0, True)
    assert row["sensor"] == {"source": "fake", "channel": 1, "unit": "FS"} and row["note"] == "note"
    assert [step["stated_rpm"] for step in row["result"]["steps"]] == [3000.0, 6000.0]
    assert desk.bearing() == "outer=4.97,inner=7.03"
    figures = {each["name"]: each for each in desk.trends()[0]["figures"]}
    assert figures["once"]["verdict"] == "cannot tell" and "baseline" in figures["once"]["words"]
    assert "not-calibrated" in [notice["code"] for notice in desk.trends()[0]["notices"]]


def test_the_same_again_is_as_it_was_and_three_times_is_changed(desk):
    for seed in range(5):
        checked(desk, seed=seed)
    slow, fast = desk.trends()
    assert {each["verdict"] for each in slow["figures"] + fast["figures"]} == {"as it was"}
    checked(desk, loud=3.0, seed=9)
    figures = {each["name"]: each for each in desk.trends()[0]["figures"]}
    assert figures["once"]["verdict"] == "changed" and figures["once"]["factor"] == pytest.approx(
        3.0, rel=0.1
    )
    assert "imbalance" in figures["once"]["words"]
    assert figures["twice"]["verdict"] == "as it was"
    desk.set_used(desk.checks()[0]["id"], False)
    assert {each["verdict"] for each in desk.trends()[0]["figures"]} == {"as it was"}


@pytest.mark.parametrize("other", [{"temperature_c": 45}, {"warmed_up": False}, {"temperature_c": ""}])
def test_only_equals_are_compared(desk, other):
    for seed in range(4):
        checked(desk, seed=seed)
    checked(desk, seed=9, **other)
    trend = desk.trends()[0]
    assert trend["skipped"] == 4
    assert {each["verdict"] for each in trend["figures"]} == {"cannot tell"}


def test_a_calibrated_sensor_gives_g_and_mm_s_and_the_persons_limit(desk, shop):
    shop.calibration = CALIBRATION
    assert desk.set_limits({"velocity": "10", "acceleration": None}) == {"velocity": 10.0}
    checked(desk)
    figures = {each["name"]: each for each in desk.trends()[0]["figures"]}
    assert desk.checks()[0]["result"]["calibration"] == {"method": "turned over", "t": 1.79e9}
    assert figures["velocity"]["unit"] == "mm/s" and figures["once"]["unit"] == "g"
    assert figures["velocity"]["over_limit"] is True and figures["acceleration"]["over_limit"] is False
    assert desk.set_limits({"velocity": "", "acceleration": ""}) == {}


def kept_run(desk, weights, seed=0):
    """Keep a check that told its phase."""
    from tests.service.test_spindle_balance import judged

    step = judged(weights, seed=seed)
    step = {name: value for name, value in step.items() if name not in ("cautions", "balance")}
    result = {"schema": "shopmon.spindle-check/1", "unit": "g", "steps": [step], "run_up": None,
              "balance": {"grade_mm_s": None, "missing": []}, "used_s": 10.0, "cautions": []}  # fmt: skip
    facts = {"machine": Machine().name, "sensor": {"source": "fake", "channel": 1, "unit": "g"},
             "temperature_c": 30.0, "running_min": 20.0, "warmed_up": True, "note": ""}  # fmt: skip
    return desk._rows.add_spindle_check({**facts, "result": result})


def test_a_balance_from_two_kept_runs_sets_the_one_with_the_weight_aside(desk):
    before, trial = kept_run(desk, [(20.0, 70.0)]), kept_run(desk, [(20.0, 70.0), (30.0, 90.0)], seed=4)
    runs = {row["run"].split("@")[0]: row["run"] for row in desk.phased()}
    asked = {"before": runs[before], "with_trial": runs[trial], "mass_g": "1", "radius_mm": "30",
             "angle_deg": "90", "turning_kg": "4"}  # fmt: skip
    told = desk.balance(asked)
    assert told["unbalance_g_mm"] == pytest.approx(20.0, rel=0.02) and told["grade_mm_s"]
    assert {row["id"]: row["used"] for row in desk.checks()} == {before: True, trial: False}
    for bad in ({"mass_g": ""}, {"before": "x@1"}, {"with_trial": runs[before]}, {"with_trial": ""},
                {"turning_kg": "nan"}, {"angle_deg": "far"}, {"radius_mm": -1}):  # fmt: skip
        with pytest.raises(SettingError) as error:
            desk.balance({**asked, **bad})
        assert error.value.hint


def test_a_calibration_is_told_with_its_date():
    class Sensors:
        found = None

        def calibration(self):
            return self.found

        def history(self):
            return [{**CALIBRATION, "channels": [], "t": 2.0}, {**CALIBRATION, "t": 1.0}]

    sensors = Sensors()
    assert spindle_desk.dated_calibration(sensors) is None
    sensors.found = {name: value for name, value in CALIBRATION.items() if name != "t"}
    assert spindle_desk.dated_calibration(sensors)["t"] == 1.0


def test_a_sensor_that_goes_away_costs_one_run(desk, monkeypatch):
    monkeypatch.setattr(spindle_desk, "QUIET_S", 0.1)
    desk.start(ASKED)
    desk.begin_run()
    desk.take(next(blocks(idle(50.0, SHORT_S))))
    until(lambda: desk.state()["status"] == "failed")
    assert "Nothing comes" in desk.state()["error"]["text"]
    assert desk.begin_run()["status"] == "recording"


def test_what_is_not_there_is_said(desk):
    for ask in (desk.begin_run, desk.end_run, desk.finish):
        with pytest.raises(SettingError):
            ask()
    with pytest.raises(SettingError):
        desk.set_used("none", False)
    desk.start(ASKED)
    desk.begin_run()
    with pytest.raises(SettingError):
        desk.finish()

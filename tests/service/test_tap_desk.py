"""The desk of tap tests over a real archive: cautions, keeping, history, and the prior of the learning."""

import pytest

from shopmon.errors import SettingError
from shopmon.records.archive import Archive
from shopmon.service.speeds.beliefs import Beliefs
from shopmon.service.tap.desk import TapDesk
from shopmon.service.tap.prior import assembly_key, with_measured_modes
from tests.dashboards.fake_checks import FORM, blocks, hits
from tests.service.logged_cuts import CONTEXT
from tests.waiting import until

ASKED = {
    **{"safe": True, "force": 1, "response": "2", "hits": 4},
    **{"force_full_scale": "500", "response_full_scale": 20, "response_unit": "g"},
}


class Spindle:
    """What the monitor would tell."""

    def __init__(self):
        self.context = {**CONTEXT, "stickout_mm": 31.0}
        self.state = {"state": "stopped", "unsure": False}
        self.form = FORM
        self.news: list[dict] = []

    def set_context(self, values, origin):
        self.context |= values


@pytest.fixture
def archive(tmp_path):
    archive = Archive.open(tmp_path / "data", budget_bytes=10**9, buffer_s=0, reserve_bytes=0)
    yield archive
    archive.close()


@pytest.fixture
def spindle():
    return Spindle()


@pytest.fixture
def desk(archive, spindle):
    desk = TapDesk(
        archive,
        lambda: dict(spindle.context),
        lambda: spindle.state,
        lambda: spindle.form,
        spindle.set_context,
        spindle.news.append,
    )
    yield desk
    desk.stop()


def heard(desk, **asked):
    """Run a whole test."""
    desk.start({**ASKED, **asked})
    for block in blocks(hits()):
        desk.take(block)
    until(lambda: desk.state()["status"] in ("done", "failed"))
    state = desk.state()
    assert state["status"] == "done", state
    return state


def test_nothing_begins_before_the_cautions(desk):
    for safe in (None, False, "true", 1):
        with pytest.raises(SettingError, match="stopped and disabled"):
            desk.start({**ASKED, "safe": safe})


def test_nothing_begins_while_the_spindle_is_heard_to_turn(desk, spindle):
    spindle.state = {"state": "spinning", "unsure": False}
    with pytest.raises(SettingError, match="hears the spindle turn"):
        desk.start(ASKED)
    spindle.state = {"state": "spinning", "unsure": True}
    assert desk.start(ASKED)["status"] == "quiet"


def test_nothing_begins_without_a_sensor(desk, spindle):
    spindle.form = None
    with pytest.raises(SettingError, match="No input"):
        desk.start(ASKED)
    assert desk.channels() == []


@pytest.mark.parametrize(
    "bad",
    [{"force_full_scale": ""}, {"response_full_scale": None}, {"response_unit": "furlong"}, {"hits": "many"},
     {"axis": "z"}, {"record_s": -1}, {"response": True}, {"force": 2}],
)  # fmt: skip
def test_what_cannot_be_asked(desk, bad):
    with pytest.raises(SettingError) as error:
        desk.start({**ASKED, **bad})
    assert error.value.hint
    assert desk.state()["status"] == "off"


def test_a_kept_test_is_where_the_learning_of_that_assembly_begins(desk, archive, spindle):
    before = Beliefs(archive).now(spindle.context).prior
    heard(desk)
    assert desk.keep("first")["kept"]
    after = Beliefs(archive).now(spindle.context).prior
    assert before.measured == ()
    assert [round(mode.frequency_hz) for mode in after.measured] == pytest.approx([1450, 2300], abs=3)
    # the newest counts, the older stays
    heard(desk, axis="y")
    desk.keep()
    assert {mode.axis for mode in Beliefs(archive).now(spindle.context).prior.measured} == {"x", "y"}
    assert set(desk.in_use()) == {"x", "y"}
    assert [row["note"] for row in desk.tests(here=True)] == ["", "first"]
    assert spindle.news
    other = {**spindle.context, "stickout_mm": 45.0}
    assert Beliefs(archive).now(other).prior.measured == (), "mounted otherwise, it is another thing to hit"
    assert Beliefs(archive).now({**spindle.context, "material": "316"}).prior.measured, (
        "but not in another material"
    )


def test_a_test_set_aside_counts_no_longer_and_can_come_back(desk, archive, spindle):
    heard(desk)
    desk.keep()
    (row,) = desk.tests(here=True)
    desk.set_used(row["id"], False)
    assert desk.in_use() == {}
    assert with_measured_modes(archive, spindle.context).get("measured_modes") is None
    assert [each["used"] for each in desk.tests()] == [False]
    desk.set_used(row["id"], True)
    assert desk.in_use()["x"]["id"] == row["id"]
    with pytest.raises(SettingError):
        desk.set_used("no such", True)


def test_a_kept_test_takes_the_place_of_typed_modes_and_typed_ones_that_of_kept_ones(desk, archive, spindle):
    spindle.context["measured_modes"] = "x:1000:0.03:8e6"
    heard(desk)
    desk.keep()
    assert spindle.context["measured_modes"] is None
    spindle.context["measured_modes"] = "x:1000:0.03:8e6"
    assert with_measured_modes(archive, spindle.context)["measured_modes"] == "x:1000:0.03:8e6"


def test_the_test_belongs_to_the_tool_it_was_begun_with(desk, spindle):
    first = assembly_key(spindle.context)
    heard(desk)
    spindle.context = {**spindle.context, "end_mill": "another", "end_mill_id": "another"}
    desk.keep()
    assert desk.tests(here=True) == []
    assert [row["key"] for row in desk.tests()] == [first]


def test_without_a_force_it_gives_frequencies_and_damping_and_no_stiffness(desk, archive, spindle):
    before = Beliefs(archive).now(spindle.context).prior
    spindle.context["measured_modes"] = "x:1000:0.03:8e6"
    desk.start({"safe": True, "response": 2, "hits": 2})
    for block in blocks(hits(double=())):
        desk.take(block)
    until(lambda: desk.state()["status"] == "done")
    desk.keep()
    assert desk.tests()[0]["with_force"] is False
    assert spindle.context["measured_modes"], "what was typed knows more"
    spindle.context["measured_modes"] = None
    assert with_measured_modes(archive, spindle.context).get("measured_modes") is None
    after = Beliefs(archive).now(spindle.context).prior
    assert after.measured == () and {tone.axis for tone in after.heard} == {"x"}
    assert sorted(tone.frequency_hz for tone in after.heard) == pytest.approx([880.0, 1450.0], rel=0.01)
    assert after.stiffness_n_per_m == before.stiffness_n_per_m and after.depth_spread == before.depth_spread
    assert set(desk.in_use()) == {"x"}
    # a force knows more
    heard(desk)
    desk.keep()
    known = Beliefs(archive).now(spindle.context).prior
    assert known.heard == () and known.measured


def test_keeping_twice_keeps_once_and_nothing_cannot_be_kept(desk):
    with pytest.raises(SettingError):
        desk.keep()
    heard(desk)
    assert desk.keep()["kept"] == desk.keep()["kept"]
    assert len(desk.tests()) == 1


def test_of_a_tool_that_nobody_named_nothing_was_measured(archive):
    assert with_measured_modes(archive, {"material": "7075"}) == {"material": "7075"}


def test_a_calibrated_sensor_needs_no_full_scale(archive, spindle):
    known = {"channels": [{"channel": 2, "unit": "g", "per_full_scale": 40.0}]}
    desk = TapDesk(
        archive,
        lambda: dict(spindle.context),
        lambda: spindle.state,
        lambda: spindle.form,
        spindle.set_context,
        spindle.news.append,
        lambda: known,
    )
    assert [channel["full_scale_g"] for channel in desk.channels()] == [None, 40.0]
    soft = heard(desk, response_full_scale="")["result"]["modes"]
    stiff = heard(desk, response_full_scale=20)["result"]["modes"]
    ratio = [b["stiffness_n_per_m"] / a["stiffness_n_per_m"] for a, b in zip(soft, stiff, strict=True)]
    assert ratio == pytest.approx([2.0] * len(ratio), rel=1e-3)
    desk.stop()

"""What the page Speeds is told: from nothing known, from past cuts, of one chatter, and after an answer."""

import threading

import pytest

from shopmon.cutting.advising import learned as learned_advice
from shopmon.errors import SettingError
from shopmon.records.archive import Archive
from shopmon.service.settings import Machine
from shopmon.service.speeds.desk import SpeedsDesk
from tests.service.logged_cuts import CONTEXT, Shop

LIMITED = Machine(max_rpm=18_000.0)


class Spindle:
    """What the monitor would tell."""

    def __init__(self):
        self.context = dict(CONTEXT)
        self.state = {"rpm": 11_800.0, "cut_id": None, "chatter": None}


@pytest.fixture(autouse=True)
def coarse_maps(monkeypatch):
    """Fewer speeds than the page shows: what is said of them is the same, and it is sooner said."""
    monkeypatch.setattr(learned_advice, "SPEEDS", 12)


@pytest.fixture
def spindle():
    return Spindle()


@pytest.fixture
def open_desk(tmp_path, spindle):
    """Open the desk over one data folder, again and again as after a restart."""
    opened = []

    def opener(machine=LIMITED) -> SpeedsDesk:
        archive = Archive.open(tmp_path / "data", budget_bytes=10**9, buffer_s=0, reserve_bytes=0)
        desk = SpeedsDesk(archive, machine, lambda: dict(spindle.context), lambda: dict(spindle.state))
        desk.archive = archive
        opened.append(desk)
        return desk

    def close(desk):
        desk.close()
        desk.archive.close()

    opener.close = close
    yield opener
    for desk in opened:
        close(desk)


@pytest.fixture
def desk(open_desk):
    return open_desk()


@pytest.fixture
def shop(desk):
    return Shop(desk.archive)


def ready(desk, **what_if) -> dict:
    """Ask until the answer is there."""
    told = desk.sheet(what_if)
    if told["status"] == "thinking":
        assert desk.wait(300.0)
        told = desk.sheet(what_if)
    assert told["status"] == "ready", told
    return told["result"]


def test_without_the_tools_dimensions_it_asks_and_says_why(desk, spindle):
    spindle.context = {}
    spindle.state = {"rpm": None, "chatter": None, "cut_id": None}
    told = desk.sheet()
    assert told["status"] == "asks"
    needed = [ask["name"] for ask in told["asks"] if ask["needed"]]
    assert needed == ["diameter_mm", "flutes"]
    assert all(ask["why"] for ask in told["asks"])


def test_before_any_cut_the_tools_shape_gives_a_first_guess(desk):
    told = desk.sheet()
    assert (told["status"], told["result"]) == ("thinking", None)
    result = ready(desk)
    assert result["learned"] == 0
    assert result["cards"]["most-metal"]["probability_quiet"] >= 0.85
    assert result["frequency_hz"][2] / result["frequency_hz"][0] > 2, "nobody has heard it yet"
    assert max(result["map"]["rpm"]) <= 18_000


def test_every_cut_teaches_and_a_restart_forgets_nothing(open_desk, desk, shop):
    before = ready(desk)
    shop.cut((3.0, 11_800.0, 1432.6))
    shop.cut((3.0, 14_000.0, None))
    desk.news()
    after = ready(desk)
    assert after["learned"] == 2
    assert [trial["verdict"] for trial in after["trials"]] == ["chatter", "quiet"]
    assert after["now"]["probability_quiet"] < before["now"]["probability_quiet"] + 0.3
    low, high = after["frequency_hz"][0], after["frequency_hz"][1]
    assert 1100 < low < high < 1700
    kept = desk.archive.beliefs(_key())
    open_desk.close(desk)
    again = open_desk()
    assert ready(again)["frequency_hz"] == pytest.approx(after["frequency_hz"], rel=1e-3)
    assert len(again.archive.beliefs(_key())) == len(kept), "nothing was learned anew"


def test_a_belief_of_an_older_learner_is_made_anew_from_the_cuts(open_desk, desk, shop, monkeypatch):
    shop.cut((3.0, 11_800.0, 1432.6))
    first = ready(desk)
    open_desk.close(desk)
    again = open_desk()
    monkeypatch.setattr(again._beliefs, "learner", "later")
    assert ready(again)["frequency_hz"] == pytest.approx(first["frequency_hz"], rel=1e-3)
    assert next(row["learner"] for row in again.archive.belief_history(_key())) == "later"


def test_turning_the_override_in_mid_cut_makes_two_trials(desk, shop):
    shop.cut((3.0, 12_000.0, 1432.6), (3.0, 14_400.0, None))
    result = ready(desk)
    assert [(trial["rpm"], trial["verdict"]) for trial in result["trials"]] == [
        (12_000.0, "chatter"),
        (14_400.0, "quiet"),
    ]


def test_another_tool_or_material_is_not_mixed_in(desk, shop, spindle):
    shop.cut((3.0, 12_000.0, 1432.6), context={**CONTEXT, "end_mill": "plum #4"})
    shop.cut((3.0, 12_000.0, 1432.6), context={**CONTEXT, "material": "316"})
    assert ready(desk)["trials"] == []
    spindle.context = {**CONTEXT, "end_mill": "plum #4"}
    assert len(ready(desk)["trials"]) == 1


def test_what_a_person_says_comes_before_what_the_monitor_heard(desk, shop):
    wrong = shop.cut((3.0, 12_000.0, 1432.6))
    gone = shop.cut((3.0, 12_000.0, None))
    mistyped = shop.cut((3.0, 12_000.0, None))
    desk.archive.add_judgement(wrong, "no chatter")
    desk.archive.add_judgement(gone, "not a cut")
    desk.archive.add_correction("cuts", mistyped, "ap_mm", 0.2)
    desk.archive.flush(filing=False)
    result = ready(desk)
    told = [(trial["verdict"], trial["said_by"], trial["ap_mm"]) for trial in result["trials"]]
    assert told == [("quiet", "person", 2.0), ("quiet", "monitor", 0.2)]


def test_a_tool_corrected_afterwards_takes_its_cut_along(desk, shop, spindle):
    moved = shop.cut((3.0, 12_000.0, 1432.6))
    assert len(ready(desk)["trials"]) == 1
    desk.archive.add_correction("cuts", moved, "end_mill", "plum #4")
    desk.news()
    result = ready(desk)
    assert (result["trials"], result["learned"]) == ([], 0)
    spindle.context["end_mill"] = "plum #4"
    assert [trial["cut_id"] for trial in ready(desk)["trials"]] == [moved]


def test_doubtful_and_short_cuts_are_shown_but_teach_nothing(desk, shop):
    shop.cut((3.0, 12_000.0, 1432.6), unsure=True)
    shop.cut((3.0, 12_000.0, None), clipped=0.2)
    shop.cut((0.4, 12_000.0, None))
    result = ready(desk)
    assert [trial["verdict"] for trial in result["trials"]] == ["uncertain"] * 3
    assert result["learned"] == 0
    assert all(trial["why_not"] for trial in result["trials"])


def test_cuts_without_depth_or_width_still_tell_the_frequency(desk, shop, spindle):
    bare = {name: CONTEXT[name] for name in ("flutes", "diameter_mm", "nominal_rpm", "stickout_mm")}
    spindle.context = bare
    wide = ready(desk)["frequency_hz"]
    shop.cut((3.0, 12_000.0, 1432.6), context=bare)
    desk.news()
    result = ready(desk)
    narrow = result["frequency_hz"]
    assert result["trials"][0]["ap_mm"] is None
    assert result["learned"] == 1
    assert narrow[1] == pytest.approx(1400, rel=0.1) and wide[1] > 2000


def test_a_longer_stickout_is_softer_and_what_was_learned_is_carried_over(desk, shop):
    shop.cut((3.0, 12_000.0, 1432.6))
    here, longer = ready(desk), ready(desk, stickout_mm=45.0)
    assert longer["frequency_hz"][1] < 0.6 * here["frequency_hz"][1]
    assert longer["now"]["probability_quiet"] < here["now"]["probability_quiet"]
    assert longer["before"] == pytest.approx(here["now"]["probability_quiet"], abs=0.02)


def test_measured_modes_are_a_sharp_beginning_and_follow_the_stickout(desk, spindle):
    spindle.context["measured_modes"] = "--mode x:1450:0.03:8e6 --mode y:1500:0.03:8e6"
    low, middle, _ = ready(desk)["frequency_hz"]
    assert 1380 < low < middle < 1570
    assert ready(desk, stickout_mm=45.0)["frequency_hz"][1] < 0.6 * middle


def test_a_wall_is_judged_before_it_is_tried(desk, spindle):
    spindle.context |= {"ap_mm": 18.0, "ae_mm": 0.2, "helix_deg": 35.0}
    wall = ready(desk)["wall"]
    assert wall["height_mm"] == 18.0
    assert [plan["passes"] for plan in wall["plans"]] == [1, 2, 3, 4]
    left = [plan["left_um"] for plan in wall["plans"]]
    assert left == sorted(left, reverse=True), "shallower passes bend the tool less"
    sure = [plan["probability_quiet"] for plan in wall["plans"]]
    assert sure == sorted(sure)
    assert 0 < wall["feed_marks_um"] < wall["feed_marks_one_tooth_um"]


@pytest.mark.parametrize("missing", ["material", "stickout_mm", "feed_mm_min"])
def test_of_a_wall_nothing_is_said_where_too_little_is_known(desk, spindle, missing):
    spindle.context[missing] = None
    assert ready(desk)["wall"] is None


def test_a_wall_above_the_stickout_is_none(desk):
    assert ready(desk, ap_mm=31.0)["wall"] is None


@pytest.mark.parametrize("what_if", [{"ap_mm": -1}, {"flutes": 2.5}, {"rpm": 3}, {"stickout_mm": "x"}])
def test_a_what_if_that_cannot_be_is_refused(desk, what_if):
    with pytest.raises(SettingError):
        desk.sheet(what_if)


def test_without_any_limit_nothing_faster_is_advised(open_desk, spindle):
    desk = open_desk(Machine())
    result = ready(desk)
    assert max(result["map"]["rpm"]) <= 11_820
    assert all(card["rpm"] <= 11_820 for card in result["cards"].values())
    assert "nothing faster" in next(iter(result["cards"].values()))["reason"]


def event_ready(desk, event_id) -> dict:
    told = desk.event(event_id)
    if told["status"] == "thinking":
        assert desk.wait()
        told = desk.event(event_id)
    assert told["status"] == "ready", told
    return told


def test_a_chatter_that_rings_now_gets_its_advice(desk, spindle):
    spindle.state = {
        "rpm": 11_800.0, "cut_id": "open",
        "chatter": {"event_id": "e1", "frequency_hz": 1432.6, "severity": "clear"},
    }  # fmt: skip
    told = event_ready(desk, "e1")
    assert told["event"]["open"]
    assert told["advice"][0]["action"] == "speed"
    assert told["learned"]["cards"]
    spindle.state["chatter"] = {"event_id": "e1", "frequency_hz": 1433.9, "severity": "heavy"}
    assert desk.event("e1")["status"] == "ready", "a line that breathes is not asked about anew"


def test_what_rings_now_is_advised_on_while_something_else_is_thought_about(desk, spindle):
    begun, gate = threading.Event(), threading.Event()
    desk.later("long", lambda: (begun.set(), gate.wait(30)))
    assert begun.wait(30)
    spindle.state = {
        "rpm": 11_800.0, "cut_id": "open",
        "chatter": {"event_id": "e1", "frequency_hz": 1432.6, "severity": "clear"},
    }  # fmt: skip
    assert desk.event("e1")["advice"] is None
    assert desk._at_once.wait(60)
    told = desk.event("e1")
    assert (told["advice"][0]["action"], told["status"]) == ("speed", "thinking")
    gate.set()


def test_after_a_cut_the_page_finds_its_answer_ready(desk, shop):
    shop.cut((3.0, 11_800.0, 1432.6))
    desk.news()
    assert desk.wait()
    assert desk.sheet()["status"] == "ready"


def test_an_answer_is_learned_from_and_can_be_taken_back(desk, shop):
    shop.cut((3.0, 12_000.0, 1432.6), event_id="e1")
    before = ready(desk)
    answer = desk.tried("e1", "better", {"action": "speed", "rpm": 14_400.0})
    after = ready(desk)
    assert [trial["said_by"] for trial in after["trials"]] == ["monitor", "person"]
    assert after["learned"] == 2
    assert [each["answer"] for each in desk.event("e1")["answers"]] == ["better"]
    desk.take_back("e1", answer["id"])
    back = ready(desk)
    assert back["learned"] == 1
    assert back["frequency_hz"] == pytest.approx(before["frequency_hz"], rel=1e-3)
    assert desk.event("e1")["answers"] == []
    with pytest.raises(SettingError):
        desk.take_back("e1", answer["id"])


def test_an_answer_about_a_cut_that_was_heard_is_no_second_trial(desk, shop):
    shop.cut((3.0, 12_000.0, 1432.6), event_id="e1")
    shop.cut((3.0, 14_300.0, None), unsure=True)
    desk.tried("e1", "better", {"action": "speed", "rpm": 14_400.0})
    trials = ready(desk)["trials"]
    assert [(trial["verdict"], trial["said_by"]) for trial in trials] == [
        ("chatter", "monitor"),
        ("quiet", "person"),
    ]


@pytest.mark.parametrize("answer", ["best", "", "tried better"])
def test_an_answer_must_be_one_of_the_three(desk, shop, answer):
    shop.cut((3.0, 12_000.0, 1432.6), event_id="e1")
    with pytest.raises(SettingError):
        desk.tried("e1", answer, {"rpm": 14_400.0})
    with pytest.raises(SettingError):
        desk.tried("nowhere", "better", {"rpm": 14_400.0})
    assert desk.event("nowhere") is None


def _key() -> str:
    from shopmon.service.speeds.tool_and_job import key_of

    return key_of(CONTEXT)

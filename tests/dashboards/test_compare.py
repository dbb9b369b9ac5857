"""The pages that compare, over a real register."""

import re

import pytest
from shopmon.dashboards.app import create_app

from shopmon.service.comparing import price_of
from tests.dashboards.shop_monitor import ShopMonitor

FINISH = "/api/register/finish_readings"


def text_of(response) -> str:
    assert response.status_code == 200, response.text
    return " ".join(re.sub(r"<[^>]+>", " ", response.text).split())


@pytest.fixture(scope="module")
def season(tmp_path_factory):
    """A shop in which one kind lasts twice as long as the other; client, ids of both kinds, and the shop."""
    monitor = ShopMonitor(tmp_path_factory.mktemp("season"))
    shop, register = monitor.shop, monitor.shop.register
    register.correct("mill_types", shop.type_id, "price", "30 €")
    bare = register.add("mill_types", {"label": "bare", "DC": 6.0, "NOF": 2, "price": "12,50 €"})
    made = {shop.type_id: (42, 48, 60, 51, 45), bare: (20, 25, 30, 22, 27)}
    for type_id, lives in made.items():
        for number, minutes in enumerate(lives):
            label = f"{'coated' if type_id == shop.type_id else 'bare'} #{number}"
            tool = register.add_tool({"label": label, "kind": "end mill", "type_id": type_id})
            rings = 6.0 * minutes if type_id == bare else 0.0
            shop.cut(tool, 60.0 * minutes, material="7075", chatter_s=rings, wait=False)
            if number < 4:
                register.retire(tool, "flank wear")
            ra = (0.8 if type_id == bare else 0.4) + 0.02 * number
            register.add(
                "finish_readings",
                {"tool_id": tool, "piece": f"p{number}", "Ra_um": ra, "standard": "ISO 21920",
                 "material": "7075", "operation": "finishing"},
            )  # fmt: skip
    monitor.kept.flush(filing=False)
    yield create_app(monitor).test_client(), shop.type_id, bare, shop
    monitor.close()


@pytest.fixture
def empty(tmp_path):
    """A monitor over an empty register."""
    monitor = ShopMonitor(tmp_path)
    yield monitor
    monitor.close()


def test_an_empty_shop_has_nothing_to_compare(empty):
    client = create_app(empty).test_client()
    assert "no end mill with a type has cut" in text_of(client.get("/compare"))
    assert "drawn at random" in text_of(client.get("/compare/trial"))
    assert client.get("/compare/life?kind=none").status_code == 404


def test_two_kinds_side_by_side(season):
    client, coated, bare, _ = season
    said = text_of(client.get(f"/compare?a=kind:{bare}&b=kind:{coated}"))
    for part in (
        "6 mm three-flute lasts longer; chance alone would do as much once in",
        "bare leaves the higher Ra",
        "bare rings for more of its time",
        "6 mm three-flute has 2",
        "What else differed",
        "Time: all of 6 mm three-flute came before all of bare",
        "costs more per minute in the cut",
    ):
        assert part in said, part


def test_two_tools_are_no_verdict(season):
    client, _, _, shop = season
    first, second = (shop.register.find(label).id for label in ("bare #0", "coated #0"))
    said = text_of(client.get(f"/compare?a=tool:{first}&b=tool:{second}"))
    assert "At least 2 of each are needed" in said
    assert "Not settled" not in said and "It cannot be told which lasts longer" in said


@pytest.mark.parametrize(
    ("query", "status"),
    [
        ("a=kind:x&b=kind:y", 400),
        ("a={0}&b={0}", 400),
        ("a={0}&b=tool:nothing", 400),
        ("a={0}", 200),
        ("a=&b=", 200),
    ],
)
def test_questions_that_cannot_be_asked(season, query, status):
    client, coated, _, _ = season
    assert client.get("/compare?" + query.format(f"kind:{coated}")).status_code == status


def test_the_life_of_a_kind(season):
    client, coated, _, _ = season
    said = text_of(client.get(f"/compare/life?kind={coated}&material=7075"))
    for part in ("likely lasts", "Weibull shape", "they wear out", "flank wear", "counts as one", "must"):
        assert part in said, part
    page = client.get(f"/compare/life?kind={coated}&material=7075").text
    assert page.count("<polyline") == 2 and "<polygon" in page
    assert page.count('<tr><th scope="row">') == 4


def test_a_blind_trial_from_its_plan_to_its_key(season):
    client, _, _, shop = season
    labels = ["bare #4", "coated #4"]
    address = "/compare/trial?mill=bare+%234&mill=coated+%234&parts=4&number=77"
    plan = client.get(address).text
    codes = re.findall(r'<strong>(.+?)</strong><br><span class="code">(\w+)</span>', plan)
    assert sorted(mill for mill, _ in codes) == sorted(labels * 2)
    grading = client.get(address + "&show=grading").text
    shown = re.sub(r'href="[^"]*"', "", grading)
    assert not any(label in shown for label in labels), "a grader must not see which it was"
    trial = {"mills": {"1": labels[0], "2": labels[1]}, "parts": 4, "number": 77}
    assert client.post("/api/trials/open", json=trial).status_code == 409
    for number in range(4):
        shown = re.search(r'<p class="code">(\w+)</p>', client.get(address + "&show=grading").text).group(1)
        assert shown in {each for _, each in codes}
        reading = {"piece": shown, "note": "blind trial 77", "grade": number}
        assert client.post(FINISH, json=reading).status_code == 201
    assert "Every part is graded" in client.get(address + "&show=grading").text
    assert client.post("/api/trials/open", json=trial).json == {"credited": 4}
    opened = text_of(client.get(address + "&show=grading"))
    assert "The key is open" in opened
    key = dict(each[::-1] for each in codes)
    for row in shop.register.rows("finish_readings"):
        if row["note"] == "blind trial 77":
            assert row["tool_id"] == shop.register.find(key[row["piece"]]).id


@pytest.mark.parametrize(
    "body",
    [{}, {"mills": ["a"], "parts": 4, "number": 1},
     {"mills": {"1": "nobody", "2": "x"}, "parts": 4, "number": 1},
     {"mills": {"1": "bare #4", "2": "coated #4"}, "parts": 5, "number": 1},
     {"mills": {"1": "bare #4", "2": "coated #4"}, "parts": 4, "number": -1}],
)  # fmt: skip
def test_trials_that_are_none_are_refused(season, body):
    assert 400 <= season[0].post("/api/trials/open", json=body).status_code < 500


@pytest.mark.parametrize(
    ("text", "price"),
    [
        ("30 €", (30.0, "€")),
        ("12,50 €", (12.5, "€")),
        ("free", None),
        (None, None),
        ("2 for 30", None),
        ("0", None),
    ],
)
def test_prices(text, price):
    assert price_of(text) == price

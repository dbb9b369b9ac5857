"""The pages that compare, over a real register."""

import re

import pytest
from shopmon.dashboards.app import create_app

from shopmon.service.mills.comparing import price_of
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
    assert "drawn at random" in text_of(client.get("/compare/trials"))
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


def test_a_part_costs_what_its_minutes_and_the_changes_come_to(season):
    client, coated, bare, _ = season
    asked = f"/compare?a=kind:{bare}&b=kind:{coated}"
    assert "Say below how many minutes in the cut a part takes" in text_of(client.get(asked))
    said = text_of(client.get(asked + "&part_min_a=4&part_min_b=2,5&change_min=3&shop_per_hour=60"))
    # (12.5 + 3) € over a mean life near 26 min, 4 min a part; (30 + 3) € over about 52 min, 2.5 min a part
    told = r"bare costs about ([\d.]+) € \([^)]*\) per part, 6 mm three-flute about ([\d.]+) €"
    found = re.search(told, said)
    assert float(found[1]) == pytest.approx(15.5 / 26 * 4, rel=0.15)
    assert float(found[2]) == pytest.approx(33 / 52 * 2.5, rel=0.15)
    assert "bare costs more per part" in said or "which costs more per part" in said
    assert client.get(asked + "&part_min_a=x&part_min_b=2").status_code == 400
    assert client.get(asked + "&part_min_a=-1&part_min_b=2").status_code == 400


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


def drawn(season, parts=4) -> str:
    """Draw a trial of two end mills in use; return the address of its page."""
    client, _, _, shop = season
    mills = {str(n): shop.register.find(label).id for n, label in enumerate(("bare #4", "coated #4"), 1)}
    told = {"mills": mills, "parts": parts, "material": "7075", "operation": "finishing"}
    answer = client.post("/api/trials", json=told)
    assert answer.status_code == 201, answer.text
    return f"/compare/trials/{answer.json['id']}"


def test_a_blind_trial_from_its_plan_to_its_key(season):
    client, _, _, shop = season
    labels, page = ["bare #4", "coated #4"], drawn(season)
    codes = re.findall(r'<strong>(.+?)</strong><br><span class="code">(\w+)</span>', client.get(page).text)
    assert sorted(mill for mill, _ in codes) == sorted(labels * 2)
    assert client.get(page).text.count(codes[0][1]) == 1, "the same plan again, as it was kept"
    grading = client.get(page + "/grading").text
    assert not any(label in grading for label in labels), "a grader must not see which it was"
    assert "0 of 4 parts are graded" in text_of(client.get("/compare/trials"))
    opening = page.replace("/compare", "/api") + "/open"
    assert client.post(opening, json={}).status_code == 409
    for number in range(4):
        page_now = client.get(page + "/grading").text
        shown = re.search(r'<p class="code">(\w+)</p>', page_now).group(1)
        note = re.search(r'name="note" value="(.+?)"', page_now).group(1)
        assert shown in {each for _, each in codes}
        assert client.post(FINISH, json={"piece": shown, "note": note, "grade": number}).status_code == 201
    assert "Every part is graded" in client.get(page + "/grading").text
    assert client.post(opening, json={}).json == {"credited": 4}
    assert "The key is open" in text_of(client.get(page + "/grading"))
    assert "the key is open" in text_of(client.get("/compare/trials"))
    key = dict(each[::-1] for each in codes)
    graded = [row for row in shop.register.rows("finish_readings") if row["note"] == note]
    assert len(graded) == 4
    assert all(row["tool_id"] == shop.register.find(key[row["piece"]]).id for row in graded)


def test_a_trial_is_found_again_under_the_label_that_its_tool_has_now(season):
    client, _, _, shop = season
    page, tool = drawn(season), shop.register.find("bare #4")
    before = re.findall(r'class="code">(\w+)<', client.get(page).text)
    shop.register.correct("tools", tool.id, "label", "bare #40")
    assert re.findall(r'class="code">(\w+)<', client.get(page).text) == before
    assert "bare #40" in client.get(page).text
    shop.register.correct("tools", tool.id, "label", "bare #4")


@pytest.mark.parametrize(
    "body",
    [{}, {"mills": ["a"], "parts": 4}, {"mills": {"1": "nobody", "2": "x"}, "parts": 4},
     {"mills": {}, "parts": 4}, {"mills": {"1": "OWN", "2": "OWN"}, "parts": 4},
     {"mills": {"1": "OWN", "2": "OTHER"}, "parts": 5}, {"mills": {"1": "OWN", "2": "OTHER"}, "parts": "4"},
     {"mills": {"1": "OWN", "2": "OTHER"}, "parts": 4, "material": 7}],
)  # fmt: skip
def test_trials_that_are_none_are_refused(season, body):
    client, _, _, shop = season
    ids = {"OWN": shop.register.find("bare #4").id, "OTHER": shop.register.find("coated #4").id}
    if isinstance(body.get("mills"), dict):
        body = {**body, "mills": {key: ids.get(word, word) for key, word in body["mills"].items()}}
    before = len(shop.register.rows("blind_trials"))
    assert 400 <= client.post("/api/trials", json=body).status_code < 500
    assert len(shop.register.rows("blind_trials")) == before
    assert client.get("/compare/trials/none").status_code == 404
    assert client.post("/api/trials/none/open", json={}).status_code == 404


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

"""The pages and routes of the tools, over a real register."""

import re

import pytest
from shopmon.dashboards.app import create_app
from shopmon.dashboards.mills.said import life_basis, life_words, scale, wear_words

from shopmon.cutting.life.lifetimes import CannotTell
from shopmon.cutting.life.wear import wear_forecast
from shopmon.cutting.life.weibull import Remaining
from shopmon.service.mills.life import Outlook
from tests.dashboards.shop_monitor import ShopMonitor, furnish

JPEG = b"\xff\xd8\xff\xe0" + b"0" * 100
PAGES = ("/mills", "/mills/new", "/mills/kinds", "/mills/labels", "/")


@pytest.fixture
def shop(tmp_path):
    """A monitor over an empty register."""
    monitor = ShopMonitor(tmp_path)
    yield monitor
    monitor.close()


@pytest.fixture
def client(shop):
    return create_app(shop).test_client()


@pytest.fixture(scope="module")
def furnished(tmp_path_factory):
    """A monitor over a shop with a season behind it, and its tools by label; tests only look at it."""
    monitor = ShopMonitor(tmp_path_factory.mktemp("furnished"))
    ids = furnish(monitor.shop)
    monitor.set_context({"end_mill_id": ids["plum #3"]}, "touched")
    yield create_app(monitor).test_client(), ids
    monitor.close()


def text_of(response) -> str:
    assert response.status_code == 200, response.text
    return " ".join(re.sub(r"<[^>]+>", " ", response.text).split())


@pytest.mark.parametrize("page", PAGES)
def test_an_empty_shop_is_told_how_to_begin(client, page):
    assert text_of(client.get(page))


def test_every_page_is_there(furnished):
    client, ids = furnished
    for page in (*PAGES, *(f"/mills/{tool_id}{more}" for tool_id in ids.values() for more in ("", "/cuts"))):
        assert text_of(client.get(page))


def test_cards_stand_where_the_tools_are(furnished):
    client, _ = furnished
    said = text_of(client.get("/mills"))
    mounted, shelf, retired = (said.index(word) for word in ("Mounted", "On the shelf", "Retired (1)"))
    for label, (after, before) in {
        "plum #3": (mounted, shelf),
        "bare #1": (mounted, shelf),
        "plum #4": (shelf, retired),
        "M5 tap": (shelf, retired),
        "plum #1": (retired, len(said)),
    }.items():
        place = said.index(f" {label} ", said.index("Mounted"))
        assert after < place < before, label
    assert "since regrind 1" in said and "retired: chipped" in said and "not used yet" in said
    assert "said to be of “T7”" in said and "1 cut of which nobody said" in said
    assert "%" not in said.partition("Mounted")[2], "no percentage on a card"


def test_the_page_of_a_tool_tells_its_life(furnished):
    client, ids = furnished
    said = text_of(client.get(f"/mills/{ids['plum #2']}"))
    for part in (
        "Since the last regrind 1.6 min",
        "Reground: regrind 1, DC 5.9 mm, LCF 16 mm.",
        "Flank wear VB 0.13 mm",
        "0.13 mm at your limit",
        "ISO 8688-2",
        "7075",
        "This one is in the spindle now",
        "5.9 mm as measured",
    ):
        assert part in said, part
    retired = text_of(client.get(f"/mills/{ids['plum #1']}"))
    assert "Retired after" in retired and "hit the vice" in retired and "Take it back into use" in retired
    tap = text_of(client.get(f"/mills/{ids['M5 tap']}"))
    assert "Flank wear" not in tap and "It was reground" not in tap


def test_inches_are_everywhere_or_nowhere(tmp_path):
    monitor = ShopMonitor(tmp_path)
    ids = furnish(monitor.shop)
    monitor.units = "inch"
    client = create_app(monitor).test_client()
    for page in (
        "/mills",
        f"/mills/{ids['plum #2']}",
        f"/mills/{ids['plum #3']}",
        f"/mills/{ids['plum #5']}",
        "/mills/kinds",
        "/mills/new",
    ):
        told = text_of(client.get(page)).replace("1 µm is 39.4 µin", "")
        said = re.sub(r"6 mm (bare )?\w+-flute", "", told)
        assert not re.search(r"\d\s?(mm|µm|cm³|m)\b|, mm", said), (page, re.findall(r".{20}mm", said))
    assert "0.0047 in" in text_of(client.get(f"/mills/{ids['plum #3']}"))  # 0.12 mm
    monitor.close()


def test_a_tool_from_its_first_entry_to_its_retirement(shop, client):
    type_id = client.post("/api/register/mill_types", json={"label": "8 mm", "DC": 8, "NOF": 4}).json["id"]
    added = client.post(
        "/api/mills", json={"label": "#1", "kind": "end mill", "type_id": type_id, "edge": {"DC": 7.98}}
    )
    assert added.status_code == 201
    here = f"/api/mills/{added.json['id']}"
    assert client.get(here).json["diameter_mm"] == 7.98

    told = client.post(f"{here}/spindle").json["context"]
    assert (told["end_mill"], told["flutes"]) == ("#1", 4)
    assert shop.state()["end_mill"] == {"id": added.json["id"], "label": "#1"}
    holder = client.post("/api/register/holders", json={"label": "collet A"}).json["id"]
    client.post(f"{here}/assembly", json={"holder_id": holder, "stickout_mm": 24, "runout_um": 3})
    assert shop.context()["stickout_mm"] == 24, "the tool in the spindle: the next cut must know"

    shop.shop.cut(added.json["id"], 90.0, material="7075")
    assert client.post(f"{here}/wear", json={"VB_mm": 0.08}).json["edge_totals"]["cut_time_s"] == 90.0
    assert client.post(f"{here}/photos?note=corner", data=JPEG, content_type="image/jpeg").status_code == 200
    (photo,) = shop.register.photos(added.json["id"])
    assert client.get(f"/api/mills/photos/{photo.id}").data == JPEG

    assert (
        client.post(f"{here}/retire", json={"reason": "flank wear"}).json["retired"]["reason"] == "flank wear"
    )
    assert client.post(f"{here}/take-back").json["retired"] is None
    assert client.post(f"{here}/regrind", json={"DC": 7.9, "reason": "chipped"}).json["edge"]["number"] == 2
    correct = f"/api/register/tools/{added.json['id']}/correct"
    assert client.post(correct, json={"field": "label", "value": "#1a"}).status_code == 200
    said = text_of(client.get(f"/mills/{added.json['id']}"))
    for part in (
        "set right to #1a",
        "Photographed.",
        "Not retired after all.",
        "regrind 1",
        "Flank wear VB 0.08",
    ):
        assert part in said, part


def test_a_regrind_that_was_entered_late_begins_where_it_began(shop, client):
    tool_id = shop.shop.mill("plum #1")
    cuts = [shop.shop.cut(tool_id, seconds) for seconds in (10.0, 20.0, 40.0)]
    here = f"/api/mills/{tool_id}"
    told = client.post(f"{here}/regrind", json={"before_cut_id": cuts[1], "reason": "finish no longer good"})
    assert told.json["edge_totals"]["cut_time_s"] == 60.0 and told.json["totals"]["cut_time_s"] == 70.0
    refused = client.post(f"{here}/regrind", json={"before_cut_id": cuts[0]})
    assert refused.status_code == 400 and "later cut" in refused.json["hint"]


def test_a_cut_is_credited_to_another_tool_and_totals_follow(shop, client):
    wrong, right = shop.shop.mill("plum #1"), shop.shop.mill("plum #2")
    cut_id = shop.shop.cut(wrong, 30.0)
    assert "Credited to" in text_of(client.get(f"/cuts/{cut_id}"))
    assert client.post(f"/api/cuts/{cut_id}/credit", json={"tool_id": right}).status_code == 200
    times = {tool["label"]: tool["totals"]["cut_time_s"] for tool in client.get("/api/mills").json["tools"]}
    assert times == {"plum #1": 0.0, "plum #2": 30.0}
    assert client.get(f"/api/cuts/{cut_id}").json["context"]["end_mill"] == "plum #2"
    assert "set right afterwards" in text_of(client.get(f"/cuts/{cut_id}"))
    client.post(f"/api/cuts/{cut_id}/credit", json={"tool_id": None})
    assert client.get("/api/mills").json["uncredited"][0]["cut_time_s"] == 30.0
    assert client.post(f"/api/cuts/{cut_id}/credit", json={}).status_code == 400


def test_what_was_cut_is_set_right_and_totals_per_material_follow(shop, client):
    tool_id = shop.shop.mill("plum #1")
    cut_id = shop.shop.cut(tool_id, 30.0, material="7075", part="brake lever")
    here = f"/api/cuts/{cut_id}/set-right"
    assert client.post(here, json={"material": "316", "part": None}).status_code == 200
    assert [material for material, _ in shop.register.by_material(tool_id)] == ["316"]
    context = client.get(f"/api/cuts/{cut_id}").json["context"]
    assert context["material"] == "316" and "part" not in context
    for wrong in ({}, {"end_mill": "x"}, {"ap_mm": "2"}, {"material": ["316"]}):
        assert client.post(here, json=wrong).status_code == 400
    assert client.post("/api/cuts/nothing/set-right", json={"material": "316"}).status_code == 400


def test_cuts_under_an_unknown_name_are_credited_at_once(shop, client):
    for _ in range(2):
        shop.shop.cut_in({"end_mill": "T3"}, 5.0)
    tool_id = shop.shop.mill("plum #1")
    assert client.post(f"/api/mills/{tool_id}/credit-name", json={"said": "T3"}).json == {"cuts": 2}
    assert client.get(f"/api/mills/{tool_id}").json["totals"]["cut_time_s"] == 10.0


def test_the_code_on_a_label_opens_the_tools_page(furnished):
    client, ids = furnished
    sheet = client.get("/mills/labels").text
    assert sheet.count('class="qr"') == 7 and "plum #1<" not in sheet, "retired tools need no label"
    answer = client.get(f"/m/{ids['plum #3'][:8]}")
    assert answer.status_code == 302 and answer.location == f"/mills/{ids['plum #3']}"
    for wrong in ("zzzzzzzz", ids["plum #3"][:4], "%" * 8, "________"):
        assert client.get(f"/m/{wrong}").status_code == 404
    assert client.get(f"/mills/labels?tool={ids['plum #3']}").text.count('class="qr"') == 1


def test_a_controllers_key_may_say_which_tool_and_nothing_else(shop):
    from shopmon.dashboards.access import Access

    access = Access(shop.archive, lan=True)
    key = access.new_controller_key("mill")
    client = create_app(shop, access=access).test_client()
    tool_id = shop.shop.mill("plum #1")
    asking = {"headers": {"Authorization": f"Bearer {key}"}, "environ_base": {"REMOTE_ADDR": "192.0.2.7"}}
    told = client.post("/api/context", json={"end_mill": "plum #1"}, **asking)
    assert told.status_code == 200 and told.json["context"]["end_mill_id"] == tool_id
    assert client.post(f"/api/mills/{tool_id}/retire", json={"reason": "lost"}, **asking).status_code == 403
    assert client.get("/api/mills", **asking).status_code == 403


@pytest.mark.parametrize(
    ("address", "body"),
    [
        ("/api/mills", {}),
        ("/api/mills", {"label": "x", "kind": "end mill", "edge": "sharp"}),
        ("/api/mills/{id}/retire", {}),
        ("/api/mills/{id}/retire", {"reason": ["chipped"]}),
        ("/api/mills/{id}/wear", {}),
        ("/api/mills/{id}/wear", {"VB_mm": "0,1"}),
        ("/api/mills/{id}/assembly", {"holder_id": 7}),
        ("/api/mills/{id}/assembly", {"stickout_mm": -3}),
        ("/api/mills/{id}/regrind", {"before_cut_id": "nothing"}),
        ("/api/mills/{id}/regrind", {"before_cut_id": ["x"]}),
        ("/api/mills/{id}/credit-name", {}),
        ("/api/mills/{id}/spindle", {"rpm": 3}),
        ("/api/register/tools", {"label": "x", "kind": "end mill"}),
        ("/api/register/sqlite_master", {"label": "x"}),
        ("/api/register/holders", {"label": {"a": 1}}),
        ("/api/register/tools/{id}/correct", {"field": "id", "value": "x"}),
        ("/api/register/tools/{id}/correct", {"field": ["label"], "value": "x"}),
        ("/api/register/tools/{id}/correct", {"field": "label"}),
        ("/api/register/tools/nobody/correct", {"field": "label", "value": "x"}),
        ("/api/cuts/nothing/credit", {"tool_id": None}),
        ("/api/cuts/nothing/credit", {"tool_id": ["x"]}),
    ],
)
def test_what_cannot_be_is_refused_in_a_sentence(shop, client, address, body):
    tool_id = shop.shop.mill("plum #1")
    answer = client.post(address.replace("{id}", tool_id), json=body)
    assert answer.status_code == 400, answer.text
    assert answer.json["error"] and answer.json["hint"]
    assert shop.register.tool(tool_id).retirement is None and len(shop.register.tools()) == 1


@pytest.mark.parametrize("content", [b"", b"<svg xmlns='x'/>", b"GIF89a" + b"0" * 50])
def test_a_photograph_is_a_photograph(shop, client, content):
    here = f"/api/mills/{shop.shop.mill('plum #1')}/photos"
    assert client.post(here, data=content, content_type="image/jpeg").status_code == 400
    assert client.post(here, data=JPEG, content_type="text/html").status_code == 415
    assert client.post(here, data=JPEG + b"0" * 9 * 2**20, content_type="image/jpeg").status_code == 413


@pytest.mark.parametrize(
    "address", ["/mills/nobody", "/mills/nobody/cuts", "/api/mills/nobody", "/api/mills/photos/x"]
)
def test_what_is_not_there(client, address):
    assert client.get(address).status_code == 404


def test_hostile_labels_are_only_text(shop, client):
    evil = "<script>alert(1)</script>'\"&"
    tool_id = shop.shop.mill(evil)
    shop.set_context({"end_mill_id": tool_id}, "touched")
    shop.shop.cut_in({"end_mill": "<img src=x onerror=alert(2)>"}, 5.0)
    for page in ("/", "/mills", f"/mills/{tool_id}", "/mills/labels", f"/cuts/{shop.shop.cut(tool_id, 2.0)}"):
        page = client.get(page).text
        assert "<script>alert" not in page and "<img src=x" not in page


def outlook(lower=20.0, upper=50.0, longest=71.0) -> Outlook:
    """Return an outlook for a tool that has cut 34 minutes."""
    left = Remaining(
        age_min=34.0, lower_min=lower, median_min=33.0, upper_min=upper, likely=0.8, ended=6, in_use=2
    )
    return Outlook(remaining=left, longest_min=longest, rests_on="6 mm three-flute in 7075")


def test_the_sentence_with_an_interval_and_its_scale(shop):
    tool_id = shop.shop.mill("plum #1")
    shop.shop.cut(tool_id, 34 * 60.0)
    tool = shop.register.tool(tool_id)
    assert life_words(tool) == "34\u00a0min in the cut"
    assert life_words(tool, outlook()) == "34\u00a0min in the cut, likely 20 to 50 more"
    marks = scale(tool, outlook())
    assert 0 < marks["now"] < marks["low"] < marks["high"] < 100
    assert scale(tool, None) is None
    assert life_basis(outlook()) == (
        "Likely means four times in five; from 6 of this kind that came to their end and 2 that had not. "
        "Kind: 6 mm three-flute in 7075."
    )


def test_an_open_interval_has_no_upper_mark(shop):
    tool_id = shop.shop.mill("plum #1")
    shop.shop.cut(tool_id, 34 * 60.0)
    tool, wide = shop.register.tool(tool_id), outlook(upper=900.0)
    assert life_words(tool, wide).endswith("likely at least 20 more")
    assert scale(tool, wide)["high"] is None
    nothing = Outlook(remaining=CannotTell(reason="None has come to its end."), longest_min=0, rests_on="x")
    assert scale(tool, nothing) is None and life_words(tool, nothing) == life_words(tool)


def test_wear_is_carried_on_in_words():
    said = wear_words(wear_forecast([10, 20, 30], [0.06, 0.10, 0.14], 0.2), "metric")
    assert said.startswith("A straight line through 3 readings reaches 0.2\u00a0mm between 40 and ")
    reached = wear_words(wear_forecast([10, 20], [0.1, 0.3], 0.2), "inch")
    assert reached == "The limit of 0.0079\u00a0in is reached."
    assert wear_words(None, "metric") == ""


def test_tools_say_how_long_they_are_likely_to_last(furnished):
    client, ids = furnished
    assert re.search(r"in the cut, likely [a-z0-9. ]+ more", text_of(client.get("/mills")))
    page = text_of(client.get(f"/mills/{ids['plum #3']}"))
    assert "from 2 of this kind that came to their end" in page
    untold = text_of(client.get(f"/mills/{ids['bare #1']}"))
    assert "none has come to its end; at least 2 must" in untold


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ("label,kind,diametre\nx,tap,6", "is no column"),
        ("label;kind;type;DC\ny;end mill;t;6\nx;end mill;t;6,5", "Line 3: DC '6,5' has a decimal comma"),
        ("label,kind\nx,tap\ny,tap\nX,tap", "Line 4: the label 'X' is there already, at line 2"),
        ("label,kind\nx,tap\nM1,spoon", "Line 3: Kind cannot be 'spoon'"),
    ],
)
def test_a_table_that_is_wrong_is_refused_whole(shop, client, table, said):
    answer = client.post("/api/mills/import", data=table.encode(), content_type="text/csv")
    assert answer.status_code == 400
    assert said in answer.get_json()["error"] and answer.get_json()["hint"]
    assert shop.register.tools() == []
    assert [kind.label for kind in shop.register.kinds()] == ["6 mm three-flute"], "the one it began with"


def test_the_sound_of_a_tool_is_told_with_its_limits_and_its_wear(furnished):
    client, ids = furnished
    said = text_of(client.get(f"/mills/{ids['plum #5']}"))
    assert "Changed since its first minutes: the evenness of the teeth, from 2" in said
    assert "When flank wear was read as 0.07 mm, after 39 min in the cut, the sound had changed." in said
    assert "Control limit, dB" in said and "(beyond)" in said
    sound = client.get(f"/api/mills/{ids['plum #5']}").get_json()["sound"]
    assert sound["verdict"] == "changed since its first minutes" and "worn" not in str(sound)
    assert sound["measures"][1]["moved_db"] > sound["measures"][1]["limit_db"]
    assert "Cannot tell: none of its cuts" in text_of(client.get(f"/mills/{ids['plum #3']}"))


def test_a_measured_profile_is_sent_and_comes_back_as_figures(furnished):
    client, ids = furnished
    table = "\n".join(f"{n * 0.001:.3f},{4 * (2 * (n * 0.005 % 1) - 1) ** 2:.5f}" for n in range(8000))
    octets = {"data": table.encode(), "content_type": "application/octet-stream"}
    asked = f"/api/roughness?name=wall.csv&tool_id={ids['plum #3']}&surface=wall&feed_mm_min=900&rpm=12000"
    found = client.post(asked, **octets).get_json()
    assert found["schema"] == "shopmon.roughness/1" and found["Ra_um"] == pytest.approx(1.026, rel=0.05)
    assert found["sentences"][0].startswith("Ra 1.0") and "times_theory" in found
    older = client.post("/api/roughness?name=wall.csv&standard=ISO 4287", **octets).get_json()
    assert older["standard"] == "ISO 4287" and "times_theory" not in older
    for query, status in (
        ("name=wall.csv&standard=ISO 1", 400), ("name=wall.csv&surface=wall", 400), ("name=wall.exe", 400),
        (f"name=wall.csv&surface=wall&tool_id={ids['plum #3']}", 400), ("name=wall.csv&spacing_mm=x", 400),
        (f"name=wall.csv&surface=floor&feed_mm_min=900&rpm=12000&tool_id={ids['plum #3']}", 400), ("", 400),
    ):  # fmt: skip
        answer = client.post(f"/api/roughness?{query}", **octets)
        assert answer.status_code == status and answer.get_json()["hint"], query
    assert client.post("/api/roughness?name=wall.csv", json={}).status_code == 415

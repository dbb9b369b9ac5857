"""Finding cuts: the form of the list and the interface, over a real log."""

import io

import pytest
from PIL import Image
from shopmon.dashboards.app import create_app
from shopmon.dashboards.cuts.finding import asked

from tests.dashboards.shop_monitor import ShopMonitor


def png() -> bytes:
    """Return a small picture."""
    file = io.BytesIO()
    Image.new("L", (8, 8)).save(file, "PNG")
    return file.getvalue()


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    """An invented log: three materials, one cut that rang, a note and a correction."""
    monitor = ShopMonitor(tmp_path_factory.mktemp("shop"))
    plum = monitor.shop.mill("plum #1")
    ids = {
        "hub": monitor.shop.cut(
            plum,
            40.0,
            material="7075",
            part="hub shell",
            nominal_rpm=12_000.0,
            rpm=11_812.0,
            operation="roughing",
        ),
        "lever": monitor.shop.cut(
            plum, 30.0, chatter_s=5.0, material="316", part="brake_lever", nominal_rpm=4000.0
        ),
        "odd": monitor.shop.cut(None, 20.0, material="100 % brass", nominal_rpm=9000.0),
    }
    kept, end = monitor.kept, monitor.kept.cut(ids["lever"])["end_sample"]
    kept.add_judgement(ids["odd"], "note", "the vice was LOOSE, Übergabe")
    sorry = kept.add_judgement(ids["hub"], "note", "sorry, not this one")
    kept.add_judgement(ids["hub"], "taken back", data={"of": sorry})
    kept.mark_moment("within", monitor.shop.stream.stream_id, end - 5000, "mirror finish here")
    kept.mark_moment(
        "later", monitor.shop.stream.stream_id, kept.cut(ids["odd"])["first_sample"] + 1, "a squeal"
    )
    kept.add_cut_photo(ids["hub"], png(), "photographed from below")
    monitor.register.set_right(ids["hub"], {"operation": "finishing"})
    monitor.kept.flush(filing=False)
    yield monitor, ids
    monitor.close()


@pytest.fixture
def client(shop):
    return create_app(shop[0]).test_client()


@pytest.mark.parametrize(
    ("query", "names"),
    [
        ("words=7075", {"hub"}),
        ("words=plum", {"hub", "lever"}),
        ("words=loose", {"odd"}),
        ("words=finishing", {"hub"}),
        ("words=%25+b", {"odd"}),
        ("words=e_l", {"lever"}),
        ("words=h_b", set()),
        ("words=no+such", set()),
        ("words=lever+plum", {"lever"}),
        ("words=shell+hub+FINISHING", {"hub"}),
        ("words=roughing", set()),
        ("words=mirror", {"lever"}),
        ("words=mirror+brass", set()),
        ("words=übergabe", {"odd"}),
        ("words=ÜBERGABE+loose", {"odd"}),
        ("words=sorry", set()),
        ("words=squeal", {"odd"}),
        ("words=photographed", {"hub"}),
        ("words=%27%3B+drop+table+cuts", set()),
        ("verdict=chatter", {"lever"}),
        ("verdict=quiet", {"hub", "odd"}),
        ("rpm_from=8000&rpm_to=10000", {"odd"}),
        ("rpm_from=11000&rpm_to=11900", {"hub"}),
        ("rpm_from=12000", set()),
        ("rpm_to=10000&verdict=chatter", {"lever"}),
        ("keep=true", set()),
        ("", {"hub", "lever", "odd"}),
    ],
)
def test_cuts_are_found_by_what_was_said_and_heard(client, shop, query, names):
    _, ids = shop
    found = {cut["id"] for cut in client.get(f"/api/cuts?{query}").get_json()["cuts"]}
    assert found == {ids[name] for name in names}
    page = client.get(f"/cuts?{query}")
    assert page.status_code == 200
    for name, cut_id in ids.items():
        assert (f"/cuts/{cut_id}" in page.get_data(as_text=True)) == (name in names)


@pytest.mark.parametrize(
    ("query", "names"),
    [
        ("since=2000-01-01", {"hub", "lever", "odd"}),
        ("until=2000-01-01", set()),
        ("since=2000-01-01&until=9999-12-31&verdict=chatter", {"lever"}),
        ("since=1900-01-01&words=plum", {"hub", "lever"}),
    ],
)
def test_cuts_are_found_by_day(client, shop, query, names):
    page = client.get(f"/cuts?{query}").get_data(as_text=True)
    for name, cut_id in shop[1].items():
        assert (f"/cuts/{cut_id}" in page) == (name in names)


@pytest.mark.parametrize(
    "query", ["since=yesterday", "until=2026-13-40", "rpm_from=fast", "verdict=lovely", "keep=x"]
)
def test_what_cannot_be_looked_for_is_said_on_the_page(client, query):
    page = client.get(f"/cuts?{query}")
    assert page.status_code == 200 and "Nothing was looked for" in page.get_data(as_text=True)


def test_the_form_shows_again_what_was_typed_and_nothing_else(client):
    page = client.get("/cuts?words=%22%3E%3Cscript%3E&rpm_from=1000&colour=red").get_data(as_text=True)
    assert "&#34;&gt;&lt;script&gt;" in page and '<script>"' not in page and "red" not in page


def test_days_hold_their_whole_length():
    day = asked({"since": "2026-11-29", "until": "2026-11-29"}).filters
    assert day["until"] - day["since"] in (82_800.0, 86_400.0, 90_000.0)


@pytest.mark.parametrize("day", ["9999-12-31", "0001-01-01", "2026-13-40", "soon"])
def test_a_day_that_no_calendar_holds_is_no_trouble(client, day):
    assert client.get(f"/cuts?since={day}&until={day}").status_code == 200


def test_a_cut_is_found_as_it_is_called_the_persons_word_first(tmp_path):
    monitor = ShopMonitor(tmp_path)
    rang = {"chatter_s": 5.0}
    ids = {name: monitor.shop.cut(None, 20.0, **(rang if name != "missed" else {})) for name in
           ("heard", "pump", "door", "missed", "agreed")}  # fmt: skip
    ids["still"] = monitor.shop.cut(None, 20.0)
    said = {"pump": "no chatter", "door": "not a cut", "missed": "chatter", "agreed": "chatter"}
    for name, verdict in said.items():
        monitor.kept.add_judgement(ids[name], verdict)
    wrong = monitor.kept.add_judgement(ids["heard"], "not a cut")
    monitor.kept.add_judgement(ids["heard"], "taken back", data={"of": wrong})
    monitor.kept.add_judgement(ids["agreed"], "note", "the wall is marked")
    monitor.kept.flush(filing=False)
    client = create_app(monitor).test_client()
    expected = {"chatter": {"heard", "missed", "agreed"}, "quiet": {"pump", "still"}, "no-cut": {"door"}}
    for verdict, names in expected.items():
        found = {cut["id"] for cut in client.get(f"/api/cuts?verdict={verdict}").get_json()["cuts"]}
        assert found == {ids[name] for name in names}, verdict
    shown = client.get("/cuts?verdict=quiet").text
    assert "you said so; the monitor heard chatter" in shown and f"/cuts/{ids['heard']}" not in shown
    monitor.close()

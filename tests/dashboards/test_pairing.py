"""Pairing as a person does it: scan or type, touch, and stay paired; and what strangers get."""

import re
from html.parser import HTMLParser

import pytest
from shopmon.dashboards.access import COOKIE, hashed
from shopmon.dashboards.addresses import lan_address
from shopmon.dashboards.pairing.invitation import qr_picture, terminal_invitation

PHONE = {"REMOTE_ADDR": "192.168.1.50"}
HOST = "http://192.168.1.20:8321"
PRIVATE = ["/api/state", "/api/stream", "/api/cuts", "/api/context", "/api/health", "/api/log", "/api/kept"]


@pytest.fixture
def phone(lan_app):
    """A phone on the network."""
    client = lan_app.test_client()

    def ask(method, path, **options):
        return client.open(path, method=method, base_url=HOST, environ_overrides=PHONE, **options)

    return ask


@pytest.fixture
def here(lan_app):
    """A browser on this computer."""
    return lan_app.test_client()


class Forms(HTMLParser):
    """Collects the labelled fields of a page and checks their labels."""

    def __init__(self, html):
        super().__init__()
        self.fields, self.labels, self.buttons = {}, set(), 0
        self.feed(html)

    def handle_starttag(self, tag, attrs):
        attributes = dict(attrs)
        if tag == "input":
            self.fields[attributes["name"]] = attributes.get("value", "")
            if attributes.get("type") != "hidden":
                assert attributes["id"]
        self.labels |= {attributes["for"]} if tag == "label" else set()
        self.buttons += tag == "button"


@pytest.mark.parametrize("path", PRIVATE)
def test_strangers_get_401_and_what_to_do(phone, path):
    response = phone("GET", path)
    assert response.status_code == 401
    assert "/pairing" in response.get_json()["hint"]


@pytest.mark.parametrize("path", ["/api/marks", "/api/keep-last", "/api/context", "/api/clock"])
def test_strangers_change_nothing(phone, monitor, path):
    assert phone("POST", path, json={}).status_code == 401
    assert monitor.log() == []


@pytest.mark.parametrize("path", ["/pairing/keys", "/pairing/devices/1/remove"])
def test_strangers_make_no_keys_and_remove_nothing(phone, path):
    assert phone("POST", path, data={"name": "x"}).status_code == 401


def test_strangers_who_are_people_are_led_to_the_entrance(phone):
    response = phone("GET", "/nonsense")
    assert (response.status_code, response.headers["Location"]) == (302, "/pairing")
    entrance = phone("GET", "/pairing")
    forms = Forms(entrance.text)
    assert entrance.status_code == 200
    assert {"code", "name"} <= forms.labels == set(forms.fields)
    assert "QR code" in entrance.text


def test_the_entrance_shows_nothing_that_opens_it(phone, access):
    text = phone("GET", "/pairing").text + phone("GET", "/pairing/join").text
    assert access.token() not in text
    assert access.code() not in text.replace(" ", "")


def test_scanning_then_one_touch_pairs_for_good(phone, access, monitor):
    url = access.invitation_url(HOST)
    page = phone("GET", url.removeprefix(HOST), headers={"User-Agent": "Made-up (Android; Mobile)"})
    forms = Forms(page.text)
    assert forms.fields == {"token": access.token(), "name": "phone"}
    done = phone("POST", "/pairing/join", data=forms.fields, headers={"Origin": HOST})
    assert (done.status_code, done.headers["Location"]) == (303, "/")
    cookie = done.headers["Set-Cookie"]
    assert all(part in cookie for part in ("HttpOnly", "SameSite=Lax", "Path=/", "Max-Age=34560000"))
    assert phone("GET", "/api/state").status_code == 200
    assert phone("POST", "/api/marks").status_code == 201
    (row,) = monitor.archive.rows.values()
    assert (row["name"], row["scope"]) == ("phone", "pages")
    assert hashed(re.search(rf"{COOKIE}=([^;]+)", cookie)[1]) == row["token_hash"]


def test_opening_the_scanned_address_uses_nothing_up(phone, access):
    path = access.invitation_url("")
    for _ in range(3):
        assert access.token() in phone("GET", path).text
    assert access.token_is_good(path.partition("=")[2])


def test_an_old_invitation_is_explained(phone, access):
    token = access.token()
    access.pair_by_token(token, "someone else")
    for response in (
        phone("GET", f"/pairing/join?token={token}"),
        phone("POST", "/pairing/join", data={"token": token}),
    ):
        assert "has been used or is too old" in response.text
        assert "Set-Cookie" not in response.headers
        assert "code" in Forms(response.text).fields


def test_typing_the_code_pairs(phone, access, here):
    shown = re.search(r'class="code numbers"[^>]*>([\d ]+)<', here.get("/pairing").text)[1]
    assert shown.replace(" ", "") == access.code()
    assert (
        phone("POST", "/pairing/join", data={"code": shown, "name": "Bench <b>tablet</b>"}).status_code == 303
    )
    assert phone("GET", "/api/state").status_code == 200
    page = here.get("/pairing").text
    assert "Bench &lt;b&gt;tablet&lt;/b&gt;" in page
    assert "Bench <b>" not in page


def test_wrong_codes_are_refused_and_then_slowed_down(phone, access, now):
    code = access.code()
    bad = "00000000" if code != "00000000" else "11111111"
    for _ in range(10):
        refused = phone("POST", "/pairing/join", data={"code": bad})
        assert refused.status_code == 403
        assert "not the code" in refused.text
        assert "Set-Cookie" not in refused.headers
    slowed = phone("POST", "/pairing/join", data={"code": code})
    assert slowed.status_code == 429
    assert 0 < int(slowed.headers["Retry-After"]) <= 61
    now[0] += 62
    assert phone("POST", "/pairing/join", data={"code": code}).status_code == 303


def test_a_form_from_another_site_pairs_nothing(phone, access):
    form = {"token": access.token()}
    refused = phone("POST", "/pairing/join", data=form, headers={"Origin": "http://evil.example"})
    assert refused.status_code == 403
    assert access.token_is_good(form["token"])


def test_a_removed_device_loses_its_live_view_and_its_right(phone, access, here, monitor, lan_app):
    phone("POST", "/pairing/join", data={"code": access.code()})
    (device,) = access.devices()
    streams = lan_app.extensions["streams"]
    view = streams.open(monitor.feed, device["id"])
    mine = streams.open(monitor.feed)
    removed = here.post(f"/pairing/devices/{device['id']}/remove", headers={"Origin": "http://localhost"})
    assert removed.status_code == 303
    assert (view.closed, mine.closed) == (True, False)
    assert phone("GET", "/api/state").status_code == 401
    assert here.post(f"/pairing/devices/{device['id']}/remove").status_code == 404


def test_a_device_in_use_stays_paired(phone, access):
    phone("POST", "/pairing/join", data={"code": access.code()})
    assert COOKIE in phone("GET", "/pairing").headers["Set-Cookie"]
    assert "Set-Cookie" not in phone("GET", "/api/state").headers


def test_a_controllers_key_is_shown_once_and_works(phone, here, monitor, lan_app):
    page = here.post("/pairing/keys", data={"name": "Mill on the left"})
    key = re.search(r'class="key">([^<]+)<', page.text)[1]
    later = here.get("/pairing").text
    assert key not in later
    assert "Mill on the left" in later
    controller = lan_app.test_client()
    options = {"base_url": HOST, "environ_overrides": PHONE, "headers": {"Authorization": f"Bearer {key}"}}
    told = controller.post("/api/context", json={"nominal_rpm": 9000}, **options)
    assert (told.status_code, told.get_json()["context"]["nominal_rpm"]) == (200, 9000)
    for path in PRIVATE:
        refused = controller.get(path, **options)
        assert refused.status_code == 403
        assert "key" in refused.get_json()["error"]
    assert controller.post("/api/marks", **options).status_code == 403
    assert controller.get("/pairing", **options).status_code == 403


def test_a_macro_is_told_from_a_touch(here, access, monitor, lan_app):
    origins = []
    monitor.set_context = lambda values, origin: origins.append(origin) or values
    headers = {"Authorization": f"Bearer {access.new_controller_key('mill')}"}
    lan_app.test_client().post(
        "/api/context", json={"flutes": 2}, base_url=HOST, environ_overrides=PHONE, headers=headers
    )
    assert origins == ["macro"]


def test_a_key_needs_a_name(here):
    assert here.post("/pairing/keys", data={"name": "  "}).status_code == 400


def test_a_paired_phone_may_set_the_clock(phone, access, monitor):
    monitor.clock_set = False
    phone("POST", "/pairing/join", data={"code": access.code()})
    phone("POST", "/api/clock", json={"time_s": 1_800_000_000, "confirm": True})
    assert monitor.archive.clock == (1_800_000_000.0, "phone")


def test_this_computer_needs_no_pairing_and_shows_the_invitation(here, access):
    page = here.get("/pairing").text
    assert "<svg" in page
    assert here.get("/api/state").status_code == 200
    assert here.get("/pairing/join").headers["Location"] == "/"


def test_without_the_network_the_page_says_how_to_open_it(client, monitor):
    page = client.get("/pairing").text
    assert "--lan" in page
    assert 'class="qr"' not in page


def test_without_the_network_others_are_refused_even_if_they_get_through(client):
    response = client.get("/api/state", environ_overrides=PHONE)
    assert response.status_code == 403


def test_the_qr_codes_hold_the_address():
    picture = qr_picture(f"{HOST}/pairing/join?token=abc")
    assert picture.startswith("<svg")
    assert "style=" not in picture
    text = terminal_invitation(f"{HOST}/pairing/join?token=abc", "12345678")
    assert "1234 5678" in text
    assert f"{HOST}/pairing there" in text


def test_the_address_on_the_network_is_found_without_asking_anyone():
    address = lan_address()
    assert address is None or re.fullmatch(r"\d+\.\d+\.\d+\.\d+", address)
    assert address != "127.0.0.1"

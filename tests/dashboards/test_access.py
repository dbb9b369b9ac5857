"""Pairing and keys: the rules, on a clock that the test moves."""

from contextlib import closing

import pytest
from flask import Request
from hypothesis import given
from hypothesis import strategies as st
from shopmon.dashboards.access import (
    CODE_LIFE_S,
    COOKIE,
    TOKEN_LIFE_S,
    WRONG_CODES_PER_CODE,
    WRONG_CODES_PER_MINUTE,
    Access,
    TooManyTries,
    clean_name,
    hashed,
    is_direct_local,
)
from werkzeug.test import EnvironBuilder

from shopmon.errors import SettingError
from shopmon.records.archive import Archive
from tests.dashboards.fake_records import FakeDevices


def request_from(address="192.168.1.50", cookie="", **headers) -> Request:
    """Make a request as it arrives from `address`."""
    given_headers = {name.replace("_", "-"): text for name, text in headers.items()}
    if cookie:
        given_headers["Cookie"] = f"{COOKIE}={cookie}"
    return Request(EnvironBuilder(headers=given_headers, environ_base={"REMOTE_ADDR": address}).get_environ())


def wrong(code: str) -> str:
    """Return another code of the same length."""
    return f"{(int(code) + 1) % 10**8:08d}"


def role(access, **request) -> str:
    return access.visitor(request_from(**request)).role


@pytest.mark.parametrize("address", ["127.0.0.1", "127.8.8.8", "::1", "::ffff:127.0.0.1"])
def test_this_computer_is_trusted(access, address):
    assert role(access, address=address) == "local"


@pytest.mark.parametrize(
    "address", ["192.168.1.50", "10.0.0.1", "fe80::1%eth0", "::ffff:10.0.0.1", "", "nonsense"]
)
def test_other_computers_are_strangers(access, address):
    assert role(access, address=address) == "stranger"


@pytest.mark.parametrize("name", ["X_Forwarded_For", "Forwarded", "X_Real_Ip", "Via", "X_Forwarded_Host"])
def test_what_is_passed_on_by_something_local_is_not_local(access, name):
    assert not is_direct_local(request_from("127.0.0.1", **{name: "127.0.0.1"}))
    assert role(access, address="127.0.0.1", **{name: "127.0.0.1"}) == "stranger"


def test_a_token_pairs_one_device_once(access, monitor):
    token = access.token()
    assert access.token_is_good(token)
    secret = access.pair_by_token(token, "phone")
    assert role(access, cookie=secret) == "device"
    assert not access.token_is_good(token)
    assert access.pair_by_token(token, "another") is None
    assert access.token() != token
    assert len(monitor.archive.rows) == 1


def test_a_token_lasts_a_day_and_no_longer(access, now):
    token = access.token()
    now[0] += TOKEN_LIFE_S - 1
    assert access.token_is_good(token)
    now[0] += 2
    assert access.pair_by_token(token, "late") is None


@pytest.mark.parametrize("token", ["", "x", "\udcff", "é" * 500, "0" * 24])
def test_other_tokens_pair_nothing(access, token):
    access.token()
    assert not access.token_is_good(token)
    assert access.pair_by_token(token, "guess") is None


def test_no_token_is_good_before_one_was_made(access):
    assert access.pair_by_token("", "guess") is None
    assert access.pair_by_code("", "guess") is None


def test_a_code_pairs_one_device_once_however_it_is_spaced(access):
    code = access.code()
    assert len(code) == 8
    assert role(access, cookie=access.pair_by_code(f" {code[:4]} {code[4:]} ", "tablet")) == "device"
    assert access.pair_by_code(code, "another") is None
    assert access.code() != code


def test_a_code_is_shown_for_half_its_life_and_ends_after_all_of_it(access, now):
    code = access.code()
    now[0] += CODE_LIFE_S / 2 - 1
    assert access.code() == code
    now[0] += CODE_LIFE_S / 2 + 2
    assert access.pair_by_code(code, "late") is None


def test_a_code_that_was_shown_stays_good_for_five_minutes(access, now):
    access.code()
    now[0] += CODE_LIFE_S / 2 - 1
    code = access.code()
    now[0] += 300
    assert access.pair_by_code(code, "phone")


def test_after_many_wrong_codes_not_even_the_right_one_is_looked_at_for_a_while(access, now):
    code = access.code()
    for _ in range(WRONG_CODES_PER_MINUTE):
        assert access.pair_by_code(wrong(code), "guess") is None
    with pytest.raises(TooManyTries) as caught:
        access.pair_by_code(code, "guess")
    assert 0 < caught.value.wait_s <= 60
    now[0] += 61
    assert access.pair_by_code(code, "person")


def test_a_code_that_was_guessed_at_too_often_is_given_up(access, now):
    code = access.code()
    for number in range(WRONG_CODES_PER_CODE):
        now[0] += 10
        assert access.pair_by_code(wrong(code), f"guess {number}") is None
    now[0] += 10
    assert access.pair_by_code(code, "guess") is None
    assert access.code() != code


@given(st.text(max_size=30))
def test_no_text_is_taken_for_the_code(text):
    access = Access(FakeDevices(), lan=True)
    code = access.code()
    digits = "".join(ch for ch in text if ch in "0123456789")
    assert (access.pair_by_code(text, "guess") is None) == (digits != code)


def test_only_hashes_are_kept(access, monitor):
    secret, key = access.pair_by_token(access.token(), "phone"), access.new_controller_key("mill")
    kept = repr(monitor.archive.rows)
    assert secret not in kept
    assert key not in kept
    assert hashed(secret) in kept
    assert "token_hash" not in repr(access.devices())


def test_a_key_may_post_the_context_and_nothing_else(access):
    key = access.new_controller_key("mill")
    visitor = access.visitor(request_from(Authorization=f"Bearer {key}"))
    assert visitor.role == "controller"
    assert access.allows(visitor, "POST", "api.set_context")
    for method, endpoint in (
        ("GET", "api.set_context"),
        ("GET", "api.context"),
        ("POST", "api.mark"),
        ("GET", ""),
    ):
        assert not access.allows(visitor, method, endpoint)


def test_a_key_is_no_cookie_and_a_cookie_is_no_key(access):
    key, secret = access.new_controller_key("mill"), access.pair_by_token(access.token(), "phone")
    assert role(access, cookie=key) == "stranger"
    assert role(access, Authorization=f"Bearer {secret}") == "stranger"
    assert role(access, cookie=secret, Authorization="Basic eDp5") == "device"


@pytest.mark.parametrize("secret", ["", "x", "x" * 5000, "'; drop table", "\xff"])
def test_invented_secrets_open_nothing(access, secret):
    assert role(access, cookie=secret) == "stranger"
    assert role(access, Authorization=f"Bearer {secret}") == "stranger"


def test_a_removed_device_is_a_stranger_at_once(access):
    secret = access.pair_by_token(access.token(), "phone")
    (device,) = access.devices()
    access.remove(device["id"])
    assert role(access, cookie=secret) == "stranger"
    assert access.devices() == []


def test_pairing_through_the_real_archive_counts_at_once_and_after_a_restart(tmp_path):
    def opened():
        return Archive.open(tmp_path, budget_bytes=10**9)

    with closing(opened()) as archive:
        access = Access(archive, lan=True)
        secret, key = access.pair_by_code(access.code(), "phone"), access.new_controller_key("mill")
        assert role(access, cookie=secret) == "device"
        assert role(access, Authorization=f"Bearer {key}") == "controller"
        assert [device["name"] for device in access.devices()] == ["phone", "mill"]
    with closing(opened()) as archive:
        access = Access(archive, lan=True)
        assert role(access, cookie=secret) == "device"
        access.remove(access.devices()[0]["id"])
        assert role(access, cookie=secret) == "stranger"
        assert [device["name"] for device in access.devices()] == ["mill"]


def test_pairing_outlives_the_program(monitor, access):
    secret = access.pair_by_token(access.token(), "phone")
    assert role(Access(monitor.archive, lan=True), cookie=secret) == "device"


def test_without_the_network_only_this_computer_counts(monitor, access):
    secret = access.pair_by_token(access.token(), "phone")
    closed = Access(monitor.archive, lan=False)
    assert role(closed, cookie=secret) == "stranger"
    assert not closed.allows(closed.visitor(request_from()), "GET", "pairing.page")
    assert role(closed, address="127.0.0.1") == "local"


def test_a_scope_of_a_later_version_opens_nothing(access, monitor):
    monitor.archive.add_device("1", "later", hashed("secret"), "everything")
    assert role(access, cookie="secret") == "stranger"


def test_pairing_needs_somewhere_to_keep_devices():
    with pytest.raises(ValueError, match="keep"):
        Access(lan=True)
    with pytest.raises(SettingError, match="--lan"):
        Access().new_controller_key("mill")


@given(st.text())
def test_names_become_fit_for_a_list(name):
    cleaned = clean_name(name)
    assert 0 < len(cleaned) <= 60
    assert cleaned.isprintable()
    assert cleaned == clean_name(cleaned)


def test_the_invitation_holds_address_token_and_code(access):
    text = access.terminal_invitation("http://192.168.1.20:8321/")
    assert "http://192.168.1.20:8321/pairing" in text
    assert f"{access.code()[:4]} {access.code()[4:]}" in text
    assert "█" in text
    assert access.invitation_url("http://192.168.1.20:8321/") == (
        f"http://192.168.1.20:8321/pairing/join?token={access.token()}"
    )

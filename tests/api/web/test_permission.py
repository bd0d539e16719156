"""Who may do what: every route, asked by the board, by devices that were let in, and by all others."""

import re
from types import SimpleNamespace

import pytest
from fastapi import Response

from api.web.permission import (
    OPEN_ROUTES,
    form_token_for,
    require_form_token,
    set_session_cookie,
)
from api.web.problems.types import ProblemError
from controller.journal.reader import JournalReader
from controller.records.entries import EventKind
from tests.api.stand_in import problem
from tests.api.web.devices import HOME, Device

BARE = 'Bearer realm="Leerie"'
INVALID = f'{BARE}, error="invalid_token"'
NEEDS_CONTROL = f'{BARE}, error="insufficient_scope", scope="control"'
NEEDS_READ = f'{BARE}, error="insufficient_scope", scope="read"'
OVERRIDE = {"json": {"light": "off", "for": "1h"}}


@pytest.fixture
def device(house):
    """A device of the home network that nobody has let in yet."""
    return Device(house)


def every_request(house):
    """Give every route of the API as method and path, with something in place of its parameters."""
    house.hub.close()  # the stream of events would not end
    for path, item in house.get("/openapi.json")["paths"].items():
        for method in item:
            yield method.upper(), re.sub(r"\{\w+\}", "x", path)
    yield "GET", "/openapi.json"
    yield "GET", "/no/such/route"
    yield "OPTIONS", "/v1/status"


def refused(response, name, path, challenge):
    problem(response, name, at=path)
    assert response.headers["www-authenticate"] == challenge


def test_the_home_network_may_do_nothing_without_permission(house, device):
    """Every route but those to be let in by is refused with 401, whether it exists or not."""
    asked = 0
    for method, path in every_request(house):
        if (method, path) not in OPEN_ROUTES and not path.startswith(("/problems/", "/v1/calendar/")):
            body = {"json": {}} if method in ("PUT", "POST") else {}
            refused(device.ask(method, path, **body), "permission-needed", path, BARE)
            asked += 1
    assert asked > 20


def test_the_home_network_may_find_out_that_it_may_not(device):
    """Anybody may ask who they are, what a refusal means, and sign out."""
    assert device.ask("GET", "/v1/access").json() == {
        "kind": "home",
        "address": HOME,
        "name": HOME,
        "may_read": False,
        "may_control": False,
        "id": None,
    }
    assert device.ask("GET", "/problems/permission-needed").json()["title"] == "Permission needed"
    assert device.ask("HEAD", "/v1/access").status_code == 200
    assert device.ask("DELETE", "/v1/access/session").status_code == 204


def test_the_board_needs_no_permission(house):
    """The board itself is let in everywhere, by 127.0.0.1 and ::1."""
    for peer in ("127.0.0.1", "::1"):
        for method, path in every_request(house):
            body = {"json": {}} if method in ("PUT", "POST") else {}
            assert house.ask(method, path, peer=peer, **body).status_code not in (401, 403), (method, path)
    found = house.get("/v1/access")
    assert (found["kind"], found["name"], found["may_control"]) == ("board", "this board", True)


@pytest.mark.parametrize("header", ["Forwarded", "X-Forwarded-For", "X-Real-IP", "Via"])
def test_whoever_comes_through_a_proxy_is_not_the_board(house, header):
    """A reverse proxy on the board connects from 127.0.0.1; whoever stands behind it needs permission."""
    for value in ("", "127.0.0.1", "for=127.0.0.1"):
        response = house.ask("GET", "/v1/status", headers={header: value})
        refused(response, "permission-needed", "/v1/status", BARE)


@pytest.mark.parametrize("how", ["pair", "sign_in"])
def test_who_may_read_may_not_change(house, device, how):
    """A token or session for reading reads everything; what changes something is refused with 403."""
    getattr(device, how)("read")
    for method, path in every_request(house):
        if (method, path) in OPEN_ROUTES:
            continue
        if method in ("GET", "OPTIONS"):
            assert device.ask(method, path).status_code not in (401, 403), path
        else:
            body = {"json": {}} if method in ("PUT", "POST") else {}
            refused(device.ask(method, path, **body), "not-permitted", path, NEEDS_CONTROL)


@pytest.mark.parametrize("how", ["pair", "sign_in"])
def test_who_may_control_may_do_everything(house, device, how):
    """A token or session for control reads and changes everything, and its name stands beside what it did."""
    getattr(device, how)("control", "Löwe’s phone")
    for method, path in every_request(house):
        if (method, path) not in OPEN_ROUTES:
            body = {"json": {}} if method in ("PUT", "POST") else {}
            assert device.ask(method, path, **body).status_code not in (401, 403), (method, path)
    assert device.ask("PUT", "/v1/zones/jetty/override", **OVERRIDE).json()["by"] == "Löwe’s phone"


def test_a_revoked_token_counts_no_longer(house, device):
    """From its next request on it is refused as invalid, on the board too, and that is told once an hour."""
    device.pair()
    assert house.ask("DELETE", f"/v1/access/tokens/{device.id}").status_code == 204
    for peer in (HOME, "127.0.0.1", HOME):
        refused(device.ask("GET", "/v1/status", peer=peer), "permission-needed", "/v1/status", INVALID)
    house.pass_time(1)
    told = [
        each.words
        for each in JournalReader(house.journal.directory).events()
        if each.kind is EventKind.ACCESS_REFUSED
    ]
    assert told == [
        f"wrong or revoked token from {HOME} (1 failed try since the start)",
        "wrong or revoked token from 127.0.0.1 (2 failed tries since the start)",
    ]
    assert house.get("/v1/status")["access"]["failed_tries"] == 3


@pytest.mark.parametrize(
    "path",
    [
        "/v1/status?access_token={}",
        "/v1/status?token={}",
        "/v1/access/tokens?access_token={}",
        "/v1/{}/status",
    ],
)
def test_a_token_counts_in_the_header_alone(device, path):
    """A token in the query or the path is none: RFC 6750, section 2.3, lets it stand there, and 5.3 warns."""
    token = device.pair().token
    device.token = None
    response = device.ask("GET", path.format(token))
    assert response.status_code == 401
    assert response.headers["www-authenticate"] == BARE


def test_a_token_in_a_form_is_none(device):
    """Nor is one in a body, as RFC 6750, section 2.2, has it."""
    token = device.pair().token
    device.token = None
    body = {"access_token": token, "light": "off", "for": "1h"}
    response = device.ask("PUT", "/v1/zones/jetty/override", json=body)
    refused(response, "permission-needed", "/v1/zones/jetty/override", BARE)


@pytest.mark.parametrize(
    ("value", "challenge"),
    [
        ("bearer {}", None),
        ("BEARER  {} ", None),
        ("{}", BARE),
        ("Basic {}", BARE),
        ("Bearer", INVALID),
        ("Bearer {}x", INVALID),
        ("Bearer {} {}", INVALID),
        ("Bearer {}, Bearer {}", INVALID),
        ('Bearer token="{}"', INVALID),
    ],
)
def test_the_header_is_read_as_the_standard_has_it(device, value, challenge):
    """The scheme may be in any letters (RFC 9110, section 11.1); another or a garbled one is no token."""
    token = device.pair().token
    device.token = None
    response = device.ask("GET", "/v1/status", headers={"authorization": value.format(token, token)})
    assert response.headers.get("www-authenticate") == challenge
    assert response.status_code == (200 if challenge is None else 401)


def test_two_tokens_in_one_request_are_none(house, device):
    """A request with two headers Authorization is refused, also where one of them is good."""
    token = device.pair().token
    both = [("authorization", f"Bearer {token}"), ("authorization", f"Bearer {token}")]
    response = house.ask("GET", "/v1/status", peer=HOME, headers=both)
    refused(response, "permission-needed", "/v1/status", INVALID)


def test_a_token_limits_the_board_too(device):
    """A program on the board that shows a token for reading may read only."""
    device.pair("read")
    response = device.ask("PUT", "/v1/zones/jetty/override", peer="127.0.0.1", **OVERRIDE)
    refused(response, "not-permitted", "/v1/zones/jetty/override", NEEDS_CONTROL)


def test_a_session_is_no_token_and_a_token_no_session(device):
    """The secret of a cookie does not count in the header, nor that of a token as a cookie."""
    token = device.pair().token
    device.token = None
    device.sign_in()
    name, secret = device.cookie.split("=")
    stranger = Device(device.house)
    stranger.token = secret
    refused(stranger.ask("GET", "/v1/status"), "permission-needed", "/v1/status", INVALID)
    stranger.token, stranger.cookie = None, f"{name}={token}"
    refused(stranger.ask("GET", "/v1/status"), "permission-needed", "/v1/status", BARE)


def test_only_the_cookie_of_this_daemon_counts(house, device):
    """Another daemon's cookie has another name, and one over TLS the prefix __Host-: neither is mixed up."""
    device.sign_in()
    name, secret = device.cookie.split("=")
    assert name == f"leerie-{house.app.state.context.access.instance}"
    assert device.ask("GET", "/v1/status").status_code == 200
    for other in (f"leerie-00000000={secret}", f"__Host-{name}={secret}", f"{name}=", f"{name}"):
        device.cookie = other
        assert device.ask("GET", "/v1/status").status_code == 401
    device.cookie = f"lang=de; {name}={secret}; x"
    assert device.ask("GET", "/v1/status").status_code == 200
    device.url = "https://127.0.0.1:8010"
    assert device.ask("GET", "/v1/status").status_code == 401
    device.cookie = f"__Host-{name}={secret}"
    assert device.ask("GET", "/v1/status").status_code == 200


@pytest.mark.parametrize("secure", [False, True])
def test_the_cookie_is_kept_from_scripts_and_other_sites(house, secure):
    """Its attributes are those of RFC 6265bis; Secure and __Host- over TLS only, where browsers take them."""
    access = house.app.state.context.access
    request = SimpleNamespace(scope={"scheme": "https" if secure else "http"})
    response = Response()
    set_session_cookie(request, response, access, "the-secret")
    pair, *attributes = response.headers["set-cookie"].split("; ")
    prefix = "__Host-" if secure else ""
    assert pair == f"{prefix}leerie-{access.instance}=the-secret"
    expected = {"HttpOnly", "SameSite=strict", "Path=/", "Max-Age=31536000"} | (
        {"Secure"} if secure else set()
    )
    assert set(attributes) == expected


def test_a_calendar_token_reads_the_calendar_alone(house, device):
    """What is for the calendar reads /v1/calendar.ics, and is refused everywhere else."""
    device.pair("calendar")
    for method, path in every_request(house):
        if (method, path) in OPEN_ROUTES or path in ("/problems/x", "/v1/calendar/x.ics"):
            continue
        body = {"json": {}} if method in ("PUT", "POST") else {}
        response = device.ask(method, path, **body)
        if path == "/v1/calendar.ics":
            assert response.status_code == 200
        else:
            needed = NEEDS_READ if method in ("GET", "OPTIONS") else NEEDS_CONTROL
            refused(response, "not-permitted", path, needed)


# -- forms ---------------------------------------------------------------------------------------------------


def form_request(device, **client):
    """Make the part of a request that a form's token comes from."""
    scope = {"type": "http", "scheme": "http", "headers": []}
    cookies = dict([device.cookie.split("=")]) if device.cookie else {}
    state = SimpleNamespace(client=SimpleNamespace(**{"session_id": None, "token_id": None, **client}))
    return SimpleNamespace(scope=scope, cookies=cookies, state=state)


def test_a_form_carries_the_token_of_its_session(house, device):
    """A form is taken from the session whose page it stood on, also after a restart, and from no other."""
    device.sign_in()
    request = form_request(device, session_id=device.id)
    access = house.app.state.context.access
    given = form_token_for(request, access)
    require_form_token(request, access, given)
    house.app = house.make_app()
    require_form_token(request, house.app.state.context.access, given)
    other = Device(house)
    other.sign_in()
    for each in (form_request(other, session_id=other.id), form_request(Device(house))):
        with pytest.raises(ProblemError, match="load the page again"):
            require_form_token(each, house.app.state.context.access, given)
    for wrong in ("", given[:-1], "ü", given.upper()):
        with pytest.raises(ProblemError):
            require_form_token(request, access, wrong)
    assert device.cookie.split("=")[1] not in given


def test_the_forms_of_the_board_carry_a_token_too(house, device):
    """Without a session a form carries what this run of the daemon alone knows; no device gets that."""
    access = house.app.state.context.access
    board, phone = form_request(device), form_request(device, token_id="3f9a12bc")
    require_form_token(board, access, form_token_for(board, access))
    assert form_token_for(board, access) != form_token_for(phone, access)
    assert form_token_for(board, access) != form_token_for(board, house.make_app().state.context.access)

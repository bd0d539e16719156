"""Routes of who is let in: codes, tokens, and the session of the page."""

import re
from datetime import timedelta

import pytest

from api.render.instants import instant_text
from controller.journal.reader import JournalReader
from tests.api.stand_in import EVENING_UTC, problem
from tests.api.web.devices import HOME, Device

CODES, TOKENS, SESSION = "/v1/access/codes", "/v1/access/tokens", "/v1/access/session"
NOBODY = "2222-2222-2222"


@pytest.fixture
def device(house):
    """A device of the home network that nobody has let in yet."""
    return Device(house)


def listed(house):
    return house.get(TOKENS)["tokens"]


def test_a_code_is_shown_with_its_end(house):
    """The board gets a code for control, and until when it can be used."""
    response = house.ask("POST", CODES, json={})
    assert response.status_code == 201
    document = response.json()
    assert re.fullmatch(r"[2-9A-Z]{4}-[2-9A-Z]{4}-[2-9A-Z]{4}", document.pop("code"))
    ends_at = instant_text(EVENING_UTC + timedelta(minutes=10))
    assert document == {"scope": "control", "name": None, "ends_at": ends_at, "lasts_s": 600.0}


def test_a_code_becomes_a_token_once(house, device):
    """The token is shown once with all that is known of it, and the list has it without its secret."""
    code = device.get_code("read", name="kitchen phone")
    response = device.ask("POST", TOKENS, json={"code": code.lower(), "name": "spy"})
    assert response.status_code == 201
    document = response.json()
    token = document.pop("token")
    assert re.fullmatch(r"[A-Za-z0-9_-]{43}", token)
    assert document.pop("calendar") is None
    assert document == {
        "id": document["id"],
        "kind": "token",
        "scope": "read",
        "name": "kitchen phone",
        "made_at": "2027-06-22T01:30:00Z",
        "used_at": None,
        "token_id": None,
    }
    assert listed(house) == [document]
    problem(device.ask("POST", TOKENS, json={"code": code}), "not-permitted", at=TOKENS)
    house.pass_time(90)
    device.token = token
    assert device.ask("GET", "/v1/access").json()["id"] == document["id"]
    assert listed(house) == [document | {"used_at": "2027-06-22T01:31:30Z"}]


def test_a_code_ends_after_ten_minutes(house, device):
    """After ten minutes by the boot-time clock it is refused, whatever the wall clock says."""
    code, other = device.get_code(), device.get_code()
    house.clock.step(86_400.0)
    house.clock.advance(599)
    assert device.ask("POST", TOKENS, json={"code": code}).status_code == 201
    house.clock.advance(1)
    problem(device.ask("POST", TOKENS, json={"code": other}), "not-permitted", at=TOKENS)


@pytest.mark.parametrize(("path", "peer"), [(TOKENS, HOME), (SESSION, HOME), (TOKENS, "127.0.0.1")])
def test_wrong_codes_are_limited_for_all_together(house, device, path, peer):
    """After five wrong codes in a minute, from whatever addresses, the right one is refused too, with 429."""
    code = device.get_code()
    for number in range(5):
        response = device.ask("POST", path, json={"code": NOBODY}, peer=f"192.168.1.{number}")
        problem(response, "not-permitted", at=path)
        house.clock.advance(2)
    refusal = device.ask("POST", path, json={"code": code}, peer=peer)
    assert refusal.status_code == 429
    assert refusal.json()["type"] == "/problems/too-many-requests"
    assert refusal.headers["retry-after"] == "50"
    house.clock.advance(50)
    assert device.ask("POST", path, json={"code": code}, peer=peer).status_code == 201


@pytest.mark.parametrize("scope", ["read", "control"])
def test_a_code_for_other_devices_takes_control(device, scope):
    """A phone that may control pairs the next one; one that may only read cannot."""
    device.pair(scope)
    response = device.ask("POST", CODES, json={"scope": "control"})
    assert response.status_code == (201 if scope == "control" else 403)


def test_a_calendar_gets_its_own_address(house, device):
    """A code for a calendar becomes a token with the path that a calendar program subscribes to."""
    body = {"code": device.get_code("calendar"), "name": "family calendar"}
    document = device.ask("POST", TOKENS, json=body).json()
    assert document["calendar"] == f"/v1/calendar/{document['token']}.ics"
    assert listed(house)[0]["scope"] == "calendar"


def test_a_device_is_revoked(house, device):
    """Revoked tokens are gone from the list with their sessions; an unknown one is not found."""
    device.pair()
    phone = Device(house)
    assert phone.sign_in(token=device.token).status_code == 201
    assert [each["token_id"] for each in listed(house)] == [None, device.id]
    assert device.ask("DELETE", f"{TOKENS}/{device.id}").status_code == 204
    assert phone.ask("GET", "/v1/status").status_code == 401
    assert listed(house) == []
    path = f"{TOKENS}/{device.id}"
    problem(house.ask("DELETE", path), "unknown-token", at=path)


def test_signing_in_gives_a_cookie(house, device):
    """A code or a token begins a session; its secret stands in the cookie and nowhere else."""
    response = device.sign_in("read")
    assert response.status_code == 201
    assert response.json()["kind"] == "session"
    assert device.cookie.split("=")[1] not in response.text
    assert device.ask("GET", "/v1/access").json() == {
        "kind": "home",
        "address": HOME,
        "name": "kitchen phone",
        "may_read": True,
        "may_control": False,
        "id": device.id,
    }


def test_a_session_that_was_there_before_is_replaced(house, device):
    """Signing in ends the session whose cookie is sent along, and gives another id and secret."""
    device.sign_in("read")
    earlier_cookie, earlier_id = device.cookie, device.id
    assert device.sign_in("control").status_code == 201
    assert device.cookie != earlier_cookie
    assert [each["id"] for each in listed(house)] == [device.id]
    assert device.id != earlier_id
    device.cookie = earlier_cookie
    assert device.ask("GET", "/v1/status").status_code == 401


def test_a_session_id_that_somebody_planted_is_not_adopted(house, device):
    """A cookie that was set before sign-in, by whoever, is replaced by one that only the server knows."""
    name = f"leerie-{house.app.state.context.access.instance}"
    device.cookie = planted = f"{name}={'x' * 43}"
    assert device.sign_in().status_code == 201
    assert device.cookie.split("=")[0] == name
    assert device.cookie != planted
    device.cookie = planted
    assert device.ask("GET", "/v1/status").status_code == 401


def test_signing_out_ends_the_session(house, device):
    """The session is over and its cookie cleared; doing so twice, or reading only, is no error."""
    device.sign_in("read")
    response = device.ask("DELETE", SESSION)
    assert response.status_code == 204
    assert "Max-Age=0" in response.headers["set-cookie"]
    assert device.ask("GET", "/v1/status").status_code == 401
    assert device.ask("DELETE", SESSION).status_code == 204
    assert listed(house) == []


def test_a_session_idles_out(house, device):
    """After thirty days without a request the cookie counts no longer; one a month keeps it, for a year."""
    device.sign_in()
    for _ in range(13):
        house.pass_time(29 * 86_400)
        last = device.ask("GET", "/v1/status").status_code
    assert last == 401
    device.sign_in()
    house.pass_time(30 * 86_400)
    assert device.ask("GET", "/v1/status").status_code == 401


@pytest.mark.parametrize(
    ("path", "body"),
    [
        (CODES, {"scope": "all"}),
        (CODES, {"name": ""}),
        (CODES, {"name": "this board"}),
        (CODES, {"name": "a\nb"}),
        (TOKENS, {}),
        (TOKENS, {"code": 5}),
        (TOKENS, {"code": "2" * 101}),
        (SESSION, {}),
        (SESSION, {"code": NOBODY, "token": "x"}),
        (SESSION, {"token": None}),
    ],
)
def test_a_wrong_body_is_refused(house, path, body):
    """What is missing, too much or not allowed is named, and counts as no try."""
    assert house.ask("POST", path, json=body).json()["type"] == "/problems/invalid-request"
    assert house.get("/v1/status")["access"]["failed_tries"] == 0


def test_nobody_is_let_in_that_cannot_be_saved(house, device):
    """Where the disk takes nothing, it is said with what to do, and the code stays good."""
    code, path = device.get_code(), house.journal.directory / "access.json"
    path.mkdir()
    (path / "full").touch()
    response = device.ask("POST", TOKENS, json={"code": code})
    problem(response, "access-unwritable", at=TOKENS)
    assert str(path) in house.get("/v1/status")["access"]["fault"]
    (path / "full").unlink()
    path.rmdir()
    assert device.ask("POST", TOKENS, json={"code": code}).status_code == 201
    assert house.get("/v1/status")["access"] == {"devices": 1, "failed_tries": 0, "fault": None}


def test_a_file_of_devices_that_is_damaged_lets_nobody_in(house, device):
    """After a start with a damaged file every device is refused, and the status says what to do."""
    device.pair()
    path = house.journal.directory / "access.json"
    path.write_text(path.read_text()[:-20])
    house.app = house.make_app()
    assert device.ask("GET", "/v1/status").status_code == 401
    assert "pair every device again" in house.get("/v1/status")["access"]["fault"]


def test_what_changes_something_names_whose_change_it_is(house, device, caplog):
    """Override, program, measurement, replacement and clock: log and journal have the device's name."""
    caplog.set_level("INFO")
    device.pair()
    zone, evening = "/v1/zones/jetty", instant_text(house.clock.utc)
    device.ask("PUT", f"{zone}/override", json={"light": "off", "for": "1h"})
    device.ask("DELETE", f"{zone}/override")
    device.ask("PUT", f"{zone}/program", json={"program": ["dusk to 23:00"]})
    device.ask("PUT", f"{zone}/measured", json={"watts": 30})
    device.ask("POST", "/v1/replacements", json={"zone": "jetty", "part": "relay", "on": "2027-06-01"})
    device.ask("DELETE", "/v1/replacements/jetty.relay.2027-06-01")
    device.ask("PUT", "/v1/clock/confirmation", json={"time": evening})
    house.ask("PUT", "/v1/zones/jetty/override", json={"light": "on", "for": "1h"})
    house.pass_time(1)
    reader = JournalReader(house.journal.directory)
    words = [each.words for each in reader.events()]
    assert [
        each for each in words if each.endswith("by kitchen phone") or each.startswith("kitchen phone c")
    ] == [
        "the program of jetty was changed, by kitchen phone",
        "what was measured in jetty was noted, by kitchen phone",
        "jetty.relay.2027-06-01 recorded, by kitchen phone",
        "jetty.relay.2027-06-01 taken back, by kitchen phone",
        "kitchen phone confirmed the time",
    ]
    assert house.get(zone)["override"]["by"] == "this board"
    lines = [record.getMessage() for record in caplog.records]
    for line in (
        "zone jetty: override off until 22:30, placed by kitchen phone",
        "zone jetty: override ended: lifted by kitchen phone",
        "the program of jetty was changed, by kitchen phone",
        "what was measured in jetty was noted, by kitchen phone",
        "replacement jetty.relay.2027-06-01 recorded, by kitchen phone",
        "replacement jetty.relay.2027-06-01 taken back, by kitchen phone",
        "clock: kitchen phone confirmed the time",
        "zone jetty: override on until 22:30, placed by this board",
    ):
        assert line in lines, lines

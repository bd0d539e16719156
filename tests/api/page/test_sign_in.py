"""How a device of the home network is let in, over real sockets; 127.0.0.2 stands for that network."""

import http.client
import json
import urllib.parse

import pytest

from tests.api.lines import ask
from tests.api.page.screens import Screen

PHONE = "127.0.0.2"


class Phone:
    """A browser without scripts, on the home network."""

    def __init__(self, server, address=PHONE):
        self.server, self.address, self.cookies = server, address, {}

    def ask(self, method, path, fields=None, **headers):
        line = http.client.HTTPConnection("127.0.0.1", self.server.port, source_address=(self.address, 0))
        headers = {"accept": "text/html", "accept-language": "en-GB", **headers}
        if self.cookies:
            headers["cookie"] = "; ".join(f"{name}={value}" for name, value in self.cookies.items())
        body = None
        if fields is not None:
            body = urllib.parse.urlencode(fields)
            headers["content-type"] = "application/x-www-form-urlencoded"
            headers["origin"] = f"http://127.0.0.1:{self.server.port}"
        line.request(method, path, body=body, headers=headers)
        response = line.getresponse()
        text = response.read().decode()
        for cookie in response.headers.get_all("set-cookie", []):
            name, _, value = cookie.partition(";")[0].partition("=")
            self.cookies[name] = value.strip('"')
            self.last_cookie = cookie
        line.close()
        return response.status, response.headers, text


@pytest.fixture
def phone(server):
    return Phone(server)


def code(server, scope="control"):
    """Have the board make a pairing code."""
    _, _, made = ask(
        server, "POST", "/v1/access/codes", json.dumps({"scope": scope}), content_type="application/json"
    )
    return made["code"]


def test_a_code_lets_a_phone_in(server, phone):
    """A strange phone is led to the way in, shows a code, and is at the first screen."""
    status, headers, _ = phone.ask("GET", "/")
    assert (status, headers["location"]) == (303, "/sign-in?to=/")
    status, _, text = phone.ask("GET", "/sign-in?to=/")
    assert status == 200
    assert "Saltmarsh Lodge" in text
    assert "plain http" in text
    form = Screen(text).form("/sign-in")
    fields = {**form["fields"], "code": code(server), "name": "kitchen phone"}
    status, headers, _ = phone.ask("POST", "/sign-in", fields)
    assert (status, headers["location"]) == (303, "/")
    assert {"HttpOnly", "SameSite=strict", "Path=/"} <= {
        each.strip() for each in phone.last_cookie.split(";")
    }
    status, _, text = phone.ask("GET", "/")
    assert status == 200
    light = Screen(text).form("/zones/jetty/light")
    status, _, _ = phone.ask("POST", light["action"], {**light["fields"], "light": "off"})
    assert status == 303
    assert "put out by kitchen phone at 21:30" in Screen(phone.ask("GET", "/")[2]).text


def test_a_wrong_code_lets_nobody_in(phone):
    """It is said on the same screen, and after five a minute nobody's code is looked at."""
    for _ in range(5):
        status, _, text = phone.ask("POST", "/sign-in", {"to": "/", "code": "AAAA-AAAA-AAAA"})
        assert status == 403
        assert "That code is wrong, over or used already." in text
    status, _, text = phone.ask("POST", "/sign-in", {"to": "/", "code": "AAAA-AAAA-AAAA"})
    assert status == 429
    assert "Too many wrong codes were tried." in text
    assert phone.ask("GET", "/")[0] == 303


def test_what_may_only_read_has_no_buttons(house, server, phone):
    """A device with the scope “read” sees everything and can press nothing; its forms are refused."""
    phone.ask("POST", "/sign-in", {"to": "/", "code": code(server, scope="read"), "name": "hall tablet"})
    seen = Screen(phone.ask("GET", "/")[2])
    assert "Both zones are lit." in seen.text
    assert {each["action"] for each in seen.forms} == {"/language", "/sign-out"}
    fields = {**seen.form("/sign-out")["fields"], "light": "off"}
    assert phone.ask("POST", "/zones/jetty/light", fields)[0] == 403
    assert house.gateway.status.zones[0].lit


def test_signing_out_ends_the_session(server, phone):
    """The old cookie counts no more."""
    phone.ask("POST", "/sign-in", {"to": "/", "code": code(server), "name": "kitchen phone"})
    kept = dict(phone.cookies)
    form = Screen(phone.ask("GET", "/")[2]).form("/sign-out")
    assert phone.ask("POST", "/sign-out", form["fields"])[0] == 303
    phone.cookies = kept
    assert phone.ask("GET", "/")[0] == 303


@pytest.mark.parametrize(
    "to",
    [
        *("https://garden.example/", "//garden.example", "///garden.example", "/\\garden.example"),
        *("/\t/garden.example", "\n//garden.example", "//[", "garden", ""),
    ],
)
def test_the_way_in_leads_nowhere_else(server, phone, to):
    """Whatever the address says, after signing in one is on this page."""
    _, headers, _ = phone.ask("POST", "/sign-in", {"to": to, "code": code(server), "name": "kitchen phone"})
    assert headers["location"] == "/"


def test_the_language_is_chosen_on_the_page(phone):
    """A choice is kept in this browser."""
    phone.ask("POST", "/language", {"to": "/sign-in", "language": "de"})
    assert "Dieses Gerät ist hier noch nicht bekannt." in phone.ask("GET", "/sign-in")[2]
    phone.ask("POST", "/language", {"to": "/sign-in", "language": "xx"})
    assert "Dieses Gerät ist hier noch nicht bekannt." in phone.ask("GET", "/sign-in")[2]


def test_a_program_is_told_and_not_led(phone):
    """Who does not ask for a screen gets a problem document."""
    status, headers, _ = phone.ask("GET", "/", accept="application/json")
    assert status == 401
    assert headers["content-type"] == "application/problem+json"

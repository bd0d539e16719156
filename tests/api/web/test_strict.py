"""What is read strictly: bodies as JSON, and the names of parameters."""

import json
import re
from urllib.parse import quote

import pytest
from fastapi.routing import APIRoute

from api.web.problems.types import without_secret
from api.web.strict import parameters_of
from tests.api.stand_in import problem

OVERRIDE = "/v1/zones/jetty/override"
JSON = {"content-type": "application/json"}


def put(house, content: bytes):
    return house.ask("PUT", OVERRIDE, content=content, headers=JSON)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b'{"light": "on", "light": "off"}', "the key “light” stands twice in one object; give it once"),
        (
            b'{"light": "on", "\\u006cight": "off"}',
            "the key “light” stands twice in one object; give it once",
        ),
        (b'{"light": {"a": 1, "b": [{"c": 1, "c": 1}]}}', "the key “c” stands twice"),
        (b'{"light": NaN}', "NaN is not a number of JSON"),
        (b'{"light": -Infinity}', "-Infinity is not a number of JSON"),
    ],
)
def test_what_two_readers_would_read_differently_is_refused(house, content, said):
    """A key that stands twice (RFC 8259, section 4) and a number that is none (section 6) are refused."""
    told = problem(put(house, content), "not-json", at=OVERRIDE)
    assert told["detail"].startswith(said)
    assert house.get("/v1/zones/jetty")["override"] is None


@pytest.mark.parametrize("coding", ["utf-16", "utf-16-le", "utf-16-be", "utf-32", "utf-32-le", "utf-32-be"])
def test_only_utf_8_is_read(house, coding):
    """Another coding of Unicode is refused (RFC 8259, section 8.1), though Python's own reader takes it."""
    content = json.dumps({"light": "off"}).encode(coding)
    assert json.loads(content) == {"light": "off"}
    response = put(house, content)
    assert response.status_code == 400
    assert response.json()["type"] == "/problems/not-json"
    assert house.get("/v1/zones/jetty")["override"] is None


def test_a_byte_order_mark_is_passed_over(house):
    """A mark before UTF-8, as some editors write it, is no error (RFC 8259, section 8.1)."""
    assert put(house, b"\xef\xbb\xbf" + b'{"light": "off"}').status_code == 200


def routes(app):
    for route in app.routes:
        if isinstance(route, APIRoute):
            yield route, re.sub(r"\{\w+\}", "jetty", route.path)


def test_unknown_parameters_are_refused_everywhere(house):
    """Every route refuses a parameter that it does not have, by its name, and says which it has."""
    for route, path in routes(house.app):
        allowed = parameters_of(route)
        for method in route.methods:
            response = house.ask(method, f"{path}?colour=red&colour", headers=JSON, content=b"{}")
            known = f"allowed: {', '.join(allowed)}" if allowed else "this route has no parameters"
            detail = f"“colour” is not an allowed parameter; {known}"
            error = {"detail": detail, "parameter": "colour"}
            at = quote(without_secret(path))
            assert problem(response, "invalid-request", at=at, errors=[error])["detail"] == detail


def test_doubled_parameters_are_refused_everywhere(house):
    """Every route refuses a parameter that is given twice, unless it takes several values."""
    checked = 0
    for route, path in routes(house.app):
        for name, repeats in parameters_of(route).items():
            response = house.ask("GET", f"{path}?{name}=1&{name}=2")
            said = f"{name} is given 2 times; give it once"
            errors = response.json()["errors"]
            assert response.status_code == 422, path
            assert ({"detail": said, "parameter": name} in errors) is not repeats
            checked += 1
    assert checked > 10


def test_the_parameters_that_are_checked_are_those_described(house):
    """What is allowed is what the description of the API has."""
    paths = house.get("/openapi.json")["paths"]
    for route, _ in routes(house.app):
        for method in route.methods if route.include_in_schema else ():
            described = paths[route.path][method.lower()].get("parameters", [])
            queries = {
                each["name"]: each["schema"].get("type") for each in described if each["in"] == "query"
            }
            assert {name: kind == "array" for name, kind in queries.items()} == parameters_of(route)


def test_many_wrong_parameters_give_a_short_answer(house):
    """A long list of errors is cut."""
    response = house.ask("GET", "/v1/status?" + "&".join(f"p{number}=" for number in range(2000)))
    told = response.json()
    assert (response.status_code, len(told["errors"])) == (422, 50)
    assert told["detail"].endswith("; and 1997 more")


NINES = "9" * 60_000
BOMBS = {
    "program": ("PUT", "/v1/zones/jetty/program", {"program": [f"{NINES}:00 to midnight"]}),
    "spans": ("PUT", "/v1/zones/jetty/program", {"program": ["dusk to midnight, " * 3000]}),
    "nights": (
        "PUT",
        "/v1/zones/jetty/program",
        {"program": [], "special_nights": [{"nights": NINES, "program": []}]},
    ),
    "length": ("PUT", OVERRIDE, {"light": "on", "for": NINES}),
    "part": ("POST", "/v1/replacements", {"zone": "jetty", "part": NINES}),
    "zone": ("POST", "/v1/replacements", {"zone": NINES, "part": "relay"}),
    "year": ("GET", f"/v1/year?program={NINES[:14_000]}+to+midnight", None),
    "off": ("GET", f"/v1/year?off={NINES[:14_000]}", None),
    "key": ("POST", "/v1/check", {"text": "a" + ".a" * 30_000 + " = 1"}),
    "value": ("POST", "/v1/check", {"text": f'[site]\ntime_zone = """\n{(" " * 4000 + chr(10)) * 15}"""'}),
    "a program in the file": (
        "POST",
        "/v1/check",
        {"text": f"[[zones]]\nid = 'a'\npin = 5\nprogram = ['{NINES[:4900]}:00 to dawn']"},
    ),
}


@pytest.mark.parametrize("name", BOMBS)
def test_a_text_that_would_take_minutes_is_refused_at_once(house, name):
    """No text, however long and odd, is searched for what it means; it is refused, and quoted in part."""
    method, path, body = BOMBS[name]
    response = house.ask(method, path, **({} if body is None else {"json": body}))
    assert len(response.content) < 3000
    if path == "/v1/check":
        assert response.json()["problems"]
    else:
        assert response.status_code in (404, 422)


def test_the_key_that_stands_twice_is_found_among_very_many(house):
    """Of thousands of keys the one that is there twice is named."""
    pairs = ",".join(f'"k{number}":1' for number in range(6000))
    told = problem(put(house, f'{{{pairs},"k7":1}}'.encode()), "not-json", at=OVERRIDE)
    assert told["detail"].startswith("the key “k7” stands twice")

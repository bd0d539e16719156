"""Errors of every kind as problem documents."""

import json
import logging

import pytest

from api.web.problems.types import PROBLEM_TYPES, ProblemError
from tests.api.stand_in import problem


def test_every_kind_is_a_client_or_server_error_with_a_name_that_fits_an_address():
    """A kind's name needs no escape in an address, and its status is one of an error."""
    for name, kind in PROBLEM_TYPES.items():
        assert name == kind.name
        assert set(name) <= set("abcdefghijklmnopqrstuvwxyz-")
        assert 400 <= kind.status <= 599
        assert kind.title
        assert kind.remedy.endswith(".")


def test_a_problem_has_the_members_of_the_standard():
    """A document has the five members of RFC 9457, section 3.1, with the status as a number."""
    document = json.loads(
        ProblemError("unknown-zone", "there is no zone “pier”").document("/v1/zones/pier 2")
    )
    assert document == {
        "type": "/problems/unknown-zone",
        "title": "Unknown zone",
        "status": 404,
        "detail": "there is no zone “pier”",
        "instance": "/v1/zones/pier%202",  # a URI reference: RFC 3986, section 2.1
    }


@pytest.mark.parametrize(
    "path", ["/v2/zones", "/v1/zones/", "/v1//zones", "/v1/zones/jetty/", "/%2e%2e/etc/passwd"]
)
def test_a_path_that_leads_nowhere_is_not_found(house, path):
    """Paths are not guessed: an unknown one is a problem, never a redirect."""
    response = house.ask("GET", path)
    problem(response, "not-found", at=response.json()["instance"])


@pytest.mark.parametrize(
    ("method", "path", "allowed"),
    [
        ("POST", "/v1/zones", "GET, HEAD, OPTIONS"),
        ("DELETE", "/v1/zones/jetty/program", "GET, HEAD, OPTIONS, PUT"),
        ("POST", "/v1/zones/jetty/override", "DELETE, GET, HEAD, OPTIONS, PUT"),
        ("TRACE", "/v1/status", "GET, HEAD, OPTIONS"),
        ("BREW", "/health", "GET, HEAD, OPTIONS"),
    ],
)
def test_a_method_that_does_not_fit_is_refused_with_those_that_do(house, method, path, allowed):
    """The header Allow names every method of the path (RFC 9110, section 10.2.1)."""
    headers = {"content-type": "application/json"}
    response = house.ask(method, path, headers=headers)
    told = problem(response, "method-not-allowed", at=path)
    assert response.headers["allow"] == allowed
    assert told["detail"].endswith(f"allowed: {allowed}")


@pytest.mark.parametrize(
    ("path", "allowed"),
    [("/v1/zones/jetty/override", "DELETE, GET, HEAD, OPTIONS, PUT"), ("/v1/hours", "GET, HEAD, OPTIONS")],
)
def test_options_says_what_a_path_allows(house, path, allowed):
    """OPTIONS is answered with the methods of the path, and with nothing else (RFC 9110, section 9.3.7)."""
    response = house.ask("OPTIONS", path)
    assert (response.status_code, response.content, response.headers["allow"]) == (204, b"", allowed)


def test_options_of_no_path_is_not_found(house):
    """A path that there is not has no methods."""
    problem(house.ask("OPTIONS", "/v2"), "not-found", at="/v2")


@pytest.mark.parametrize("path", ["/health", "/v1/status", "/v1/zones/pier", "/nowhere"])
def test_head_answers_as_get_without_a_body(house, path):
    """HEAD has status and headers of GET and no body (RFC 9110, section 9.3.2)."""
    get, head = house.ask("GET", path), house.ask("HEAD", path)
    assert (head.status_code, head.content) == (get.status_code, b"")
    assert head.headers == get.headers


LONG = {
    "/v1/hours": ("api.render.hours_json.hour_notes", "application/json"),
    "/v1/hours?format=csv&all=true": (
        "controller.history.report.account_for_wear",
        "text/csv; charset=utf-8",
    ),
    "/v1/nights?from=2027-01-01&to=2028-12-31": (
        "api.render.nights_json.night_response",
        "application/json",
    ),
    "/v1/report/2027-summer": ("api.web.routes.hours.report_season", "text/html; charset=utf-8"),
    "/v1/year.svg": ("api.web.routes.year.forecast_year", "image/svg+xml"),
    "/v1/year.svg?kind=past": ("api.web.routes.year.light_of_past", "image/svg+xml"),
    "/v1/wiring": ("api.web.routes.wiring.report_site", "application/json"),
    "/v1/sheet": ("api.web.routes.wiring.report_site", "text/html; charset=utf-8"),
    "/v1/sheet/boathouse": ("api.web.routes.wiring.report_site", "text/html; charset=utf-8"),
}


@pytest.mark.parametrize("path", LONG)
def test_the_head_of_a_long_answer_is_cheap(house, monkeypatch, path):
    """HEAD of a long answer is that of GET, without the work, and without what only the content tells."""
    work, media_type = LONG[path]
    get = house.ask("GET", path)

    def refuse(*_args, **_more):
        raise AssertionError("worked out for nobody")

    for each in (work, "api.web.context.year_to_come"):
        monkeypatch.setattr(each, refuse)
    head = house.ask("HEAD", path)
    assert (head.status_code, head.content, head.headers["content-type"]) == (200, b"", media_type)
    assert get.headers["content-type"] == media_type
    assert "content-length" not in head.headers
    known = {"content-length", "content-encoding", "content-security-policy"}
    assert {name for name in get.headers if name not in known} == {
        name for name in head.headers if name not in known
    }


@pytest.mark.parametrize(
    "path",
    [
        "/v1/report/2027-spring-2",
        "/v1/report/2001-01-01 to 2027-01-01",
        "/v1/year.svg?zone=pier",
        "/v1/year.svg?width=1",
        "/v1/sheet/shed",
        "/v1/wiring?transformer=shed",
        "/v1/hours?zone=pier",
        "/v1/hours?period=x",
        "/v1/nights?to=1999-01-01",
    ],
)
def test_the_head_of_what_is_refused_says_so(house, path):
    """HEAD of what GET refuses has the same status, however long the answer would be."""
    get, head = house.ask("GET", path), house.ask("HEAD", path)
    assert get.status_code in (404, 422)
    assert (head.status_code, head.content) == (get.status_code, b"")


@pytest.mark.parametrize(
    ("content", "detail"),
    [
        (b'{"light": ', "the body is not JSON at character 11: expecting value"),
        (b"light=on", "the body is not JSON at character 1: expecting value"),
        (b"[" * 60_000, "the body is not readable as JSON; send one JSON object in UTF-8"),
        (b'{"light": "\xff"}', "the body is not readable as JSON; send one JSON object in UTF-8"),
        (b"9" * 5000, "the body is not readable as JSON; send one JSON object in UTF-8"),
    ],
)
def test_a_body_that_is_no_json_is_refused(house, content, detail):
    """A body that is not JSON is refused, with the character where it fails if that is known."""
    headers = {"content-type": "application/json"}
    response = house.ask("PUT", "/v1/zones/jetty/override", content=content, headers=headers)
    document = response.json()
    more = {"errors": document["errors"]} if "errors" in document else {}
    assert problem(response, "not-json", at="/v1/zones/jetty/override", **more)["detail"] == detail


def test_a_fault_is_answered_without_its_details(house, monkeypatch, caplog):
    """An unexpected exception is logged in full, and nothing of it appears in the response."""

    def fail(_planner, *_args):
        raise ZeroDivisionError("secret of the house")

    monkeypatch.setattr("api.web.routes.nights.write_nights_json", fail)
    with caplog.at_level(logging.ERROR):
        response = house.ask("GET", "/v1/nights")
    told = problem(response, "fault", at="/v1/nights")
    assert "secret" not in response.text
    assert "ZeroDivisionError" not in response.text
    assert "the log says more" in told["detail"]
    (record,) = [each for each in caplog.records if each.name == "api.web.middleware"]
    assert "secret of the house" in caplog.text
    assert "/v1/nights" in record.getMessage()
    assert house.get("/v1/status")["site"] == "Saltmarsh Lodge"


def test_a_value_error_inside_is_no_fault_of_the_person(house, monkeypatch):
    """A ValueError that a route did not expect is a fault, not an invalid request."""

    def fail(*_args):
        raise ValueError("not meant for anybody")

    monkeypatch.setattr("api.web.routes.zones.zone_response", fail)
    response = house.ask("GET", "/v1/zones/jetty")
    problem(response, "fault", at="/v1/zones/jetty")
    assert "not meant" not in response.text


@pytest.mark.parametrize(
    ("path", "content", "pointer"),
    [
        ("/v1/zones/jetty/override", rb'{"light": "\ud83d"}', "#/light"),
        ("/v1/zones/jetty/override", rb'{"light": "on", "for": "\udfff"}', "#/for"),
        ("/v1/zones/jetty/program", rb'{"program": ["dusk to \ud800"]}', "#/program/0"),
    ],
)
def test_half_a_letter_is_refused_as_it_came(house, path, content, pointer):
    """Half of a pair of surrogates, which JSON may carry (RFC 8259, section 8.2), is refused and quoted."""
    response = house.ask("PUT", path, content=content, headers={"content-type": "application/json"})
    (error,) = response.json()["errors"]
    problem(response, "invalid-request", at=path, errors=[error])
    assert error["pointer"] == pointer
    assert "must be valid Unicode text" in error["detail"]
    response.content.decode("utf-8")
    assert content.partition(b"\\u")[2][:4] in response.content


@pytest.mark.parametrize("value", ["x" * 101, 3 * "7K4M-2W9R-3H6X", 17, "7K4M\ud800"])
@pytest.mark.parametrize("name", ["code", "token"])
def test_a_secret_that_is_refused_is_not_repeated(house, name, value):
    """What is wrong with a code or a token is said without it, as a part of it may be right."""
    content = json.dumps({name: value, "other": True}).encode()
    response = house.ask(
        "POST", "/v1/access/session", content=content, headers={"content-type": "application/json"}
    )
    assert response.status_code == 422
    assert "other" in response.text
    assert str(value)[:4] not in response.text

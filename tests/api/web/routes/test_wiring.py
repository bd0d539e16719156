"""The wiring over the web: the same as the command line, the sheet, what was measured, placing."""

from __future__ import annotations

import json

import pytest

from api.render.wiring.model import PlacementResponse, WiringResponse
from tests.api.command import call_json
from tests.api.markup import Page
from tests.api.stand_in import SITE, House, problem

MEASURED = "/v1/zones/jetty/measured"
CABLED = SITE.replace(
    "rated_va = 200\n",
    'rated_va = 200\ntap = 12\n\n[[cables]]\nfrom = "boathouse"\nline = "jetty"   # six in a line\n'
    'gauge = "12 AWG"\nlength = "80 ft"\n',
)


@pytest.fixture
def cabled(tmp_path):
    house = House(tmp_path, site=CABLED)
    yield house
    house.close()


def put(house, body, url=MEASURED):
    return house.ask("PUT", url, json=body)


def test_the_wiring_is_the_same_as_the_command_lines(cabled):
    """GET /v1/wiring answers with the JSON that the verb prints, and keeps the described contract."""
    answer = cabled.get("/v1/wiring")
    assert answer == call_json("wiring", cabled.site_path)
    WiringResponse.model_validate_json(json.dumps(answer), strict=True)
    assert cabled.get("/v1/wiring?transformer=boathouse") == answer


def test_an_unknown_transformer_is_a_problem(cabled):
    """The problem lists the transformers that there are."""
    for url, at in (("/v1/wiring?transformer=barn", "/v1/wiring"), ("/v1/sheet/barn", "/v1/sheet/barn")):
        problem(cabled.ask("GET", url), "unknown-transformer", at=at, transformers=["boathouse"])


@pytest.mark.parametrize("url", ["/v1/sheet", "/v1/sheet/boathouse"])
def test_the_sheet_is_a_page_that_loads_nothing(cabled, url):
    """The page names the site's own date, has every node, and forbids itself everything from elsewhere."""
    response = cabled.ask("GET", url)
    assert response.status_code == 200
    assert response.headers["content-type"] == "text/html; charset=utf-8"
    assert response.headers["content-security-policy"].startswith("default-src 'none'")
    page = Page(response.text)
    # Half past nine in the evening of 21 June, local time; in UTC it is the 22nd already.
    assert "made on 21 June 2027" in page.text
    for place in range(1, 7):
        assert f"jetty {place}" in page.text


def test_measured_watts_are_written_with_comments_kept_and_count(cabled):
    """The file gains one line, and the zone's load is the measured one from then on."""
    response = put(cabled, {"watts": 28.5})
    assert response.status_code == 200
    assert response.json()["rated_load"] == {"watts": 28.5, "origin": "measured"}
    new = cabled.site_path.read_text(encoding="utf-8")
    assert [each for each in new.splitlines() if each not in CABLED.splitlines()] == ["measured_watts = 28.5"]
    assert [each for each in CABLED.splitlines() if each not in new.splitlines()] == []
    [watts] = cabled.get("/v1/wiring")["transformers"][0]["measured_watts"]
    assert (watts["measured_w"], watts["agrees"]) == (28.5, True)
    assert put(cabled, {"watts": None}).json()["rated_load"] == {"watts": 27.0, "origin": "fixtures"}
    assert cabled.site_path.read_text(encoding="utf-8") == CABLED


def test_measured_volts_are_written_and_compared(cabled):
    """A reading far too low is shown, with what would explain it."""
    response = put(cabled, {"fixtures": [{"fixture": 1, "volts": [10.2]}]})
    assert response.status_code == 200
    assert "  measured_volts = 10.2\n" in cabled.site_path.read_text(encoding="utf-8")
    [transformer] = cabled.get("/v1/wiring")["transformers"]
    measured = transformer["circuits"][0]["measured"]
    assert measured["agrees"] is False
    assert [each["node"] for each in measured["readings"]] == ["jetty 6"]
    found = transformer["diagnosis"]
    assert found["clear"] is False
    assert any(each["fault"] == "bad splice" and each["places"] for each in found["explanations"])
    readings = [11.9, 11.8, 11.7, 11.6, 11.6, 11.6]
    put(cabled, {"fixtures": [{"fixture": 1, "volts": readings}]})
    assert f"measured_volts = {readings}" in cabled.site_path.read_text(encoding="utf-8")
    assert cabled.get("/v1/wiring")["transformers"][0]["circuits"][0]["measured"]["agrees"] is True
    put(cabled, {"fixtures": [{"fixture": 1, "volts": None}]})
    assert cabled.site_path.read_text(encoding="utf-8") == CABLED


def test_a_reading_outside_its_lamps_range_is_an_error(cabled):
    """6.0 V at a lamp, noted over the web, makes the level of the answer an error."""
    put(cabled, {"fixtures": [{"fixture": 1, "volts": [6.0]}]})
    answer = cabled.get("/v1/wiring")
    assert answer["level"] == answer["transformers"][0]["level"] == "error"
    [found] = [each for each in answer["transformers"][0]["findings"] if each["level"] == "error"]
    assert (found["topic"], found["place"], found["value"]) == ("measured volts at a lamp", "jetty 6", 6.0)


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({}, "#"),
        ({"watts": 0}, "#/watts"),
        ({"watts": "30"}, "#/watts"),
        ({"watts": 4000}, "#/watts"),
        ({"watt": 30}, "#/watt"),
        ({"fixtures": [{"fixture": 0, "volts": [12]}]}, "#/fixtures/0/fixture"),
        ({"fixtures": [{"fixture": 2, "volts": [12]}]}, "#/fixtures/0/fixture"),
        ({"fixtures": [{"fixture": 1, "volts": []}]}, "#/fixtures/0"),
        ({"fixtures": [{"fixture": 1, "volts": [61]}]}, "#/fixtures/0/volts/0"),
        ({"fixtures": [{"fixture": 1}]}, "#/fixtures/0/volts"),
        ({"fixtures": [{"fixture": 1, "volts": [12]}, {"fixture": 1, "volts": None}]}, "#"),
    ],
)
def test_what_cannot_have_been_measured_is_refused_at_its_place(cabled, body, pointer):
    """A reading that cannot be, or of a fixture that is not there, touches nothing."""
    response = put(cabled, body)
    errors = response.json()["errors"]
    problem(response, "invalid-request", at=MEASURED, errors=errors)
    assert pointer in [each["pointer"] for each in errors]
    assert cabled.site_path.read_text(encoding="utf-8") == CABLED


def test_more_readings_than_lights_are_refused_by_the_site_file(cabled):
    """The file is checked as a whole before it is written."""
    response = put(cabled, {"fixtures": [{"fixture": 1, "volts": [12] * 7}]})
    problems = response.json()["problems"]
    problem(response, "site-file-refused", at=MEASURED, problems=problems)
    assert problems[0]["what"] == "has 7 readings of 6 lights"
    assert cabled.site_path.read_text(encoding="utf-8") == CABLED


def test_an_unknown_zone_has_no_readings(cabled):
    """The problem names the zones that there are."""
    at = "/v1/zones/pier/measured"
    problem(put(cabled, {"watts": 5}, at), "unknown-zone", at=at, zones=["jetty", "orchard"])


def test_a_demonstration_notes_nothing(cabled):
    """Without a site file there is nowhere to write to."""
    cabled.gateway.site_path = None
    problem(put(cabled, {"watts": 5}), "demonstration", at=MEASURED)


def test_lights_are_placed(house):
    """GET /v1/placing answers as the command line does, and keeps its contract."""
    answer = house.get("/v1/placing", params={"kind": "tree", "height": "7 ft", "spread": "5 ft"})
    PlacementResponse.model_validate_json(json.dumps(answer), strict=True)
    assert answer == call_json("wiring", "--placing", "tree 7 ft by 5 ft")
    answer = house.get("/v1/placing", params={"kind": "path", "spread": "40 ft"})
    assert answer == call_json("wiring", "--placing", "path 40 ft")
    asked = {"kind": "path", "spread": "40 ft", "width": "3 ft", "spacing": "2 m", "side": "alternating"}
    answer = house.get("/v1/placing", params={**asked, "lux": "5"})
    options = ("--spacing", "2 m", "--side", "alternating", "--lux", "5")
    assert answer == call_json("wiring", "--placing", "path 40 ft by 3 ft", *options)
    asked = {"kind": "tall thing", "height": "8 ft", "candela": "300", "surroundings": "9", "out": "3 ft"}
    answer = house.get("/v1/placing", params=asked)
    options = ("--candela", "300", "--surroundings", "9", "--out", "3 ft")
    assert answer == call_json("wiring", "--placing", "tall thing 8 ft", *options)


@pytest.mark.parametrize(
    ("params", "words"),
    [
        ({"kind": "house", "height": "7 ft"}, "kind: must be “tree”, “shrub”, “tall thing”"),
        ({"kind": "tree"}, "height: is missing"),
        ({"kind": "path"}, "spread: is missing"),
        ({"kind": "path", "spread": "9 m", "height": "7 ft"}, "height: is not for a path"),
        ({"kind": "path", "spread": "9 m", "out": "7 ft"}, "out: is not for a path"),
        ({"kind": "tree", "height": "9 m", "side": "one"}, "side: is for a path only"),
        ({"kind": "tree", "height": "9 m", "lux": "9", "candela": "9"}, "lux and candela are both given"),
        ({"kind": "tree", "height": "7"}, "“7” is not a length"),
        ({"kind": "wall", "height": "7 ft"}, "a wall has a height and a length"),
        ({"kind": "tree", "height": "7 ft", "candela": "0"}, "candela"),
    ],
)
def test_what_cannot_be_placed_is_refused(house, params, words):
    """Each refusal says what is wrong."""
    response = house.ask("GET", "/v1/placing", params=params)
    problem(response, "invalid-request", at="/v1/placing", errors=response.json()["errors"])
    assert words in response.json()["detail"]


def test_the_energy_counts_with_measured_watts(cabled):
    """What the keeper writes down from now on carries the measured load."""
    put(cabled, {"watts": 28.5})
    cabled.ask("PUT", "/v1/zones/jetty/override", json={"light": "off", "for": "1h"})
    cabled.pass_time(1)
    switchings = cabled.get("/v1/switchings?zone=jetty")["switchings"]
    assert (switchings[0]["load_w"], switchings[0]["load_from"]) == (28.5, "measured")


THIN = CABLED.replace('length = "80 ft"', 'length = "300 ft"').replace("watts = 4.5", "watts = 14")
PROPOSALS = "/v1/wiring/boathouse/proposals"


@pytest.fixture
def thin(tmp_path):
    house = House(tmp_path, site=THIN)
    yield house
    house.close()


def apply(house, number, headers=None):
    return house.ask("POST", PROPOSALS, json={"number": number}, headers=headers or {})


def test_a_proposal_is_tried_and_then_applied(thin):
    """The list says what every light would get; after POST the file has it, and the lights are as it said."""
    listed = thin.ask("GET", PROPOSALS)
    proposal = listed.json()["proposals"][0]
    done = apply(thin, 1, headers={"if-match": listed.headers["etag"]})
    assert done.status_code == 200, done.text
    [circuit] = done.json()["circuits"]
    promised = {light["node"]: light["volts"] for light in proposal["lights"]}
    assert {light["node"]: light["volts"] for light in circuit["lights"]} == pytest.approx(promised, abs=0.02)
    assert "# six in a line" in thin.site_path.read_text()
    assert thin.get(PROPOSALS)["proposals"] == []


def test_a_proposal_of_another_day_is_not_applied(thin):
    """With the ETag of a list that has changed since, nothing is written."""
    tag = thin.ask("GET", PROPOSALS).headers["etag"]
    assert apply(thin, 1).status_code == 200
    before = thin.site_path.read_text()
    late = apply(thin, 1, headers={"if-match": tag})
    problem(late, "changed-meanwhile", at=PROPOSALS, present=thin.get(PROPOSALS))
    assert thin.site_path.read_text() == before


def test_a_page_names_the_list_that_it_shows(thin):
    """The page is refused without the ETag of the list, as with every change."""
    headers = {"origin": "http://127.0.0.1:8010"}
    problem(apply(thin, 1, headers=headers), "condition-needed", at=PROPOSALS)


def test_an_unknown_proposal_is_a_problem(thin):
    """A number that the list does not have is not found, nor is a transformer that there is not."""
    problem(apply(thin, 99), "unknown-proposal", at=PROPOSALS)
    url = "/v1/wiring/barn/proposals"
    problem(thin.ask("GET", url), "unknown-transformer", at=url, transformers=["boathouse"])

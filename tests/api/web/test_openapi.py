"""The description of the API."""

import re
from pathlib import Path

import jsonschema_rs
import pytest
from fastapi.openapi.models import OpenAPI

from api.web.problems.types import PROBLEM_TYPES
from controller.records.entries import Cause
from tests.api.stand_in import problem

# What a name that ends so must say in its description, in whole words.
UNITS = {
    "_s": "seconds",
    "_s_per_day": "seconds",
    "_h": "hours",
    "_w": "watts",
    "_kwh": "kWh",
    "_v": "volts",
    "_va": "VA",
    "_a": "A",
    "_m": "metres",
    "_mm2": "mm²",
    "_kg": "kg",
    "_c": "°C",
    "_deg": "degrees",
    "amperes": "A",
    "watts": "watts",
    "candela": "cd",
    "lux": "lx",
    "width": "pixels",
}
# The names by which clients that are made from the description call the operations. They stay.
OPERATIONS = {
    "GET /v1": "get_index",
    "GET /openapi.json": "get_openapi",
    "GET /health": "get_health",
    "GET /metrics": "get_metrics",
    "GET /docs": "get_docs",
    "GET /problems/{name}": "get_problem_type",
    "GET /v1/status": "get_status",
    "GET /v1/access": "get_access",
    "POST /v1/access/codes": "post_code",
    "GET /v1/access/tokens": "get_tokens",
    "POST /v1/access/tokens": "post_token",
    "DELETE /v1/access/tokens/{token_id}": "delete_token",
    "POST /v1/access/session": "post_session",
    "DELETE /v1/access/session": "delete_session",
    "GET /v1/clock": "get_clock",
    "GET /v1/clock/confirmation": "get_confirmation",
    "PUT /v1/clock/confirmation": "put_confirmation",
    "POST /v1/check": "post_check",
    "GET /v1/zones": "get_zones",
    "GET /v1/zones/{zone_id}": "get_zone",
    "GET /v1/zones/{zone_id}/why": "get_why",
    "GET /v1/zones/{zone_id}/program": "get_program",
    "PUT /v1/zones/{zone_id}/program": "put_program",
    "GET /v1/zones/{zone_id}/measured": "get_measured",
    "PUT /v1/zones/{zone_id}/measured": "put_measured",
    "GET /v1/zones/{zone_id}/override": "get_override",
    "PUT /v1/zones/{zone_id}/override": "put_override",
    "DELETE /v1/zones/{zone_id}/override": "delete_override",
    "GET /v1/nights": "get_nights",
    "GET /v1/switchings": "get_switchings",
    "GET /v1/events": "get_events",
    "GET /v1/hours": "get_hours",
    "GET /v1/report/{season}": "get_report",
    "GET /v1/year": "get_year",
    "GET /v1/year.svg": "get_year_svg",
    "GET /v1/replacements": "get_replacements",
    "POST /v1/replacements": "post_replacement",
    "DELETE /v1/replacements/{replacement_id}": "delete_replacement",
    "GET /v1/wiring": "get_wiring",
    "GET /v1/wiring/{transformer_id}/proposals": "get_proposals",
    "POST /v1/wiring/{transformer_id}/proposals": "post_proposal",
    "GET /v1/sheet": "get_sheet",
    "GET /v1/sheet/{transformer_id}": "get_sheet_of_one",
    "GET /v1/placing": "get_placing",
    "GET /v1/calendar.ics": "get_calendar",
    "GET /v1/calendar/{secret}.ics": "get_calendar_by_secret",
}


@pytest.fixture
def document(house):
    return house.get("/openapi.json")


def operations(document):
    for path, item in document["paths"].items():
        for method, operation in item.items():
            yield path, method, operation


def test_the_description_is_valid(document):
    """The document is what OpenAPI 3.1 allows, by the models that FastAPI has of the standard."""
    assert document["openapi"].startswith("3.1")
    OpenAPI.model_validate(document)


def test_every_route_is_described(document, house):
    """Every route of the index, and no other, has a summary, a description, its own id and its responses."""
    listed = {(each["path"], each["method"].lower()) for each in house.get("/v1")["routes"]}
    described = {(path, method) for path, method, _ in operations(document)}
    assert described == listed
    names = [operation["operationId"] for _, _, operation in operations(document)]
    assert len(set(names)) == len(names)
    for path, method, operation in operations(document):
        assert operation["summary"], (path, method)
        assert operation["description"].strip(), (path, method)
        assert any(status.startswith("2") for status in operation["responses"])
        for parameter in operation.get("parameters", ()):
            assert parameter.get("description"), (path, parameter["name"])


def test_the_readme_lists_every_route(document):
    """The README of the API lists every route that is described, and no other."""
    text = (Path(__file__).parents[3] / "api" / "README.md").read_text(encoding="utf-8")
    listed = re.findall(r"^\| `([A-Z]+) (/\S*)` \|", text, re.MULTILINE)
    assert len(set(listed)) == len(listed)
    assert set(listed) == {(method.upper(), path) for path, method, _ in operations(document)}


def test_every_reference_leads_somewhere(document):
    """Every $ref of the document points at a schema in it, and every schema is used."""

    def references(node):
        if isinstance(node, dict):
            for key, value in node.items():
                if key == "$ref":
                    yield value
                else:
                    yield from references(value)
        elif isinstance(node, list):
            for each in node:
                yield from references(each)

    schemas = document["components"]["schemas"]
    pointed = {re.fullmatch(r"#/components/schemas/(\w+)", each)[1] for each in references(document)}
    assert pointed == set(schemas)


def test_every_error_is_described_as_a_problem_document(document):
    """No answer but a problem document is described for any error, and each names its kinds."""
    for path, method, operation in operations(document):
        for status, answer in operation["responses"].items():
            if status.startswith("2") or status == "304":
                assert status != "304" or "content" not in answer  # RFC 9110, section 15.4.5
                continue
            assert list(answer["content"]) == ["application/problem+json"], (path, method, status)
            named = re.findall(r"`/problems/([a-z-]+)`", answer["description"])
            assert named
            assert {PROBLEM_TYPES[name].status for name in named} == {int(status)}


def test_bodies_are_described_as_texts_of_the_language(document):
    """The bodies are described: their texts as texts, with an example, and no further field allowed."""
    schemas = document["components"]["schemas"]
    assert schemas["ProgramRequest"]["properties"]["program"]["items"] == {
        "type": "string",
        "examples": ["dusk to midnight"],
    }
    assert set(schemas["OverrideRequest"]["properties"]) == {"light", "until", "for"}
    for name in ("ProgramRequest", "OverrideRequest", "SpecialNightRequest"):
        assert schemas[name]["additionalProperties"] is False


def test_a_token_is_described_as_an_option(document):
    """A bearer token (RFC 6750) is described for every route, and that the board needs none."""
    assert document["security"] == [{}, {"token": []}]
    assert document["components"]["securitySchemes"]["token"] == {"type": "http", "scheme": "bearer"}
    for path, method, operation in operations(document):
        assert {"401", "403"} <= set(operation["responses"]), (path, method)


def test_the_problem_of_an_answer_has_its_described_members(document, house):
    """A problem document has the members that the description gives, those of RFC 9457 among them."""
    members = document["components"]["schemas"]["Problem"]["properties"]
    response = house.ask("GET", "/v1/zones/pier")
    problem(response, "unknown-zone", at="/v1/zones/pier", zones=["jetty", "orchard"])
    assert set(response.json()) <= set(members)
    assert set(members) >= {"type", "title", "status", "detail", "instance"}


def fields(document):
    """Give every field of every schema and every parameter, each with where it stands."""
    for name, schema in document["components"]["schemas"].items():
        for field, described in schema.get("properties", {}).items():
            yield f"{name}.{field}", described
    for path, method, operation in operations(document):
        for each in operation.get("parameters", ()):
            yield f"{method} {path}.{each['name']}", {**each["schema"], **each}


def parts(schema):
    """Give a schema and those that it is made of, but not those that it refers to."""
    yield schema
    for each in [*schema.get("anyOf", ()), *([schema["items"]] if "items" in schema else [])]:
        yield from parts(each)


def test_every_field_and_parameter_is_described_with_an_example(document):
    """Each has a description; and an example, unless it is another object, or one of a few words."""
    for where, field in fields(document):
        assert field.get("description"), where
        found = list(parts(field))
        elsewhere = any({"$ref", "enum", "const", "contentSchema"} & set(each) for each in found)
        assert elsewhere or any(each.get("examples") for each in found), where


def test_every_figure_is_described_with_its_unit(document):
    """A name that ends in a unit, or is one, says in its description what that unit is."""
    checked = 0
    for where, field in fields(document):
        name = where.rpartition(".")[2]
        unit = next((unit for suffix, unit in UNITS.items() if re.search(f"(^|.){suffix}$", name)), None)
        is_number = any(each.get("type") in ("number", "integer") for each in parts(field))
        if unit is not None and is_number:
            assert re.search(rf"(?<!\w){unit}(?!\w)", field["description"]), (where, field["description"])
            checked += 1
    assert checked > 100


def test_every_example_is_valid(document):
    """Each example is what the schema beside it allows, by a JSON Schema validator."""
    definitions = {"components": document["components"]}
    checked = 0
    for where, field in fields(document):
        for each in parts(field):
            schema = {
                key: value for key, value in each.items() if key not in ("in", "name", "required", "schema")
            }
            for example in schema.get("examples", ()):
                jsonschema_rs.Draft202012Validator({**schema, **definitions}).validate(example)
                assert example not in ("", [], {}), where
                checked += 1
    assert checked > 300


def test_every_type_of_problem_is_described(document):
    """Each type is one of those of a problem document, and a response of some operation."""
    types = document["components"]["schemas"]["Problem"]["properties"]["type"]["enum"]
    assert types == [f"/problems/{name}" for name in PROBLEM_TYPES]
    described = {
        name
        for _, _, operation in operations(document)
        for answer in operation["responses"].values()
        for name in re.findall(r"`/problems/([a-z-]+)`", answer["description"])
    }
    assert described == set(PROBLEM_TYPES)


def test_the_names_of_the_operations_stay(document):
    """Every operation has the name that clients know it by."""
    found = {f"{method.upper()} {path}": each["operationId"] for path, method, each in operations(document)}
    assert found == OPERATIONS


def test_no_name_of_a_schema_shows_where_it_is_written(document):
    """The schemas have names of their own, without a path of a module."""
    for name in document["components"]["schemas"]:
        assert re.fullmatch("[A-Z][A-Za-z]+", name)


def test_a_cause_is_one_of_a_few_words(document):
    """The cause of a decision and of a switching is described by all that it can be."""
    schemas = document["components"]["schemas"]
    assert schemas["Cause"]["enum"] == [str(each) for each in Cause]
    for name in ("DecisionResponse", "WhyResponse", "SwitchingResponse"):
        assert schemas[name]["properties"]["cause"]["$ref"] == "#/components/schemas/Cause"


def test_a_message_of_the_stream_is_described_as_what_it_is(document):
    """The schema of a message is that of one of its kinds, and lets nothing else through."""
    content = document["paths"]["/v1/events"]["get"]["responses"]["200"]["content"]["text/event-stream"]
    schema = {**content["itemSchema"], "components": document["components"]}
    ping = {"event": "ping", "data": '{"at": "2027-06-22T01:30:00Z"}'}
    assert jsonschema_rs.Draft202012Validator(schema).is_valid(ping)
    assert not jsonschema_rs.Draft202012Validator(schema).is_valid({**ping, "event": "pong"})
    assert not jsonschema_rs.Draft202012Validator(schema).is_valid(ping["data"])


@pytest.mark.parametrize(
    ("path", "name"),
    [
        ("/v1", "IndexResponse"),
        ("/health", "HealthResponse"),
        ("/v1/status", "StatusResponse"),
        ("/v1/zones", "ZonesResponse"),
        ("/v1/zones/jetty", "ZoneResponse"),
        ("/v1/zones/jetty/why", "WhyResponse"),
        ("/v1/zones/jetty/program", "ProgramResponse"),
        ("/v1/zones/jetty/measured", "MeasuredResponse"),
        ("/v1/clock", "ClockReport"),
        ("/v1/nights", "NightsResponse"),
        ("/v1/switchings", "SwitchingsResponse"),
        ("/v1/hours?beside=last-year&beside=forecast", "HoursResponse"),
        ("/v1/year?off=22:00&old_timer=21:15-23:45", "YearResponse"),
        ("/v1/wiring", "WiringResponse"),
        ("/v1/placing?kind=tree&height=7+ft&candela=500", "PlacementResponse"),
        ("/v1/access/tokens", "CredentialsResponse"),
        ("/v1/zones/pier", "Problem"),
    ],
)
def test_what_is_answered_is_what_is_described(house, document, path, name):
    """The answer is valid by its schema, and has no field that this does not name."""
    house.pass_time(3600)
    found = house.ask("GET", path).json()
    strict = {"$ref": f"#/components/schemas/{name}", "components": document["components"]}
    jsonschema_rs.Draft202012Validator(strict).validate(found)
    assert set(found) <= set(document["components"]["schemas"][name]["properties"])

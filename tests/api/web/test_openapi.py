"""The description of the API."""

import re
from pathlib import Path

import pytest
from fastapi.openapi.models import OpenAPI

from api.web.problems.types import PROBLEM_TYPES
from tests.api.stand_in import problem


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
    listed = {(each["path"], each["method"].lower()) for each in house.get("/")["routes"]}
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

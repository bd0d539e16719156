"""The description of the routes by OpenAPI 3.1: what FastAPI writes, and the problems of each route."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi

from api.web.problems.types import PROBLEM_MEDIA_TYPE, PROBLEM_TYPES, ProblemDocument

DESCRIPTION = (
    "What garden lights do and why, and what they will do. Instants are RFC 3339 in UTC and end in Z. "
    "A night is named by the date on which it begins, at noon. Every error is a problem document (RFC 9457)."
)
_SCHEMA = "#/components/schemas/{model}"

Responses = dict[int | str, dict[str, Any]]


def problems_of(*names: str) -> Responses:
    """Describe problems that a route answers with, by their status.

    Those that follow from the route's method, parameters and body are added to every route by themselves.
    """
    titles: dict[int, list[str]] = {}
    for name in names:
        found = PROBLEM_TYPES[name]
        titles.setdefault(found.status, []).append(f"{found.title} (`/problems/{name}`)")
    content = {PROBLEM_MEDIA_TYPE: {"schema": {"$ref": _SCHEMA.format(model="Problem")}}}
    return {status: {"description": "; ".join(said), "content": content} for status, said in titles.items()}


def shown_as(media_type: str, *names: str) -> Responses:
    """Describe a document that is not JSON, and the problems of its route."""
    content = {media_type: {"schema": {"type": "string"}}}
    return {200: {"description": "the document", "content": content}, **problems_of(*names)}


class DescribedApp(FastAPI):
    """An application that describes itself, once, when it is first asked."""

    def openapi(self) -> dict[str, Any]:
        """Give the OpenAPI document."""
        if self.openapi_schema is None:
            self.openapi_schema = _describe(self)
        return self.openapi_schema


def _describe(app: FastAPI) -> dict[str, Any]:
    document = get_openapi(title=app.title, version=app.version, description=DESCRIPTION, routes=app.routes)
    schemas = document.setdefault("components", {}).setdefault("schemas", {})
    problem = ProblemDocument.model_json_schema(ref_template=_SCHEMA)
    schemas.update(problem.pop("$defs", {}))
    schemas["Problem"] = problem
    for path in document["paths"].values():
        for method, operation in path.items():
            responses = operation["responses"]
            # FastAPI's own description of a validation error, which nobody is answered with here.
            if "application/json" in responses.get("422", {}).get("content", {}):
                del responses["422"]
            for status, added in problems_of(*_implied(method, operation)).items():
                known = responses.setdefault(str(status), added)
                if known is not added:
                    known["description"] += f"; {added['description']}"
    for unused in ("HTTPValidationError", "ValidationError"):
        schemas.pop(unused, None)
    return document


def _implied(method: str, operation: dict[str, Any]) -> Iterator[str]:
    """Name the problems that follow from what a route takes, and those that any request may meet."""
    parameters = operation.get("parameters", [])
    if any(each["name"] in ("zone", "zone_id") for each in parameters):
        yield "unknown-zone"
    if "requestBody" in operation or any(each["in"] == "query" for each in parameters):
        yield "invalid-request"
    if "requestBody" in operation:
        yield from ("not-json", "not-json-type", "too-large")
    if method != "get":
        yield from ("cross-site", "keeper-silent")
    yield from ("wrong-host", "too-busy", "stopping", "fault")

"""The description of the routes by OpenAPI 3.1: what FastAPI writes, and the problems of each route."""

from __future__ import annotations

from typing import Any

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi

from api.web.problems.types import PROBLEM_MEDIA_TYPE, PROBLEM_TYPES, ProblemDocument

TITLE = "Leerie"
DESCRIPTION = (
    "What a garden's lights do and why, and what they are to do. Instants are RFC 3339 in UTC and end in Z; "
    "nights are named by the date on which they begin, at noon. Every error is a problem document (RFC 9457)."
)
# What any request may meet, before it reaches a route or in it.
_ANYWHERE = ("wrong-host", "too-busy", "stopping", "fault")
_SCHEMA = "#/components/schemas/{model}"


def problems_of(*names: str) -> dict[int | str, dict[str, Any]]:
    """Describe the problems that a route answers with, by their status.

    Args:
        names: names of their types.
    """
    titles: dict[int, list[str]] = {}
    for name in (*names, *_ANYWHERE):
        problem_type = PROBLEM_TYPES[name]
        titles.setdefault(problem_type.status, []).append(f"{problem_type.title} (`/problems/{name}`)")
    return {
        status: {
            "description": "; ".join(said),
            "content": {PROBLEM_MEDIA_TYPE: {"schema": {"$ref": _SCHEMA.format(model="Problem")}}},
        }
        for status, said in sorted(titles.items())
    }


def shown_as(media_type: str, *names: str) -> dict[int | str, dict[str, Any]]:
    """Describe a document that is no JSON, and the problems of its route.

    Args:
        media_type: the document's type.
        names: names of the types of problems.
    """
    content = {media_type: {"schema": {"type": "string"}}}
    return {200: {"description": "the document", "content": content}, **problems_of(*names)}


def describe(app: FastAPI, *, version: str) -> None:
    """Have an application describe itself, once, when it is first asked."""

    def openapi() -> dict[str, Any]:
        if app.openapi_schema is None:
            app.openapi_schema = _describe(app, version)
        return app.openapi_schema

    app.openapi = openapi  # type: ignore[method-assign]  # FastAPI's own way of doing this


def _describe(app: FastAPI, version: str) -> dict[str, Any]:
    """Write the description."""
    document = get_openapi(title=TITLE, version=version, description=DESCRIPTION, routes=app.routes)
    schemas = document.setdefault("components", {}).setdefault("schemas", {})
    own = ProblemDocument.model_json_schema(ref_template=_SCHEMA)
    schemas.update(own.pop("$defs", {}))
    schemas["Problem"] = own
    for path in document["paths"].values():
        for operation in path.values():
            answers = operation["responses"]
            for status, answer in problems_of().items():
                answers.setdefault(str(status), answer)
            # FastAPI's own picture of a validation error, which nobody is answered with here.
            if "application/json" in answers.get("422", {}).get("content", {}):
                del answers["422"]
    for unused in ("HTTPValidationError", "ValidationError"):
        schemas.pop(unused, None)
    return document

"""The web application: the routes behind the request guard.

Imported by the web server's own thread only, once the lights are right: FastAPI takes a while.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from types import ModuleType
from typing import Any

from fastapi import FastAPI

from api.network.names import OwnHosts
from api.web.context import RequestContext
from api.web.gateway import KeeperGateway
from api.web.limits import RateLimitMiddleware
from api.web.listening import Listening
from api.web.middleware import RequestGuardMiddleware
from api.web.permission import PermissionMiddleware
from api.web.problems.handlers import add_problem_handlers
from api.web.problems.types import SCHEMA_REF, ProblemDocument, problems_of
from api.web.routes import (
    access,
    calendar,
    check,
    clock,
    docs,
    events,
    hours,
    metrics,
    nights,
    replacements,
    status,
    wiring,
    year,
    zones,
)
from controller.clock.clock import read_boot_s

DESCRIPTION = (
    "What garden lights do and why, and what they will do. Instants are RFC 3339 in UTC and end in Z. "
    "A night is named by the date on which it begins, at noon. Every error is a problem document (RFC 9457)."
)

SUBJECTS = (
    status,
    access,
    clock,
    check,
    zones,
    nights,
    hours,
    year,
    replacements,
    wiring,
    events,
    calendar,
    metrics,
    docs,
)


class DescribedApp(FastAPI):
    """An application that describes itself by OpenAPI 3.1, once, with the problems of each route."""

    def openapi(self) -> dict[str, Any]:
        """Give the OpenAPI document."""
        if self.openapi_schema is not None:
            return self.openapi_schema
        document = super().openapi()
        schemas = document.setdefault("components", {}).setdefault("schemas", {})
        problem = ProblemDocument.model_json_schema(ref_template=SCHEMA_REF)
        schemas.update(problem.pop("$defs", {}))
        schemas["Problem"] = problem
        # Optional: the board itself needs no token, and the page has the cookie of its session.
        document["components"]["securitySchemes"] = {"token": {"type": "http", "scheme": "bearer"}}
        document["security"] = [{}, {"token": []}]
        for item in document["paths"].values():
            for operation in item.values():
                responses = operation["responses"]
                stream = responses.get("200", {}).get("content", {}).get("text/event-stream")
                if stream:  # OpenAPI 3.2 has a name for what is described here: one message of many
                    # The framework calls whatever is not JSON a string.
                    stream["itemSchema"] = {
                        key: value for key, value in stream.pop("schema").items() if key != "type"
                    }
                # FastAPI's own description of a validation error, which nobody is answered with here.
                if "application/json" in responses.get("422", {}).get("content", {}):
                    del responses["422"]
                for code, added in problems_of(*_implied(item, operation)).items():
                    known = responses.setdefault(str(code), added)
                    if known is not added:
                        known["description"] += f"; {added['description']}"
                _give_examples(operation.get("parameters", ()))
        for unused in ("HTTPValidationError", "ValidationError"):
            schemas.pop(unused, None)
        for schema in schemas.values():
            _give_examples(schema.get("properties", {}).values())
        return document


def make_app(
    gateway: KeeperGateway,
    *,
    boot_s: Callable[[], float] = read_boot_s,
    listening: Listening | None = None,
    access_path: Path | None = None,
    add_page: Callable[[FastAPI], None] = lambda _app: None,
    subjects: Sequence[ModuleType] = SUBJECTS,
    pace: float = 1.0,
    all_may: bool = False,
) -> FastAPI:
    """Put the web application together.

    Args:
        gateway: the way to the keeper, the journal and the site file.
        boot_s: reads the keeper's boot-time clock, in seconds.
        listening: says where it is reached; by default on the board alone.
        access_path: the file of who is let in; None where nothing is kept.
        add_page: adds the page for people to the routes of the API.
        subjects: what the API has routes for.
        pace: how fast the keeper's clock goes, for a demonstration.
        all_may: whether everybody may do everything, for a demonstration.
    """
    listening = listening or Listening()
    # The documentation pages of FastAPI load from the internet; /docs does not. /openapi.json is a route as
    # all others are.
    app = DescribedApp(
        title="Leerie",
        version=_version(),
        description=DESCRIPTION,
        openapi_url=None,
        docs_url=None,
        redoc_url=None,
        redirect_slashes=False,
    )
    context = app.state.context = RequestContext(
        gateway, boot_s=boot_s, access_path=access_path, network=lambda: listening.status, pace=pace
    )
    app.state.live = events.LiveEvents(context)
    app.state.status = status.StatusCache(context)
    for subject in subjects:
        # One flat list, which the index and the header Allow are read from; include_router may nest its own.
        app.router.routes.extend(subject.router.routes)
    add_problem_handlers(app)
    app.add_middleware(PermissionMiddleware, context=app.state.context, all_may=all_may)
    add_page(app)
    app.add_middleware(RequestGuardMiddleware, hosts=OwnHosts(lambda: listening.names))
    app.add_middleware(RateLimitMiddleware)
    return app


def _version() -> str:
    try:
        return version("leerie")
    except PackageNotFoundError:  # a checkout that is not installed
        return "0"


def _implied(item: dict[str, Any], operation: dict[str, Any]) -> Iterator[str]:
    """Name the problems that follow from what a route takes, and those that any request may meet.

    Among these are problems of requests that are none of this operation, such as an unknown method.
    """
    names = {each["name"] for each in operation.get("parameters", ())}
    if names & {"zone", "zone_id"}:
        yield "unknown-zone"
    yield from ("not-http", "permission-needed", "cross-site", "not-permitted", "method-not-allowed")
    if "requestBody" in operation:
        yield from ("not-json", "too-slow", "too-large", "not-json-type")
    yield from ("wrong-host", "invalid-request", "too-many-requests", "header-too-large", "fault")
    if operation is not item.get("get"):
        yield "keeper-silent"
    yield from ("too-busy", "stopping")


def _give_examples(fields: Iterable[dict[str, Any]]) -> None:
    """Give every field that can only be yes or no an example; all others have one."""
    for field in fields:
        if field.get("type", field.get("schema", {}).get("type")) == "boolean":
            field.setdefault("examples", [True])

"""Errors as the web server tells them: problem documents by RFC 9457, for whatever goes wrong.

A route refuses with ``refuse``; Leerie's own errors, and the framework's, become problems in the handlers.
"""

from __future__ import annotations

import json
import logging
from collections.abc import Mapping
from http import HTTPStatus
from typing import Any
from urllib.parse import quote as quote_path

from fastapi import FastAPI, HTTPException, Request, Response
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException as StarletteHTTPException
from starlette.routing import Route

from api.render.instants import quote
from api.web.problems.types import KINDS, PROBLEM_TYPE, ProblemType
from api.web.problems.validation import problem_of
from config.errors import JournalError, SiteFileError, UnknownZoneError

log = logging.getLogger(__name__)

NO_ANSWER = "the keeper did not answer in time; it may still do what was asked, so look at the zone first"


def refuse(name: str, detail: str, **more: object) -> HTTPException:
    """Make the exception that a route raises to answer with a problem.

    Args:
        name: name of the kind, one of ``KINDS``.
        detail: what is wrong this time and what would do, one sentence for a person.
        more: further members of the problem document, as the kind has them.
    """
    return HTTPException(KINDS[name].status, detail={"name": name, "detail": detail, **more})


def invalid(detail: str, **place: str) -> HTTPException:
    """Make the exception for one thing that is wrong in a request.

    Args:
        detail: what is wrong and what to send instead, one sentence for a person.
        place: ``parameter``, the name of one, or ``pointer``, a JSON pointer into the body; neither where the
            fault is in no single place.
    """
    return refuse("invalid-request", detail, errors=[{"detail": detail, **place}])


def problem_response(
    kind: ProblemType,
    detail: str,
    instance: str,
    headers: Mapping[str, str] | None = None,
    **more: object,
) -> Response:
    """Make the answer for a problem.

    Args:
        kind: what kind of problem it is.
        detail: what is wrong this time, one sentence for a person.
        instance: path of the request.
        headers: further headers.
        more: further members of the document.
    """
    fields = dict(headers or {})
    if kind.again_s is not None:
        fields.setdefault("retry-after", str(kind.again_s))
    return Response(
        problem_body(kind, detail, instance, **more), kind.status, headers=fields, media_type=PROBLEM_TYPE
    )


def problem_body(kind: ProblemType, detail: str, instance: str, **more: object) -> bytes:
    """Write a problem document; arguments as ``problem_response`` has them."""
    document = {
        "type": f"/problems/{kind.name}",
        "title": kind.title,
        "status": kind.status,
        "detail": detail,
        "instance": quote_path(instance),
        **more,
    }
    # Half of a pair of surrogates, which JSON may carry and UTF-8 may not, goes back as it came.
    return json.dumps(document, ensure_ascii=False).encode("utf-8", "backslashreplace")


def add_problem_handlers(app: FastAPI) -> None:
    """Have every error of the routes, of Leerie and of the framework answered as a problem."""
    handlers: dict[Any, Any] = {
        StarletteHTTPException: _on_refusal,
        RequestValidationError: _on_invalid,
        UnknownZoneError: _on_unknown_zone,
        SiteFileError: _on_site_file,
        JournalError: _on_journal,
        TimeoutError: _on_timeout,
    }
    for error, handler in handlers.items():
        app.add_exception_handler(error, handler)


async def _on_refusal(request: Request, error: StarletteHTTPException) -> Response:
    """Answer what a route, or the framework itself, refused."""
    detail: Any = error.detail
    if isinstance(detail, dict):
        members = dict(detail)
        kind = KINDS[members.pop("name")]
        return problem_response(kind, members.pop("detail"), request.scope["path"], error.headers, **members)
    path = quote(request.scope["path"])
    if error.status_code == HTTPStatus.NOT_FOUND:
        return problem_response(
            KINDS["not-found"],
            f"there is nothing at {path}; GET / lists what there is",
            request.scope["path"],
        )
    if error.status_code == HTTPStatus.METHOD_NOT_ALLOWED:
        allowed = ", ".join(methods_at(request.app, request.scope["path"]))
        words = f"{quote(request.method)} cannot be done at {path}; what can be is {allowed}"
        return problem_response(KINDS["method-not-allowed"], words, request.scope["path"], {"allow": allowed})
    if error.status_code == HTTPStatus.BAD_REQUEST:
        return problem_response(
            KINDS["not-json"],
            "the body cannot be read as JSON; send one JSON object in UTF-8",
            request.scope["path"],
        )
    log.warning("an answer of no known kind: %s %r", error.status_code, error.detail)
    return problem_response(KINDS["fault"], "the request could not be answered", request.scope["path"])


async def _on_invalid(request: Request, error: RequestValidationError) -> Response:
    """Answer a request whose body or query will not do, with everything that is wrong in it."""
    name, detail, errors = problem_of(error)
    return problem_response(KINDS[name], detail, request.scope["path"], errors=errors)


async def _on_unknown_zone(request: Request, error: UnknownZoneError) -> Response:
    """Answer a wish for a zone that the site does not have."""
    words = f"no zone is called {quote(error.zone_id)}; this site has {', '.join(error.known)}"
    return problem_response(KINDS["unknown-zone"], words, request.scope["path"], zones=list(error.known))


async def _on_site_file(request: Request, error: SiteFileError) -> Response:
    """Answer a change that the site file could not take, with every problem of it."""
    first = error.problems[0]
    problems = [
        {
            "file": each.file,
            "line": each.line,
            "key": each.key,
            "value": each.value,
            "what": each.what,
            "remedy": each.remedy,
        }
        for each in error.problems
    ]
    more = f", and {len(problems) - 1} more" if len(problems) > 1 else ""
    return problem_response(
        KINDS["site-file-refused"], f"{first}{more}", request.scope["path"], problems=problems
    )


async def _on_journal(request: Request, error: JournalError) -> Response:
    """Answer while the journal cannot be read."""
    return problem_response(KINDS["journal-unreadable"], str(error), request.scope["path"])


async def _on_timeout(request: Request, error: TimeoutError) -> Response:
    """Answer for a keeper that did not."""
    return problem_response(KINDS["keeper-silent"], str(error) or NO_ANSWER, request.scope["path"])


def methods_at(app: FastAPI, path: str) -> list[str]:
    """Name every method that a path knows; the framework itself names those of one route only."""
    methods: set[str] = set()
    for route in app.routes:
        if isinstance(route, Route) and route.path_regex.match(path):
            methods |= route.methods or set()
    if "GET" in methods:
        methods.add("HEAD")
    return sorted(methods)

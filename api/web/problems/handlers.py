"""Turns every error of the routes, of Leerie and of the framework into a problem document (RFC 9457)."""

from __future__ import annotations

import errno
import logging
from collections.abc import Awaitable, Callable
from dataclasses import asdict
from http import HTTPStatus
from typing import Any

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.routing import Route

from api.render.instants import quote
from api.web.problems.types import ProblemError
from api.web.problems.validation import validation_problem
from config.errors import JournalError, SiteFileError, UnknownZoneError
from config.file.atomic_write import FileChangedError

log = logging.getLogger(__name__)

_NO_ANSWER = "the keeper did not answer in time and may still carry it out; check the zone first"
_FULL = (errno.ENOSPC, errno.EDQUOT)


def add_problem_handlers(app: FastAPI) -> None:
    """Have every error answered with a problem document."""
    problems: dict[type[Exception], Callable[[Any], ProblemError]] = {
        ProblemError: lambda error: error,
        RequestValidationError: validation_problem,
        UnknownZoneError: _unknown_zone,
        SiteFileError: _site_file_problem,
        JournalError: lambda error: ProblemError("journal-unreadable", str(error)),
        TimeoutError: lambda error: ProblemError("keeper-silent", str(error) or _NO_ANSWER),
    }
    for error_type, make in problems.items():
        app.add_exception_handler(error_type, _handler(make))
    app.add_exception_handler(HTTPException, _on_http_exception)  # type: ignore[arg-type]  # as Starlette has it


def _handler(make: Callable[[Any], ProblemError]) -> Callable[[Request, Exception], Awaitable[Response]]:
    async def handle(request: Request, error: Exception) -> Response:
        return make(error).response(request.scope["path"])

    return handle


async def _on_http_exception(request: Request, error: HTTPException) -> Response:
    """Answer what the framework itself refuses."""
    path = request.scope["path"]
    if error.status_code == HTTPStatus.NOT_FOUND:
        problem = ProblemError("not-found", f"there is no route {quote(path)}; GET / lists the routes")
    elif error.status_code == HTTPStatus.METHOD_NOT_ALLOWED:
        allowed = ", ".join(methods_at(request.app, path))
        words = f"{quote(request.method)} is not allowed at {path}; allowed: {allowed}"
        problem = ProblemError("method-not-allowed", words, headers={"allow": allowed})
    elif error.status_code == HTTPStatus.BAD_REQUEST:
        problem = ProblemError("not-json", "the body is not readable as JSON; send one JSON object in UTF-8")
    else:
        log.warning("no problem type for the response %s %r", error.status_code, error.detail)
        problem = ProblemError("fault", "the request could not be answered; the log says more")
    return problem.response(path)


def methods_at(app: FastAPI, path: str) -> list[str]:
    """List every method that a path allows; the framework itself lists those of one route only."""
    methods: set[str] = set()
    for route in app.routes:
        if isinstance(route, Route) and route.path_regex.match(path):
            methods |= route.methods or set()
    if "GET" in methods:
        methods.add("HEAD")
    return sorted(methods)


def _unknown_zone(error: UnknownZoneError) -> ProblemError:
    words = f"there is no zone {quote(error.zone_id)}; the zones are {', '.join(error.known)}"
    return ProblemError("unknown-zone", words, zones=list(error.known))


def _site_file_problem(error: SiteFileError) -> ProblemError:
    """Make the problem of a change that would not be valid, or that could not be written."""
    cause = error.__cause__
    if isinstance(cause, FileChangedError):
        return ProblemError("site-file-changed", str(error))
    if isinstance(cause, OSError):
        return ProblemError("disk-full" if cause.errno in _FULL else "site-file-unwritable", str(error))
    first, *others = error.problems
    more = f", and {len(others)} more" if others else ""
    problems = [asdict(each) for each in error.problems]
    return ProblemError("site-file-refused", f"{first}{more}", problems=problems)

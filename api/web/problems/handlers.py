"""Turns every error of the routes, of Leerie and of the framework into a problem document (RFC 9457)."""

import errno
import json
import logging
import re
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import CancelledError
from dataclasses import asdict
from http import HTTPStatus
from typing import Any
from urllib.parse import quote as percent_encode

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.routing import Route

from api.render.instants import quote
from api.web.problems.types import ProblemError, invalid_in, without_secret
from config.errors import (
    AccessError,
    AccessFileError,
    JournalError,
    ProgramError,
    SiteFileError,
    TooManyTriesError,
    UnknownZoneError,
)
from config.file.atomic_write import FileChangedError
from config.phrase import Phrase

log = logging.getLogger(__name__)

_NO_ANSWER = Phrase("the keeper did not answer in time and may still carry it out; check the zone first")
_FULL = (errno.ENOSPC, errno.EDQUOT)
# What pydantic's own message does not say in plain words.
_MESSAGES = {
    "missing": "is missing",
    "extra_forbidden": "is not an allowed field; leave it out",
    "string_pattern_mismatch": "does not have the form that /openapi.json describes",
    "string_unicode": "must be valid Unicode text",
    "int_parsing": "must be a whole number",
    "model_type": "must be an object",
    "model_attributes_type": "must be an object",
}
_QUOTES_NOTHING = frozenset({"missing", "extra_forbidden", "value_error", "json_invalid"})
# Fields of which nothing is said back, as a part of them is one too.
_SECRETS = frozenset({"code", "token"})
_SIMPLE = (str, int, float, bool, type(None))


def add_problem_handlers(app: FastAPI) -> None:
    """Have every error answered with a problem document."""
    for error_type in _PROBLEMS:
        app.add_exception_handler(error_type, _answer)
    app.add_exception_handler(HTTPException, _on_http_exception)  # type: ignore[arg-type]  # as Starlette has it


def problem_of(error: Exception) -> ProblemError | None:
    """Give the problem that an error of a route is; None where it is none of those that we know."""
    make = next((_PROBLEMS[each] for each in type(error).__mro__ if each in _PROBLEMS), None)
    return None if make is None else make(error)


async def _answer(request: Request, error: Exception) -> Response:
    problem = problem_of(error)
    if problem is None:
        raise error
    return problem.response(request.scope["path"])


async def _on_http_exception(request: Request, error: HTTPException) -> Response:
    path = without_secret(request.scope["path"])
    allowed = ", ".join(methods_at(request.app, request.scope["path"]))
    if request.method == "OPTIONS" and allowed:
        return Response(status_code=HTTPStatus.NO_CONTENT, headers={"allow": allowed})
    if error.status_code == HTTPStatus.NOT_FOUND:
        problem = ProblemError("not-found", f"there is no route {quote(path)}; GET /v1 lists the routes")
    elif error.status_code == HTTPStatus.METHOD_NOT_ALLOWED:
        words = f"{quote(request.method)} is not allowed at {path}; allowed: {allowed}"
        problem = ProblemError("method-not-allowed", words, headers={"allow": allowed})
    elif error.status_code == HTTPStatus.BAD_REQUEST and isinstance(error.__cause__, ProblemError):
        problem = error.__cause__
    elif error.status_code == HTTPStatus.BAD_REQUEST:
        problem = ProblemError("not-json", "the body is not readable as JSON; send one JSON object in UTF-8")
    else:
        log.warning("no problem type for the response %s %r", error.status_code, error.detail)
        problem = ProblemError("fault", "the request could not be answered; the log says more")
    return problem.response(path)


def methods_at(app: FastAPI, path: str) -> list[str]:
    """List every method that a path allows; the framework itself lists those of one route only.

    The path ``*`` stands for the server as a whole: RFC 9110, section 9.3.7.
    """
    methods: set[str] = set()
    for route in app.routes:
        if isinstance(route, Route) and (path == "*" or route.path_regex.match(path)):
            methods |= route.methods or set()
    if "GET" in methods:
        methods.add("HEAD")
    if methods:
        methods.add("OPTIONS")
    return sorted(methods)


def _unknown_zone(error: UnknownZoneError) -> ProblemError:
    zone = quote(error.zone_id)
    words = Phrase("there is no zone {zone}; the zones are {known}", zone=zone, known=", ".join(error.known))
    if error.now is not None:
        words = Phrase("there is no zone {zone} any more; it is now {now}", zone=zone, now=quote(error.now))
    return ProblemError("unknown-zone", words, zones=list(error.known))


def _too_many_tries(error: TooManyTriesError) -> ProblemError:
    return ProblemError("too-many-requests", str(error), headers={"retry-after": str(error.wait_s)})


def _site_file_problem(error: SiteFileError) -> ProblemError:
    cause = error.__cause__
    if isinstance(cause, FileChangedError):
        return ProblemError("site-file-changed", str(error))
    if isinstance(cause, OSError):
        return ProblemError("disk-full" if cause.errno in _FULL else "site-file-unwritable", str(error))
    first, *others = error.problems
    words = str(first)
    if others:
        words = Phrase("{first}, and {count} more", first=words, count=len(others))
    problems = [asdict(each) for each in error.problems]
    return ProblemError("site-file-refused", words, problems=problems)


def _validation_problem(error: RequestValidationError) -> ProblemError:
    """Say everything that pydantic found wrong in a request in words that a person understands.

    Each error has its text and its place: a JSON pointer (RFC 6901, in the fragment form that RFC 9457 uses)
    into the body, or the name of the parameter. An error in the program language also carries ``text``,
    ``column``, ``found`` and ``expected``.
    """
    found = error.errors()
    errors = [_entry(each) for each in found]
    if found[0]["type"] == "json_invalid":
        return ProblemError("not-json", str(errors[0]["detail"]), errors=errors)
    name = "not-a-program" if any("expected" in each for each in errors) else "invalid-request"
    return invalid_in(errors, name)


def _entry(found: Mapping[str, Any]) -> dict[str, object]:
    if found["type"] == "json_invalid":
        at, reason = found["loc"][-1], str(found.get("ctx", {}).get("error", "not readable")).lower()
        words = f"the body is not JSON at character {at + 1 if isinstance(at, int) else at}: {reason}"
        return {"detail": words, "pointer": "#"}
    place, *path = found["loc"]
    entry: dict[str, object] = {"detail": _detail(found)}
    if place == "body":
        entry["pointer"] = "#" + "".join(f"/{_escape(step)}" for step in path)
    else:
        # One that may be given again also has its place among them.
        entry["parameter"] = str(path[0]) if path else ""
    error = found.get("ctx", {}).get("error")
    if isinstance(error, ProgramError):
        entry |= {name: getattr(error, name) for name in ("text", "column", "found", "expected")}
    return entry


def _detail(found: Mapping[str, Any]) -> str:
    where = _where(found["loc"])
    if found["type"] == "value_error":
        what = str(found["ctx"]["error"])
    else:
        # Failing words of ours, pydantic's own message in our form and quotation marks.
        message = found["msg"].replace("Input should be", "must be")
        what = _MESSAGES.get(found["type"]) or re.sub("'([^']*)'", r"“\1”", message)
    value = found.get("input")
    is_secret = bool(_SECRETS.intersection(found["loc"]))
    if found["type"] not in _QUOTES_NOTHING and isinstance(value, _SIMPLE) and not is_secret:
        what = f"{what}, not {quote(value if isinstance(value, str) else json.dumps(value))}"
    return f"{where}: {what}" if where else what


def _where(loc: Sequence[str | int]) -> str:
    """Name a place as a person would: ``program 2``, ``special_nights 1, nights``; positions count from 1."""
    place, *path = loc
    if not path:
        return "the body" if place == "body" else ""
    words: list[str] = []
    for step in path:
        if isinstance(step, int) and words:
            words[-1] += f" {step + 1}"
        else:
            words.append(str(step))
    return ", ".join(words)


def _escape(step: str | int) -> str:
    """Write one step of a JSON pointer: RFC 6901, sections 3 and 6."""
    return percent_encode(str(step).replace("~", "~0").replace("/", "~1"), safe="~!$&'()*+,;=:@")


_PROBLEMS: dict[type, Callable[[Any], ProblemError]] = {
    ProblemError: lambda error: error,
    RequestValidationError: _validation_problem,
    UnknownZoneError: _unknown_zone,
    SiteFileError: _site_file_problem,
    TooManyTriesError: _too_many_tries,
    AccessError: lambda error: ProblemError("not-permitted", str(error)),
    AccessFileError: lambda error: ProblemError("access-unwritable", str(error)),
    JournalError: lambda error: ProblemError("journal-unreadable", str(error)),
    TimeoutError: lambda error: ProblemError("keeper-silent", str(error) or _NO_ANSWER),
    CancelledError: lambda _error: ProblemError("keeper-silent", _NO_ANSWER),
}

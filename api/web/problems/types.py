"""Every type of problem that the web server answers with, and the error that carries one to the client.

The name of a type is part of the contract: it stands in ``type`` as ``/problems/NAME`` and never changes. The
title is the same for every problem of a type; what happened this time stands in the problem's detail.
Source of the form: RFC 9457, section 3.
"""

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Any
from urllib.parse import quote as quote_path

from fastapi import Response
from pydantic import BaseModel, Field, WithJsonSchema

from api.render.model import SiteProblemResponse

PROBLEM_MEDIA_TYPE = "application/problem+json"
SCHEMA_REF = "#/components/schemas/{model}"
# As many errors are named in the detail, and as many are listed under “errors”.
_NAMED = 3
_MOST_LISTED = 50

# In a path: whoever knows it may read the calendar.
_SECRET = re.compile(r"(?<=/calendar/)[^/.]+")

Responses = dict[int | str, dict[str, Any]]


@dataclass(frozen=True, slots=True)
class ProblemType:
    """One type of problem; ``retry_after_s`` is None where trying again changes nothing."""

    name: str
    status: int
    title: str
    remedy: str
    retry_after_s: int | None = None


_ALL = (
    ProblemType("not-http", 400, "Not an HTTP request", "Speak HTTP/1.1 to this port."),
    ProblemType("not-json", 400, "Body is not JSON", "Send one JSON object in UTF-8."),
    ProblemType("permission-needed", 401, "Permission needed", "Pair this device, or sign in."),
    ProblemType("cross-site", 403, "Request from another site", "Use Leerie's own page, or send no Origin."),
    ProblemType("demonstration", 403, "Demonstration is read-only", "Start Leerie with your own site file."),
    ProblemType("not-permitted", 403, "Not permitted", "Ask for a code, or one that permits more."),
    ProblemType("not-found", 404, "Not found", "GET /v1 lists the routes."),
    ProblemType("unknown-zone", 404, "Unknown zone", "GET /v1/zones lists the zones."),
    ProblemType("no-override", 404, "No override", "The zone follows its program."),
    ProblemType("unknown-transformer", 404, "Unknown transformer", "GET /v1/wiring lists the transformers."),
    ProblemType("unknown-token", 404, "Unknown token", "GET /v1/access/tokens lists them."),
    ProblemType("unknown-replacement", 404, "Unknown replacement", "GET /v1/replacements lists them."),
    ProblemType("method-not-allowed", 405, "Method not allowed", "Use a method that the header Allow names."),
    ProblemType("too-slow", 408, "Request timeout", "Send the request again, all at once.", 1),
    ProblemType("site-file-changed", 409, "Site file changed meanwhile", "Read the zone and try again.", 1),
    ProblemType("confirmation-refused", 409, "Clock not confirmed", "Set the clock to the right time first."),
    ProblemType("changed-meanwhile", 412, "Changed meanwhile", "Look at what it is now, and decide again."),
    ProblemType("too-large", 413, "Body too large", "Send at most 64 kB."),
    ProblemType("not-json-type", 415, "Unsupported media type", "Send Content-Type: application/json."),
    ProblemType("wrong-host", 421, "Wrong host name", "Use an address that `leerie access` shows."),
    ProblemType("invalid-request", 422, "Invalid request", "Correct what is listed under errors."),
    ProblemType("not-a-program", 422, "Not a valid program", "Write spans such as “dusk to midnight”."),
    ProblemType("override-refused", 422, "Override refused", "Give an end in the future, or a duration."),
    ProblemType("site-file-refused", 422, "Site file would not be valid", "Correct what problems lists."),
    ProblemType("condition-needed", 428, "Condition needed", "Send If-Match with the ETag that you have."),
    ProblemType("too-many-requests", 429, "Too many requests", "Wait before you try again.", 60),
    ProblemType("header-too-large", 431, "Header too large", "Send shorter headers, and fewer cookies."),
    ProblemType("fault", 500, "Internal error", "The lights are not affected. The log says more."),
    ProblemType("keeper-late", 503, "Control loop is late", "See the log.", 30),
    ProblemType("keeper-silent", 503, "Keeper did not answer", "Check the zone before you try again.", 5),
    ProblemType("clock-not-trusted", 503, "Clock not trusted", "GET /v1/clock says why, and what to do.", 60),
    ProblemType("journal-unreadable", 503, "Journal cannot be read", "The detail says what to do.", 30),
    ProblemType("site-file-unwritable", 503, "Site file not writable", "Make it writable for Leerie.", 30),
    ProblemType("access-unwritable", 503, "Permissions cannot be saved", "Make room, or mend the disk.", 30),
    ProblemType("stopping", 503, "Shutting down", "Try again once Leerie is running.", 5),
    ProblemType("too-busy", 503, "Too busy", "Wait for responses before you send more.", 5),
    ProblemType("disk-full", 507, "Disk full", "Free some space; the site file was not changed.", 30),
)
PROBLEM_TYPES = {each.name: each for each in _ALL}
# The problems of every route that writes the site file.
WRITING = (
    "site-file-refused",
    "demonstration",
    "site-file-unwritable",
    "site-file-changed",
    "disk-full",
)


class ErrorEntry(BaseModel):
    """One thing that is wrong in a request."""

    detail: str = Field(
        description="what is wrong and what to do, for a person",
        examples=["light: must be “on” or “off”, not “blue”"],
    )
    pointer: str | None = Field(
        None, description="where in the body, as a JSON pointer (RFC 6901)", examples=["#/light"]
    )
    parameter: str | None = Field(None, description="or the name of the parameter", examples=["from"])
    text: str | None = Field(
        None, description="of the program language: what was read", examples=["dusk til late"]
    )
    column: int | None = Field(
        None, description="of the program language: where it is not valid, from 1", examples=[6]
    )
    found: str | None = Field(
        None, description="what stands there; empty at the end of the text", examples=["til"]
    )
    expected: str | None = Field(None, description="what would be valid there", examples=["to or for"])


class ProblemDocument(BaseModel):
    """A problem document (RFC 9457)."""

    type: Annotated[
        str, WithJsonSchema({"type": "string", "enum": [f"/problems/{name}" for name in PROBLEM_TYPES]})
    ] = Field(description="type of the problem; never changes, and explains itself at that address")
    title: str = Field(
        description="what is wrong, the same for every problem of the type", examples=["Unknown zone"]
    )
    status: int = Field(description="status of the response", examples=[404])
    detail: str = Field(
        description="what is wrong this time and what to do, for a person",
        examples=["there is no zone “pier”; the zones are jetty, orchard"],
    )
    instance: str = Field(description="path of the request", examples=["/v1/zones/pier"])
    errors: list[ErrorEntry] = Field([], description="what is wrong in the request, one by one")
    problems: list[SiteProblemResponse] = Field([], description="what would be wrong in the site file")
    zones: list[str] = Field([], description="ids of the site's zones", examples=[["jetty", "orchard"]])
    transformers: list[str] = Field(
        [], description="ids of the site's transformers", examples=[["boathouse"]]
    )
    present: dict[str, Any] | None = Field(
        None,
        description="what GET gives at this address now; null where that is nothing",
        examples=[{"program": ["dusk to midnight"], "special_nights": []}],
    )
    last_round_s: float | None = Field(
        None, description="seconds since the keeper's last round", examples=[94.5]
    )


class ProblemError(Exception):
    """A request that is answered with a problem document; ``members`` are further members of it."""

    def __init__(
        self, name: str, detail: str, *, headers: Mapping[str, str] | None = None, **members: object
    ) -> None:
        super().__init__(detail)
        self.type = PROBLEM_TYPES[name]
        self.headers = dict(headers or {})
        self._members = members

    def document(self, path: str) -> bytes:
        """Write the problem document for a request to a path."""
        document = {
            "type": f"/problems/{self.type.name}",
            "title": self.type.title,
            "status": self.type.status,
            "detail": str(self),
            "instance": quote_path(without_secret(path)),
            **self._members,
        }
        # Half of a pair of surrogates, which JSON may carry and UTF-8 may not, goes back as it came.
        return json.dumps(document, ensure_ascii=False).encode("utf-8", "backslashreplace")

    def response(self, path: str) -> Response:
        """Make the response to a request to a path."""
        if self.type.retry_after_s is not None:
            self.headers.setdefault("retry-after", str(self.type.retry_after_s))
        return Response(self.document(path), self.type.status, self.headers, PROBLEM_MEDIA_TYPE)


def without_secret(path: str) -> str:
    """Give a path as it may be shown and logged."""
    return _SECRET.sub("…", path)


def invalid_in(errors: Sequence[Mapping[str, object]], name: str = "invalid-request") -> ProblemError:
    """Make the error for several wrong things, each with its ``detail`` and its place."""
    detail = "; ".join(str(each["detail"]) for each in errors[:_NAMED])
    more = f"; and {len(errors) - _NAMED} more" if len(errors) > _NAMED else ""
    return ProblemError(name, f"{detail}{more}", errors=errors[:_MOST_LISTED])


def invalid(detail: str, **place: str) -> ProblemError:
    """Make the error for one wrong thing, at a ``parameter`` or at a JSON ``pointer`` into the body."""
    return ProblemError("invalid-request", detail, errors=[{"detail": detail, **place}])


def problems_of(*names: str) -> Responses:
    """Describe problems that a route answers with, by their status.

    Those that follow from the route's method, parameters and body are added to every route by themselves.
    """
    titles: dict[int, list[str]] = {}
    for name in names:
        found = PROBLEM_TYPES[name]
        titles.setdefault(found.status, []).append(f"{found.title} (`/problems/{name}`)")
    content = {PROBLEM_MEDIA_TYPE: {"schema": {"$ref": SCHEMA_REF.format(model="Problem")}}}
    return {status: {"description": "; ".join(said), "content": content} for status, said in titles.items()}


def shown_as(media_type: str, *names: str) -> Responses:
    """Describe a document that is not JSON, and the problems of its route."""
    content = {media_type: {"schema": {"type": "string"}}}
    return {200: {"description": "the document", "content": content}, **problems_of(*names)}

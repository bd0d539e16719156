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
from api.render.words import N_
from config.phrase import Phrase, list_phrases

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
    """One type of problem; ``retry_after_s`` is None where trying again changes nothing.

    ``title`` and ``remedy`` are for the catalogue.
    """

    name: str
    status: int
    title: str
    remedy: str
    retry_after_s: int | None = None


_ALL = (
    ProblemType("not-http", 400, N_("Not an HTTP request"), N_("Speak HTTP/1.1 to this port.")),
    ProblemType("not-json", 400, N_("Body is not JSON"), N_("Send one JSON object in UTF-8.")),
    ProblemType("permission-needed", 401, N_("Permission needed"), N_("Pair this device, or sign in.")),
    ProblemType(
        "cross-site", 403, N_("Request from another site"), N_("Use Leerie's own page, or send no Origin.")
    ),
    ProblemType(
        "demonstration", 403, N_("Demonstration is read-only"), N_("Start Leerie with your own site file.")
    ),
    ProblemType("not-permitted", 403, N_("Not permitted"), N_("Ask for a code, or one that permits more.")),
    ProblemType("not-found", 404, N_("Not found"), N_("GET /v1 lists the routes.")),
    ProblemType("unknown-zone", 404, N_("Unknown zone"), N_("GET /v1/zones lists the zones.")),
    ProblemType("no-override", 404, N_("No override"), N_("The zone follows its program.")),
    ProblemType(
        "unknown-transformer", 404, N_("Unknown transformer"), N_("GET /v1/wiring lists the transformers.")
    ),
    ProblemType(
        "unknown-proposal", 404, N_("Unknown proposal"), N_("GET lists the proposals of a transformer.")
    ),
    ProblemType("unknown-token", 404, N_("Unknown token"), N_("GET /v1/access/tokens lists them.")),
    ProblemType(
        "unknown-replacement", 404, N_("Unknown replacement"), N_("GET /v1/replacements lists them.")
    ),
    ProblemType(
        "method-not-allowed", 405, N_("Method not allowed"), N_("Use a method that the header Allow names.")
    ),
    ProblemType("too-slow", 408, N_("Request timeout"), N_("Send the request again, all at once."), 1),
    ProblemType(
        "site-file-changed", 409, N_("Site file changed meanwhile"), N_("Read the zone and try again."), 1
    ),
    ProblemType(
        "confirmation-refused", 409, N_("Clock not confirmed"), N_("Set the clock to the right time first.")
    ),
    ProblemType(
        "changed-meanwhile", 412, N_("Changed meanwhile"), N_("Look at what it is now, and decide again.")
    ),
    ProblemType("too-large", 413, N_("Body too large"), N_("Send at most 64 kB.")),
    ProblemType(
        "not-json-type", 415, N_("Unsupported media type"), N_("Send Content-Type: application/json.")
    ),
    ProblemType("wrong-host", 421, N_("Wrong host name"), N_("Use an address that `leerie access` shows.")),
    ProblemType("invalid-request", 422, N_("Invalid request"), N_("Correct what is listed under errors.")),
    ProblemType(
        "not-a-program", 422, N_("Not a valid program"), N_("Write spans such as “dusk to midnight”.")
    ),
    ProblemType(
        "override-refused", 422, N_("Override refused"), N_("Give an end in the future, or a duration.")
    ),
    ProblemType(
        "site-file-refused", 422, N_("Site file would not be valid"), N_("Correct what problems lists.")
    ),
    ProblemType(
        "condition-needed", 428, N_("Condition needed"), N_("Send If-Match with the ETag that you have.")
    ),
    ProblemType("too-many-requests", 429, N_("Too many requests"), N_("Wait before you try again."), 60),
    ProblemType(
        "header-too-large", 431, N_("Header too large"), N_("Send shorter headers, and fewer cookies.")
    ),
    ProblemType("fault", 500, N_("Internal error"), N_("The lights are not affected. The log says more.")),
    ProblemType("keeper-late", 503, N_("Control loop is late"), N_("See the log."), 30),
    ProblemType(
        "keeper-silent", 503, N_("Keeper did not answer"), N_("Check the zone before you try again."), 5
    ),
    ProblemType(
        "clock-not-trusted", 503, N_("Clock not trusted"), N_("Connect the network, or confirm the time."), 60
    ),
    ProblemType(
        "journal-unreadable", 503, N_("Journal cannot be read"), N_("The detail says what to do."), 30
    ),
    ProblemType(
        "site-file-unwritable", 503, N_("Site file not writable"), N_("Make it writable for Leerie."), 30
    ),
    ProblemType(
        "access-unwritable", 503, N_("Permissions cannot be saved"), N_("Make room, or mend the disk."), 30
    ),
    ProblemType("stopping", 503, N_("Shutting down"), N_("Try again once Leerie is running."), 5),
    ProblemType("too-busy", 503, N_("Too busy"), N_("Wait for responses before you send more."), 5),
    ProblemType("disk-full", 507, N_("Disk full"), N_("Free some space; the site file was not changed."), 30),
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
        self.detail = detail
        self.type = PROBLEM_TYPES[name]
        self.headers = dict(headers or {})
        self._members = members

    def document(self, path: str) -> bytes:
        """Write the problem document for a request to a path."""
        document = {
            "type": f"/problems/{self.type.name}",
            "title": self.type.title,
            "status": self.type.status,
            "detail": self.detail,
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
    detail = list_phrases([str(each["detail"]) for each in errors[:_NAMED]], "; ")
    if len(errors) > _NAMED:
        detail = Phrase("{detail}; and {count} more", detail=detail, count=len(errors) - _NAMED)
    return ProblemError(name, detail, errors=errors[:_MOST_LISTED])


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

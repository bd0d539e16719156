"""Answers that can be compared, and changes under the condition that nobody else made one meanwhile.

A document's ETag is made of its content: while the two are the same, so is the document. Sources: RFC 9110,
sections 8.8.3 (ETag) and 13 (If-Match, If-None-Match); RFC 6585, section 3 (428).
"""

import re
from hashlib import sha256
from typing import Annotated

from fastapi import Depends, Header, Request, Response
from pydantic import BaseModel

from api.web.problems.types import ProblemError, Responses

# Section 8.8.3: within the quotation marks everything but these themselves, commas among it.
_TAG = re.compile(r'(?:W/)?"[^"]*"|\*')


def tagged(responses: Responses | None = None) -> Responses:
    """Describe the responses of a route whose answer can be compared."""
    known = dict(responses or {})
    return {
        **known,
        200: {**known.get(200, {}), "headers": _ETAG},
        304: {"description": "the client has it already", "headers": _ETAG},
    }


def tag_of(content: bytes) -> str:
    """Make the strong ETag of a document."""
    return f'"{sha256(content).hexdigest()[:16]}"'


def tag_of_model(model: BaseModel) -> str:
    """Make the ETag with which a model is answered."""
    return tag_of(_content(model))


def tagged_response(request: Request, model: BaseModel) -> Response:
    """Answer with a model that can be compared: with its ETag, or 304 where the client has it already."""
    return tagged_content(request, _content(model), media_type="application/json")


def tagged_content(request: Request, content: bytes, *, media_type: str) -> Response:
    """Do the same with content of any type. It may be kept, if it is asked for again each time."""
    tag = tag_of(content)
    headers = {"cache-control": "private, no-cache", "etag": tag}
    if _match(_tags(request, "if-none-match"), tag, weakly=True):
        return Response(status_code=304, headers=headers)
    return Response(content, headers=headers, media_type=media_type)


class Conditions:
    """What a client asks of a resource before it is changed."""

    def __init__(self, request: Request) -> None:
        self._match = _tags(request, "if-match")
        self._none_match = _tags(request, "if-none-match")
        headers = request.headers
        # Scripts and other programs send neither; what is not ours was refused before.
        self._by_page = "origin" in headers or headers.get("sec-fetch-site") == "same-origin"

    def require(self, present: BaseModel | None) -> None:
        """Refuse a change where a condition does not hold; ``present`` is what GET gives now, if anything.

        The page has to name what it shows, so that two phones never overwrite each other unseen.

        Raises:
            ProblemError: a condition does not hold, or the page named none.
        """
        if self._by_page and self._match is None and self._none_match is None:
            words = "send If-Match with the ETag that GET gives here, or If-None-Match: * where that is 404"
            raise ProblemError("condition-needed", words)
        tag = None if present is None else tag_of(_content(present))
        holds = self._match is None or _match(self._match, tag, weakly=False)
        if not holds or _match(self._none_match, tag, weakly=True):
            words = "it was changed meanwhile; “present” is what it is now" if tag else "it is gone meanwhile"
            raise ProblemError(
                "changed-meanwhile",
                words,
                headers={} if tag is None else {"etag": tag},
                present=None if present is None else present.model_dump(mode="json"),
            )


async def _get_conditions(
    request: Request,
    if_match: Annotated[  # noqa: ARG001 - for the description
        str | None,
        Header(
            description="the ETag that GET gives here: change it only while it is still that; a page has to "
            "send this or If-None-Match",
            examples=['"8c1f0e6d2b7a4953"'],
        ),
    ] = None,
    if_none_match: Annotated[  # noqa: ARG001 - for the description
        str | None,
        Header(description="“*”: change it only where there is none yet", examples=["*"]),
    ] = None,
) -> Conditions:
    return Conditions(request)


async def _describe_if_none_match(
    if_none_match: Annotated[  # noqa: ARG001 - for the description
        str | None,
        Header(
            description="the ETag of what the client has: 304 while it is still that",
            examples=['"8c1f0e6d2b7a4953"'],
        ),
    ] = None,
) -> None:
    return None


If = Annotated[Conditions, Depends(_get_conditions)]
# What a route with such an answer, and one with such a change, says of itself.
TAGGED = [Depends(_describe_if_none_match)]
_ETAG = {
    "ETag": {"description": "made of the content (RFC 9110, section 8.8.3)", "schema": {"type": "string"}}
}
CONDITIONAL = ("changed-meanwhile", "condition-needed")


def _content(model: BaseModel) -> bytes:
    return model.model_dump_json().encode()


def _tags(request: Request, name: str) -> list[str] | None:
    """Read the tags that a header lists; None where there is no such header."""
    lines = request.headers.getlist(name)
    return _TAG.findall(", ".join(lines)) if lines else None


def _match(tags: list[str] | None, tag: str | None, *, weakly: bool) -> bool:
    """Whether one of the tags, or “*”, is that of what there is."""
    if tags is None or tag is None:
        return False
    return any(each in ("*", tag) or (weakly and each == f"W/{tag}") for each in tags)

"""Forms of the page, which work without a script: how they are read, and how they show whose they are."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import parse_qsl

from fastapi import Depends, Request

from api.render.instants import quote
from api.web.permission import require_form_token
from api.web.problems.types import ProblemError
from config.phrase import Phrase

TOKEN = "form_token"  # noqa: S105 - the name of a field


class Form(dict[str, str]):
    """The fields of a form, each given once; one that is missing is the sender's mistake."""

    def __missing__(self, name: str) -> str:
        words = Phrase("the form has no field {name}; load the page again", name=quote(name))
        raise ProblemError("invalid-request", words)


async def _read(request: Request) -> Form:
    """Read the fields of a form.

    Source: WHATWG URL, section 5.1, application/x-www-form-urlencoded.
    """
    try:
        pairs = parse_qsl(
            (await request.body()).decode("ascii"), keep_blank_values=True, encoding="utf-8", errors="strict"
        )
    except ValueError:
        words = Phrase("the form cannot be read; load the page again")
        raise ProblemError("invalid-request", words) from None
    fields = dict(pairs)
    if len(fields) < len(pairs):
        words = Phrase("a field of the form is there twice; load the page again")
        raise ProblemError("invalid-request", words)
    return Form(fields)


async def _read_own(request: Request) -> Form:
    """Read a form, and refuse it where it does not carry the token of this session."""
    form = await _read(request)
    require_form_token(request, request.app.state.context.access, form.get(TOKEN, ""))
    return form


# Of somebody who has signed in, or is on the board; and of anybody.
OwnForm = Annotated[Form, Depends(_read_own)]
OpenForm = Annotated[Form, Depends(_read)]

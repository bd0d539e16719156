"""Turns what pydantic found wrong in a request into a problem that a person understands."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from typing import Any
from urllib.parse import quote as percent_encode

from fastapi.exceptions import RequestValidationError

from api.render.instants import quote
from api.web.problems.types import ProblemError
from config.errors import ProgramError

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
_SIMPLE = (str, int, float, bool, type(None))
# As many errors are named in the detail; all of them are listed under "errors".
_NAMED = 3


def validation_problem(error: RequestValidationError) -> ProblemError:
    """Make a problem of everything that is wrong in a request.

    Each error has its text and its place: a JSON pointer (RFC 6901, in the fragment form that RFC 9457 uses)
    into the body, or the name of the parameter. An error in the program language also carries ``text``,
    ``column``, ``found`` and ``expected``.
    """
    found = error.errors()
    errors = [_entry(each) for each in found]
    if found[0]["type"] == "json_invalid":
        return ProblemError("not-json", str(errors[0]["detail"]), errors=errors)
    detail = "; ".join(str(each["detail"]) for each in errors[:_NAMED])
    more = f"; and {len(errors) - _NAMED} more" if len(errors) > _NAMED else ""
    name = "not-a-program" if any("expected" in each for each in errors) else "invalid-request"
    return ProblemError(name, f"{detail}{more}", errors=errors)


def _entry(found: Mapping[str, Any]) -> dict[str, object]:
    if found["type"] == "json_invalid":
        return {"detail": _not_json(found), "pointer": "#"}
    place, *path = found["loc"]
    entry: dict[str, object] = {"detail": _detail(found)}
    if place == "body":
        entry["pointer"] = "#" + "".join(f"/{_escape(step)}" for step in path)
    else:
        entry["parameter"] = ".".join(str(step) for step in path)
    error = found.get("ctx", {}).get("error")
    if isinstance(error, ProgramError):
        entry |= {name: getattr(error, name) for name in ("text", "column", "found", "expected")}
    return entry


def _detail(found: Mapping[str, Any]) -> str:
    where = _where(found["loc"])
    if found["type"] == "value_error":
        what = str(found["ctx"]["error"])
    else:
        what = _MESSAGES.get(found["type"]) or _plain(found["msg"])
    value = found.get("input")
    if found["type"] not in _QUOTES_NOTHING and isinstance(value, _SIMPLE):
        what = f"{what}, not {quote(value if isinstance(value, str) else json.dumps(value))}"
    return f"{where}: {what}" if where else what


def _plain(message: str) -> str:
    """Write pydantic's own message in our form and quotation marks."""
    return re.sub("'([^']*)'", r"“\1”", message.replace("Input should be", "must be"))


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


def _not_json(found: Mapping[str, Any]) -> str:
    at = found["loc"][-1]
    reason = str(found.get("ctx", {}).get("error", "not readable")).lower()
    return f"the body is not JSON at character {at + 1 if isinstance(at, int) else at}: {reason}"

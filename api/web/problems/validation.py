"""From what pydantic found wrong in a request to what a person is told."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any
from urllib.parse import quote as percent_encode

from fastapi.exceptions import RequestValidationError

from api.render.instants import quote
from config.errors import ProgramError

_MEANINGS = {
    "missing": "is missing",
    "extra_forbidden": "is not known here; leave it out",
    "string_type": "must be a text in quotes",
    "string_unicode": "must be a text of whole letters",
    "string_pattern_mismatch": "does not have the form that /openapi.json describes",
    "bool_type": "must be true or false",
    "int_type": "must be a whole number",
    "int_parsing": "must be a whole number",
    "list_type": "must be a list",
    "tuple_type": "must be a list",
    "dict_type": "must be an object",
    "model_type": "must be an object",
    "model_attributes_type": "must be an object",
}
_QUOTES_NOTHING = frozenset({"missing", "extra_forbidden", "value_error", "json_invalid"})
_SIMPLE = (str, int, float, bool, type(None))


def problem_of(error: RequestValidationError) -> tuple[str, str, list[dict[str, object]]]:
    """Say what kind of problem a request has, in one sentence, and every single thing wrong in it.

    Returns:
        Name of the kind; the sentence; for each error its words and its place: a JSON pointer (RFC 6901, in
        the fragment form that RFC 9457 uses) into the body, or the name of the parameter. An error in the
        program language also carries ``text``, ``column``, ``found`` and ``expected``.
    """
    found = error.errors()
    if any(each["type"] == "json_invalid" for each in found):
        return "not-json", _not_json(found[0]), [_entry(each) for each in found]
    errors = [_entry(each) for each in found]
    words = "; ".join(str(each["detail"]) for each in errors[:3])
    more = f"; and {len(errors) - 3} more" if len(errors) > 3 else ""  # noqa: PLR2004 - as many as were named
    name = "not-a-program" if any(_program_error(each) for each in found) else "invalid-request"
    return name, f"{words}{more}", errors


def _entry(found: Mapping[str, Any]) -> dict[str, object]:
    """Describe one error."""
    place, *path = found["loc"]
    entry: dict[str, object] = {"detail": _words(found)}
    if found["type"] == "json_invalid":
        return {"detail": _not_json(found), "pointer": "#"}
    if place == "body":
        entry["pointer"] = "#" + "".join(f"/{_escape(step)}" for step in path)
    else:
        entry["parameter"] = ".".join(str(step) for step in path)
    program_error = _program_error(found)
    if program_error is not None:
        entry |= {
            "text": program_error.text,
            "column": program_error.column,
            "found": program_error.found,
            "expected": program_error.expected,
        }
    return entry


def _words(found: Mapping[str, Any]) -> str:
    """Say what is wrong and where, in one clause."""
    where = _where(found["loc"])
    if found["type"] == "value_error":
        what = str(found["ctx"]["error"])
    elif found["type"] == "literal_error":
        what = f"must be {_spell_choices(found['ctx']['expected'])}"
    else:
        what = _MEANINGS.get(found["type"]) or found["msg"].removeprefix("Input ").lower()
    value = found.get("input")
    if found["type"] not in _QUOTES_NOTHING and isinstance(value, _SIMPLE):
        what = f"{what}, not {quote(value if isinstance(value, str) else json.dumps(value))}"
    return f"{where}: {what}" if where else what


def _spell_choices(expected: str) -> str:
    """Write pydantic's list of choices with our quotation marks."""
    return " or ".join(f"“{each.strip(chr(39))}”" for each in expected.replace(" or ", ", ").split(", "))


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


def _program_error(found: Mapping[str, Any]) -> ProgramError | None:
    """Give the error of the program language behind one of pydantic's, if that is what it is."""
    error = found.get("ctx", {}).get("error")
    return error if isinstance(error, ProgramError) else None


def _not_json(found: Mapping[str, Any]) -> str:
    """Say where a body stops being JSON."""
    at = found["loc"][-1]
    reason = str(found.get("ctx", {}).get("error", "it cannot be read")).lower()
    return f"the body stops being JSON at character {at + 1 if isinstance(at, int) else at}: {reason}"

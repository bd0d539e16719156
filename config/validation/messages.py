"""Turns the errors that pydantic finds in a site file into messages that say what to do."""

import re
from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from typing import Any, get_args

from pydantic import ValidationError

from config.currencies import CURRENCIES
from config.errors import CableTextError, KeyPath, ProgramError
from config.header import describe_header_pin
from config.models.site import SITE_KEYS
from config.phrase import Phrase, list_phrases
from config.validation.fields import describe_field, field_at, fields_by_key, heading_of, homes_of, table_in
from config.validation.finding import SiteFinding, did_you_mean, find_key, suggest, toml_string, write_path
from config.validation.slips import Clauses, explain_number, read_date, read_truth

_TEXT = Phrase("must be text, in quotes")
_MUST_BE = {
    "string_type": _TEXT,
    "int_type": Phrase("must be a whole number"),
    "float_type": Phrase("must be a number"),
    "is_instance_of": Phrase("must be a number"),
    "bool_type": Phrase("must be true or false"),
    "date_type": Phrase("must be a date"),
    "tuple_type": Phrase("must be a list in square brackets"),
    "model_type": Phrase("must be a table"),
    "literal_error": _TEXT,
}
_UNQUOTED = ("int_type", "float_type", "is_instance_of", "bool_type", "date_type")
_OUT_OF_BOUNDS = {
    **dict.fromkeys(("greater_than", "greater_than_equal"), Phrase("is too small")),
    **dict.fromkeys(("less_than", "less_than_equal"), Phrase("is too large")),
    "finite_number": Phrase("is not a finite number"),
    "string_pattern_mismatch": Phrase("has characters that are not allowed"),
    "string_too_long": Phrase("is too long"),
    "too_long": Phrase("has too many entries"),
}
# What “too small” and “too large” mean for some keys.
_BEYOND = {
    "latitude": Phrase("is beyond the poles"),
    "longitude": Phrase("is more than half way round the Earth"),
}
_BEYOND_HEADER = Phrase("is not a BCM number of the 40-pin header")
_RESERVED_PINS, _RESERVED = (0, 1), Phrase("is reserved for the memory chip of an add-on board")
_POLE_DEG = 90
_SYMBOLS = {"$": "USD", "£": "GBP", "€": "EUR", "¥": "JPY"}
_OTHER_VALUES = {"halogen": "filament", "incandescent": "filament", "tungsten": "filament"}
_UNKNOWN_KEYS = {
    "active_low": Phrase("write active_high = false where the relay closes on low, true where on high")
}


def explain_errors(error: ValidationError) -> Iterator[SiteFinding]:
    """Yield a finding for each error of a Site; unknown tables are left to check_document."""
    for each in error.errors(include_url=False):
        path: KeyPath = each["loc"]
        if path and path[0] in SITE_KEYS:
            path = ("site", *path)
        elif each["type"] == "extra_forbidden":
            if len(path) > 1:
                yield explain_unknown_key(path)
            continue
        yield SiteFinding(path, *_explain(each["type"], path, each["input"], each.get("ctx", {})))


def _explain(kind: str, path: KeyPath, value: object, context: dict[str, Any]) -> Clauses:
    if cause := context.get("error"):
        ours = isinstance(cause, CableTextError | ProgramError)
        said = str(cause)
        return (
            (cause.what, cause.remedy)
            if ours
            else (said if isinstance(said, Phrase) else list_phrases([said]), _write(_describe(path)))
        )
    if kind == "missing":
        field = field_at(path)
        remedy = Phrase("add “{key} = …”: {what}", key=path[-1], what=_describe(path))
        if field is not None and table_in(field.annotation) is not None:
            remedy = Phrase("add {what}", what=_describe(path))
        return Phrase("is missing"), remedy
    if kind == "literal_error" and isinstance(value, str):
        choices = [str(each) for each in get_args(field.annotation)] if (field := field_at(path)) else []
        meant = _OTHER_VALUES.get(value.lower(), "")
        remedy = Phrase("allowed: {what}", what=_describe(path))
        found = did_you_mean(meant, remedy) if meant in choices else suggest(value, choices, remedy)
        return Phrase("is not an allowed value"), found
    if kind in _MUST_BE:
        what = _MUST_BE[kind]
        if kind in _UNQUOTED and isinstance(value, str):
            what = Phrase("{what}, without quotes", what=what)
        return what, _how_to_write(kind, path, value)
    return _explain_bounds(kind, path, value)


def _explain_bounds(kind: str, path: KeyPath, value: object) -> Clauses:
    key, remedy = path[-1], _write(_describe(path))
    what = _OUT_OF_BOUNDS.get(kind, Phrase("cannot be used here"))
    if kind.startswith(("greater", "less")) and key in _BEYOND:
        what = _BEYOND[str(key)]
    if key == "pin" and isinstance(value, int):
        return _explain_pin(value)
    if key == "latitude" and _is_longitude(value):
        remedy = Phrase("exchange it with the longitude, or {remedy}", remedy=remedy)
    if isinstance(value, str) and not value.strip():
        what = Phrase("is empty")
    elif isinstance(value, str) and key == "currency":
        meant = _SYMBOLS.get(value.strip())
        remedy = did_you_mean(meant, remedy) if meant else suggest(value, CURRENCIES, remedy)
        what = Phrase("is not a currency code")
    elif kind == "string_pattern_mismatch" and key in ("id", "transformer"):
        return what, Phrase("write {id}: {what}", id=_write_id(str(value)), what=_describe(path))
    return what, remedy


def _write(right: str) -> Phrase:
    return Phrase("write {right}", right=right)


def _explain_pin(pin: int) -> Clauses:
    """Explain a number that is no BCM line; it may be that of a pin of the header."""
    what = _RESERVED if pin in _RESERVED_PINS else _BEYOND_HEADER
    on_header = describe_header_pin(pin)
    if not on_header:
        return what, Phrase("write one from 2 to 27")
    return what, Phrase("write one from 2 to 27 ({on_header})", on_header=on_header)


def _is_longitude(value: object) -> bool:
    return isinstance(value, int | float | Decimal) and _POLE_DEG < abs(float(value)) <= 2 * _POLE_DEG


def _write_id(text: str) -> str:
    """Write a text as an id, as far as it goes."""
    return "-".join(re.findall(r"[a-z0-9]+", text.lower())) or "another"


def explain_unknown_key(path: KeyPath) -> SiteFinding:
    """Say what is wrong and what to do for a key that its table does not have."""
    *parent, key = path
    field = field_at(tuple(parent))
    table = table_in(field.annotation) if field else None
    keys = SITE_KEYS if parent == ["site"] else tuple(fields_by_key(table)) if table else ()
    name = ".".join(part for part in parent if isinstance(part, str))
    what, homes = Phrase("is not a key of “{table}”", table=name), homes_of(str(key))
    if remedy := _UNKNOWN_KEYS.get(str(key)):
        return SiteFinding(path, what, remedy)
    # Below the heading of an inner table, what belongs to the outer one has to stand before it.
    if (outer := name.rpartition(".")[0]) in homes:
        remedy = Phrase(
            "move it up, before the first {inner}: it belongs to {outer}",
            inner=heading_of(name),
            outer=heading_of(outer),
        )
        return SiteFinding(path, what, remedy, meant=(*path[:-3], key))
    if like := find_key(str(key), keys):
        return SiteFinding(path, what, Phrase("did you mean “{meant}”?", meant=like), meant=(*parent, like))
    if len(homes) == 1:
        remedy = Phrase("remove it: {key} is a key of {table}", key=key, table=heading_of(homes[0]))
        return SiteFinding(path, what, remedy)
    return SiteFinding(path, what, Phrase("its keys are {keys}", keys=", ".join(keys)))


def _how_to_write(kind: str, path: KeyPath, value: object) -> Phrase:
    name = write_path(tuple(part for part in path if isinstance(part, str)))
    field = field_at(path)
    if kind == "tuple_type" and isinstance(value, dict) and field and table_in(field.annotation):
        return Phrase("write {heading} with two brackets on either side", heading=f"[[{name}]]")
    if kind == "model_type" and isinstance(value, list):
        return Phrase("write {heading} with one bracket on either side", heading=f"[{name}]")
    if kind == "model_type":
        several, one = (
            Phrase("write [[{name}]] tables", name=name),
            Phrase("write a [{name}] table", name=name),
        )
        return several if isinstance(path[-1], int) else one
    if kind == "tuple_type" and isinstance(value, str) and path[-1] in ("program", "formerly"):
        return _write(f'["{value}"]')
    is_number = kind in _UNQUOTED and kind not in ("bool_type", "date_type")
    if is_number and isinstance(value, str) and value.strip():
        slip = explain_number(str(path[-1]), value)
        return slip[1] if slip else _write(value.strip())
    return _write(_read_other(kind, value) or _describe(path))


def _read_other(kind: str, value: object) -> str:
    """Return what to write for a value that is only written in another way; an empty text for any other."""
    if kind == "string_type" and isinstance(value, list) and all(isinstance(each, str) for each in value):
        return toml_string(", ".join(value)) if value else ""
    if kind == "string_type" and type(value) is date:
        return toml_string(str(value))
    if not isinstance(value, str) or not value.strip():
        return ""
    if kind == "bool_type":
        return read_truth(value)
    return read_date(value) if kind == "date_type" else ""


def _describe(path: KeyPath) -> Phrase:
    """Say what is allowed at a place of the site file, from the description of its field."""
    if isinstance(path[-1], int) and path[-2] == "program":
        return Phrase('a span in quotes such as "dusk to midnight"')
    return describe_field(field_at(path))

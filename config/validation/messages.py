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
from config.validation.fields import field_at, fields_by_key, heading_of, homes_of, table_in
from config.validation.finding import SiteFinding, find_key, suggest, toml_string, write_path
from config.validation.slips import explain_number, read_date, read_truth

_MUST_BE = {
    "string_type": "text, in quotes",
    "int_type": "a whole number",
    "float_type": "a number",
    "is_instance_of": "a number",
    "bool_type": "true or false",
    "date_type": "a date",
    "tuple_type": "a list in square brackets",
    "model_type": "a table",
    "literal_error": "text, in quotes",
}
_UNQUOTED = ("int_type", "float_type", "is_instance_of", "bool_type", "date_type")
_OUT_OF_BOUNDS = {
    **dict.fromkeys(("greater_than", "greater_than_equal"), "is too small"),
    **dict.fromkeys(("less_than", "less_than_equal"), "is too large"),
    "finite_number": "is not a finite number",
    "string_pattern_mismatch": "has characters that are not allowed",
    "string_too_long": "is too long",
    "too_long": "has too many entries",
}
# What “too small” and “too large” mean for some keys.
_BEYOND = {
    "latitude": "is beyond the poles",
    "longitude": "is more than half way round the Earth",
}
_BEYOND_HEADER = "is not a BCM number of the 40-pin header"
_RESERVED_PINS, _RESERVED = (0, 1), "is reserved for the memory chip of an add-on board"
_POLE_DEG = 90
_SYMBOLS = {"$": "USD", "£": "GBP", "€": "EUR", "¥": "JPY"}
_OTHER_VALUES = {"halogen": "filament", "incandescent": "filament", "tungsten": "filament"}
_UNKNOWN_KEYS = {"active_low": "write active_high = false where the relay closes on low, true where on high"}


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


def _explain(kind: str, path: KeyPath, value: object, context: dict[str, Any]) -> tuple[str, str]:
    if cause := context.get("error"):
        ours = isinstance(cause, CableTextError | ProgramError)
        return (cause.what, cause.remedy) if ours else (str(cause), f"write {_describe(path)}")
    if kind == "missing":
        field = field_at(path)
        is_table = field is not None and table_in(field.annotation) is not None
        return "is missing", f"add {'' if is_table else f'“{path[-1]} = …”: '}{_describe(path)}"
    if kind == "literal_error" and isinstance(value, str):
        choices = [str(each) for each in get_args(field.annotation)] if (field := field_at(path)) else []
        meant = _OTHER_VALUES.get(value.lower(), "")
        hint = f"did you mean “{meant}”? " if meant in choices else suggest(value, choices)
        return "is not an allowed value", f"{hint}allowed: {_describe(path)}"
    if kind in _MUST_BE:
        hint = ", without quotes" if kind in _UNQUOTED and isinstance(value, str) else ""
        return f"must be {_MUST_BE[kind]}{hint}", _how_to_write(kind, path, value)
    return _explain_bounds(kind, path, value)


def _explain_bounds(kind: str, path: KeyPath, value: object) -> tuple[str, str]:
    key, hint = path[-1], ""
    what = _OUT_OF_BOUNDS.get(kind, "cannot be used here")
    if kind.startswith(("greater", "less")) and key in _BEYOND:
        what = _BEYOND[str(key)]
    if key == "pin" and isinstance(value, int):
        return _explain_pin(value)
    if key == "latitude" and _is_longitude(value):
        hint = "exchange it with the longitude, or "
    if isinstance(value, str) and not value.strip():
        what = "is empty"
    elif isinstance(value, str) and key == "currency":
        meant = _SYMBOLS.get(value.strip())
        hint = f"did you mean “{meant}”? " if meant else suggest(value, CURRENCIES)
        what = "is not a currency code"
    elif kind == "string_pattern_mismatch" and key in ("id", "transformer"):
        return what, f"write {_write_id(str(value))}: {_describe(path)}"
    return what, f"{hint}write {_describe(path)}"


def _explain_pin(pin: int) -> tuple[str, str]:
    """Explain a number that is no BCM line; it may be that of a pin of the header."""
    what = _RESERVED if pin in _RESERVED_PINS else _BEYOND_HEADER
    on_header = describe_header_pin(pin)
    return what, f"write one from 2 to 27{f' ({on_header})' if on_header else ''}"


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
    what, homes = f"is not a key of “{name}”", homes_of(str(key))
    if remedy := _UNKNOWN_KEYS.get(str(key)):
        return SiteFinding(path, what, remedy)
    # Below the heading of an inner table, what belongs to the outer one has to stand before it.
    if (outer := name.rpartition(".")[0]) in homes:
        remedy = f"move it up, before the first {heading_of(name)}: it belongs to {heading_of(outer)}"
        return SiteFinding(path, what, remedy, meant=(*path[:-3], key))
    if like := find_key(str(key), keys):
        return SiteFinding(path, what, f"did you mean “{like}”?", meant=(*parent, like))
    if len(homes) == 1:
        return SiteFinding(path, what, f"remove it: {key} is a key of {heading_of(homes[0])}")
    return SiteFinding(path, what, f"its keys are {', '.join(keys)}")


def _how_to_write(kind: str, path: KeyPath, value: object) -> str:
    name = write_path(tuple(part for part in path if isinstance(part, str)))
    field = field_at(path)
    if kind == "tuple_type" and isinstance(value, dict) and field and table_in(field.annotation):
        return f"write [[{name}]] with two brackets on either side"
    if kind == "model_type" and isinstance(value, list):
        return f"write [{name}] with one bracket on either side"
    if kind == "model_type":
        return f"write [[{name}]] tables" if isinstance(path[-1], int) else f"write a [{name}] table"
    if kind == "tuple_type" and isinstance(value, str) and path[-1] in ("program", "formerly"):
        return f'write ["{value}"]'
    right = _read_other(kind, str(path[-1]), value)
    return f"write {right or _describe(path)}"


def _read_other(kind: str, key: str, value: object) -> str:
    """Return what to write for a value that is only written in another way; an empty text for any other."""
    if kind == "string_type" and isinstance(value, list) and all(isinstance(each, str) for each in value):
        return toml_string(", ".join(value)) if value else ""
    if kind == "string_type" and type(value) is date:
        return toml_string(str(value))
    if not isinstance(value, str) or not value.strip():
        return ""
    if kind in ("bool_type", "date_type"):
        return read_truth(value) if kind == "bool_type" else read_date(value)
    if kind not in _UNQUOTED:
        return ""
    slip = explain_number(key, value)
    return slip[1].removeprefix("write ") if slip else value.strip()


def _describe(path: KeyPath) -> str:
    """Say what is allowed at a place of the site file, from the description of its field."""
    if isinstance(path[-1], int) and path[-2] == "program":
        return 'a span in quotes such as "dusk to midnight"'
    field = field_at(path)
    return (field.description if field else None) or "something else"

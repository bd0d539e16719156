"""Turns what pydantic says about a site file into what a person can act on."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime, time
from decimal import Decimal
from typing import Any, get_args

from pydantic import ValidationError
from pydantic.fields import FieldInfo

from config.currencies import CURRENCIES
from config.errors import CableTextError, KeyPath, ProgramError
from config.models.base import Table
from config.models.site import SITE_KEYS, Site
from config.validation.finding import SiteFinding, suggest, write_path

_WANTED = {
    "string_type": "text in quotes",
    "int_type": "a whole number",
    "float_type": "a number",
    "is_instance_of": "a number",
    "bool_type": "true or false",
    "date_type": "a date",
    "tuple_type": "a list in square brackets",
    "model_type": "a table",
    "literal_error": "one of a few words in quotes",
}
_NUMBERS = ("int_type", "float_type", "is_instance_of")
_OUT_OF_BOUNDS = {
    "greater_than": "is too small",
    "greater_than_equal": "is too small",
    "less_than": "is too large",
    "less_than_equal": "is too large",
    "finite_number": "is not a number that can be measured",
    "string_pattern_mismatch": "has characters that do not belong there",
    "string_too_long": "is too long",
}
# What “too small” and “too large” mean for some keys.
_BEYOND = {
    "latitude": "is beyond the poles",
    "longitude": "is more than half way round the Earth",
    "pin": "is no GPIO pin of the 40-pin header",
}
_RESERVED_PINS = (0, 1)


def explain_errors(error: ValidationError) -> Iterator[SiteFinding]:
    """Yield a finding for each error of a Site, but for unknown keys at the top, which the caller judges."""
    for each in error.errors(include_url=False):
        path: KeyPath = each["loc"]
        if path and path[0] in SITE_KEYS:
            path = ("site", *path)
        elif each["type"] == "extra_forbidden" and len(path) == 1:
            continue
        what, remedy = _explain(each["type"], path, each["input"], each.get("ctx", {}))
        yield SiteFinding(path=path, what=what, remedy=remedy)


def known_keys(path: KeyPath) -> tuple[str, ...]:
    """Return the keys that a table of the site file may have."""
    if path == ("site",):
        return SITE_KEYS
    table = _table_in(field.annotation) if (field := _field_at(path)) else None
    return tuple(_by_key(table)) if table else ()


def _explain(kind: str, path: KeyPath, value: object, context: dict[str, Any]) -> tuple[str, str]:
    """Say what is wrong and what would do for one error of pydantic's."""
    if cause := context.get("error"):
        return _explain_cause(cause, path)
    if kind == "missing":
        return "is missing", _how_to_add(path)
    if kind == "extra_forbidden":
        return explain_unknown_key(path)
    if kind == "literal_error" and isinstance(value, str):
        return "is none of the words known here", f"{suggest(value, _choices(path))}write {_fits(path)}"
    if kind in _WANTED:
        return f"is {_kind_of(value)} where {_WANTED[kind]} belongs", _how_to_write(kind, path, value)
    return _explain_bounds(kind, path, value)


def _explain_cause(cause: Exception, path: KeyPath) -> tuple[str, str]:
    """Say what is wrong and what would do where a reader of ours refused the value."""
    if isinstance(cause, CableTextError | ProgramError):
        return cause.what, cause.remedy
    return str(cause), f"write {_fits(path)}"


def _explain_bounds(kind: str, path: KeyPath, value: object) -> tuple[str, str]:
    """Say what is wrong and what would do for a value of the right kind that is still none that fits."""
    key, hint = path[-1], ""
    what = _OUT_OF_BOUNDS.get(kind, "cannot be used here")
    if kind.startswith(("greater", "less")) and key in _BEYOND:
        what = _BEYOND[str(key)]
        if key == "pin" and value in _RESERVED_PINS:
            what = "is kept for the memory chip of an add-on board"
    if isinstance(value, str) and not value.strip():
        what = "is empty"
    elif isinstance(value, str) and key == "currency":
        what, hint = "is no currency code", suggest(value, CURRENCIES)
    return what, f"{hint}write {_fits(path)}"


def explain_unknown_key(path: KeyPath) -> tuple[str, str]:
    """Say what is wrong and what would do for a key that its table does not have."""
    *parent, key = path
    keys = known_keys(tuple(parent))
    table = ".".join(str(part) for part in parent if isinstance(part, str))
    return f"is no key of “{table}”", f"{suggest(str(key), keys)}its keys are {', '.join(keys)}"


def _how_to_add(path: KeyPath) -> str:
    """Say what to add where something is missing."""
    field = _field_at(path)
    if field and _table_in(field.annotation):
        return f"add {_fits(path)}"
    return f"add “{path[-1]} = …”: {_fits(path)}"


def _how_to_write(kind: str, path: KeyPath, value: object) -> str:
    """Say how a value of the wrong kind is written in a TOML file."""
    name = write_path(tuple(part for part in path if isinstance(part, str)))
    field = _field_at(path)
    if kind == "tuple_type" and isinstance(value, dict) and field and _table_in(field.annotation):
        return f"write [[{name}]] with two brackets on either side"
    if kind == "model_type" and isinstance(value, list):
        return f"write [{name}] with one bracket on either side"
    if kind == "model_type":
        return f"write [[{name}]] tables" if isinstance(path[-1], int) else f"write a [{name}] table"
    if kind == "tuple_type" and isinstance(value, str) and path[-1] == "program":
        return f'write ["{value}"]'
    unquoted = kind in (*_NUMBERS, "bool_type", "date_type") and isinstance(value, str)
    without = ", without quotes" if unquoted and "without quotes" not in _fits(path) else ""
    return f"write {_fits(path)}{without}"


def _kind_of(value: object) -> str:
    """Say what kind of TOML value this is."""
    kinds: tuple[tuple[type | tuple[type, ...], str], ...] = (
        (str, "text"),
        (int, "a whole number"),
        ((float, Decimal), "a number with a decimal point"),
        (list, "a list"),
        (dict, "a table"),
        (time, "a time"),
        (datetime, "a date with a time"),
        (date, "a date"),
    )
    if isinstance(value, bool):
        return f"the word {str(value).lower()}"
    return next((words for kind, words in kinds if isinstance(value, kind)), "something else")


def _fits(path: KeyPath) -> str:
    """Say what would do in a place of the site file, from the description of its field."""
    if isinstance(path[-1], int) and path[-2] == "program":
        return 'a span in quotes such as "dusk to midnight"'
    field = _field_at(path)
    return (field.description if field else None) or "something else"


def _choices(path: KeyPath) -> tuple[str, ...]:
    """Return the words that a key may have as its value."""
    field = _field_at(path)
    return tuple(str(choice) for choice in get_args(field.annotation)) if field else ()


def _by_key(table: type[Table]) -> dict[str, FieldInfo]:
    """Give the fields of a table by their keys, its own before those that it has from its base."""
    names = sorted(table.model_fields, key=lambda name: name not in table.__annotations__)
    fields = {name: table.model_fields[name] for name in names}
    return {field.alias or name: field for name, field in fields.items()}


def _field_at(path: KeyPath) -> FieldInfo | None:
    """Find the field of the models that a path leads to; places in lists are passed over."""
    table: type[Table] | None = Site
    field = None
    for part in path[1:] if path[:1] == ("site",) else path:
        if isinstance(part, int):
            continue
        field = _by_key(table).get(part) if table else None
        table = _table_in(field.annotation) if field else None
    return field


def _table_in(annotation: object) -> type[Table] | None:
    """Find the model inside an annotation such as ``tuple[Zone, ...]`` or ``Tariff | None``."""
    if isinstance(annotation, type) and issubclass(annotation, Table):
        return annotation
    return next((table for inner in get_args(annotation) if (table := _table_in(inner))), None)

"""Turns the errors that pydantic finds in a site file into messages that say what to do."""

from collections.abc import Iterator
from typing import Any, get_args

from pydantic import ValidationError
from pydantic.fields import FieldInfo

from config.currencies import CURRENCIES
from config.errors import CableTextError, KeyPath, ProgramError
from config.models.base import Table
from config.models.site import SITE_KEYS, Site
from config.validation.finding import SiteFinding, suggest, write_path

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
}
# What “too small” and “too large” mean for some keys.
_BEYOND = {
    "latitude": "is beyond the poles",
    "longitude": "is more than half way round the Earth",
    "pin": "is not a GPIO pin of the 40-pin header",
}
_RESERVED_PINS = (0, 1)


def explain_errors(error: ValidationError) -> Iterator[SiteFinding]:
    """Yield a finding for each error of a Site; unknown tables are left to check_document."""
    for each in error.errors(include_url=False):
        path: KeyPath = each["loc"]
        if path and path[0] in SITE_KEYS:
            path = ("site", *path)
        elif each["type"] == "extra_forbidden" and len(path) == 1:
            continue
        yield SiteFinding(path, *_explain(each["type"], path, each["input"], each.get("ctx", {})))


def _explain(kind: str, path: KeyPath, value: object, context: dict[str, Any]) -> tuple[str, str]:
    if cause := context.get("error"):
        ours = isinstance(cause, CableTextError | ProgramError)
        return (cause.what, cause.remedy) if ours else (str(cause), f"write {_describe(path)}")
    if kind == "missing":
        field = _field_at(path)
        is_table = field is not None and _table_in(field.annotation) is not None
        return "is missing", f"add {'' if is_table else f'“{path[-1]} = …”: '}{_describe(path)}"
    if kind == "extra_forbidden":
        return explain_unknown_key(path)
    if kind == "literal_error" and isinstance(value, str):
        choices = get_args(field.annotation) if (field := _field_at(path)) else ()
        return "is not an allowed value", f"{suggest(value, map(str, choices))}allowed: {_describe(path)}"
    if kind in _MUST_BE:
        hint = ", without quotes" if kind in _UNQUOTED and isinstance(value, str) else ""
        return f"must be {_MUST_BE[kind]}{hint}", _how_to_write(kind, path, value)
    return _explain_bounds(kind, path, value)


def _explain_bounds(kind: str, path: KeyPath, value: object) -> tuple[str, str]:
    key, hint = path[-1], ""
    what = _OUT_OF_BOUNDS.get(kind, "cannot be used here")
    if kind.startswith(("greater", "less")) and key in _BEYOND:
        what = _BEYOND[str(key)]
        if key == "pin" and value in _RESERVED_PINS:
            what = "is reserved for the memory chip of an add-on board"
    if isinstance(value, str) and not value.strip():
        what = "is empty"
    elif isinstance(value, str) and key == "currency":
        what, hint = "is not a currency code", suggest(value, CURRENCIES)
    return what, f"{hint}write {_describe(path)}"


def explain_unknown_key(path: KeyPath) -> tuple[str, str]:
    """Say what is wrong and what to do for a key that its table does not have."""
    *parent, key = path
    field = _field_at(tuple(parent))
    table = _table_in(field.annotation) if field else None
    keys = SITE_KEYS if parent == ["site"] else tuple(_by_key(table)) if table else ()
    name = ".".join(str(part) for part in parent if isinstance(part, str))
    return f"is not a key of “{name}”", suggest(str(key), keys).rstrip() or f"its keys are {', '.join(keys)}"


def _how_to_write(kind: str, path: KeyPath, value: object) -> str:
    name = write_path(tuple(part for part in path if isinstance(part, str)))
    field = _field_at(path)
    if kind == "tuple_type" and isinstance(value, dict) and field and _table_in(field.annotation):
        return f"write [[{name}]] with two brackets on either side"
    if kind == "model_type" and isinstance(value, list):
        return f"write [{name}] with one bracket on either side"
    if kind == "model_type":
        return f"write [[{name}]] tables" if isinstance(path[-1], int) else f"write a [{name}] table"
    if kind == "tuple_type" and isinstance(value, str) and path[-1] in ("program", "formerly"):
        return f'write ["{value}"]'
    return f"write {_describe(path)}"


def _describe(path: KeyPath) -> str:
    """Say what is allowed at a place of the site file, from the description of its field."""
    if isinstance(path[-1], int) and path[-2] == "program":
        return 'a span in quotes such as "dusk to midnight"'
    field = _field_at(path)
    return (field.description if field else None) or "something else"


def _by_key(table: type[Table]) -> dict[str, FieldInfo]:
    """Return the fields of a table by their keys, its own before those of its base."""
    names = sorted(table.model_fields, key=lambda name: name not in table.__annotations__)
    fields = {name: table.model_fields[name] for name in names}
    return {field.alias or name: field for name, field in fields.items()}


def _field_at(path: KeyPath) -> FieldInfo | None:
    table: type[Table] | None = Site
    field = None
    for part in path[1:] if path[:1] == ("site",) else path:
        if isinstance(part, int):
            continue
        field = _by_key(table).get(part) if table else None
        table = _table_in(field.annotation) if field else None
    return field


def _table_in(annotation: object) -> type[Table] | None:
    if isinstance(annotation, type) and issubclass(annotation, Table):
        return annotation
    return next((table for inner in get_args(annotation) if (table := _table_in(inner))), None)

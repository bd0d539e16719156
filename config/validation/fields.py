"""The keys of the site file by the models: which field is at a path, what it takes, what to write there."""

from collections.abc import Iterator
from datetime import date, time
from decimal import Decimal
from functools import cache
from typing import Literal, get_args, get_origin

from pydantic.fields import FieldInfo

from config.errors import KeyPath
from config.models.base import Table
from config.models.site import SITE_KEYS, Site
from config.phrase import Phrase

Kind = Literal["number", "truth", "date", "list", "text", "table"]
# Lengths are numbers of metres to the models, and text with a unit in the file.
_LENGTHS = ("length", "lead", "legs")


def field_at(path: KeyPath) -> FieldInfo | None:
    """Return the field at a path of the site file; None where there is none."""
    table: type[Table] | None = Site
    field = None
    for part in path[1:] if path[:1] == ("site",) else path:
        if isinstance(part, int):
            continue
        field = fields_by_key(table).get(part) if table else None
        table = table_in(field.annotation) if field else None
    return field


def fields_by_key(table: type[Table]) -> dict[str, FieldInfo]:
    """Return the fields of a table by their keys, its own before those of its base."""
    names = sorted(table.model_fields, key=lambda name: name not in table.__annotations__)
    fields = {name: table.model_fields[name] for name in names}
    return {field.alias or name: field for name, field in fields.items()}


def table_in(annotation: object) -> type[Table] | None:
    """Return the model of a table inside an annotation; None where it is a value."""
    if isinstance(annotation, type) and issubclass(annotation, Table):
        return annotation
    return next((table for inner in get_args(annotation) if (table := table_in(inner))), None)


def kinds_of(key: str) -> set[Kind]:
    """Return what a key takes in the tables that have it; nothing for a key that none has."""
    return {_kind_of(name, field) for path, field in all_fields() if (name := path[-1]) == key}


def choices_of(key: str) -> set[object]:
    """Return the words that a key takes in the tables that have it, such as “home”."""
    return {each for path, field in all_fields() if path[-1] == key for each in _words_in(field.annotation)}


def describe_key(key: str) -> Phrase:
    """Say what to write for a key, from the description of the first table that has it."""
    fields = (field for path, field in all_fields() if path[-1] == key)
    return describe_field(next((field for field in fields if field.description), None))


def describe_field(field: FieldInfo | None) -> Phrase:
    """Say what to write for a field."""
    text = field.description if field else None
    return text if isinstance(text, Phrase) else Phrase("something else")


def heading_of(name: str) -> str:
    """Write the heading of a table as it should be: ``[site]``, ``[[zones]]``; an empty text for no table."""
    if name == "site":
        return "[site]"
    found = next((field for path, field in all_fields() if ".".join(path) == name), None)
    if found is None or _kind_of(name, found) != "table":
        return ""
    return f"[[{name}]]" if _is_list(found.annotation) else f"[{name}]"


def homes_of(key: str) -> list[str]:
    """Name the tables that have a key, or a table, of that name, from the top down."""
    homes = {".".join(path[:-1]) for path, _ in all_fields() if path[-1] == key and len(path) > 1}
    return sorted(homes, key=lambda name: (name.count("."), name))


@cache
def all_fields() -> list[tuple[tuple[str, ...], FieldInfo]]:
    """List every field with its path, from the top down."""
    return list(_walk(Site, ()))


def _walk(table: type[Table], above: tuple[str, ...]) -> Iterator[tuple[tuple[str, ...], FieldInfo]]:
    for key, field in fields_by_key(table).items():
        path = ("site", key) if not above and key in SITE_KEYS else (*above, key)
        yield path, field
        if inner := table_in(field.annotation):
            yield from _walk(inner, path)


def _kind_of(key: str, field: FieldInfo) -> Kind:
    if table_in(field.annotation):
        return "table"
    types = _types_in(field.annotation)
    if str in types or key in _LENGTHS:
        return "list" if tuple in types else "text"
    if tuple in types:
        return "list"
    if types & {int, float, Decimal}:
        return "number"
    return "truth" if bool in types else "date" if date in types and time not in types else "text"


def _types_in(annotation: object) -> set[object]:
    inner = [each for each in get_args(annotation) if not isinstance(each, str)]
    found = {getattr(annotation, "__origin__", annotation)}
    return found.union(*(_types_in(each) for each in inner)) if inner else found


def _words_in(annotation: object) -> Iterator[object]:
    for inner in get_args(annotation):
        if get_origin(annotation) is Literal:
            yield inner
        else:
            yield from _words_in(inner)


def _is_list(annotation: object) -> bool:
    return tuple in _types_in(annotation)

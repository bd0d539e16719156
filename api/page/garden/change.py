"""How a part of the garden is changed: what was written into its form, and what the site file is to say."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any

from api.page.garden.cables import rename_end, share_line, write_cable
from api.page.garden.fields import NEEDED, FieldError
from api.page.garden.parts import Part
from api.render.words import N_
from config.errors import KeyPath
from config.file.editor import fill_table
from config.file.new_site import derive_zone_id
from config.file.toml_editor import TomlEditor
from config.validation.cables import tables_of
from config.validation.finding import CABLE_FORMS
from controller.relays import missing_library

Table = Mapping[str, Any]
_IN_ORDER_OF_DATES = ("tariff", "changes")


def read_form(part: Part, form: Mapping[str, str]) -> tuple[dict[str, Any], dict[str, str]]:
    """Read what somebody changed in a form: the values, and by its key what is wrong with a field."""
    values: dict[str, Any] = {}
    mistakes: dict[str, str] = {}
    for field in part.fields:
        text = field.written(form)
        if text.strip() == part.shown[field.key] and not (part.is_new and text.strip() != field.default):
            continue
        try:
            values[field.key] = field.read(text)
        except FieldError as error:
            mistakes[field.key] = str(error)
    if part.is_new:
        for field in part.fields:
            if field.required and not field.written(form).strip():
                mistakes[field.key] = NEEDED
    return values, mistakes


def require_board(part: Part, values: Mapping[str, Any]) -> None:
    """Refuse real pins where the library for them is missing.

    Raises:
        FieldError: it is.
    """
    if part.path != ("relays",) or not values.keys() & {"board", "driver", "chip"}:
        return
    now: dict[str, Any] = {**part.shown, **values}
    driver, chip = now["driver"] or None, now["chip"] or None
    if now["board"] != "gpio" or not missing_library("gpio", driver, chip):
        return
    if driver == "gpiod" or (chip and not driver):
        words = N_("gpiod is not installed here. In Leerie's folder, pip install '.[gpiod]' adds it.")
        raise FieldError("driver", words)
    words = N_(
        "The library for the pins, lgpio, is not installed here. In Leerie's folder,"
        " pip install '.[gpio]' adds it."
    )
    raise FieldError("board", words)


def complete(part: Part, values: dict[str, Any], document: Table) -> dict[str, Any]:
    """Add to a new part what nobody is asked for: its id, and a new zone's program as a list."""
    if not part.is_new or part.path[0] not in ("zones", "transformers") or "fixtures" in part.path:
        return values
    taken = {
        name
        for _, row in tables_of(document, str(part.path[0]))
        for name in (row.get("id"), *row.get("formerly", ()))
        if name
    }
    whole = {"id": derive_zone_id(values["name"], taken), **values}
    if "program" in whole:
        whole["program"] = [each.strip() for each in whole["program"].split(";")]
    return whole


def change_part(part: Part, values: Mapping[str, Any]) -> Callable[[TomlEditor], None]:
    """Give the change of the site file that writes a part."""

    def change(editor: TomlEditor) -> None:
        written = write_cable(part.table, values) if part.path[0] == "cables" else dict(values)
        if part.is_new:
            _add(editor, part.path, {key: each for key, each in written.items() if each is not None})
            return
        old_id = editor.get((*part.path, "id"))
        if part.path[0] == "cables":
            rename_end(editor, part.path, written)
        elif old_id is not None and written.get("id", old_id) != old_id:
            _rename(editor, part.path, old_id, written["id"])
        fill_table(editor, part.path, written)

    return change


def _add(editor: TomlEditor, path: KeyPath, values: dict[str, Any]) -> None:
    """Add a table: a setting, or one of several, where a person would look for it."""
    if len(path) == 1:
        fill_table(editor, path, values)
        return
    if path[0] == "transformers":
        _name_only_transformer(editor)
    if path[:-1] == _IN_ORDER_OF_DATES:
        earlier = [row for row in editor.get(path[:-1]) or () if row["since"] < values["since"]]
        path = (*path[:-1], len(earlier))
    if path[0] == "cables":
        share_line(editor, values)
        first = ("from", *(each for each in CABLE_FORMS if each in values))
        values = {key: values[key] for key in dict.fromkeys((*first, *values))}
    behind: KeyPath = ()
    if path == ("cables", 0):
        behind = ("transformers", len(editor.get(("transformers",)) or ()) - 1)
    editor.insert_table(path, values, behind=behind)


def _name_only_transformer(editor: TomlEditor) -> None:
    """Write the id of the only transformer into zones that need not name it until there is another."""
    known = editor.get(("transformers",)) or []
    if len(known) != 1:
        return
    for path, zone in tables_of(editor.values, "zones"):
        if "transformer" not in zone:
            editor.put((*path, "transformer"), known[0]["id"])


def _rename(editor: TomlEditor, path: KeyPath, old: str, new: str | None) -> None:
    """Give a zone or a fixture another id: it keeps the old one, and a zone's cables go by the new one."""
    if new is None:
        return
    formerly = [each for each in editor.get((*path, "formerly")) or [] if each != new]
    editor.put((*path, "formerly"), [*formerly, old])
    if "fixtures" in path:
        return
    named = re.compile(rf"{re.escape(old)}(?= \d+\Z|\Z)")
    is_transformer = any(row.get("id") == old for _, row in tables_of(editor.values, "transformers"))
    for cable, row in tables_of(editor.values, "cables"):
        for key in ("line", "hub", "to", *(() if is_transformer else ("from",))):
            if isinstance(name := row.get(key), str) and named.match(name):
                editor.put((*cable, key), named.sub(new, name, count=1))
    for zone, row in tables_of(editor.values, "zones"):
        for fixture, each in enumerate(row.get("fixtures", ())):
            if isinstance(node := each.get("node"), str) and named.match(node):
                editor.put((*zone, "fixtures", fixture, "node"), named.sub(new, node, count=1))

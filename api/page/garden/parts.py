"""The parts of the garden that have a form: where each stands in the site file, and how it is written."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256
from typing import Any

from api.page.garden.fields import (
    ACTIVE_HIGH,
    CUSTOMER,
    FIXTURE,
    INSTALLER,
    NAME,
    NEEDED,
    NODE,
    OUT_OF_SERVICE,
    PLACE,
    TARIFF,
    TRANSFORMER,
    ZONE_ID,
    ZONE_NAME,
    ZONE_WATTS,
    Choice,
    Field,
    FieldError,
)
from api.render.words import N_
from api.web.problems.types import ProblemError
from config.errors import KeyPath, SiteProblem
from config.file.editor import fill_table
from config.file.new_site import EVERY_EVENING, derive_zone_id, free_lines
from config.file.toml_editor import TomlEditor
from config.header import HEADER_PINS
from config.models.site import FIRST_PIN, LAST_PIN
from config.validation.cables import tables_of
from config.validation.finding import write_path

Table = Mapping[str, Any]
_GONE = "there is no such {} in the garden any more; go back and look again"
_SETTINGS: dict[str, tuple[str, str, Sequence[Field]]] = {
    "name": (N_("The name"), "site", NAME),
    "place": (N_("The place"), "site", PLACE),
    "tariff": (N_("The price of electricity"), "tariff", TARIFF),
    "customer": (N_("The customer"), "customer", CUSTOMER),
    "installer": (N_("The installer"), "installer", INSTALLER),
}
_REMOVABLE = ("tariff", "customer", "installer")


@dataclass(frozen=True, kw_only=True)
class Part:
    """One table of the site file, or a part of one, as a form shows and writes it.

    Attributes:
        address: of its form.
        title: for the catalogue, or a name.
        is_name: whether the title is a name.
        path: where it stands, or will stand.
        table: what stands there; None where it is new.
        start: what a new one begins with.
        back: where the form leads afterwards.
    """

    address: str
    title: str
    is_name: bool = False
    path: KeyPath
    fields: Sequence[Field]
    table: Table | None
    start: Mapping[str, str]
    back: str
    can_go: bool = True

    @property
    def is_new(self) -> bool:
        """Whether the site file does not have it yet."""
        return self.table is None

    @property
    def shown(self) -> dict[str, str]:
        """What its fields show."""
        if self.table is None:
            return {field.key: self.start.get(field.key, field.default) for field in self.fields}
        found = {field.key: field.show(self.table) for field in self.fields}
        if "place" in found:
            found["place"] = f"{self.table['latitude']}, {self.table['longitude']}"
        return found

    @property
    def tag(self) -> str:
        """Name what its fields show now: another phone's change gives another one."""
        text = "\0".join((str(self.is_new), *(f"{key}={value}" for key, value in self.shown.items())))
        return sha256(text.encode()).hexdigest()[:16]

    def sort_problems(self, problems: Sequence[SiteProblem]) -> dict[str, list[SiteProblem]]:
        """Give the problems of this part by the field that they belong to; under "" those of none."""
        here, found = write_path(self.path), dict[str, list[SiteProblem]]()
        keys = {"latitude": "place", "longitude": "place", **{each.key: each.key for each in self.fields}}
        for problem in problems:
            rest = re.fullmatch(rf"{re.escape(here)}(?:[.]([a-z_]+)(?:\[\d+\])?)?", problem.key)
            if rest is not None:
                found.setdefault(keys.get(rest[1] or "", ""), []).append(problem)
        return found


def find_part(document: Table, words: Sequence[str], *, is_new: bool = False) -> Part:
    """Find the part of a form by the words of its address below /garden.

    Raises:
        ProblemError: there is no such part.
    """
    match tuple(words):
        case (name,) if name in _SETTINGS and not is_new:
            return _settings(document, name)
        case ("zones",) if is_new:
            return _new_zone(document)
        case ("zones", zone_id) if not is_new:
            return _zone(document, zone_id)
        case ("transformers", *ids) if len(ids) == (0 if is_new else 1):
            return _transformer(document, *ids)
        case ("zones", zone_id, "fixtures", *numbers) if len(numbers) == (0 if is_new else 1):
            return _fixture(document, zone_id, *numbers)
    raise ProblemError("not-found", _GONE.format("part"))


def change_part(part: Part, values: Mapping[str, Any]) -> Callable[[TomlEditor], None]:
    """Give the change of the site file that writes a part."""

    def change(editor: TomlEditor) -> None:
        written = dict(values)
        if part.is_new:
            kept = {key: each for key, each in written.items() if each is not None}
            if len(part.path) == 1:
                fill_table(editor, part.path, kept)
                return
            if part.path[0] == "transformers":
                _name_only_transformer(editor)
            editor.insert_table(part.path, kept)
            return
        old_id = editor.get((*part.path, "id"))
        if part.path[0] == "zones" and "id" in written and written["id"] != old_id:
            _rename_zone(editor, part.path, old_id, written["id"])
        fill_table(editor, part.path, written)

    return change


def read_form(part: Part, form: Mapping[str, str]) -> tuple[dict[str, Any], dict[str, str]]:
    """Read what somebody changed in a form: the values, and by its key what is wrong with a field."""
    values: dict[str, Any] = {}
    mistakes: dict[str, str] = {}
    for field in part.fields:
        text = form.get(field.key, "")
        if text.strip() == part.shown[field.key] and not (part.is_new and text.strip() != field.default):
            continue
        try:
            values[field.key] = field.read(text)
        except FieldError as error:
            mistakes[field.key] = str(error)
    if part.is_new:
        for field in part.fields:
            if field.required and not form.get(field.key, "").strip():
                mistakes[field.key] = NEEDED
    return values, mistakes


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


def _name_only_transformer(editor: TomlEditor) -> None:
    """Write the id of the only transformer into zones that need not name it until there is another."""
    known = editor.get(("transformers",)) or []
    if len(known) != 1:
        return
    for path, zone in tables_of(editor.values, "zones"):
        if "transformer" not in zone:
            editor.put((*path, "transformer"), known[0]["id"])


def _rename_zone(editor: TomlEditor, path: KeyPath, old: str, new: str) -> None:
    """Give a zone another id: the old one stays with it, and the cables of its lights go by the new one."""
    formerly = [each for each in editor.get((*path, "formerly")) or [] if each != new]
    editor.put((*path, "formerly"), [*formerly, old])
    named = re.compile(rf"{re.escape(old)}(?= \d+\Z|\Z)")
    is_transformer = any(row.get("id") == old for _, row in tables_of(editor.values, "transformers"))
    for cable, row in tables_of(editor.values, "cables"):
        for key in ("line", "hub", *(() if is_transformer else ("from",))):
            if isinstance(name := row.get(key), str) and named.match(name):
                editor.put((*cable, key), named.sub(new, name, count=1))
    for zone, row in tables_of(editor.values, "zones"):
        for fixture, each in enumerate(row.get("fixtures", ())):
            if isinstance(node := each.get("node"), str) and named.match(node):
                editor.put((*zone, "fixtures", fixture, "node"), named.sub(new, node, count=1))


def _settings(document: Table, name: str) -> Part:
    title, table, fields = _SETTINGS[name]
    return Part(
        address=f"/garden/{name}",
        title=title,
        path=(table,),
        fields=fields,
        table=document.get(table),
        start={},
        back=f"/garden#{name}",
        can_go=name in _REMOVABLE,
    )


def _zone_table(document: Table, zone_id: str) -> tuple[KeyPath, Table]:
    for path, row in tables_of(document, "zones"):
        if row.get("id") == zone_id:
            return path, row
    raise ProblemError("not-found", _GONE.format("zone"))


def _zone(document: Table, zone_id: str) -> Part:
    path, row = _zone_table(document, zone_id)
    return Part(
        address=f"/garden/zones/{zone_id}",
        title=str(row.get("name", zone_id)),
        is_name=True,
        path=path,
        fields=(
            ZONE_NAME,
            _pin(document, row),
            ACTIVE_HIGH,
            *_transformer_choice(document),
            OUT_OF_SERVICE,
            *ZONE_WATTS,
            ZONE_ID,
        ),
        table={"name": zone_id, **row},
        start={},
        back=f"/garden#{zone_id}",
        can_go=len(document["zones"]) > 1,
    )


def _new_zone(document: Table) -> Part:
    zones = document["zones"]
    taken = [row.get("pin") for row in zones]
    program = Field(
        key="program", label=N_("When it is lit"), hint=N_("More under “Programs”"), required=True
    )
    free = free_lines(taken)
    return Part(
        address="/garden/new/zones",
        title=N_("A new zone"),
        path=("zones", len(zones)),
        fields=(ZONE_NAME, _pin(document, {}), ACTIVE_HIGH, *_transformer_choice(document), program),
        table=None,
        start={"program": EVERY_EVENING, "pin": str(free[0]) if free else ""},
        back="/garden#zones",
    )


def _pin(document: Table, zone: Table) -> Field:
    """Make the field of a zone's pin: those that suit a relay first, and none that another zone has."""
    taken = {row.get("pin") for row in document["zones"]} - {zone.get("pin")}
    free = free_lines(taken)
    others = [line for line in range(FIRST_PIN, LAST_PIN + 1) if line not in (*free, *taken)]
    mine = [line for line in (zone.get("pin"),) if isinstance(line, int)]
    lines = dict.fromkeys((*mine, *free, *others))
    choices = tuple(
        Choice(str(line), f"BCM {line} · {HEADER_PINS[line]}", is_name=True)
        for line in lines
        if line in HEADER_PINS
    )
    return Field(
        key="pin",
        label=N_("The pin of its relay"),
        kind="whole",
        hint=N_("Its BCM number, and behind it the pin of the header"),
        choices=choices,
        required=True,
    )


def _transformer_choice(document: Table) -> Iterator[Field]:
    known = document.get("transformers", ())
    if known:
        none = (Choice("", N_("the only one"), is_name=False),) if len(known) == 1 else ()
        names = tuple(Choice(row["id"], row.get("name", row["id"]), is_name=True) for row in known)
        yield Field(
            key="transformer",
            label=N_("Its transformer"),
            kind="choice",
            choices=(*none, *names),
            required=len(known) > 1,
        )


def _transformer(document: Table, transformer_id: str | None = None) -> Part:
    rows = list(tables_of(document, "transformers"))
    found = next(((path, row) for path, row in rows if row.get("id") == transformer_id), None)
    if transformer_id is not None and found is None:
        raise ProblemError("not-found", _GONE.format("transformer"))
    path, row = found or (("transformers", len(rows)), None)
    return Part(
        address="/garden/new/transformers" if row is None else f"/garden/transformers/{transformer_id}",
        title=N_("A new transformer") if row is None else row.get("name", transformer_id),
        is_name=row is not None,
        path=path,
        fields=TRANSFORMER,
        table=None if row is None else {"name": transformer_id, **row},
        start={},
        back="/garden#transformers",
    )


def _fixture(document: Table, zone_id: str, number: str | None = None) -> Part:
    path, zone = _zone_table(document, zone_id)
    fixtures = zone.get("fixtures", [])
    if number is not None and not (number.isdecimal() and 1 <= int(number) <= len(fixtures)):
        raise ProblemError("not-found", _GONE.format("lamp"))
    index = len(fixtures) if number is None else int(number) - 1
    there = f"zones/{zone_id}/fixtures"
    return Part(
        address=f"/garden/new/{there}" if number is None else f"/garden/{there}/{number}",
        title=N_("More lamps") if number is None else N_("Lamps"),
        path=(*path, "fixtures", index),
        fields=(*FIXTURE, *((NODE,) if document.get("cables") else ())),
        table=None if number is None else fixtures[index],
        start={"kind": "path"},
        back=f"/garden/zones/{zone_id}",
    )

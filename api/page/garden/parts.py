"""The parts of the garden that have a form: where each stands in the site file, and how it is written."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from hashlib import sha256
from itertools import count
from typing import Any

from api.page.garden.cables import cable_fields, node_field, show_cable
from api.page.garden.fields import (
    ACTIVE_HIGH,
    FIXTURE,
    OUT_OF_SERVICE,
    TRANSFORMER,
    ZONE_CONTACT,
    ZONE_ID,
    ZONE_NAME,
    ZONE_WATTS,
    Choice,
    Field,
)
from api.page.garden.prices import BAND, CHANGE, TARIFF
from api.page.garden.settings import CLOCK, CUSTOMER, INSTALLER, NAME, NETWORK, PLACE, RELAYS, WIRING
from api.render.words import N_
from api.web.problems.types import ProblemError
from config.errors import KeyPath, SiteProblem
from config.file.new_site import EVERY_EVENING, free_lines
from config.header import HEADER_PINS
from config.models.site import FIRST_PIN, LAST_PIN
from config.phrase import Phrase
from config.validation.cables import tables_of
from config.validation.finding import CABLE_FORMS, write_path

Table = Mapping[str, Any]
_GONE = {
    "part": Phrase("there is no such part in the garden any more; go back and look again"),
    "zone": Phrase("there is no such zone in the garden any more; go back and look again"),
    "transformer": Phrase("there is no such transformer in the garden any more; go back and look again"),
    "cable": Phrase("there is no such cable in the garden any more; go back and look again"),
    "price list": Phrase("there is no such price list in the garden any more; go back and look again"),
    "price": Phrase("there is no such price in the garden any more; go back and look again"),
    "lamp": Phrase("there is no such lamp in the garden any more; go back and look again"),
}
_SETTINGS: dict[str, tuple[str, str, Sequence[Field]]] = {
    "name": (N_("The name"), "site", NAME),
    "place": (N_("The place"), "site", PLACE),
    "tariff": (N_("The price of electricity"), "tariff", TARIFF),
    "customer": (N_("The customer"), "customer", CUSTOMER),
    "installer": (N_("The installer"), "installer", INSTALLER),
    "relays": (N_("The relays"), "relays", RELAYS),
    "clock": (N_("The clock"), "clock", CLOCK),
    "network": (N_("How it is found"), "network", NETWORK),
    "wiring": (N_("What is asked of the wiring"), "wiring", WIRING),
}
# These are there or not; of the others every key has a value where none is given.
_REMOVABLE = ("tariff", "customer", "installer")
_CABLE_TITLES = {
    "to": N_("The cable to %(name)s"),
    "line": N_("The line %(name)s"),
    "hub": N_("The hub %(name)s, and the cable to it"),
}
_NOTES = {
    "relays": N_(
        "Another choice counts at once: the relays in use are switched off and released, and the others are"
        " then lit as the programs say."
    ),
    "network": N_("Whether the home network reaches this page at all stands under “Devices”."),
}


@dataclass(frozen=True, kw_only=True)
class Part:
    """One table of the site file, or a part of one, as a form shows and writes it.

    Attributes:
        address: of its form.
        title: for the catalogue, or a name.
        is_name: whether the title is a name.
        name: what stands for %(name)s in the title.
        path: where it stands, or will stand.
        table: what stands there; None where it is new.
        start: what a new one begins with.
        back: where the form leads afterwards.
        note: what is worth knowing before it is changed, for the catalogue.
    """

    address: str
    title: str
    is_name: bool = False
    name: str = ""
    path: KeyPath
    fields: Sequence[Field]
    table: Table | None
    start: Mapping[str, str]
    back: str
    can_go: bool = True
    note: str = ""

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

    def is_more_open(
        self, typed: Mapping[str, str], mistakes: Mapping[str, str], problems: Mapping[str, Sequence[object]]
    ) -> bool:
        """Whether something stands in a field behind “More” that somebody should see."""
        return any(
            field.key in mistakes or field.key in problems or typed[field.key].strip() != field.default
            for field in self.fields
            if field.more and field.key != "id"
        )

    def sort_problems(self, problems: Sequence[SiteProblem]) -> dict[str, list[SiteProblem]]:
        """Give the problems of this part by the field that they belong to; under "" those of none."""
        here, found = write_path(self.path), dict[str, list[SiteProblem]]()
        keys = {"latitude": "place", "longitude": "place", **{each.key: each.key for each in self.fields}}
        if self.path[0] == "cables":
            keys |= dict.fromkeys(CABLE_FORMS, "end")
        for problem in problems:
            rest = re.fullmatch(rf"{re.escape(here)}(?:[.]([a-z_]+)(?:\[\d+\])?)?", problem.key)
            if rest is not None:
                found.setdefault(keys.get(rest[1] or "", ""), []).append(problem)
        return found


def find_part(  # noqa: PLR0911 - one kind of part after the other
    document: Table, words: Sequence[str], *, is_new: bool = False, begins: str = ""
) -> Part:
    """Find the part of a form by the words of its address below /garden.

    Args:
        document: the site file's plain tables.
        words: of the address.
        is_new: whether it is to be added.
        begins: where a new cable begins, to fill in.

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
        case ("cables", *numbers) if len(numbers) == (0 if is_new else 1):
            return _cable(document, *numbers, begins=begins)
        case ("tariff", *inside) if "tariff" in document:
            return _price(document, inside, is_new=is_new)
    raise ProblemError("not-found", _GONE["part"])


def find_seen(document: Table, words: Sequence[str], seen: str) -> Part:
    """Find the part that a form showed, also where it has another number by now.

    Args:
        document: the site file's plain tables.
        words: of the form's address.
        seen: the tag of what the form showed.

    Returns:
        That part; where none is as the form showed it, the one at its address.

    Raises:
        ProblemError: there is none at its address either.
    """
    *way, last = words
    if last.isdecimal():
        with suppress(ProblemError):
            for number in count(1):
                if (part := find_part(document, [*way, str(number)])).tag == seen:
                    return part
    return find_part(document, words)


def _settings(document: Table, name: str) -> Part:
    title, table, fields = _SETTINGS[name]
    return Part(
        address=f"/garden/{name}",
        title=title,
        path=(table,),
        fields=fields,
        table=document.get(table) if name in _REMOVABLE else document.get(table, {}),
        start={},
        back=f"/garden#{name}",
        can_go=name in _REMOVABLE,
        note=_NOTES.get(name, ""),
    )


def _zone_table(document: Table, zone_id: str) -> tuple[KeyPath, Table]:
    for path, row in tables_of(document, "zones"):
        if row.get("id") == zone_id:
            return path, row
    raise ProblemError("not-found", _GONE["zone"])


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
            *ZONE_CONTACT,
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
        Choice(str(line), f"{HEADER_PINS[line]} (BCM {line})", is_name=True)
        for line in lines
        if line in HEADER_PINS
    )
    return Field(
        key="pin",
        label=N_("Header pin of its relay"),
        kind="whole",
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
        raise ProblemError("not-found", _GONE["transformer"])
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
    index = _index(fixtures, number, "lamp")
    row = None if number is None else fixtures[index]
    there = f"zones/{zone_id}/fixtures"
    node = (node_field(document, row or {}),) if document.get("cables") else ()
    return Part(
        address=f"/garden/new/{there}" if number is None else f"/garden/{there}/{number}",
        title=N_("More lamps of %(name)s") if row is None else N_("Lamps of %(name)s"),
        name=str(zone.get("name", zone_id)),
        path=(*path, "fixtures", index),
        fields=(*FIXTURE[:5], *node, *FIXTURE[5:]),
        table=row,
        start={"kind": "path"},
        back=f"/garden/zones/{zone_id}",
    )


def _cable(document: Table, number: str | None = None, *, begins: str = "") -> Part:
    rows = document.get("cables", [])
    index = _index(rows, number, "cable")
    row = None if number is None else rows[index]
    shown = None if row is None else show_cable(row)
    fields = cable_fields(document, "" if row is None else str(row.get("from", "")))
    starts = [choice.value for choice in fields[0].choices]
    return Part(
        address="/garden/new/cables" if number is None else f"/garden/cables/{number}",
        title=N_("A new cable") if shown is None else _CABLE_TITLES[shown["form"]],
        name="" if shown is None else str(shown["end"]),
        path=("cables", index),
        fields=fields,
        table=shown,
        start={"from": begins if begins in starts else next(iter(starts), ""), "form": "to"},
        back="/garden#cables",
    )


def _price(document: Table, inside: Sequence[str], *, is_new: bool) -> Part:
    """Find a band of hours, or a price list from a date on, which has bands of its own."""
    holder: Table = document["tariff"]
    path: KeyPath = ("tariff",)
    there = "/garden/tariff"
    match (*inside, None) if is_new else tuple(inside):
        case ("changes", since, "bands" as kind, number):
            index = _index(holder.get("changes", []), since, "price list")
            holder, path, there = (
                holder["changes"][index],
                (*path, "changes", index),
                f"{there}/changes/{since}",
            )
        case ("bands" | "changes" as kind, number):
            pass
        case _:
            raise ProblemError("not-found", _GONE["price"])
    rows = holder.get(kind, [])
    index = _index(rows, number, "price")
    titles = N_("A price at some hours"), N_("A price list from a date on")
    return Part(
        address=f"{there.replace('/garden', '/garden/new')}/{kind}" if is_new else f"{there}/{kind}/{number}",
        title=titles[kind == "changes"],
        path=(*path, kind, index),
        fields=CHANGE if kind == "changes" else BAND,
        table=None if is_new else rows[index],
        start={},
        back=there,
    )


def _index(rows: Sequence[Table], number: str | None, noun: str) -> int:
    """Give the place of one of several tables, from 0, by its number; without one that of the next."""
    if number is None:
        return len(rows)
    if not (number.isdecimal() and 1 <= int(number) <= len(rows)):
        raise ProblemError("not-found", _GONE[noun])
    return int(number) - 1

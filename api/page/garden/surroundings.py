"""What stands around a form: what belongs to its part, the cables as a tree, the header with its pins."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from api.page.garden.cables import describe_cable, draw_cables, onward
from api.page.garden.fields import DAYS, FIXTURE
from api.page.garden.first_run import header_pins
from api.page.garden.overview import Line, problems_of
from api.page.garden.parts import Part
from api.page.garden.prices import describe_band
from api.render.words import N_, Words
from config.errors import SiteProblem
from config.header import HEADER_PINS
from config.validation.cables import tables_of
from config.validation.finding import write_path

Table = Mapping[str, Any]
# Any year will do that begins on a Monday.
_YEAR = 2001


@dataclass(frozen=True, kw_only=True, slots=True)
class Inside:
    """What stands inside a part, each with a form of its own: title, lines, the way to another."""

    title: str
    hint: str
    lines: list[Line]
    add: str
    address: str


def surroundings(
    part: Part, document: Table, warnings: Sequence[SiteProblem], words: Words
) -> dict[str, object]:
    """Give what the screen of a form shows beside its fields."""
    found: dict[str, object] = {"rest": "", "program": ""}
    found |= dict.fromkeys(("inside", "supplies", "onward", "pins"), ())
    if part.table is not None:
        found["inside"] = list(_inside(part, warnings, words))
        if part.path[0] == "zones" and "fixtures" not in part.path:
            found["program"] = f"/programs/{part.table['id']}"
    if part.path[0] == "cables":
        found |= {
            "rest": describe_cable(document, part.path, words),
            "supplies": draw_cables(document, words, here=part.path),
            "onward": onward(document, part.path),
        }
    if part.path[0] == "relays" or (part.path[0] == "zones" and "fixtures" not in part.path):
        zones = _zones(document)
        found |= {
            "pins": header_pins(),
            "zones": zones,
            "zones_at": {zone["pin"]: zone["number"] for zone in zones},
            "this_zone": None if part.path[0] == "relays" else int(part.path[1]) + 1,
        }
    # Any year will do that begins on a Monday.
    found["weekdays"] = [
        (day, words.weekday(date(_YEAR, 1, place))) for place, day in enumerate(DAYS, start=1)
    ]
    found["months"] = [(f"{month:02}", words.month(date(_YEAR, month, 1))) for month in range(1, 13)]
    return found


def _zones(document: Table) -> list[dict[str, object]]:
    """List the zones by their numbers, with their pins on the header."""
    return [
        {
            "number": number,
            "name": row.get("name", row.get("id")),
            "address": f"/garden/zones/{row.get('id')}",
            "bcm": row["pin"],
            "pin": HEADER_PINS[row["pin"]],
        }
        for number, (_, row) in enumerate(tables_of(document, "zones"), start=1)
        if row.get("pin") in HEADER_PINS
    ]


def _inside(part: Part, warnings: Sequence[SiteProblem], words: Words) -> Iterator[Inside]:
    new = part.address.replace("/garden", "/garden/new", 1)
    match part.path:
        case ("zones", _):
            yield Inside(
                title=N_("Lamps"),
                hint="",
                lines=_lines(part, "fixtures", warnings, lambda row: _lamps(row, words)),
                add=N_("Add lamps"),
                address=f"{new}/fixtures",
            )
        case ("tariff",) | ("tariff", "changes", _):
            yield Inside(
                title=N_("Other prices at some hours"),
                hint=N_("Of several that hold at once, the last one counts."),
                lines=_lines(part, "bands", warnings, lambda row: _band(row, words)),
                add=N_("Add a price for some hours"),
                address=f"{new}/bands",
            )
    if part.path == ("tariff",):
        yield Inside(
            title=N_("Price lists from a date on"),
            hint=N_("From its date on, one replaces all that stands above."),
            lines=_lines(part, "changes", warnings, lambda row: _change(row, words)),
            add=N_("Add a price list"),
            address=f"{new}/changes",
        )


def _lines(
    part: Part, kind: str, warnings: Sequence[SiteProblem], say: Callable[[Table], tuple[str, str]]
) -> list[Line]:
    """List the tables of one kind inside a part, in the order of the file."""
    found = []
    for number, row in enumerate((part.table or {}).get(kind, ()), start=1):
        name, says = say(row)
        found.append(
            Line(
                id=f"{kind}-{number}",
                name=name,
                address=f"{part.address}/{kind}/{number}",
                says=says,
                warnings=problems_of(write_path((*part.path, kind, number - 1)), warnings),
            )
        )
    return found


def _lamps(row: Table, words: Words) -> tuple[str, str]:
    kinds = {choice.value: choice.label for choice in FIXTURE[0].choices}
    kind = words.gettext(kinds.get(str(row.get("kind")), kinds["other"]))
    watts = words.written(str(row.get("watts", "–")))
    says = f"{row.get('count')} × {watts}\N{NO-BREAK SPACE}W"
    name = str(row.get("name", ""))
    return (name, f"{kind}, {says}") if name else (kind, says)


def _band(row: Table, words: Words) -> tuple[str, str]:
    return str(row.get("name") or words.gettext("a price")), describe_band(row, words)


def _change(row: Table, words: Words) -> tuple[str, str]:
    since = row.get("since")
    day = f"{words.date(since)} {since.year}" if isinstance(since, date) else str(since)
    price = words.gettext("%(price)s a kilowatt-hour") % {"price": words.written(str(row.get("per_kwh")))}
    bands = len(row.get("bands", ()))
    other = words.ngettext("%(count)d other price", "%(count)d other prices", bands) % {"count": bands}
    return words.gettext("from %(day)s") % {"day": day}, f"{price}; {other}" if bands else price

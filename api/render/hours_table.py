"""The account of the past for people: tables of hours, energy and money, of lamps, and of relays."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from rich.console import RenderableType
from rich.text import Text

from api.render.numbers import NONE, hours, kwh, money, share
from api.render.tables import QUIET, STRONG, TableColumn, build_table

Row = dict[str, Any]
_UNEXPLAINED = "unexplained"


def lay_out_hours(answer: dict[str, Any], tz: ZoneInfo) -> Iterator[RenderableType]:
    """Lay out an answer of ``report_hours``.

    Args:
        answer: the answer.
        tz: time zone of the site, for the instants in it.
    """
    yield Text(f"{answer['site']}, nights of {answer['from']} to {answer['to']}, by {answer['by']}")
    yield Text("")
    yield build_table(_hour_columns(answer["currency"]), _hour_rows(answer))
    if gap := answer["total"]["longest_dark_gap"]:
        at = datetime.fromisoformat(gap["from"]).astimezone(tz)
        yield Text("")
        when = f"from {at:%H:%M on %a %d %b %Y}"
        yield Text(f"Longest dark gap: {hours(gap['hours'])} h {when}, {_reason(gap)}.")
    if answer.get("lamps"):
        yield Text("")
        yield build_table(_LAMP_COLUMNS, [_lamp_cells(lamp) for lamp in answer["lamps"]])
    if answer.get("relays"):
        yield Text("")
        yield build_table(_RELAY_COLUMNS, [_relay_cells(relay) for relay in answer["relays"]])
    notes = [*_since(answer, tz), *answer["notes"]]
    for number, note in enumerate(notes):
        if number == 0:
            yield Text("")
        yield Text(f"{note[0].upper()}{note[1:]}.", style=QUIET)


def _hour_columns(currency: str | None) -> list[TableColumn]:
    """Name the columns of the account."""
    names = ("Lit h", "Program", "Override", "Other", "Starts", "By day", "Missed")
    columns = [TableColumn(heading="Period"), TableColumn(heading="Zone")]
    columns += [TableColumn(heading=name, right=True) for name in names]
    columns.append(TableColumn(heading="Because", folds=True))
    energy = ["Lamps kWh", "Meter kWh"] + ([f"Cost {currency}"] if currency else [])
    return columns + [TableColumn(heading=name, right=True) for name in energy]


def _hour_rows(answer: dict[str, Any]) -> Iterator[Sequence[str | Text] | None]:
    """Lay out every row, with a total where there is something to add up."""
    shown = ""
    several = len(answer["totals"]) > 1
    for row in answer["hours"]:
        if shown and shown != row["period"] and several:
            yield None
        yield _cells(row["period"] if row["period"] != shown else "", row["zone"], row, answer["currency"])
        shown = row["period"]
    periods = {row["period"] for row in answer["hours"]}
    if len(periods) > 1 and several:
        yield None
        for number, row in enumerate(answer["totals"]):
            yield _cells("all nights" if number == 0 else "", row["zone"], row, answer["currency"])
    if several or len(periods) > 1:
        yield None
        total = _cells("in all", "", answer["total"], answer["currency"])
        yield [Text(cell, style=STRONG) for cell in total]


def _cells(period: str, zone: str, row: Row, currency: str | None) -> list[str]:
    """Lay out one row."""
    because = ", ".join(f"{_reason(part)} {hours(part['hours'])}" for part in row["missed"])
    cells = [
        period,
        zone,
        hours(row["lit_h"]),
        hours(row["by_program_h"]),
        hours(row["by_override_h"]),
        hours(row["unknown_h"]),
        str(row["starts"]),
        hours(row["daylight_h"]),
        hours(row["missed_h"]),
        because,
        kwh(row["lamps_kwh"], at_least=row["without_load_h"] > 0),
        kwh(row["meter_kwh"], at_least=row["at_least"]),
    ]
    return [*cells, money(row["cost"], at_least=row["at_least"])] if currency else cells


_LAMP_COLUMNS = [
    TableColumn(heading="Lamps"),
    TableColumn(heading="", folds=True),
    TableColumn(heading="Since"),
    TableColumn(heading="Lit h", right=True),
    TableColumn(heading="Of h", right=True),
    TableColumn(heading="Used", right=True),
    TableColumn(heading="In a year", right=True),
    TableColumn(heading="", folds=True),
]
_RELAY_COLUMNS = [
    TableColumn(heading="Relay"),
    TableColumn(heading="Cycles", right=True),
    TableColumn(heading="Of", right=True),
    TableColumn(heading="Used", right=True),
    TableColumn(heading="Worn out about"),
]


def _lamp_cells(lamp: Row) -> list[str]:
    """Lay out the lamps of one fixture."""
    lit = f"{lamp['lit_h']:,.0f}"
    if lamp["estimated_h"]:
        lit += f", {lamp['estimated_h']:,.0f} of them by the plan"
    return [
        f"{lamp['zone']}:{lamp['fixture']}",
        f"{lamp['count']} × {lamp['name']}",
        lamp["since"] or "not known",
        lit,
        NONE if lamp["life_h"] is None else f"{lamp['life_h']:,.0f}",
        share(lamp["used"]),
        share(lamp["used_in_a_year"]),
        lamp["words"],
    ]


def _relay_cells(relay: Row) -> list[str]:
    """Lay out one relay."""
    about = relay["wears_out_about"]
    return [
        relay["zone"],
        f"{relay['cycles']:,}",
        f"{relay['endurance_cycles']:,}",
        share(relay["used"]),
        "not within 30 years" if about is None else f"{date.fromisoformat(about):%B %Y}",
    ]


def _reason(part: Row) -> str:
    """Name a reason for dark."""
    return str(part["why"] or _UNEXPLAINED)


def _since(answer: dict[str, Any], tz: ZoneInfo) -> Iterator[str]:
    """Say where the journal begins, if that lies within what was asked."""
    since = answer["journal_since"]
    if since is None:
        yield "the journal holds no time yet that can be believed, so nothing can be counted"
        return
    at = datetime.fromisoformat(since).astimezone(tz)
    if at.date().isoformat() >= answer["from"]:
        yield f"the journal begins on {at:%a %d %b %Y} at {at:%H:%M}"

"""The year ahead for people: months, zones, other plans side by side, and the old timer against the sun."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from typing import Any

from rich.console import RenderableType
from rich.text import Text

from api.render.numbers import share
from api.render.tables import QUIET, STRONG, TableColumn, build_table, count

Row = dict[str, Any]
_S_PER_HOUR = 3600


def hours(value: float) -> str:
    """Write hours."""
    return f"{value:,.1f}" if value >= 1000 else f"{value:.2f}"  # noqa: PLR2004


def kwh(value: float | None, *, at_least: bool = False) -> str:
    """Write a figure."""
    return "–" if value is None else f"{'≥ ' if at_least else ''}{value:,.2f}"


money = kwh


def lay_out_year(answer: dict[str, Any]) -> Iterator[RenderableType]:
    """Lay out an answer of ``year_as_json``."""
    currency = answer["currency"]
    ahead = count(answer["nights"], "night")
    yield Text(f"{answer['site']}, {ahead} from {answer['from']} to {answer['to']}")
    yield Text("")
    yield _months(answer["present"], currency)
    yield Text("")
    yield _zones(answer["present"], currency)
    for other in answer["others"]:
        yield from _other(other, f"With {other['name']}", currency)
    if answer["old_timer"]:
        yield from _old_timer(answer["old_timer"], currency)
    for note in answer["notes"]:
        yield Text("")
        yield Text(f"{note[0].upper()}{note[1:]}.", style=QUIET)


def signed(value: float | None) -> str:
    """Write a difference with its sign; what rounds to nothing has none."""
    if value is None:
        return "–"
    return f"{value:+,.2f}" if round(value, 2) else "0.00"


def _months(plan: dict[str, Any], currency: str | None) -> RenderableType:
    """Lay out hours by month and zone, with what all zones take."""
    zones = [row["zone"] for row in plan["totals"]]
    columns = [TableColumn(heading="Hours lit"), *(TableColumn(heading=zone, right=True) for zone in zones)]
    columns += [TableColumn(heading="Meter kWh", right=True)]
    columns += [TableColumn(heading=f"Cost {currency}", right=True)] if currency else []
    by_month: dict[str, list[Row]] = {}
    for row in plan["months"]:
        by_month.setdefault(row["month"], []).append(row)
    rows: list[Sequence[str | Text] | None] = [
        [month, *(hours(row["lit_h"]) for row in those), *_sums(those, currency)]
        for month, those in by_month.items()
    ]
    total = [*(hours(row["lit_h"]) for row in plan["totals"]), *_sums([plan["total"]], currency)]
    rows += [None, [Text(cell, style=STRONG) for cell in ("in all", *total)]]
    return build_table(columns, rows)


def _sums(rows: Sequence[Row], currency: str | None) -> list[str]:
    """Add up what some rows take."""
    at_least = any(row["at_least"] for row in rows)
    cells = [kwh(sum(row["meter_kwh"] for row in rows), at_least=at_least)]
    if not currency:
        return cells
    return [*cells, money(sum(row["cost_unrounded"] or 0 for row in rows), at_least=at_least)]


def _zones(plan: dict[str, Any], currency: str | None) -> RenderableType:
    """Lay out what each zone takes in all."""
    names = ["Lit h", "By day", "Starts", "Lamps kWh", "Meter kWh"]
    names += [f"Cost {currency}"] if currency else []
    columns = [TableColumn(heading="Zone"), *(TableColumn(heading=name, right=True) for name in names)]
    columns.append(TableColumn(heading="Lamp life used", right=True))
    return build_table(
        columns,
        [
            [
                row["zone"],
                hours(row["lit_h"]),
                hours(row["daylight_h"]),
                f"{row['starts']}",
                kwh(row["lamps_kwh"]),
                kwh(row["meter_kwh"], at_least=row["at_least"]),
                *([money(row["cost"], at_least=row["at_least"])] if currency else []),
                share(row["lamp_life_used"]),
            ]
            for row in plan["totals"]
        ],
    )


def _other(plan: dict[str, Any], title: str, currency: str | None) -> Iterator[RenderableType]:
    """Lay out what another plan takes, and what it changes."""
    names = ["Lit h", "Change", "By day", "Change", "Meter kWh", "Change"]
    names += [f"Cost {currency}", "Change"] if currency else []
    columns = [TableColumn(heading=title), *(TableColumn(heading=name, right=True) for name in names)]
    rows: list[Sequence[str | Text] | None] = [
        [total["zone"], *_beside(total, change, currency)]
        for total, change in zip(plan["totals"], plan["changes"], strict=True)
    ]
    in_all = ["in all", *_beside(plan["total"], plan["change"], currency)]
    rows += [None, [Text(cell, style=STRONG) for cell in in_all]]
    yield Text("")
    yield build_table(columns, rows)


def _beside(total: Row, change: Row, currency: str | None) -> list[str]:
    """Lay out figures with their changes beside them."""
    cells = [
        hours(total["lit_h"]),
        signed(change["lit_h"]),
        hours(total["daylight_h"]),
        signed(change["daylight_h"]),
        kwh(total["meter_kwh"], at_least=total["at_least"]),
        signed(change["meter_kwh"]),
    ]
    if not currency:
        return cells
    return [*cells, money(total["cost"], at_least=total["at_least"]), signed(change["cost"])]


def _old_timer(timer: dict[str, Any], currency: str | None) -> Iterator[RenderableType]:
    """Lay out what an old timer would do."""
    moved = "moved at clock changes" if timer["moved_at_clock_changes"] else "never moved"
    yield from _other(timer, f"With an old timer {timer['pins']}", currency)
    yield Text("")
    columns = [TableColumn(heading="Old timer")]
    columns += [
        TableColumn(heading=name, right=True) for name in ("Lit h", "By day", "Dark and unlit", "Dial ahead")
    ]
    rows: list[Sequence[str | Text] | None] = [
        [month, *_timer_cells(nights)] for month, nights in _by_month(timer["nights"])
    ]
    in_all = ["in all", hours(timer["lit_h"]), hours(timer["daylight_h"]), hours(timer["unlit_dark_h"]), ""]
    rows += [None, [Text(cell, style=STRONG) for cell in in_all]]
    yield build_table(columns, rows)
    yield Text("")
    drift = f", gains {timer['drift_s_per_day']:g} s a day" if timer["drift_s_per_day"] else ""
    words = f"Set on {timer['set_on']}, {moved}{drift}. Dark and unlit: before its off pin trips."
    yield Text(words, style=QUIET)


def _by_month(nights: Iterable[Row]) -> Iterator[tuple[str, list[Row]]]:
    """Gather nights by the month of their date."""
    by_month: dict[str, list[Row]] = {}
    for night in nights:
        by_month.setdefault(f"{date.fromisoformat(night['night']):%Y-%m}", []).append(night)
    yield from by_month.items()


def _timer_cells(nights: Sequence[Row]) -> list[str]:
    """Lay out one month of the old timer."""
    sums = [sum(night[name] for night in nights) for name in ("lit_h", "daylight_h", "unlit_dark_h")]
    ahead = [night["dial_ahead_s"] / _S_PER_HOUR for night in nights]
    low, high = min(ahead), max(ahead)
    dial = signed(low) if round(low, 2) == round(high, 2) else f"{signed(low)} to {signed(high)}"
    return [*map(hours, sums), f"{dial} h"]

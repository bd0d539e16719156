"""The account of the past as CSV (RFC 4180): one row a zone and period, units in the header."""

import csv
import io
from collections.abc import Callable, Generator, Iterable
from decimal import Decimal
from functools import partial

from api.render.numbers import currency_of, hours_of, kwh_of, unrounded
from controller.energy.tariff import round_money
from controller.history.query import Beside
from controller.history.report import HoursStream
from controller.history.totals import REASONS, Comparison, Figures, HourSum
from controller.records.entries import Cause

Cell = str | int | float | None


def write_csv(stream: HoursStream) -> Generator[str, None, None]:
    """Write an account as CSV: the header first, then the lines of each batch of rows as it comes.

    Source: RFC 4180; held by tests/api/cli/test_hours.py with Python's and pandas' own readers.
    """
    currency, beside = currency_of(stream.head.site), stream.head.beside
    columns = _columns(currency)
    if Beside.LAST_YEAR in beside:
        columns |= _comparison("year earlier", lambda row: row.year_earlier, currency)
    if Beside.FORECAST in beside:
        columns |= _comparison("forecast", lambda row: row.forecast, currency)
    yield _lines([["period", "first night", "last night", "period is", "recorded", "zone", *columns]])
    for batch in stream.batches():
        yield _lines(_row(row, columns.values()) for row in batch)


def _row(row: HourSum, columns: Iterable[Callable[[HourSum], Cell]]) -> list[Cell]:
    period = row.period
    assert period is not None, "a row belongs to a period"
    dates = (period.first.isoformat(), period.last.isoformat())
    is_over = "over" if row.is_over else "not over"
    return [period.name, *dates, is_over, row.recorded.value, row.zone, *(find(row) for find in columns)]


def _columns(currency: str | None) -> dict[str, Callable[[HourSum], Cell]]:
    """Give the columns after period and zone: each heading, and how its cell is found."""
    columns: dict[str, Callable[[HourSum], Cell]] = {
        "lit (h)": lambda hours: hours_of(hours.lit_ms),
        "by program (h)": lambda hours: hours_of(hours.program_ms),
        "by override (h)": lambda hours: hours_of(hours.override_ms),
        "for another reason (h)": lambda hours: hours_of(hours.unknown_ms),
        "clock not trusted while lit (h)": lambda hours: hours_of(hours.untrusted_ms),
        "before dusk or after dawn (h)": lambda hours: hours_of(hours.daylight_ms),
        "starts": lambda hours: hours.starts,
        "planned (h)": lambda hours: hours_of(hours.planned_ms),
        "missed (h)": lambda hours: hours_of(hours.missed_ms),
    }
    columns |= {f"missed, {reason or 'unexplained'} (h)": partial(_missed, reason) for reason in REASONS}
    columns |= {
        "longest dark gap (h)": lambda hours: (
            hours_of(hours.longest_gap.lasts_ms) if hours.longest_gap else None
        ),
        "at the lamps (kWh)": lambda hours: kwh_of(hours.lamps_j),
        "in the cables (kWh)": lambda hours: kwh_of(hours.energy.cable_j),
        "in the transformer, lit (kWh)": lambda hours: kwh_of(hours.energy.transformer_lit_j),
        "in the transformer, dark (kWh)": lambda hours: kwh_of(hours.energy.idle_j),
        "at the meter (kWh)": lambda hours: kwh_of(hours.energy.meter_j),
    }
    if currency is not None:
        columns[f"cost ({currency})"] = lambda hours: _money(hours.cost, currency)
        columns[f"cost, not rounded ({currency})"] = lambda hours: unrounded(hours.cost)
    columns["load (W)"] = lambda hours: " then ".join(
        "unknown" if watts is None else f"{watts:g}" for watts, _ in hours.loads
    )
    columns["lit with an unknown load (h)"] = lambda hours: hours_of(hours.without_load_ms)
    columns["energy is"] = lambda hours: "at least" if hours.at_least else "complete"
    columns["transformer and cables are"] = lambda hours: "assumed" if hours.assumed else "as recorded"
    return columns


def _comparison(
    name: str, find: Callable[[HourSum], Comparison | None], currency: str | None
) -> dict[str, Callable[[HourSum], Cell]]:
    """Give the columns of another period, and of how much more than there it is here."""
    figures: dict[str, Callable[[Figures], Cell]] = {
        "lit (h)": lambda each: hours_of(each.lit_ms),
        "missed (h)": lambda each: hours_of(each.missed_ms),
        "at the meter (kWh)": lambda each: kwh_of(each.meter_j),
    }
    if currency is not None:
        figures[f"cost ({currency})"] = lambda each: _money(each.cost, currency)

    def cell(get: Callable[[Figures], Cell], row: HourSum, *, change: bool) -> Cell:
        beside = find(row)
        part = None if beside is None else beside.change if change else beside.other
        return None if part is None else get(part)

    return {
        **{f"{name}, {what}": partial(cell, get, change=False) for what, get in figures.items()},
        **{f"more than {name}, {what}": partial(cell, get, change=True) for what, get in figures.items()},
    }


def _money(amount: Decimal | None, currency: str) -> str | None:
    """Write an amount with the digits of its currency."""
    return None if amount is None else str(round_money(amount, currency))


def _missed(reason: Cause | None, hours: HourSum) -> Cell:
    """Add up the hours that were missed for a reason."""
    return hours_of(sum(part.lasts_ms for part in hours.missed if part.reason is reason))


def _lines(rows: Iterable[Iterable[Cell]]) -> str:
    """Write lines; the default dialect ends each with CRLF and doubles quotes, as the RFC says."""
    lines = io.StringIO()
    csv.writer(lines).writerows(rows)
    return lines.getvalue()

"""The account of the past as CSV (RFC 4180): one row a zone and period, units in the header."""

import csv
import io
from collections.abc import Callable, Iterable, Iterator
from functools import partial

from api.render.numbers import hours_of, kwh_of, unrounded
from controller.energy.values import Energy
from controller.history.totals import REASONS, HourSum
from controller.records.entries import Cause

Cell = str | int | float | None


def write_csv(rows: Iterable[HourSum], currency: str | None) -> Iterator[str]:
    """Write rows of the account as lines of CSV, each as it comes, the header first.

    Source: RFC 4180; held by tests/api/cli/test_hours.py with Python's and pandas' own readers.
    """
    columns = _columns(currency)
    yield _line(["period", "first night", "last night", "zone", *columns])
    for row in rows:
        period = row.period
        assert period is not None, "a row belongs to a period"
        cells = (find(row) for find in columns.values())
        yield _line([period.name, period.first.isoformat(), period.last.isoformat(), row.zone, *cells])


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
        "in the cables (kWh)": _energy(lambda energy: kwh_of(energy.cable_j)),
        "in the transformer, lit (kWh)": _energy(lambda energy: kwh_of(energy.transformer_lit_j)),
        "in the transformer, dark (kWh)": _energy(lambda energy: kwh_of(energy.idle_j)),
        "at the meter (kWh)": _energy(lambda energy: kwh_of(energy.meter_j)),
    }
    if currency is not None:
        columns[f"cost ({currency})"] = lambda hours: unrounded(hours.cost)
    columns["load (W)"] = lambda hours: " then ".join(
        "unknown" if watts is None else f"{watts:g}" for watts, _ in hours.loads
    )
    columns["lit with an unknown load (h)"] = lambda hours: hours_of(hours.without_load_ms)
    columns["energy is"] = lambda hours: "at least" if hours.at_least else "complete"
    columns["transformer and cables are"] = lambda hours: "assumed" if hours.assumed else "as recorded"
    return columns


def _missed(reason: Cause | None, hours: HourSum) -> Cell:
    """Add up the hours that were missed for a reason; none where it is not known what was missed."""
    if hours.missed_ms is None:
        return None
    return hours_of(sum(part.lasts_ms for part in hours.missed if part.reason is reason))


def _energy(find: Callable[[Energy], float]) -> Callable[[HourSum], Cell]:
    """Find a part of the energy, where it is known."""
    return lambda hours: None if hours.energy is None else find(hours.energy)


def _line(cells: Iterable[Cell]) -> str:
    """Write one line; the default dialect ends it with CRLF and doubles quotes, as the RFC says."""
    line = io.StringIO()
    csv.writer(line).writerow(list(cells))
    return line.getvalue()

"""The account of the past as CSV (RFC 4180): one row a zone and period, units in the header."""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterable, Iterator
from typing import Any

from controller.history.totals import REASONS

Row = dict[str, Any]


def write_csv(rows: Iterable[Row], currency: str | None) -> Iterator[str]:
    """Write rows of the account as lines of CSV, each as it comes, the header first.

    Args:
        rows: as ``hours_json.row_as_json`` makes them.
        currency: what costs are counted in; without one there is no such column.

    Source: RFC 4180; held by tests/api/test_hours_csv.py with Python's and pandas' own readers.
    """
    columns = _columns(currency)
    lines = _Lines()
    writer = csv.writer(lines)  # its default dialect ends lines with CRLF and doubles quotes, as the RFC says
    writer.writerow(list(columns))
    yield lines.take()
    for row in rows:
        writer.writerow(["" if (cell := find(row)) is None else cell for find in columns.values()])
        yield lines.take()


def _columns(currency: str | None) -> dict[str, Callable[[Row], Any]]:
    """Give the columns: each heading, and how its cell is found."""
    columns: dict[str, Callable[[Row], Any]] = {
        "period": _key("period"),
        "first night": _key("from"),
        "last night": _key("to"),
        "zone": _key("zone"),
        "lit (h)": _key("lit_h"),
        "by program (h)": _key("by_program_h"),
        "by override (h)": _key("by_override_h"),
        "for another reason (h)": _key("unknown_h"),
        "clock not trusted while lit (h)": _key("clock_not_trusted_h"),
        "lit in daylight (h)": _key("daylight_h"),
        "starts": _key("starts"),
        "planned (h)": _key("planned_h"),
        "missed (h)": _key("missed_h"),
    }
    for reason in REASONS:
        name = "unexplained" if reason is None else str(reason)
        columns[f"missed, {name} (h)"] = _missed(None if reason is None else name)
    columns |= {
        "longest dark gap (h)": lambda row: row["longest_dark_gap"] and row["longest_dark_gap"]["hours"],
        "at the lamps (kWh)": _key("lamps_kwh"),
        "in the cables (kWh)": _key("cables_kwh"),
        "in the transformer, lit (kWh)": _key("transformer_lit_kwh"),
        "in the transformer, dark (kWh)": _key("transformer_dark_kwh"),
        "at the meter (kWh)": _key("meter_kwh"),
    }
    if currency is not None:
        columns[f"cost ({currency})"] = _key("cost_unrounded")
    columns["load (W)"] = lambda row: " then ".join(
        "unknown" if load["watts"] is None else f"{load['watts']:g}" for load in row["loads"]
    )
    columns["lit with an unknown load (h)"] = _key("without_load_h")
    columns["energy is"] = lambda row: "at least" if row["at_least"] else "complete"
    return columns


def _key(name: str) -> Callable[[Row], Any]:
    """Find a cell under a name."""
    return lambda row: row[name]


def _missed(reason: str | None) -> Callable[[Row], Any]:
    """Find the hours that were missed for a reason; none where the row does not know what was missed."""

    def find(row: Row) -> float | None:
        if row["missed_h"] is None:
            return None
        return next((part["hours"] for part in row["missed"] if part["why"] == reason), 0.0)

    return find


class _Lines:
    """Takes what a CSV writer writes, line by line."""

    def __init__(self) -> None:
        """Nothing is written yet."""
        self._text = ""

    def write(self, text: str) -> None:
        """Take some text."""
        self._text += text

    def take(self) -> str:
        """Give what was written since the last time."""
        text, self._text = self._text, ""
        return text

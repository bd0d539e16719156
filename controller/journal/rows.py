"""From rows of the journal to the values that were put into it.

A value comes back as it went in, with two exceptions: instants are cut to whole milliseconds, and of the
text why the clock was trusted only whether it was.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from datetime import date, datetime
from typing import Any, Generic, TypeVar

from controller.calendar.intervals import MS_PER_S, utc_of
from controller.records.entries import (
    Cause,
    Event,
    EventKind,
    Override,
    OverrideEnded,
    PastOverride,
    Replacement,
    Run,
    Switching,
)
from controller.records.reading import Reading

Row = tuple[Any, ...]
Value = TypeVar("Value")

TRUSTED = "trusted when it was written"
NOT_TRUSTED = "not trusted when it was written"


class Query(Generic[Value]):
    """A select up to its WHERE, all of it text of ours, and what makes a value of each of its rows."""

    def __init__(self, select: str, make: Callable[[Row], Value]) -> None:
        self.select = select
        self.make = make

    def fetch(self, connection: sqlite3.Connection, rest: str) -> list[Value]:
        """Run the select with its WHERE and ORDER BY, where few rows are expected."""
        return [self.make(row) for row in connection.execute(f"{self.select} {rest}")]


def as_reading(at_ms: int, boot_ms: int, boot_id: str, trusted: int) -> Reading:
    """Make the reading of four columns."""
    return Reading(
        utc=utc_of(at_ms),
        boot_s=boot_ms / MS_PER_S,
        boot_id=boot_id,
        trusted=bool(trusted),
        trust=TRUSTED if trusted else NOT_TRUSTED,
    )


def _as_utc(at_ms: int | None) -> datetime | None:
    return None if at_ms is None else utc_of(at_ms)


def _as_override(row: Row) -> Override:
    zone, lit, ends_at_ms, lasts_s, by = row[4:9]
    at, ends_at_utc = as_reading(*row[:4]), _as_utc(ends_at_ms)
    return Override(zone=zone, on=bool(lit), placed_at=at, ends_at_utc=ends_at_utc, lasts_s=lasts_s, by=by)


def _as_switching(row: Row) -> Switching:
    zone, lit, cause, words, watts, origin = row[4:]
    at = as_reading(*row[:4])
    return Switching(
        zone=zone, at=at, on=bool(lit), cause=Cause(cause), words=words, load_w=watts, load_from=origin
    )


def _as_event(row: Row) -> Event:
    kind, words, zone, size_s = row[4:]
    return Event(kind=EventKind(kind), at=as_reading(*row[:4]), words=words, zone=zone, size_s=size_s)


def _as_past_override(row: Row) -> PastOverride:
    in_force = row[9] is None
    ended = None if in_force else OverrideEnded(zone=row[4], at=as_reading(*row[9:13]), words=row[13])
    return PastOverride(override=_as_override(row), ended=ended)


def _as_replacement(row: Row) -> Replacement:
    zone, fixture, on_date, note = row[4:]
    at, on_date = as_reading(*row[:4]), date.fromisoformat(on_date)
    return Replacement(zone=zone, fixture=fixture, on_date=on_date, at=at, note=note)


def _as_run(row: Row) -> Run:
    _, on_ms, off_ms, lit_ms, zone, cause, words, ended_by, watts, origin, trusted = row
    return Run(
        zone=zone,
        on_utc=utc_of(on_ms),
        off_utc=_as_utc(off_ms),
        lit_s=None if lit_ms is None else lit_ms / MS_PER_S,
        cause=Cause(cause),
        words=words,
        ended_by=None if ended_by is None else Cause(ended_by),
        load_w=watts,
        load_from=origin,
        trusted=bool(trusted),
    )


# Most selects begin with these, so that the reading is made from the first four columns.
_AT = "{t}.at_ms, {t}.boot_ms, (SELECT boot_id FROM boot WHERE id = {t}.boot), {t}.trusted"
_ZONE = "(SELECT name FROM zone WHERE id = {t}.zone)"

SWITCHINGS = Query(
    f"""
    SELECT {_AT.format(t="s")}, zone.name, s.lit, reason.cause, reason.words, load.watts, load.origin
    FROM switching s JOIN zone ON zone.id = s.zone JOIN reason ON reason.id = s.reason
    JOIN load ON load.id = s.load""",  # noqa: S608
    _as_switching,
)
OVERRIDES = Query(
    f"""
    SELECT {_AT.format(t="o")}, {_ZONE.format(t="o")}, o.lit, o.ends_at_ms, o.lasts_s, o.by,
    o.ended_at_ms, o.ended_boot_ms, (SELECT boot_id FROM boot WHERE id = o.ended_boot), o.ended_trusted,
    o.ended_words FROM override o""",  # noqa: S608
    _as_override,
)
EVENTS = Query(
    f"SELECT {_AT.format(t='e')}, e.kind, e.words, {_ZONE.format(t='e')}, e.size_s FROM event e",  # noqa: S608
    _as_event,
)
PAST_OVERRIDES = Query(OVERRIDES.select, _as_past_override)
REPLACEMENTS = Query(
    f"SELECT {_AT.format(t='r')}, {_ZONE.format(t='r')}, r.fixture, r.on_date, r.note FROM replacement r",  # noqa: S608
    _as_replacement,
)
# A run that is over is row b, which ended it, with row a, which began it. First comes from when on it counts.
RUNS = Query(
    """
    SELECT b.lit_from_ms, a.at_ms, b.at_ms, b.lit_ms, zone.name, ra.cause, ra.words, rb.cause,
    load.watts, load.origin, a.trusted AND b.trusted
    FROM switching b CROSS JOIN switching a ON a.id = b.on_id JOIN zone ON zone.id = a.zone
    JOIN reason ra ON ra.id = a.reason JOIN reason rb ON rb.id = b.reason JOIN load ON load.id = a.load""",
    _as_run,
)
OPEN_RUNS = Query(
    """
    SELECT a.at_ms, a.at_ms, NULL, NULL, zone.name, ra.cause, ra.words, NULL,
    load.watts, load.origin, a.trusted
    FROM account JOIN switching a ON a.id = account.lit_by JOIN zone ON zone.id = a.zone
    JOIN reason ra ON ra.id = a.reason JOIN load ON load.id = a.load""",
    _as_run,
)

"""From rows of the journal to the values that were put into it.

A value comes back as it went in, but for two things: instants are cut to whole milliseconds, and of the
words why the clock was trusted only whether it was.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterable
from datetime import date, datetime
from typing import Any, TypeVar

from controller.calendar.intervals import MS_PER_S, utc_of
from controller.records.entries import (
    Cause,
    Event,
    EventKind,
    Override,
    OverrideEnded,
    Replacement,
    Run,
    Switching,
)
from controller.records.reading import Reading
from controller.records.totals import LoadSum, ZoneSum

Row = tuple[Any, ...]
Value = TypeVar("Value")

TRUSTED = "trusted when it was written"
NOT_TRUSTED = "not trusted when it was written"

# Most selects begin with these, so that the reading is made from the first four columns. The selects hold
# nothing but words of ours; values are always bound.
_AT = "{t}.at_ms, {t}.boot_ms, (SELECT boot_id FROM boot WHERE id = {t}.boot), {t}.trusted"
_ZONE = "(SELECT name FROM zone WHERE id = {t}.zone)"

SELECT_SWITCHING = f"""
    SELECT {_AT.format(t="s")}, zone.name, s.lit, reason.cause, reason.words, load.watts, load.origin
    FROM switching s JOIN zone ON zone.id = s.zone JOIN reason ON reason.id = s.reason
    JOIN load ON load.id = s.load"""  # noqa: S608
SELECT_EVENT = f"""
    SELECT {_AT.format(t="e")}, e.kind, e.words, {_ZONE.format(t="e")}, e.size_s FROM event e"""  # noqa: S608
SELECT_OVERRIDE = f"""
    SELECT {_AT.format(t="o")}, {_ZONE.format(t="o")}, o.lit, o.ends_at_ms, o.lasts_s, o.by,
    o.ended_at_ms, o.ended_boot_ms, (SELECT boot_id FROM boot WHERE id = o.ended_boot), o.ended_trusted,
    o.ended_words FROM override o"""  # noqa: S608
SELECT_REPLACEMENT = f"""
    SELECT {_AT.format(t="r")}, {_ZONE.format(t="r")}, r.fixture, r.on_date, r.note FROM replacement r"""  # noqa: S608
# A run that is over is row b, which ended it, with row a, which began it. First comes from when on it counts.
SELECT_RUN = """
    SELECT b.lit_from_ms, a.at_ms, b.at_ms, b.lit_ms, zone.name, ra.cause, ra.words, rb.cause,
    load.watts, load.origin, a.trusted AND b.trusted
    FROM switching b CROSS JOIN switching a ON a.id = b.on_id JOIN zone ON zone.id = a.zone
    JOIN reason ra ON ra.id = a.reason JOIN reason rb ON rb.id = b.reason JOIN load ON load.id = a.load"""
SELECT_OPEN_RUN = """
    SELECT a.at_ms, a.at_ms, NULL, NULL, zone.name, ra.cause, ra.words, NULL,
    load.watts, load.origin, a.trusted
    FROM account JOIN switching a ON a.id = account.lit_by JOIN zone ON zone.id = a.zone
    JOIN reason ra ON ra.id = a.reason JOIN load ON load.id = a.load"""


def as_reading(at_ms: int, boot_ms: int, boot_id: str, trusted: int) -> Reading:
    """Make the reading of four columns."""
    return Reading(
        utc=utc_of(at_ms),
        boot_s=boot_ms / 1000,
        boot_id=boot_id,
        trusted=bool(trusted),
        trust=TRUSTED if trusted else NOT_TRUSTED,
    )


def as_switching(row: Row) -> Switching:
    """Make the switching of a row of SELECT_SWITCHING."""
    zone, lit, cause, words, watts, origin = row[4:]
    return Switching(
        zone=zone,
        at=as_reading(*row[:4]),
        on=bool(lit),
        cause=Cause(cause),
        words=words,
        load_w=watts,
        load_from=origin,
    )


def as_event(row: Row) -> Event:
    """Make the event of a row of SELECT_EVENT."""
    kind, words, zone, size_s = row[4:]
    return Event(kind=EventKind(kind), at=as_reading(*row[:4]), words=words, zone=zone, size_s=size_s)


def as_override(row: Row) -> Override:
    """Make the override of a row of SELECT_OVERRIDE."""
    zone, lit, ends_at_ms, lasts_s, by = row[4:9]
    return Override(
        zone=zone,
        on=bool(lit),
        placed_at=as_reading(*row[:4]),
        ends_at_utc=_utc_or_none(ends_at_ms),
        lasts_s=lasts_s,
        by=by,
    )


def as_override_end(row: Row) -> OverrideEnded | None:
    """Make the end of the override of a row of SELECT_OVERRIDE; None while it is in force."""
    if row[9] is None:
        return None
    return OverrideEnded(zone=row[4], at=as_reading(*row[9:13]), words=row[13])


def as_replacement(row: Row) -> Replacement:
    """Make the replacement of a row of SELECT_REPLACEMENT."""
    zone, fixture, on_date, note = row[4:]
    return Replacement(
        zone=zone,
        fixture=fixture,
        on_date=date.fromisoformat(on_date),
        at=as_reading(*row[:4]),
        note=note,
    )


def as_run(row: Row) -> Run:
    """Make the run of a row of SELECT_RUN or SELECT_OPEN_RUN."""
    _, on_ms, off_ms, lit_ms, zone, cause, words, ended_by, watts, origin, trusted = row
    return Run(
        zone=zone,
        on_utc=utc_of(on_ms),
        off_utc=_utc_or_none(off_ms),
        lit_s=None if lit_ms is None else lit_ms / 1000,
        cause=Cause(cause),
        words=words,
        ended_by=None if ended_by is None else Cause(ended_by),
        load_w=watts,
        load_from=origin,
        trusted=bool(trusted),
    )


def fetch(connection: sqlite3.Connection, make: Callable[[Row], Value], select: str) -> list[Value]:
    """Run a select that gives few rows, and make its values."""
    return [make(row) for row in connection.execute(select)]


def _utc_or_none(at_ms: int | None) -> datetime | None:
    """Give an instant, or none."""
    return None if at_ms is None else utc_of(at_ms)


def by_zone(rows: Iterable[Row]) -> list[ZoneSum]:
    """Gather rows of sums, ordered by zone, into one value a zone."""
    sums: dict[str, list[LoadSum]] = {}
    for zone, watts, origin, lit_ms, starts, cycles in rows:
        part = LoadSum(load_w=watts, load_from=origin, lit_s=lit_ms / MS_PER_S, starts=starts, cycles=cycles)
        sums.setdefault(zone, []).append(part)
    return [ZoneSum(zone=zone, by_load=tuple(parts)) for zone, parts in sums.items()]

"""From rows of the journal to the values that were put into it.

A value comes back as it went in, with two exceptions: instants are cut to whole milliseconds, and of the
text why the clock was trusted only whether it was.
"""

import sqlite3
from collections.abc import Callable
from datetime import date, datetime
from typing import Any, Generic, NamedTuple, TypeVar

from controller.calendar.intervals import MS_PER_S, utc_of
from controller.records.entries import Cause, Event, EventKind, Override, Replacement, SiteRecord, Switching
from controller.records.reading import Reading

Row = tuple[Any, ...]
Value = TypeVar("Value")

TRUSTED = "trusted when it was written"
NOT_TRUSTED = "not trusted when it was written"


class Query(NamedTuple, Generic[Value]):
    """A select up to its WHERE, all of it text of ours, and what makes a value of each of its rows."""

    select: str
    make: Callable[[Row], Value]

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


def as_utc(at_ms: int | None) -> datetime | None:
    """Make an instant of a column that may be empty."""
    return None if at_ms is None else utc_of(at_ms)


def as_override(row: Row) -> Override:
    """Make an override of a row."""
    zone, lit, ends_at_ms, lasts_s, by = row[4:9]
    at, ends_at_utc = as_reading(*row[:4]), as_utc(ends_at_ms)
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


def _as_replacement(row: Row) -> Replacement:
    zone, part, on_date, note = row[4:]
    at, on_date = as_reading(*row[:4]), date.fromisoformat(on_date)
    return Replacement(zone=zone, part=part, on_date=on_date, at=at, note=note)


# From when on a run counts: row a began it, row b ended it, of the boot ``boot``. It lasts as long as really
# passed, on the boot-time clock; a trusted clock says when that was. Where both ends have one, the later is
# the better, since a step is how a wrong clock is put right: the run is counted back from its end. Where only
# the beginning has one, it is counted on from there. Where neither has, any trusted clock of that boot gives
# the instants; and where there was none, they stay as they were recorded.
RUN_BEGAN = """CASE WHEN b.trusted THEN b.at_ms - b.lit_ms WHEN a.trusted THEN a.at_ms
    ELSE ifnull(boot.began_ms + a.boot_ms, b.at_ms - b.lit_ms) END"""
# Whether a trusted clock says when a run was.
RUN_TRUSTED = "a.trusted OR b.trusted OR boot.began_ms IS NOT NULL"

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
    as_override,
)
EVENTS = Query(
    f"SELECT {_AT.format(t='e')}, e.kind, e.words, {_ZONE.format(t='e')}, e.size_s FROM event e",  # noqa: S608
    _as_event,
)
SITE_RECORDS = Query(
    f"SELECT {_AT.format(t='r')}, r.text FROM site_record r",  # noqa: S608
    lambda row: SiteRecord(at=as_reading(*row[:4]), text=row[4]),
)
REPLACEMENTS = Query(
    f"SELECT {_AT.format(t='r')}, {_ZONE.format(t='r')}, r.part, r.on_date, r.note FROM replacement r",  # noqa: S608
    _as_replacement,
)

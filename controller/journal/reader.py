"""Reading the journal: what was switched, lit, overridden and replaced, over any stretch of time.

A reader opens the file for each question, only to read, and closes it when the answer is used up; so it may
be used from any thread, beside the keeper that writes, and on a copy. Answers are streamed and show the
journal as it was when the first value was asked for.

Stretches are half-open, in UTC: what happened at ``from_utc`` belongs to them, what happened at ``to_utc``
does not; None leaves an end open. Every method may raise JournalError at the first value.
"""

from __future__ import annotations

import contextlib
import heapq
import sqlite3
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path

from controller.calendar.intervals import ms_of, utc_of
from controller.journal.database import READING_ERRORS, explain, journal_path, open_to_read
from controller.journal.recovery import last_sign_of_life
from controller.journal.rows import (
    SELECT_EVENT,
    SELECT_OPEN_RUN,
    SELECT_OVERRIDE,
    SELECT_REPLACEMENT,
    SELECT_RUN,
    SELECT_SWITCHING,
    Row,
    Value,
    as_event,
    as_override,
    as_override_end,
    as_replacement,
    as_run,
    as_switching,
    by_zone,
)
from controller.journal.schema import LONG_RUN_MS
from controller.records.entries import (
    Event,
    PastOverride,
    Replacement,
    Run,
    Switching,
)
from controller.records.reading import Reading
from controller.records.totals import ZoneSum

# Nothing waits for a reader, so it may wait for others.
BUSY_S = 2.0
# Before and after every instant that a datetime can hold.
_EVER = (-(1 << 46), 1 << 48)


class JournalReader:
    """Answers from a journal.

    Args:
        place: the state directory, or the file of a copy.
    """

    def __init__(self, place: Path) -> None:
        """Remember where; nothing is opened."""
        self.path = journal_path(place)

    def switchings(
        self,
        from_utc: datetime | None = None,
        to_utc: datetime | None = None,
        *,
        zone: str | None = None,
        limit: int | None = None,
        newest_first: bool = False,
    ) -> Iterator[Switching]:
        """Give the switchings of a stretch in the order of their instants, at most ``limit``."""
        where, order = _zone_and_instant("s", zone), _order("s", limit, newest_first=newest_first)
        return self._stream(as_switching, SELECT_SWITCHING + where + order, from_utc, to_utc, zone)

    def events(
        self,
        from_utc: datetime | None = None,
        to_utc: datetime | None = None,
        *,
        zone: str | None = None,
        limit: int | None = None,
        newest_first: bool = False,
    ) -> Iterator[Event]:
        """Give the events of a stretch in the order of their instants, at most ``limit``."""
        where, order = _zone_and_instant("e", zone), _order("e", limit, newest_first=newest_first)
        return self._stream(as_event, SELECT_EVENT + where + order, from_utc, to_utc, zone)

    def events_about(self, from_utc: datetime, to_utc: datetime) -> Iterator[Event]:
        """Give the events that tell about a stretch, in the order in which they were written.

        They begin with the start of the keeper that was at work when the stretch began, and end with the
        first word of a trusted clock after it. In between are also those of clocks that were wrong, wherever
        such a clock placed them.
        """
        ids = (
            " WHERE e.id >= ifnull((SELECT id FROM event WHERE kind = 'started' AND id <= "
            "(SELECT id FROM event WHERE trusted AND at_ms < :from ORDER BY at_ms DESC, id DESC LIMIT 1) "
            "ORDER BY id DESC LIMIT 1), 0) AND e.id <= max("
            "ifnull((SELECT max(id) FROM event WHERE at_ms = (SELECT at_ms FROM event WHERE trusted "
            "AND at_ms >= :to ORDER BY at_ms LIMIT 1)), (SELECT max(id) FROM event)), "
            "ifnull((SELECT id FROM event WHERE trusted AND at_ms < :to ORDER BY at_ms DESC LIMIT 1), 0))"
            " ORDER BY e.id"
        )
        return self._stream(as_event, SELECT_EVENT + ids, from_utc, to_utc, None)

    def began_at(self) -> datetime | None:
        """Give the first instant that the journal knows of; None where it knows of none."""
        select = "SELECT min(at_ms) FROM (SELECT at_ms FROM event WHERE trusted ORDER BY at_ms LIMIT 1)"
        ((at_ms,),) = self._rows(select, {})
        return None if at_ms is None else utc_of(at_ms)

    def last_sign(self) -> Reading | None:
        """Give the last sign of life of any keeper; None in an empty journal."""
        with self._open() as connection:
            return last_sign_of_life(connection)

    def overrides(
        self, from_utc: datetime | None = None, to_utc: datetime | None = None, *, zone: str | None = None
    ) -> Iterator[PastOverride]:
        """Give every override that was in force at some moment of a stretch, in the order of placing."""
        where = (
            " WHERE o.at_ms < :to AND (o.at_ms >= :from OR ifnull(o.ended_at_ms > :from, 1))"
            + _of_zone("o", zone)
            + " ORDER BY o.id"
        )
        return self._stream(_as_past_override, SELECT_OVERRIDE + where, from_utc, to_utc, zone)

    def replacements(self, zone: str | None = None) -> Iterator[Replacement]:
        """Give the lamps that were replaced, in the order of their dates."""
        where = " WHERE 1" + _of_zone("r", zone) + " ORDER BY r.on_date, r.id"
        return self._stream(as_replacement, SELECT_REPLACEMENT + where, None, None, zone)

    def runs(
        self, from_utc: datetime | None = None, to_utc: datetime | None = None, *, zone: str | None = None
    ) -> Iterator[Run]:
        """Give every run that reaches into a stretch, in the order in which they began.

        A run reaches from the instant at which it was lit to the one at which it was put out, and at least
        over the seconds that it was lit, counted back from its end: where the clock was set meanwhile, these
        differ. A run that is still lit reaches on for ever. One that was lit for no time at all reaches into
        the stretch that its instant belongs to.
        """
        name = {"zone": zone} if zone is not None else {}
        span = _span(from_utc, to_utc) | name
        of_zone = _of_zone("a", zone)
        reaches = " AND b.lit_from_ms < :to AND (b.at_ms > :from OR b.lit_from_ms >= :from)" + of_zone
        with self._open() as connection:
            # Few rows each: what is still lit, and what began more than a day before the stretch.
            few = connection.execute(SELECT_OPEN_RUN + " WHERE a.at_ms < :to" + of_zone, span).fetchall()
            few += connection.execute(
                f"{SELECT_RUN} WHERE b.at_ms - b.lit_from_ms > {LONG_RUN_MS} "
                f"AND b.lit_from_ms < :from - {LONG_RUN_MS} {reaches}",
                span,
            ).fetchall()
            many = connection.execute(
                f"{SELECT_RUN} WHERE b.lit_from_ms >= :from - {LONG_RUN_MS} {reaches} ORDER BY b.lit_from_ms",
                span,
            )
            for row in heapq.merge(sorted(few, key=_began), many, key=_began):
                yield as_run(row)

    def totals(self) -> list[ZoneSum]:
        """Add up every zone's whole life, from the account that is kept with every switching."""
        select = (
            "SELECT zone.name, load.watts, load.origin, lit_ms, starts, cycles FROM account "
            "JOIN zone ON zone.id = account.zone JOIN load ON load.id = account.load "
            "ORDER BY account.zone, account.load"
        )
        return by_zone(self._rows(select, {}))

    def loads_at(self, at_utc: datetime) -> dict[str, float | None]:
        """Give the rated load, in watts, at which each zone was last lit before an instant; None: not known.

        A zone that was not lit by then has the load at which it was first lit later; one that never was is
        left out.
        """
        lit = "SELECT id FROM switching WHERE zone = zone.id AND lit"
        select = (
            f"SELECT zone.name, load.watts FROM zone JOIN switching s ON s.id = ifnull("  # noqa: S608 - our own
            f"({lit} AND at_ms < :from ORDER BY at_ms DESC, id DESC LIMIT 1), "
            f"({lit} AND at_ms >= :from ORDER BY at_ms, id LIMIT 1)) JOIN load ON load.id = s.load"
        )
        return dict(self._rows(select, _span(at_utc, None)))

    def totals_since(self, since_utc: datetime) -> list[ZoneSum]:
        """Add up every zone's life since an instant; of a run that it cuts, only the later part counts.

        Walks over the runs since then: totals is quicker where the whole is wanted.
        """
        select = (
            "SELECT zone.name, load.watts, load.origin, sum(min(b.lit_ms, b.at_ms - :from)), "
            "sum(a.at_ms >= :from), count(*) FROM switching b CROSS JOIN switching a ON a.id = b.on_id "
            "JOIN zone ON zone.id = a.zone JOIN load ON load.id = a.load "
            "WHERE b.at_ms >= :from AND b.lit_ms IS NOT NULL GROUP BY a.zone, a.load ORDER BY a.zone, a.load"
        )
        return by_zone(self._rows(select, _span(since_utc, None)))

    # -- inside ----------------------------------------------------------------------------------------------

    @contextlib.contextmanager
    def _open(self) -> Iterator[sqlite3.Connection]:
        """Open the file for one answer, which sees one state of it throughout."""
        connection = open_to_read(self.path, busy_s=BUSY_S)
        try:
            connection.execute("BEGIN")
            yield connection
        except READING_ERRORS as error:
            raise explain(error, self.path) from error
        finally:
            connection.close()

    def _rows(self, select: str, values: dict[str, object]) -> list[Row]:
        """Run a select that gives few rows."""
        with self._open() as connection:
            return connection.execute(select, values).fetchall()

    def _stream(
        self,
        make: Callable[[Row], Value],
        select: str,
        from_utc: datetime | None,
        to_utc: datetime | None,
        zone: str | None,
    ) -> Iterator[Value]:
        """Run a select and make its values one by one."""
        values = _span(from_utc, to_utc) | ({} if zone is None else {"zone": zone})
        with self._open() as connection:
            for row in connection.execute(select, values):
                yield make(row)


def _span(from_utc: datetime | None, to_utc: datetime | None) -> dict[str, object]:
    """Give the ends of a stretch in milliseconds."""
    return {
        "from": _EVER[0] if from_utc is None else ms_of(from_utc),
        "to": _EVER[1] if to_utc is None else ms_of(to_utc),
    }


def _of_zone(table: str, zone: str | None) -> str:
    """Narrow a select to one zone, where one is named."""
    return "" if zone is None else f" AND {table}.zone = (SELECT id FROM zone WHERE name = :zone)"  # noqa: S608


def _zone_and_instant(table: str, zone: str | None) -> str:
    """Narrow a select to a stretch, and to one zone where one is named."""
    return f" WHERE {table}.at_ms >= :from AND {table}.at_ms < :to" + _of_zone(table, zone)


def _order(table: str, limit: int | None, *, newest_first: bool) -> str:
    """Order a select by instant, entries of one instant as they were written."""
    way = "DESC" if newest_first else "ASC"
    return f" ORDER BY {table}.at_ms {way}, {table}.id {way} LIMIT {-1 if limit is None else int(limit)}"


def _began(row: Row) -> int:
    """Order rows of runs by their beginning."""
    return int(row[0])


def _as_past_override(row: Row) -> PastOverride:
    """Make an override and its end of a row of SELECT_OVERRIDE."""
    return PastOverride(override=as_override(row), ended=as_override_end(row))

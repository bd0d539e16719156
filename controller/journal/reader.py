"""Reads the journal: what was switched, lit, overridden and replaced, in any interval of time.

Intervals are half-open, in UTC; None leaves an end open. Every method may raise JournalError at its first
value.
"""

import contextlib
import heapq
import sqlite3
from collections.abc import Iterator
from datetime import datetime
from itertools import groupby
from operator import itemgetter
from pathlib import Path

from controller.calendar.intervals import MS_PER_S, ms_of, utc_of
from controller.journal.database import journal_errors, journal_path, open_to_read
from controller.journal.previous_run import last_sign_of_life
from controller.journal.recent import MOST_MISSED, TOLD, EntryId, News, boot_ms_of, reading_of
from controller.journal.rows import (
    EVENTS,
    OVERRIDES,
    REPLACEMENTS,
    RUN_BEGAN,
    RUN_TRUSTED,
    SITE_RECORDS,
    SWITCHINGS,
    Query,
    Row,
    Value,
    as_override,
    as_reading,
    as_utc,
)
from controller.journal.schema import LONG_RUN_MS
from controller.journal.writer import REPLACED
from controller.records.entries import (
    Cause,
    Event,
    EventKind,
    OverrideEnded,
    Replacement,
    SiteRecord,
    Switching,
)
from controller.records.past import LoadAt, LoadSum, PastOverride, Run, ZoneSum
from controller.records.reading import Reading

# Nothing waits for a reader, so it may wait for others.
_BUSY_S = 2.0
# Before and after every instant that a datetime can hold.
_FIRST_MS, _LAST_MS = -(1 << 46), 1 << 48
_OF_ZONE = "AND (:zone IS NULL OR zone = (SELECT id FROM zone WHERE name = :zone))"

_ANOTHER_FILE = (EventKind.JOURNAL_REPLACED, EventKind.JOURNAL_SET_ASIDE)

# The events that say what held in an interval; see events_about.
_ABOUT = """
    WHERE e.id >= ifnull((SELECT id FROM event WHERE kind = 'started' AND id <=
    (SELECT id FROM event WHERE trusted AND at_ms < :from ORDER BY at_ms DESC, id DESC LIMIT 1)
    ORDER BY id DESC LIMIT 1), 0) AND e.id <= max(
    ifnull((SELECT max(id) FROM event WHERE at_ms =
    (SELECT at_ms FROM event WHERE trusted AND at_ms >= :to ORDER BY at_ms LIMIT 1)),
    (SELECT max(id) FROM event)),
    ifnull((SELECT id FROM event WHERE trusted AND at_ms < :to ORDER BY at_ms DESC LIMIT 1), 0))
    ORDER BY e.id"""


def _as_past_override(row: Row) -> PastOverride:
    in_force = row[9] is None
    ended = None if in_force else OverrideEnded(zone=row[4], at=as_reading(*row[9:13]), words=row[13])
    return PastOverride(override=as_override(row), ended=ended)


def _as_run(row: Row) -> Run:
    since_ms, lit_ms, zone, cause, words, ended_by, watts, origin, trusted = row
    return Run(
        zone=zone,
        on_utc=utc_of(since_ms),
        off_utc=None if lit_ms is None else utc_of(since_ms + lit_ms),
        lit_s=None if lit_ms is None else lit_ms / MS_PER_S,
        cause=Cause(cause),
        words=words,
        ended_by=None if ended_by is None else Cause(ended_by),
        load_w=watts,
        load_from=origin,
        trusted=bool(trusted),
    )


_PAST_OVERRIDES = Query(OVERRIDES.select, _as_past_override)
# A run that is over is row b, which ended it, with row a, which began it. First comes from when on it counts.
_PAIRED = "FROM switching b CROSS JOIN switching a ON a.id = b.on_id LEFT JOIN boot ON boot.id = a.boot"
_RUNS = f"""
    SELECT {RUN_BEGAN} AS since_ms, b.lit_ms, zone.name, ra.cause, ra.words, rb.cause,
    load.watts, load.origin, {RUN_TRUSTED} {_PAIRED} JOIN zone ON zone.id = a.zone
    JOIN reason ra ON ra.id = a.reason JOIN reason rb ON rb.id = b.reason JOIN load ON load.id = a.load"""
_OPEN_RUNS = """
    SELECT ifnull(boot.began_ms + a.boot_ms, a.at_ms) AS since_ms, NULL, zone.name, ra.cause, ra.words, NULL,
    load.watts, load.origin, a.trusted OR boot.began_ms IS NOT NULL
    FROM account JOIN switching a ON a.id = account.lit_by JOIN boot ON boot.id = a.boot
    JOIN zone ON zone.id = a.zone JOIN reason ra ON ra.id = a.reason JOIN load ON load.id = a.load"""
_IS_LONG = f"b.at_ms - b.lit_from_ms > {LONG_RUN_MS}"


class JournalReader:
    """Answers questions from a journal.

    It opens the file for each, only to read, and closes it when the answer is used up. So it may be used from
    any thread, while the keeper writes, and on a backup. Answers are streamed, and show the journal as it was
    when their first value was asked for.

    Args:
        place: the state folder, or the file of a backup.
    """

    def __init__(self, place: Path) -> None:
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
        """Give the switchings of an interval in the order of their instants, at most ``limit``."""
        way = "DESC" if newest_first else "ASC"
        where = f"WHERE s.at_ms >= :from AND s.at_ms < :to {_OF_ZONE}"
        order = f"ORDER BY s.at_ms {way}, s.id {way} LIMIT {-1 if limit is None else limit}"
        return self._stream(SWITCHINGS, f"{where} {order}", _interval(from_utc, to_utc) | {"zone": zone})

    def events(self) -> Iterator[Event]:
        """Give all events in the order of their instants."""
        return self._stream(EVENTS, "ORDER BY e.at_ms, e.id", {})

    def events_about(self, from_utc: datetime, to_utc: datetime) -> Iterator[Event]:
        """Give the events that say what held in an interval, in the order in which they were written.

        They begin with the start of the keeper that ran when the interval began, and end with the first
        event of a trusted clock after it. Those of wrong clocks in between are included, whatever their
        instants.
        """
        return self._stream(EVENTS, _ABOUT, _interval(from_utc, to_utc))

    def site_records(self) -> Iterator[SiteRecord]:
        """Give what the site was, from each change to the next, in the order in which they were written."""
        return self._stream(SITE_RECORDS, "ORDER BY r.id", {})

    def began_at(self) -> datetime | None:
        """Give the first instant of a trusted clock; None where there is none.

        Mostly that of an event; a journal that was begun while a zone was lit knows since when.
        """
        with self._open() as connection:
            return began_in(connection)

    def zones_began(self) -> dict[str, datetime]:
        """Give the first instant of a trusted clock since each zone was known, by its first program."""
        select = (
            "SELECT zone.name, (SELECT at_ms FROM event WHERE trusted AND id >= f.id ORDER BY id LIMIT 1) "
            "FROM (SELECT zone, min(id) AS id FROM event WHERE kind = 'program' GROUP BY zone) f "
            "JOIN zone ON zone.id = f.zone"
        )
        return {zone: utc_of(at_ms) for zone, at_ms in self._rows(select, {}) if at_ms is not None}

    def last_sign(self) -> Reading | None:
        """Give the last sign of life, by a trusted clock where its boot had one; None in an empty journal."""
        with self._open() as connection:
            return last_sign_of_life(connection, corrected=True)

    def overrides(
        self, from_utc: datetime | None = None, to_utc: datetime | None = None
    ) -> Iterator[PastOverride]:
        """Give every override that was in force at some moment of an interval, in the order of placing."""
        in_force = "o.at_ms < :to AND (o.at_ms >= :from OR ifnull(o.ended_at_ms > :from, 1))"
        return self._stream(_PAST_OVERRIDES, f"WHERE {in_force} ORDER BY o.id", _interval(from_utc, to_utc))

    def news_after(
        self, entry_id: EntryId, *, before: EntryId, most: int
    ) -> list[tuple[EntryId, News]] | None:
        """Give what was recorded after an entry by earlier keepers, before the first entry of this one.

        Those of the entry's own millisecond are given again where it was not the last of them.

        Returns:
            None where this journal has no such entry, where more than ``most`` follow it, or where another
            file took the journal's place since.
        """
        enough = 3 * MOST_MISSED
        newest = f"> ifnull((SELECT max(id) FROM {{}}), 0) - {enough}"  # noqa: S608 - our own text
        with self._open() as connection:
            boots = dict(connection.execute("SELECT boot_id, id FROM boot").fetchall())
            if entry_id.boot_id not in boots:
                return None
            # No override ends later than its zone's next one begins, but one may have begun long ago.
            ended = f"(o.ended_boot, o.ended_boot_ms) >= ({boots[entry_id.boot_id]}, {entry_id.boot_ms})"
            where = f"WHERE o.id {newest.format('override')} OR {ended} LIMIT {2 * enough}"
            past = _PAST_OVERRIDES.fetch(connection, where)
            if len(past) == 2 * enough:  # half of them at least were placed or ended since
                return None
            # An override that another replaced ended with that one, of which is told.
            ends = (each.ended for each in past if each.ended is not None)
            found: list[News] = [each for each in ends if each.words != REPLACED]
            found += [each.override for each in past]
            found += EVENTS.fetch(connection, f"WHERE e.id {newest.format('event')} ORDER BY e.id")
            found += SWITCHINGS.fetch(connection, f"WHERE s.id {newest.format('switching')} ORDER BY s.id")

        def place(entry: News) -> tuple[int, int]:
            at = reading_of(entry)
            return boots[at.boot_id], boot_ms_of(at)

        here = boots[entry_id.boot_id], entry_id.boot_ms
        # A boot that is not written yet is the last.
        until = boots.get(before.boot_id, len(boots) + 1), before.boot_ms
        since = sorted((each for each in found if here <= place(each) < until), key=place)
        if any(isinstance(each, Event) and each.kind in _ANOTHER_FILE for each in since):
            return None
        told = [each for each in since if not isinstance(each, Event) or each.kind in TOLD]
        numbered = [
            (EntryId(reading_of(each).boot_id, ms, number), each)
            for (_, ms), group in groupby(told, key=place)
            for number, each in enumerate(group, start=1)
        ]
        at_once = sum(place(each) == here for each in told)
        if not at_once:
            return None
        rest = numbered if entry_id.number < at_once else numbered[at_once:]
        return rest if len(rest) <= most else None

    def replacements(self, zone: str | None = None) -> Iterator[Replacement]:
        """Give what was replaced and not taken back, in the order of the dates."""
        where = f"WHERE r.undone_at_ms IS NULL {_OF_ZONE}"
        return self._stream(REPLACEMENTS, f"{where} ORDER BY r.on_date, r.id", {"zone": zone})

    def runs(self, from_utc: datetime | None = None, to_utc: datetime | None = None) -> Iterator[Run]:
        """Give every run that reaches into an interval, in the order in which they began.

        It reaches from ``on_utc`` to ``off_utc``: see ``rows.RUN_BEGAN``. One that is still lit has no end;
        one that was lit for no time at all reaches into the interval that its instant belongs to.
        """
        interval, since_ms = _interval(from_utc, to_utc), itemgetter(0)
        reaches = "since_ms < :to AND (since_ms + b.lit_ms > :from OR since_ms >= :from)"
        of_a_day = f"b.lit_from_ms >= :from - {LONG_RUN_MS} AND b.lit_from_ms < :to AND NOT {_IS_LONG}"
        with self._open() as connection:
            few: list[Row] = connection.execute(f"{_OPEN_RUNS} WHERE since_ms < :to", interval).fetchall()
            few += connection.execute(f"{_RUNS} WHERE {_IS_LONG} AND {reaches}", interval).fetchall()
            many = connection.execute(
                f"{_RUNS} WHERE {of_a_day} AND {reaches} ORDER BY b.lit_from_ms", interval
            )
            for row in heapq.merge(sorted(few, key=since_ms), many, key=since_ms):
                yield _as_run(row)

    def totals(self) -> list[ZoneSum]:
        """Add up all runs of every zone that have ended, from the account kept with every switching."""
        select = (
            "SELECT zone.name, load.watts, load.origin, lit_ms, starts, cycles FROM account "
            "JOIN zone ON zone.id = account.zone JOIN load ON load.id = account.load "
            "ORDER BY account.zone, account.load"
        )
        return self._sums(select, {})

    def totals_since(self, since_utc: datetime) -> list[ZoneSum]:
        """Add up the runs of every zone since an instant; of one that it cuts, only the later part counts."""
        ended = "SELECT a.zone, a.load, {} AS since_ms, b.lit_ms " + _PAIRED
        by_right = (
            f"{ended.format('b.at_ms - b.lit_ms')} WHERE b.at_ms >= :from AND b.trusted AND b.lit_ms NOTNULL"
        )
        by_wrong = f"{ended.format(RUN_BEGAN)} WHERE {_IS_LONG} AND NOT b.trusted"
        select = (
            "SELECT zone.name, load.watts, load.origin, sum(min(lit_ms, since_ms + lit_ms - :from)), "  # noqa: S608
            f"sum(since_ms >= :from), count(*) FROM ({by_right} UNION ALL {by_wrong}) run "
            "JOIN zone ON zone.id = run.zone JOIN load ON load.id = run.load "
            "WHERE since_ms + lit_ms >= :from GROUP BY run.zone, run.load ORDER BY run.zone, run.load"
        )
        return self._sums(select, _interval(since_utc))

    def loads_at(self, at_utc: datetime) -> dict[str, LoadAt]:
        """Give the rated load at which each zone was last lit before an instant.

        A zone that was not lit by then has the load at which it was first lit later; one that never was is
        left out.
        """
        lit = "SELECT id FROM switching WHERE zone = zone.id AND lit"
        select = (
            f"SELECT zone.name, s.at_ms, load.watts FROM zone JOIN switching s ON s.id = ifnull("  # noqa: S608 - our own
            f"({lit} AND at_ms < :from ORDER BY at_ms DESC, id DESC LIMIT 1), "
            f"({lit} AND at_ms >= :from ORDER BY at_ms, id LIMIT 1)) JOIN load ON load.id = s.load"
        )
        rows = self._rows(select, _interval(at_utc))
        return {zone: LoadAt(lit_at_utc=utc_of(at_ms), load_w=watts) for zone, at_ms, watts in rows}

    @contextlib.contextmanager
    def _open(self) -> Iterator[sqlite3.Connection]:
        """Open the file for one answer, which sees one state of it throughout."""
        with journal_errors(self.path), open_to_read(self.path, busy_s=_BUSY_S) as connection:
            connection.execute("BEGIN")
            yield connection

    def _rows(self, select: str, values: dict[str, object]) -> list[Row]:
        with self._open() as connection:
            return connection.execute(select, values).fetchall()

    def _sums(self, select: str, values: dict[str, object]) -> list[ZoneSum]:
        parts: dict[str, list[LoadSum]] = {}
        for zone, watts, origin, lit_ms, starts, cycles in self._rows(select, values):
            lit_s = lit_ms / MS_PER_S
            part = LoadSum(load_w=watts, load_from=origin, lit_s=lit_s, starts=starts, cycles=cycles)
            parts.setdefault(zone, []).append(part)
        return [ZoneSum(zone=zone, by_load=tuple(by_load)) for zone, by_load in parts.items()]

    def _stream(self, query: Query[Value], rest: str, values: dict[str, object]) -> Iterator[Value]:
        with self._open() as connection:
            for row in connection.execute(f"{query.select} {rest}", values):
                yield query.make(row)


def began_in(connection: sqlite3.Connection) -> datetime | None:
    """Read the first instant of a trusted clock from an open journal; see ``JournalReader.began_at``."""
    select = (
        "SELECT min(column1) FROM (VALUES "
        "((SELECT at_ms FROM event WHERE trusted ORDER BY at_ms LIMIT 1)), "
        "((SELECT at_ms FROM switching WHERE trusted ORDER BY at_ms LIMIT 1)))"
    )
    ((began_ms,),) = connection.execute(select).fetchall()
    return as_utc(began_ms)


def _interval(from_utc: datetime | None, to_utc: datetime | None = None) -> dict[str, object]:
    from_ms = _FIRST_MS if from_utc is None else ms_of(from_utc)
    return {"from": from_ms, "to": _LAST_MS if to_utc is None else ms_of(to_utc)}

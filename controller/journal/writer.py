"""Writes entries into the tables of an open journal: many in one transaction, in their order, all or none.

The rows of one zone alternate. Where an "on" meets a run that nobody ended (the board died while it was lit),
that run is ended first, at the last sign of life of its boot.
"""

import contextlib
import logging
import sqlite3
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

from config.errors import JournalDamagedError
from controller.calendar.intervals import MS_PER_S, ms_of
from controller.clock.trust import IMPOSSIBLE
from controller.journal.database import DAMAGED, empty_journal
from controller.journal.previous_run import (
    SIGNS_OF_LIFE,
    Stamp,
    is_before,
    last_sign_of_life,
    overrides_in_force,
    read_stamp,
)
from controller.journal.queue import CloseOpenRuns, StartFresh, Work
from controller.journal.schema import LONG_RUN_MS
from controller.records.entries import (
    Cause,
    Event,
    EventKind,
    FixtureIds,
    Heartbeat,
    Override,
    OverrideEnded,
    Replacement,
    ReplacementUndone,
    SiteRecord,
    Switching,
)
from controller.records.reading import Reading

log = logging.getLogger(__name__)

# Why a run or an override ended that its own keeper did not end.
POWER_LOST = "the power was lost"
DIED = "Leerie ended without warning"
REPLACED = "another one took its place"
LOST = "how it ended is not in this journal"

# A trusted clock that was set by more than this says anew when its boot began.
_STEP_MS = 1000

# What says that a file refuses an entry, rather than cannot take it now: the entry breaks a rule of the
# tables or holds what no column can, or the file is not what it was.
_REFUSALS = (
    sqlite3.IntegrityError,
    sqlite3.DataError,
    sqlite3.InterfaceError,
    sqlite3.ProgrammingError,
    TypeError,
    ValueError,
    OverflowError,
    AttributeError,
)


class Transactions:
    """Commits entries to one file, and finds out about a commit that failed.

    Where the disk fails as it syncs, a transaction may be in the file although the commit raised. The file's
    stamp shows it once it is opened again. Entries that add no row are there once if written twice.

    Args:
        left: the stamp that the file had last; None where any file will do.
    """

    def __init__(self, left: Stamp | None = None) -> None:
        self.left = left
        self._doubtful: tuple[Stamp, list[Work]] | None = None

    def resume(self, connection: sqlite3.Connection) -> list[Work] | None:
        """Give the entries of a commit that failed and is in the file all the same; mostly there are none.

        None where this is another file than the one written last, or that one as it was earlier. Then the
        doubt stays: that file may come back before anything is written to this one.
        """
        stamp, saved = read_stamp(connection), list[Work]()
        if self._doubtful is not None and stamp == self._doubtful[0]:
            self.left, saved = self._doubtful
        elif self.left not in (None, stamp):
            return None
        self._doubtful = None
        return saved

    def commit(self, connection: sqlite3.Connection, works: Sequence[Work]) -> list[Work]:
        """Write in one transaction all but what no journal would take, and give what was written.

        The commit waits for the disk, unless there is nothing but heartbeats in it.

        Raises:
            JournalDamagedError: the file refuses an entry that an empty journal takes.
            sqlite3.Error: it failed. The connection must be closed, which rolls back.
        """
        durable = not all(isinstance(work, Heartbeat) for work in works)
        connection.execute(f"PRAGMA synchronous = {'FULL' if durable else 'NORMAL'}")
        before = read_stamp(connection)
        written = _write_possible(connection, works)
        after = read_stamp(connection)
        if after != before:
            self._doubtful = after, written
        connection.execute("COMMIT")
        self.left, self._doubtful = after, None
        return written


def _write_possible(connection: sqlite3.Connection, works: Sequence[Work]) -> list[Work]:
    """Write all but what no journal would take, in a transaction that stays open; give what was written."""
    wanted = list(works)
    while True:
        connection.execute("BEGIN IMMEDIATE")
        writer = Writer(connection)
        for position, work in enumerate(wanted):
            try:
                writer.write(work)
            except _REFUSALS as refusal:
                connection.execute("ROLLBACK")
                if _is_possible(work):
                    raise JournalDamagedError(f"the journal: {DAMAGED} ({refusal})") from refusal
                log.error("journal: an entry that cannot be written was dropped: %r", wanted.pop(position))
                break
        else:
            return wanted


def _is_possible(work: Work) -> bool:
    with contextlib.closing(empty_journal()) as empty:
        try:
            Writer(empty).write(work)
        except _REFUSALS:
            return False
    return True


class _When(NamedTuple):
    """The four columns that every row has."""

    at_ms: int
    boot_ms: int
    boot: int
    trusted: bool


class _OpenRun(NamedTuple):
    """A run that has not ended: its "on" row."""

    on_id: int
    zone: int
    load: int
    at_ms: int
    boot_ms: int
    boot: int

    def lit_ms(self, when: _When) -> int:
        """Measure it: on the boot-time clock where both ends share a boot, else by the wall clock."""
        if when.boot == self.boot and when.boot_ms >= self.boot_ms:
            return when.boot_ms - self.boot_ms
        return max(0, when.at_ms - self.at_ms)


class Writer:
    """Writes entries through one connection, in a transaction that the caller holds.

    It remembers the ids of what repeats, so after a rollback it must be thrown away.
    """

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection
        self._execute = connection.execute
        self._ids: dict[tuple[object, ...], int] = {}

    def write(self, work: Work) -> None:
        """Write one entry, or do what a request asks; may raise ``_REFUSALS`` or another SQLite error."""
        match work:
            case Switching():
                self._switch(work)
            case Heartbeat():
                # The boot's sign of life moves forward.
                self._execute(
                    "INSERT INTO beat (at_ms, boot_ms, boot, trusted) VALUES (?, ?, ?, ?) "
                    "ON CONFLICT DO UPDATE SET at_ms = excluded.at_ms, boot_ms = excluded.boot_ms, "
                    "trusted = excluded.trusted",
                    self._when(work.at),
                )
            case Event(at=at, kind=kind, words=words, size_s=size_s):
                zone = None if work.zone is None else self._zone(work.zone)
                self._insert_at("event", at, kind=kind.value, words=words, zone=zone, size_s=size_s)
            case Override():
                self._override(work)
            case OverrideEnded():
                self._end_override(work)
            case Replacement() | ReplacementUndone():
                self._replace(work)
            case FixtureIds():
                self._name_fixtures(work)
            case SiteRecord():
                self._record_site(work)
            case CloseOpenRuns():
                for run in self._open_runs():
                    self._close(run, work.now)
            case StartFresh():
                self._start_fresh(work)
            case _:
                raise TypeError(f"the journal takes entries, got {work!r}")

    def _override(self, entry: Override) -> None:
        self._end_override(OverrideEnded(zone=entry.zone, at=entry.placed_at, words=REPLACED))
        self._insert_at(
            "override",
            entry.placed_at,
            zone=self._zone(entry.zone),
            lit=entry.on,
            ends_at_ms=None if entry.ends_at_utc is None else ms_of(entry.ends_at_utc),
            lasts_s=entry.lasts_s,
            by=entry.by,
        )

    def _end_override(self, end: OverrideEnded) -> None:
        """End the override in force of a zone; do nothing where the journal knows of none."""
        self._execute(
            "UPDATE override SET ended_at_ms = ?, ended_boot_ms = ?, ended_boot = ?, ended_trusted = ?, "
            "ended_words = ? WHERE zone = ? AND ended_at_ms IS NULL",
            (*self._when(end.at), end.words, self._zone(end.zone)),
        )

    def _replace(self, entry: Replacement | ReplacementUndone) -> None:
        """Write a replacement, or that it is taken back; a known one gets this note, and stands again."""
        values = (*self._when(entry.at), self._zone(entry.zone), entry.part, entry.on_date.isoformat())
        if isinstance(entry, ReplacementUndone):
            self._execute(
                "UPDATE replacement SET undone_at_ms = ?, undone_boot_ms = ?, undone_boot = ?, "
                "undone_trusted = ? WHERE zone = ? AND part = ? AND on_date = ? AND undone_at_ms IS NULL",
                values,
            )
            return
        self._execute(
            "INSERT INTO replacement (at_ms, boot_ms, boot, trusted, zone, part, on_date, note) "
            "VALUES (?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (zone, part, on_date) DO UPDATE SET "
            "at_ms = excluded.at_ms, boot_ms = excluded.boot_ms, boot = excluded.boot, "
            "trusted = excluded.trusted, note = excluded.note, "
            "undone_at_ms = NULL, undone_boot_ms = NULL, undone_boot = NULL, undone_trusted = NULL",
            (*values, entry.note),
        )

    def _name_fixtures(self, entry: FixtureIds) -> None:
        """Give what was replaced at a place to the fixture that stands there; the same twice stays once."""
        of_place = "zone = (SELECT id FROM zone WHERE name = ?) AND part = ?"
        for (zone_id, place), part in entry.ids.items():
            values = (zone_id, str(place))
            self._execute(f"UPDATE OR IGNORE replacement SET part = ? WHERE {of_place}", (part, *values))  # noqa: S608
            self._execute(f"DELETE FROM replacement WHERE {of_place}", values)  # noqa: S608

    def _record_site(self, entry: SiteRecord) -> None:
        """Write what the site is, where that differs from the last record.

        Where it does not, and the last one was written in this boot before its clock was trusted, that one
        gets its true instant.
        """
        when = self._when(entry.at)
        last = self._execute(
            "SELECT id, text, boot, boot_ms, trusted FROM site_record ORDER BY id DESC LIMIT 1"
        ).fetchone()
        if last is None or last[1] != entry.text:
            self._insert_at("site_record", when, text=entry.text)
        elif when.trusted and not last[4] and last[2] == when.boot:
            at_ms = when.at_ms - (when.boot_ms - last[3])
            self._execute("UPDATE site_record SET at_ms = ?, trusted = 1 WHERE id = ?", (at_ms, last[0]))

    def _switch(self, entry: Switching) -> None:
        when, zone = self._when(entry.at), self._zone(entry.zone)
        load = self._find("load", watts=entry.load_w, origin=entry.load_from)
        reason = self._find("reason", cause=entry.cause.value, words=entry.words)
        run = next((run for run in self._open_runs() if run.zone == zone), None)
        if not entry.on:
            self._put_out(when, zone, reason, load, run)
            return
        if run is not None:
            self._close(run, entry.at)
        on_id = self._insert_at("switching", when, zone=zone, lit=1, reason=reason, load=load)
        self._execute(
            "INSERT INTO account (zone, load, starts, cycles, lit_ms, lit_by) VALUES (?, ?, 1, 0, 0, ?) "
            "ON CONFLICT DO UPDATE SET starts = starts + 1, lit_by = excluded.lit_by",
            (zone, load, on_id),
        )

    def _put_out(self, when: _When, zone: int, reason: int, load: int, run: _OpenRun | None) -> None:
        """Write an "off" row; it ends the run, if there is one."""
        off = {"zone": zone, "lit": 0, "reason": reason, "load": load}
        if run is None:
            self._insert_at("switching", when, **off)
            return
        lit_ms = run.lit_ms(when)
        # Where a wrong clock ends it, the index of long runs is where a search finds it.
        lit_from_ms = when.at_ms - (lit_ms if when.trusted else LONG_RUN_MS + 1)
        self._insert_at("switching", when, **off, on_id=run.on_id, lit_ms=lit_ms, lit_from_ms=lit_from_ms)
        self._execute(
            "UPDATE account SET cycles = cycles + 1, lit_ms = lit_ms + ?, lit_by = NULL "
            "WHERE zone = ? AND load = ?",
            (lit_ms, zone, run.load),
        )

    def _close(self, run: _OpenRun, now: Reading) -> None:
        """End a run that nobody ended. In the boot that still goes on it was no power cut."""
        goes_on = self._find("boot", boot_id=now.boot_id) == run.boot
        self._close_at_last_sign(run, *((Cause.STOPPED, DIED) if goes_on else (Cause.POWER_LOST, POWER_LOST)))

    def _close_at_last_sign(self, run: _OpenRun, cause: Cause, words: str) -> None:
        """End a run at the last sign of life of its boot; at its own beginning where there is none."""
        row = self._execute(
            f"SELECT at_ms, boot_ms, boot, trusted FROM ({SIGNS_OF_LIFE} UNION ALL "  # noqa: S608 - our own text
            "SELECT at_ms, boot_ms, boot, trusted FROM switching WHERE id = :on_id) "
            "WHERE boot = :boot ORDER BY boot_ms DESC, trusted DESC LIMIT 1",
            {"on_id": run.on_id, "boot": run.boot},
        ).fetchone()
        reason = self._find("reason", cause=cause.value, words=words)
        self._put_out(_When(*row), run.zone, reason, run.load, run)

    def _open_runs(self) -> list[_OpenRun]:
        rows = self._execute(
            "SELECT s.id, s.zone, s.load, s.at_ms, s.boot_ms, s.boot FROM account "
            "JOIN switching s ON s.id = account.lit_by ORDER BY s.id"
        )
        return [_OpenRun(*row) for row in rows.fetchall()]

    def _start_fresh(self, work: StartFresh) -> None:
        """End what a file that is not the one written last took to go on, and begin what it does not know.

        What it knows and is still in force goes on. In between it has no record of anything: the event says
        for how long.
        """
        state, now = work.state, work.now
        # Those of earlier boots first: the boot of now must be the last that the file hears of.
        placed = sorted(state.overrides.values(), key=lambda each: each.placed_at.boot_id == now.boot_id)
        overrides = {self._key(entry.zone, entry.placed_at): entry for entry in placed}
        lit = {self._key(entry.zone, entry.at): entry for entry in state.lit.values()}
        for run in self._open_runs():
            if lit.pop((run.zone, run.boot, run.boot_ms), None) is None:
                self._close_at_last_sign(run, Cause.STOPPED, LOST)
        if state.started is not None and is_before(last_sign_of_life(self._connection), state.started.at):
            self.write(state.started)
        size_s = _seconds_since(last_sign_of_life(self._connection), now)
        self.write(Event(kind=work.kind, at=now, words=work.words, size_s=size_s))
        if not now.trusted:
            self.write(Event(kind=EventKind.CLOCK_NOT_TRUSTED, at=now, words=now.trust))
        for event in (*state.programs.values(), *state.faults.values(), *state.confirmed):
            self.write(replace(event, at=now))
        if state.site is not None:
            self._record_site(state.site)
        if state.fixtures is not None:
            self._name_fixtures(state.fixtures)
        for entry in lit.values():
            self._switch(entry)
        for known in overrides_in_force(self._connection):
            if overrides.pop(self._key(known.zone, known.placed_at), None) is None:
                self._end_override(OverrideEnded(zone=known.zone, at=now, words=LOST))
        for override in overrides.values():
            self._override(override)

    # -- rows and the ids of what repeats --------------------------------------------------------------------

    def _when(self, at: Reading) -> _When:
        boot = self._find("boot", boot_id=at.boot_id)
        trusted = at.trusted and not at.trust.startswith(IMPOSSIBLE)
        when = _When(ms_of(at.utc), round(at.boot_s * MS_PER_S), boot, trusted)
        if trusted:
            self._execute(
                "UPDATE boot SET trusted = 1, began_ms = :began WHERE id = :boot "
                "AND (began_ms IS NULL OR abs(began_ms - :began) > :step)",
                {"boot": boot, "began": when.at_ms - when.boot_ms, "step": _STEP_MS},
            )
        return when

    def _zone(self, zone_id: str) -> int:
        return self._find("zone", name=zone_id)

    def _key(self, zone_id: str, at: Reading) -> tuple[int, int, int]:
        """Tell one entry of a zone from another."""
        when = self._when(at)
        return self._zone(zone_id), when.boot, when.boot_ms

    def _find(self, table: str, **values: object) -> int:
        """Find the id of a boot, zone, reason or load, which are kept once, or insert it."""
        key = (table, *values.values())
        if key not in self._ids:
            where = " AND ".join(f"{column} IS :{column}" for column in values)
            found = self._execute(f"SELECT id FROM {table} WHERE {where}", values).fetchone()  # noqa: S608
            self._ids[key] = int(found[0]) if found else self._insert(table, **values)
        return self._ids[key]

    def _insert_at(self, table: str, at: Reading | _When, **values: object) -> int:
        when = at if isinstance(at, _When) else self._when(at)
        return self._insert(table, **when._asdict(), **values)

    def _insert(self, table: str, **values: object) -> int:
        """Insert a row and give its id. Table and columns are names of ours; values are always bound."""
        columns, marks = ", ".join(values), ", ".join(f":{column}" for column in values)
        row = self._execute(f"INSERT INTO {table} ({columns}) VALUES ({marks})", values)  # noqa: S608
        return int(row.lastrowid or 0)


def _seconds_since(last: Reading | None, now: Reading) -> float | None:
    """Measure how long ago a reading was; None where there is none, or no clock can say."""
    if last is None:
        return None
    if last.boot_id == now.boot_id:
        return max(0.0, now.boot_s - last.boot_s)
    if not (last.trusted and now.trusted):
        return None
    return max(0.0, (now.utc - last.utc).total_seconds())

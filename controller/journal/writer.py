"""Writing entries into the tables of an open journal, inside a transaction that the caller holds.

The rows of one zone alternate. Where an "on" meets a run that nobody ended (the board died while it was lit,
and nobody closed it), that run is ended first, at the last sign of life of its boot.
"""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass

from controller.calendar.intervals import ms_of
from controller.journal.ids import RowIds, When
from controller.journal.recovery import SIGNS_OF_LIFE
from controller.records.entries import (
    Cause,
    Entry,
    Event,
    Heartbeat,
    Override,
    OverrideEnded,
    Replacement,
    Switching,
)
from controller.records.reading import Reading

POWER_LOST = "the power was lost"
DIED = "Leerie ended without warning"
REPLACED = "another one took its place"
LOST = "how it ended was lost with a damaged journal"


@dataclass(frozen=True, kw_only=True, slots=True)
class CloseOpenRuns:
    """Asks that every run which an earlier keeper left lit be ended; ``now`` is the new keeper's start."""

    now: Reading


@dataclass(frozen=True, kw_only=True, slots=True)
class StartFresh:
    """Tells a journal that was begun from a copy, or empty, what is in force; all else in it is over."""

    lit: tuple[Switching, ...]
    overrides: tuple[Override, ...]
    now: Reading


Work = Entry | CloseOpenRuns | StartFresh


@dataclass(frozen=True, kw_only=True, slots=True)
class _OpenRun:
    """A run that is not ended: its "on" row."""

    on_id: int
    zone: int
    load: int
    at_ms: int
    boot_ms: int
    boot: int


class Writer:
    """Writes entries through one connection, in one transaction; remembers the ids of what repeats.

    After a rollback it must be thrown away: what it remembers may not be in the file.
    """

    def __init__(self, connection: sqlite3.Connection) -> None:
        """Take a connection; nothing is read yet."""
        self._execute = connection.execute
        self._names = RowIds(connection)

    def write(self, work: Work) -> None:
        """Write one entry, or do what a request asks.

        Raises:
            sqlite3.Error: the file cannot be written, or its rules forbid such a row.
            TypeError: this is no entry.
        """
        match work:
            case Switching():
                self._switching(work)
            case Heartbeat():
                self._beat(work.at)
            case Event():
                self._event(work)
            case Override():
                self._override(work)
            case OverrideEnded():
                self._end_override(work)
            case Replacement():
                self._replacement(work)
            case CloseOpenRuns():
                for run in self._open_runs():
                    self._close(run, work.now)
            case StartFresh():
                self._begin_anew(work)
            case _:
                raise TypeError(f"the journal takes entries, got {work!r}")

    # -- one method for each kind of entry -------------------------------------------------------------------

    def _switching(self, entry: Switching) -> None:
        """Write one change, begin or end its run, and keep the account."""
        when, zone = self._names.when(entry.at), self._names.zone(entry.zone)
        load = self._names.load(entry.load_w, entry.load_from)
        reason = self._names.reason(entry.cause, entry.words)
        run = self._open_run(zone)
        if not entry.on:
            self._put_out(when, zone, reason, load, run)
            return
        if run is not None:
            self._close(run, entry.at)
        row = self._execute(
            "INSERT INTO switching (at_ms, boot_ms, boot, trusted, zone, lit, reason, load) "
            "VALUES (?, ?, ?, ?, ?, 1, ?, ?)",
            (*when, zone, reason, load),
        )
        self._execute(
            "INSERT INTO account (zone, load, starts, cycles, lit_ms, lit_by) VALUES (?, ?, 1, 0, 0, ?) "
            "ON CONFLICT DO UPDATE SET starts = starts + 1, lit_by = excluded.lit_by",
            (zone, load, row.lastrowid),
        )

    def _beat(self, at: Reading) -> None:
        """Move the boot's sign of life forward."""
        at_ms, boot_ms, boot, trusted = self._names.when(at)
        self._execute(
            "INSERT INTO beat (boot, at_ms, boot_ms, trusted) VALUES (?, ?, ?, ?) ON CONFLICT DO UPDATE "
            "SET at_ms = excluded.at_ms, boot_ms = excluded.boot_ms, trusted = excluded.trusted",
            (boot, at_ms, boot_ms, trusted),
        )

    def _event(self, entry: Event) -> None:
        """Write an event."""
        self._execute(
            "INSERT INTO event (at_ms, boot_ms, boot, trusted, kind, words, zone, size_s) "
            "VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
            (
                *self._names.when(entry.at),
                entry.kind.value,
                entry.words,
                None if entry.zone is None else self._names.zone(entry.zone),
                entry.size_s,
            ),
        )

    def _override(self, entry: Override) -> None:
        """Write an override; it takes the place of the zone's last one."""
        self._end_override(OverrideEnded(zone=entry.zone, at=entry.placed_at, words=REPLACED))
        self._execute(
            "INSERT INTO override (at_ms, boot_ms, boot, trusted, zone, lit, ends_at_ms, lasts_s, by) "
            "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (
                *self._names.when(entry.placed_at),
                self._names.zone(entry.zone),
                entry.on,
                None if entry.ends_at_utc is None else ms_of(entry.ends_at_utc),
                entry.lasts_s,
                entry.by,
            ),
        )

    def _end_override(self, end: OverrideEnded) -> None:
        """End the override in force of a zone; nothing where the journal knows of none."""
        self._execute(
            "UPDATE override SET ended_at_ms = ?, ended_boot_ms = ?, ended_boot = ?, ended_trusted = ?, "
            "ended_words = ? WHERE zone = ? AND ended_at_ms IS NULL",
            (*self._names.when(end.at), end.words, self._names.zone(end.zone)),
        )

    def _replacement(self, entry: Replacement) -> None:
        """Write that lamps were replaced."""
        self._execute(
            "INSERT INTO replacement (at_ms, boot_ms, boot, trusted, zone, fixture, on_date, note) "
            "VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
            (
                *self._names.when(entry.at),
                self._names.zone(entry.zone),
                entry.fixture,
                entry.on_date.isoformat(),
                entry.note,
            ),
        )

    # -- runs ------------------------------------------------------------------------------------------------

    def _put_out(self, when: When, zone: int, reason: int, load: int, run: _OpenRun | None) -> None:
        """Write an "off" row; it ends the run, if there is one."""
        lit_ms = None if run is None else _lit_ms(run, when)
        lit_from_ms = None if run is None or lit_ms is None else min(run.at_ms, when[0] - lit_ms)
        self._execute(
            "INSERT INTO switching (at_ms, boot_ms, boot, trusted, zone, lit, reason, load, on_id, lit_ms, "
            "lit_from_ms) VALUES (?, ?, ?, ?, ?, 0, ?, ?, ?, ?, ?)",
            (*when, zone, reason, load, run and run.on_id, lit_ms, lit_from_ms),
        )
        if run is not None:
            self._execute(
                "UPDATE account SET cycles = cycles + 1, lit_ms = lit_ms + ?, lit_by = NULL "
                "WHERE zone = ? AND load = ?",
                (lit_ms, zone, run.load),
            )

    def _close(self, run: _OpenRun, now: Reading) -> None:
        """End a run that nobody ended. In the boot that still goes on it was no power cut."""
        if self._names.boot(now) == run.boot:
            self._close_at_last_sign(run, self._names.reason(Cause.STOPPED, DIED))
        else:
            self._close_at_last_sign(run, self._names.reason(Cause.POWER_LOST, POWER_LOST))

    def _close_at_last_sign(self, run: _OpenRun, reason: int) -> None:
        """End a run at the last sign of life of its boot; at its own beginning where there is none."""
        when = self._execute(
            f"SELECT at_ms, boot_ms, boot, trusted FROM ({SIGNS_OF_LIFE} UNION ALL "  # noqa: S608 - our own text
            "SELECT at_ms, boot_ms, boot, trusted FROM switching WHERE id = :on_id) "
            "WHERE boot = :boot ORDER BY boot_ms DESC LIMIT 1",
            {"on_id": run.on_id, "boot": run.boot},
        ).fetchone()
        self._put_out(when, run.zone, reason, run.load, run)

    def _begin_anew(self, work: StartFresh) -> None:
        """End what a copy left open and is over by now, and begin what the copy does not know."""
        lit = {self._names.key(entry.zone, entry.at): entry for entry in work.lit}
        for run in self._open_runs():
            if lit.pop((run.zone, run.boot, run.boot_ms), None) is None:
                self._close_at_last_sign(run, self._names.reason(Cause.STOPPED, LOST))
        for entry in lit.values():
            self._switching(entry)
        overrides = {self._names.key(entry.zone, entry.placed_at): entry for entry in work.overrides}
        in_force = (
            "SELECT o.zone, o.boot, o.boot_ms, zone.name FROM override o JOIN zone ON zone.id = o.zone "
            "WHERE o.ended_at_ms IS NULL"
        )
        for *key, zone_id in self._execute(in_force).fetchall():
            if overrides.pop(tuple(key), None) is None:
                self._end_override(OverrideEnded(zone=zone_id, at=work.now, words=LOST))
        for override in overrides.values():
            self._override(override)

    def _open_run(self, zone: int) -> _OpenRun | None:
        """Find the run of a zone that is not ended."""
        return next((run for run in self._open_runs() if run.zone == zone), None)

    def _open_runs(self) -> list[_OpenRun]:
        """Find all runs that are not ended, oldest first."""
        rows = self._execute(
            "SELECT s.id, s.zone, s.load, s.at_ms, s.boot_ms, s.boot FROM account "
            "JOIN switching s ON s.id = account.lit_by ORDER BY s.id"
        )
        return [
            _OpenRun(on_id=on_id, zone=zone, load=load, at_ms=at_ms, boot_ms=boot_ms, boot=boot)
            for on_id, zone, load, at_ms, boot_ms, boot in rows.fetchall()
        ]


def _lit_ms(run: _OpenRun, when: When) -> int:
    """Measure a run: on the boot-time clock where both ends share a boot, else by the wall clock."""
    at_ms, boot_ms, boot, _ = when
    if boot == run.boot and boot_ms >= run.boot_ms:
        return boot_ms - run.boot_ms
    return max(0, at_ms - run.at_ms)

"""What a keeper that starts asks of the journal: what was in force, what was lit, and how late it was."""

from __future__ import annotations

import sqlite3
from datetime import datetime

from controller.calendar.intervals import utc_of
from controller.journal.rows import (
    SELECT_OVERRIDE,
    SELECT_SWITCHING,
    as_override,
    as_reading,
    as_switching,
    fetch,
)
from controller.records.entries import EventKind, Override, Switching
from controller.records.reading import Reading

# The newest row of each table that says that somebody was alive, and every boot's last beat.
SIGNS_OF_LIFE = """
    SELECT at_ms, boot_ms, boot, trusted FROM beat
    UNION ALL SELECT at_ms, boot_ms, boot, trusted FROM switching WHERE id = (SELECT max(id) FROM switching)
    UNION ALL SELECT at_ms, boot_ms, boot, trusted FROM event WHERE id = (SELECT max(id) FROM event)
    UNION ALL SELECT at_ms, boot_ms, boot, trusted FROM override WHERE id = (SELECT max(id) FROM override)"""

# A relay rests a minute at most: of what moved before these rows, none rests any more.
LAST_FEW = 100

# Every table with instants of its own; each has an index by instant, or few rows.
_TRUSTED_INSTANTS = (
    "SELECT at_ms FROM switching WHERE trusted ORDER BY at_ms DESC LIMIT 1",
    "SELECT at_ms FROM event WHERE trusted ORDER BY at_ms DESC LIMIT 1",
    "SELECT at_ms FROM override WHERE trusted ORDER BY at_ms DESC LIMIT 1",
    "SELECT max(ended_at_ms) FROM override WHERE ended_trusted",
    "SELECT max(at_ms) FROM beat WHERE trusted",
    "SELECT max(at_ms) FROM replacement WHERE trusted",
)


def overrides_in_force(connection: sqlite3.Connection) -> list[Override]:
    """Give the overrides that were placed and not ended, at most one a zone, in the order of placing."""
    return fetch(connection, as_override, f"{SELECT_OVERRIDE} WHERE o.ended_at_ms IS NULL ORDER BY o.id")


def unfinished(connection: sqlite3.Connection) -> list[Switching]:
    """Give the switchings that lit what was never put out, at most one a zone, oldest first."""
    lit_by = "SELECT lit_by FROM account WHERE lit_by IS NOT NULL"
    return fetch(connection, as_switching, f"{SELECT_SWITCHING} WHERE s.id IN ({lit_by}) ORDER BY s.id")


def last_switchings(connection: sqlite3.Connection) -> list[Switching]:
    """Give the newest switching of each zone that is among the last few rows, newest first."""
    newest: dict[str, Switching] = {}
    for each in fetch(connection, as_switching, f"{SELECT_SWITCHING} ORDER BY s.id DESC LIMIT {LAST_FEW}"):
        newest.setdefault(each.zone, each)
    return list(newest.values())


def last_sign_of_life(connection: sqlite3.Connection) -> Reading | None:
    """Give the latest reading of the newest boot that the journal heard of."""
    row = connection.execute(
        f"SELECT at_ms, boot_ms, boot.boot_id, l.trusted FROM ({SIGNS_OF_LIFE}) l "  # noqa: S608 - our own text
        "JOIN boot ON boot.id = l.boot ORDER BY boot.id DESC, boot_ms DESC LIMIT 1"
    ).fetchone()
    return None if row is None else as_reading(*row)


def ended_well(connection: sqlite3.Connection) -> bool:
    """Say whether the last keeper told that it stopped; also true where there was none."""
    row = connection.execute(
        "SELECT kind FROM event WHERE kind IN (?, ?) ORDER BY id DESC LIMIT 1",
        (EventKind.STARTED.value, EventKind.STOPPED.value),
    ).fetchone()
    return row is None or row[0] == EventKind.STOPPED.value


def last_instant(connection: sqlite3.Connection) -> datetime | None:
    """Give the latest instant at which a row was written by a trusted clock."""
    rows = [connection.execute(select).fetchone() for select in _TRUSTED_INSTANTS]
    instants = [row[0] for row in rows if row is not None and row[0] is not None]
    return utc_of(max(instants)) if instants else None


def trusted_boot_id(connection: sqlite3.Connection) -> str | None:
    """Give the id of the newest boot in which the clock was trusted."""
    row = connection.execute("SELECT boot_id FROM boot WHERE trusted ORDER BY id DESC LIMIT 1").fetchone()
    return None if row is None else str(row[0])

"""What the journal knows of earlier keepers: the questions that a keeper asks at its start."""

import sqlite3
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from controller.calendar.intervals import MS_PER_S
from controller.clock.clock import SystemClock
from controller.clock.trust import RELEASED_UTC, Belief
from controller.journal.database import journal_errors, open_to_read
from controller.journal.rows import EVENTS, OVERRIDES, SWITCHINGS, as_reading, as_utc
from controller.records.entries import EventKind, Override, Switching
from controller.records.reading import Reading

# Every boot's last heartbeat, and the newest row of each table that shows that a keeper ran.
SIGNS_OF_LIFE = """
    SELECT at_ms, boot_ms, boot, trusted FROM beat
    UNION ALL SELECT at_ms, boot_ms, boot, trusted FROM switching WHERE id = (SELECT max(id) FROM switching)
    UNION ALL SELECT at_ms, boot_ms, boot, trusted FROM event WHERE id = (SELECT max(id) FROM event)
    UNION ALL SELECT at_ms, boot_ms, boot, trusted FROM override WHERE id = (SELECT max(id) FROM override)"""

# A relay rests for a minute at most: one that switched before these rows need not rest any more.
_LAST_FEW = 100
# By how much an instant in the journal may be earlier than it was.
_ROUNDED_S = 0.5 / MS_PER_S

# The last id of every table that entries add rows to, with the newest event and the newest switching: tells
# one file from another, and shows whether a commit is in it.
_STAMP = """
    SELECT (SELECT max(id) FROM switching), (SELECT max(id) FROM event), (SELECT max(id) FROM override),
    (SELECT max(id) FROM replacement), (SELECT max(id) FROM site_record),
    (SELECT boot_ms FROM event WHERE id = (SELECT max(id) FROM event)),
    (SELECT boot_id FROM boot WHERE id = (SELECT boot FROM event WHERE id = (SELECT max(id) FROM event))),
    (SELECT boot_ms FROM switching WHERE id = (SELECT max(id) FROM switching))"""
Stamp = tuple[int | str | None, ...]
EMPTY: Stamp = (None,) * 8

# The last event that says whether a keeper is at work, and the instant that a trusted clock gave last, out of
# every table with instants of its own. Not the latest instant: where the clock ran ahead for a while, the
# corrected one counts.
_LAST = """
    SELECT (SELECT kind FROM event WHERE kind IN
    ('started', 'stopped', 'journal replaced', 'journal set aside') ORDER BY id DESC LIMIT 1),
    (SELECT at_ms FROM (
    SELECT * FROM (SELECT at_ms, boot_ms, boot FROM switching WHERE trusted ORDER BY id DESC LIMIT 1)
    UNION ALL
    SELECT * FROM (SELECT at_ms, boot_ms, boot FROM event WHERE trusted ORDER BY id DESC LIMIT 1)
    UNION ALL SELECT at_ms, boot_ms, boot FROM override WHERE trusted
    UNION ALL SELECT ended_at_ms, ended_boot_ms, ended_boot FROM override WHERE ended_trusted
    UNION ALL SELECT at_ms, boot_ms, boot FROM beat WHERE trusted
    UNION ALL SELECT at_ms, boot_ms, boot FROM replacement WHERE trusted
    UNION ALL SELECT undone_at_ms, undone_boot_ms, undone_boot FROM replacement WHERE undone_trusted)
    ORDER BY boot DESC, boot_ms DESC LIMIT 1)"""

# What a person confirmed in the newest boot, if that is why the clock was trusted last.
_TRUST_CHANGED = """
    WHERE e.kind IN ('clock confirmed', 'clock trusted', 'clock not trusted') AND e.id > ifnull(
    (SELECT id FROM event WHERE boot <> (SELECT max(id) FROM boot) ORDER BY id DESC LIMIT 1), 0)
    ORDER BY e.id DESC LIMIT 1"""


@dataclass(frozen=True, kw_only=True, slots=True)
class PreviousRun:
    """What earlier keepers left behind.

    Attributes:
        overrides: those in force when the last keeper ended.
        last_sign: the last sign of life, a heartbeat or any entry that is later.
        ended_well: whether the last keeper recorded that it stopped; also true where there was none.
        last_instant_utc: the instant that a trusted clock gave last to any entry.
        trusted_boot_id: the newest boot, where its clock was trusted at the last sign of life, and not only
            because a person confirmed it.
        confirmed: what a person confirmed in the newest boot, while nothing else has been found since.
        last_switchings: the newest switching of each zone that switched lately.
        stamp: tells the file from others; see ``read_stamp``.
    """

    overrides: tuple[Override, ...] = ()
    last_sign: Reading | None = None
    ended_well: bool = True
    last_instant_utc: datetime | None = None
    trusted_boot_id: str | None = None
    confirmed: Reading | None = None
    last_switchings: tuple[Switching, ...] = ()
    stamp: Stamp = EMPTY

    def make_clock(self, believe: Belief) -> SystemClock:
        """Make the clock of this machine, with what the journal knows of it."""
        return SystemClock(
            believe=believe,
            floor_utc=self.last_instant_utc or RELEASED_UTC,
            trusted_boot_id=self.trusted_boot_id,
            confirmed=self.confirmed,
        )

    def switched_in(self, boot_id: str) -> dict[str, float]:
        """Give when relays last switched in a boot, by zone, on its clock: they may have to rest.

        At the latest: the journal rounds to whole milliseconds.
        """
        return {
            each.zone: each.at.boot_s + _ROUNDED_S
            for each in self.last_switchings
            if each.at.boot_id == boot_id
        }


def read_previous_run(path: Path) -> PreviousRun:
    """Read from a journal's file what earlier keepers left behind.

    Raises:
        JournalError: it cannot be read now.
    """
    with journal_errors(path):
        if not path.exists() or path.stat().st_size == 0:
            return PreviousRun()
    with journal_errors(path), open_to_read(path) as connection:
        return previous_run_in(connection)


def previous_run_in(connection: sqlite3.Connection) -> PreviousRun:
    """Read from an open journal what earlier keepers left behind."""
    kind, last_ms = connection.execute(_LAST).fetchone()
    last_sign = last_sign_of_life(connection)
    changed = EVENTS.fetch(connection, _TRUST_CHANGED)
    confirmed = changed[0].at if changed and changed[0].kind is EventKind.CLOCK_CONFIRMED else None
    newest: dict[str, Switching] = {}
    for each in SWITCHINGS.fetch(connection, f"ORDER BY s.id DESC LIMIT {_LAST_FEW}"):
        newest.setdefault(each.zone, each)
    return PreviousRun(
        overrides=tuple(overrides_in_force(connection)),
        last_sign=last_sign,
        ended_well=kind in (None, EventKind.STOPPED.value),
        last_instant_utc=as_utc(last_ms),
        trusted_boot_id=last_sign.boot_id if last_sign and last_sign.trusted and not confirmed else None,
        confirmed=confirmed,
        last_switchings=tuple(newest.values()),
        stamp=read_stamp(connection),
    )


def is_before(last_sign: Reading | None, started: Reading | None) -> bool:
    """Whether a journal's last sign of life is of a keeper earlier than the one that started then."""
    if last_sign is None or started is None:
        return False
    return last_sign.boot_id != started.boot_id or last_sign.boot_s < started.boot_s


def read_stamp(connection: sqlite3.Connection) -> Stamp:
    """Read what tells a journal from others, and from what it was before its last commit."""
    stamp: Stamp = connection.execute(_STAMP).fetchone()
    return stamp


def overrides_in_force(connection: sqlite3.Connection) -> list[Override]:
    """Give the overrides that were placed and have not ended, in the order of placing."""
    return OVERRIDES.fetch(connection, "WHERE o.ended_at_ms IS NULL ORDER BY o.id")


def open_switchings(connection: sqlite3.Connection) -> list[Switching]:
    """Give the switchings whose runs have not ended, at most one for each zone, oldest first."""
    lit_by = "SELECT lit_by FROM account WHERE lit_by IS NOT NULL"
    return SWITCHINGS.fetch(connection, f"WHERE s.id IN ({lit_by}) ORDER BY s.id")


def last_sign_of_life(connection: sqlite3.Connection, *, corrected: bool = False) -> Reading | None:
    """Give the latest reading of the newest boot in the journal.

    Where its clock was wrong, and right at another moment of that boot, ``corrected`` gives the true instant.
    """
    row = connection.execute(
        "SELECT at_ms, boot_ms, boot.boot_id, l.trusted, boot.began_ms "  # noqa: S608 - our own text
        f"FROM ({SIGNS_OF_LIFE}) l JOIN boot ON boot.id = l.boot "
        "ORDER BY boot.id DESC, boot_ms DESC, l.trusted DESC LIMIT 1"
    ).fetchone()
    if row is None:
        return None
    at_ms, boot_ms, boot_id, trusted, began_ms = row
    if corrected and not trusted and began_ms is not None:
        at_ms, trusted = began_ms + boot_ms, True
    return as_reading(at_ms, boot_ms, boot_id, trusted)

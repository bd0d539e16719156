"""Writing many entries to the journal in one transaction, in their order, all or none, and once."""

from __future__ import annotations

import contextlib
import logging
import sqlite3
from collections.abc import Sequence

from config.errors import JournalDamagedError
from controller.journal.database import DAMAGED, empty_journal
from controller.journal.writer import Work, Writer
from controller.records.entries import Heartbeat

log = logging.getLogger(__name__)

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
    """Commits batches of entries to one file, and finds out about a commit that failed.

    Where the disk fails as it syncs, a transaction may be in the file although the commit raised. The ids of
    the rows tell, once the file is opened again. Entries that add no row leave no doubt: written twice, they
    are there once.
    """

    def __init__(self) -> None:
        """Begin without a doubt."""
        self._doubtful: tuple[tuple[int, ...], list[Work]] | None = None

    def resolve_doubt(self, connection: sqlite3.Connection) -> list[Work]:
        """Give the entries of a commit that failed and is in the file all the same, if there is one."""
        if self._doubtful is None:
            return []
        ids, works = self._doubtful
        there = works if _last_ids(connection) == ids else []
        self._doubtful = None
        return there

    def commit(self, connection: sqlite3.Connection, works: Sequence[Work]) -> list[Work]:
        """Write entries in one transaction, leaving out those that no journal would take.

        The commit waits for the disk, unless there is nothing but beats in it.

        Returns:
            What was written.

        Raises:
            JournalDamagedError: the file refuses an entry that an empty journal takes.
            sqlite3.Error: it failed. The connection must be closed, which rolls back; then ``resolve_doubt``
                finds out whether it is in the file.
        """
        durable = not all(isinstance(work, Heartbeat) for work in works)
        connection.execute(f"PRAGMA synchronous = {'FULL' if durable else 'NORMAL'}")
        before = _last_ids(connection)
        written = _write_possible(connection, works)
        after = _last_ids(connection)
        if after != before:
            self._doubtful = after, written
        connection.execute("COMMIT")
        self._doubtful = None
        return written


def _write_possible(connection: sqlite3.Connection, works: Sequence[Work]) -> list[Work]:
    """Write all but what no journal would take, in a transaction that stays open; give what was written."""
    wanted = list(works)
    while (refused := _try_to_write(connection, wanted)) is not None:
        position, refusal = refused
        if _is_possible(wanted[position]):
            raise JournalDamagedError(f"the journal: {DAMAGED} ({refusal})") from refusal
        log.error("journal: this entry cannot be written and is given up: %r", wanted.pop(position))
    return wanted


def _last_ids(connection: sqlite3.Connection) -> tuple[int, ...]:
    """Give the last id of every table that entries add rows to; it tells whether a commit is in the file."""
    return tuple(
        connection.execute(f"SELECT ifnull(max(id), 0) FROM {table}").fetchone()[0]  # noqa: S608
        for table in ("switching", "event", "override", "replacement")
    )


def _try_to_write(connection: sqlite3.Connection, works: Sequence[Work]) -> tuple[int, Exception] | None:
    """Write all; where one is refused, write none and give its position and the refusal."""
    connection.execute("BEGIN IMMEDIATE")
    writer = Writer(connection)
    for position, work in enumerate(works):
        try:
            writer.write(work)
        except _REFUSALS as refusal:
            connection.execute("ROLLBACK")
            return position, refusal
    return None


def _is_possible(work: Work) -> bool:
    """Whether an empty journal takes an entry."""
    with contextlib.closing(empty_journal()) as empty:
        try:
            Writer(empty).write(work)
        except _REFUSALS:
            return False
    return True

"""Writing many entries to the journal in one transaction, in their order, all or none."""

from __future__ import annotations

import contextlib
import logging
import sqlite3
from collections.abc import Sequence

from config.errors import JournalDamagedError
from controller.entries import Beat
from controller.journal_file import DAMAGED, empty_journal
from controller.journal_writing import Work, Writer

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


def write_together(connection: sqlite3.Connection, works: Sequence[Work]) -> list[Work]:
    """Write entries in one transaction, leaving out those that no journal would take.

    The commit waits for the disk, unless there is nothing but beats in it.

    Returns:
        What was written.

    Raises:
        JournalDamagedError: the file refuses an entry that an empty journal takes.
        sqlite3.Error: nothing was written. The connection must be closed, which rolls back.
    """
    wanted = list(works)
    durable = not all(isinstance(work, Beat) for work in wanted)
    connection.execute(f"PRAGMA synchronous = {'FULL' if durable else 'NORMAL'}")
    while (refused := _try_to_write(connection, wanted)) is not None:
        position, refusal = refused
        if _is_possible(wanted[position]):
            raise JournalDamagedError(f"the journal: {DAMAGED} ({refusal})") from refusal
        log.error("journal: this entry cannot be written and is given up: %r", wanted.pop(position))
    return wanted


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
    connection.execute("COMMIT")
    return None


def _is_possible(work: Work) -> bool:
    """Whether an empty journal takes an entry."""
    with contextlib.closing(empty_journal()) as empty:
        try:
            Writer(empty).write(work)
        except _REFUSALS:
            return False
    return True

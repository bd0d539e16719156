"""Writing many entries to the journal in one transaction, in their order, all or none."""

from __future__ import annotations

import logging
import sqlite3
from collections.abc import Sequence

from controller.entries import Beat
from controller.journal_writing import Work, Writer

log = logging.getLogger(__name__)

# What says that an entry can never be written, however often it is tried: it breaks a rule of the tables, or
# holds what no column can. All other errors are the file's, and pass.
_NEVER = (
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
    """Write entries in one transaction, leaving out those that can never be written.

    The commit waits for the disk, unless there is nothing but beats in it.

    Returns:
        What was written.

    Raises:
        sqlite3.Error: nothing was written. The connection must be closed, which rolls back.
    """
    wanted = list(works)
    durable = not all(isinstance(work, Beat) for work in wanted)
    connection.execute(f"PRAGMA synchronous = {'FULL' if durable else 'NORMAL'}")
    while (refused := _try_to_write(connection, wanted)) is not None:
        log.error("journal: this entry cannot be written and is given up: %r", wanted.pop(refused))
    return wanted


def _try_to_write(connection: sqlite3.Connection, works: Sequence[Work]) -> int | None:
    """Write all; where one can never be written, write none and give its position."""
    connection.execute("BEGIN IMMEDIATE")
    writer = Writer(connection)
    for position, work in enumerate(works):
        try:
            writer.write(work)
        except _NEVER:
            log.debug("journal: an entry is refused", exc_info=True)
            connection.execute("ROLLBACK")
            return position
    connection.execute("COMMIT")
    return None

"""The journal's file: where it lies, how it is opened to write or to read, and what its errors mean."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from config.errors import JournalDamagedError, JournalError
from controller.journal.schema import STEPS, Step

JOURNAL_NAME = "journal.sqlite"
BACKUPS_NAME = "backups"

# "Leer" as a 32-bit number: tells a journal from any other SQLite file.
APPLICATION_ID = 0x4C656572
# Tables that a journal always had: with these it is ours, even where damage hit the number.
OUR_TABLES = {"switching", "override", "event"}
# A version so far ahead was never released; it is damage, too.
FURTHEST_VERSION = 100
# A switching touches about five pages, and each is written whole. Measured over 30 years and 8 zones: pages
# of 1 kB write a quarter of what 4 kB pages do, and the file is no larger. See tests/bench/bench_journal.py.
PAGE_BYTES = 1024
# The log is emptied into the file after so many pages: 1 MB.
CHECKPOINT_PAGES = 1000
# How long to wait where another program holds the file. Short: entries can wait in memory, lights cannot.
BUSY_S = 0.2

DAMAGED = "it is damaged; it will be set aside and a fresh one begun"

# What reading may raise where damage put values into rows that nobody wrote there.
READING_ERRORS = (sqlite3.Error, ValueError, TypeError, OverflowError)

# SQLITE_ERROR is a statement that does not fit the tables. The statements are fixed and so is the version, so
# the tables are not what they were.
_DAMAGE = (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_ERROR)
_MEANINGS = {
    sqlite3.SQLITE_FULL: "the disk is full; make room on it",
    sqlite3.SQLITE_READONLY: "it may not be written; make the disk and the folder writable",
    sqlite3.SQLITE_BUSY: "another program holds it; close that program",
    sqlite3.SQLITE_LOCKED: "another program holds it; close that program",
    sqlite3.SQLITE_CANTOPEN: "it cannot be opened; see who owns the folder, and whether the disk has room",
    sqlite3.SQLITE_IOERR: "the disk does not read or write as it should; see whether it is full or worn out",
    sqlite3.SQLITE_CORRUPT: DAMAGED,
    sqlite3.SQLITE_NOTADB: DAMAGED,
    sqlite3.SQLITE_ERROR: DAMAGED,
}


def journal_path(place: Path) -> Path:
    """Give the journal's file: ``place`` itself, or the one in ``place`` where that is a folder."""
    return place / JOURNAL_NAME if place.is_dir() or place.suffix != ".sqlite" else place


def beside(path: Path) -> tuple[Path, Path]:
    """Name the two files that SQLite keeps beside a journal that is open: the log and its index."""
    return path.with_name(path.name + "-wal"), path.with_name(path.name + "-shm")


def copies_of(path: Path) -> list[Path]:
    """List the nightly copies of a journal, newest night first."""
    return sorted((path.parent / BACKUPS_NAME).glob("journal-*.sqlite"), reverse=True)


def explain(error: Exception, path: Path) -> JournalError:
    """Say in a person's words what SQLite, the system or a row that makes no sense complains of."""
    if isinstance(error, OSError):
        return JournalError(f"the journal {path}: {error.strerror or error}")
    if not isinstance(error, sqlite3.Error) or str(error).startswith("Could not decode"):
        # Text that is no text, a cause that is none: only damage puts such a thing into a row.
        return JournalDamagedError(f"the journal {path}: {DAMAGED} ({error})")
    # The low byte is the kind of error; the rest only refines it.
    code = (getattr(error, "sqlite_errorcode", None) or 0) & 0xFF
    meaning = _MEANINGS.get(code)
    words = f"the journal {path}: {meaning} ({error})" if meaning else f"the journal {path}: {error}"
    return JournalDamagedError(words) if code in _DAMAGE else JournalError(words)


def open_to_write(path: Path, *, steps: tuple[Step, ...] = STEPS, fresh: bool = False) -> sqlite3.Connection:
    """Open the journal to write, make it where there is none, and bring an older one up to date.

    Args:
        path: the file; its folder is made where it is missing.
        steps: the versions to bring it to.
        fresh: begin an empty one even though copies exist that it could be begun from.

    Returns:
        A connection in autocommit, with the write-ahead log on. Whoever holds it sees to it that two threads
        never use it at once.

    Raises:
        JournalDamagedError: the file is damaged, or is gone while copies of it exist.
        JournalError: it cannot be opened now, or is not ours to touch.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        connection = sqlite3.connect(path, timeout=BUSY_S, isolation_level=None, check_same_thread=False)
    except (sqlite3.Error, OSError) as error:
        raise explain(error, path) from error
    try:
        _bring_up_to_date(connection, path, steps, fresh=fresh)
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute(f"PRAGMA wal_autocheckpoint = {CHECKPOINT_PAGES}")
        connection.execute(f"PRAGMA journal_size_limit = {4 * CHECKPOINT_PAGES * PAGE_BYTES}")
    except READING_ERRORS as error:
        connection.close()
        raise explain(error, path) from error
    except BaseException:
        connection.close()
        raise
    return connection


def open_to_read(path: Path, *, busy_s: float = BUSY_S, any_version: bool = False) -> sqlite3.Connection:
    """Open a journal, live or a copy, only to read.

    Args:
        path: the file.
        busy_s: how long to wait where another program holds it, in seconds.
        any_version: take an older version too, whose tables may not be today's.

    Raises:
        JournalError: there is none, it cannot be read now, or it is of another version.
    """
    if not path.exists():
        raise JournalError(f"there is no journal at {path}; it begins with the first run")
    uri = f"{path.absolute().as_uri()}?mode=ro"
    try:
        connection = _connect_to_read(uri, path, busy_s)
    except JournalError as error:
        wal, _ = beside(path)
        if not _is_locked_out(error) or (wal.exists() and wal.stat().st_size):
            raise
        # A copy on a medium that may not be written: with no log beside it nothing can change under us.
        connection = _connect_to_read(f"{uri}&immutable=1", path, busy_s)
    version = int(connection.execute("PRAGMA user_version").fetchone()[0])
    if version != len(STEPS) and not any_version:
        connection.close()
        raise JournalError(f"the journal {path} is of version {version}; `leerie run` brings it up to date")
    return connection


def empty_journal(*, steps: tuple[Step, ...] = STEPS) -> sqlite3.Connection:
    """Make a journal in memory, to compare with."""
    connection = sqlite3.connect(":memory:", isolation_level=None)
    for step in steps:
        for statement in step:
            connection.execute(statement)
    return connection


def version_of(connection: sqlite3.Connection, path: Path, *, newest: int = len(STEPS)) -> int:
    """Tell a journal's version; 0 where the file is empty.

    Raises:
        JournalDamagedError: what says that the file is ours, or its version, was overwritten.
        JournalError: the file is another program's, or of a version later than ``newest``.
    """
    version = int(connection.execute("PRAGMA user_version").fetchone()[0])
    marked = connection.execute("PRAGMA application_id").fetchone() == (APPLICATION_ID,)
    names = connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")
    tables = {str(name) for (name,) in names}
    if not tables and not version:
        return 0
    if not marked and not tables >= OUR_TABLES:
        raise JournalError(f"{path} is not a journal of Leerie; move it away, or name another folder")
    if not marked or not 0 < version < newest + FURTHEST_VERSION:
        raise JournalDamagedError(f"the journal {path}: {DAMAGED} (its first page)")
    if version > newest:
        raise JournalError(
            f"the journal {path} was written by a newer Leerie (version {version}, this one knows {newest}); "
            f"install that one again, or move the journal away"
        )
    return version


def _bring_up_to_date(
    connection: sqlite3.Connection, path: Path, steps: tuple[Step, ...], *, fresh: bool
) -> None:
    """Make the tables, or what is new in them, in one transaction."""
    version = version_of(connection, path, newest=len(steps))
    if version == 0 and not fresh and copies_of(path):
        raise JournalDamagedError(f"the journal {path} is empty or gone; it will be begun from a copy")
    if version == 0:
        connection.execute(f"PRAGMA page_size = {PAGE_BYTES}")
    connection.execute("PRAGMA journal_mode = WAL")
    if version == len(steps):
        return
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute("BEGIN IMMEDIATE")
    try:
        for step in steps[version_of(connection, path, newest=len(steps)) :]:
            for statement in step:
                connection.execute(statement)
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        connection.execute(f"PRAGMA user_version = {len(steps)}")
        connection.execute("COMMIT")
    except sqlite3.Error as error:
        if isinstance(explain(error, path), JournalDamagedError) and version:
            # A step that does not fit is our mistake; the journal must not be set aside for it.
            raise JournalError(
                f"the journal {path} could not be brought from version {version} to {len(steps)} ({error}); "
                f"nothing in it was changed; install the earlier Leerie again"
            ) from error
        raise
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise


def _connect_to_read(uri: str, path: Path, busy_s: float) -> sqlite3.Connection:
    """Open by URI and see that it is a journal of a version that we know."""
    try:
        # Generators that read may be continued by another thread of a pool, never by two at once.
        connection = sqlite3.connect(
            uri, uri=True, timeout=busy_s, isolation_level=None, check_same_thread=False
        )
    except sqlite3.Error as error:
        raise explain(error, path) from error
    try:
        version_of(connection, path)
    except READING_ERRORS as error:
        connection.close()
        raise explain(error, path) from error
    except BaseException:
        connection.close()
        raise
    return connection


def _is_locked_out(error: JournalError) -> bool:
    """Whether SQLite could not open the file, or not make what it wants beside it."""
    code = (getattr(error.__cause__, "sqlite_errorcode", None) or 0) & 0xFF
    return code in (sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_READONLY)

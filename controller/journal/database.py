"""The journal's file: opened to write or to read, brought up to date, checked; and what its errors mean."""

import contextlib
import os
import sqlite3
from collections.abc import Callable, Iterator
from datetime import date
from functools import cache
from pathlib import Path

from config.errors import JournalDamagedError, JournalError
from config.phrase import Phrase
from controller.journal.schema import STEPS
from controller.records.entries import Cause, EventKind

JOURNAL_NAME = "journal.sqlite"
BACKUPS_NAME = "backups"

# "Leer" as a 32-bit number: tells a journal from any other SQLite file.
APPLICATION_ID = 0x4C656572
# Tables that every journal has: with these it is ours, even where damage hit the number.
_OUR_TABLES = {"switching", "override", "event"}
# A version so far ahead was never released; it is damage, too.
_FURTHEST_VERSION = 100
# A switching touches about five pages, and each is written whole. Measured over 30 years and 8 zones: pages
# of 1 kB write a quarter of what 4 kB pages do, and the file is no larger. See tests/bench/bench_journal.py.
PAGE_BYTES = 1024
# The log is emptied into the file after so many pages: 1 MB.
_CHECKPOINT_PAGES = 1000
# How long to wait where another program holds the file. Short: entries can wait in memory, lights cannot.
BUSY_S = 0.2

NOTHING_THERE = Phrase("the file is empty or gone")

# What reading may raise where damage put values into rows that nobody wrote there.
_READING_ERRORS = (sqlite3.Error, ValueError, TypeError, OverflowError)
# SQLITE_ERROR is a statement that does not fit the tables. The statements are fixed and so is the version, so
# the tables are not what they were.
_DAMAGE = (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_ERROR)
DAMAGED = Phrase("it is damaged; Leerie sets it aside and starts a new one")
_MEANINGS = {
    sqlite3.SQLITE_FULL: Phrase("the disk is full; make room on it"),
    sqlite3.SQLITE_READONLY: Phrase("it may not be written; make the disk and the folder writable"),
    sqlite3.SQLITE_BUSY: Phrase("another program holds it; close that program"),
    sqlite3.SQLITE_LOCKED: Phrase("another program holds it; close that program"),
    sqlite3.SQLITE_CANTOPEN: Phrase(
        "it cannot be opened; check who owns the folder, and whether the disk has room"
    ),
    sqlite3.SQLITE_IOERR: Phrase("the disk does not read or write; check whether it is full or worn out"),
    **dict.fromkeys(_DAMAGE, DAMAGED),
}

_TABLES = "SELECT type, name, tbl_name, sql FROM sqlite_master ORDER BY type, name"
# Texts that no rule of the tables guards: each must be text, and what it is read as must be possible.
_TEXTS: tuple[tuple[Callable[[str], object], str], ...] = (
    (Cause, "SELECT cause FROM reason"),
    (str, "SELECT words FROM reason"),
    (str, "SELECT boot_id FROM boot"),
    (str, "SELECT name FROM zone"),
    (str, "SELECT origin FROM load"),
    (EventKind, "SELECT kind FROM event"),
    (str, "SELECT words FROM event"),
    (str, "SELECT by FROM override"),
    (str, "SELECT ended_words FROM override"),
    (date.fromisoformat, "SELECT on_date FROM replacement"),
    (str, "SELECT part FROM replacement"),
    (str, "SELECT note FROM replacement"),
    (str, "SELECT text FROM site_record"),
)


def journal_path(place: Path) -> Path:
    """Give the journal's file: ``place`` itself, or the one in ``place`` where that is a folder."""
    return place / JOURNAL_NAME if place.is_dir() or place.suffix != ".sqlite" else place


def files_of(path: Path) -> tuple[Path, Path, Path]:
    """Name the files of a journal: the log and its index, which SQLite keeps while it is open, and itself."""
    return path.with_name(path.name + "-wal"), path.with_name(path.name + "-shm"), path


def backups_of(path: Path) -> list[Path]:
    """List the nightly backups of a journal, newest night first."""
    return sorted((path.parent / BACKUPS_NAME).glob("journal-*.sqlite"), reverse=True)


@contextlib.contextmanager
def journal_errors(path: Path) -> Iterator[None]:
    """Raise what goes wrong with a journal as a JournalError that says what to do."""
    try:
        yield
    except JournalError:
        raise
    except (*_READING_ERRORS, OSError) as error:
        raise explain_error(error, path) from error


def explain_error(error: Exception, path: Path) -> JournalError:
    """Say in plain words what SQLite, the system or a row that makes no sense complains of."""
    if isinstance(error, OSError):
        return JournalError(
            Phrase(
                "the journal {path}: {why}; check the folder and the disk",
                path=str(path),
                why=error.strerror or str(error),
            )
        )
    if not isinstance(error, sqlite3.Error) or str(error).startswith("Could not decode"):
        # Text that is no text, a cause that is none: only damage puts such a thing into a row.
        return JournalDamagedError(
            Phrase(
                "the journal {path}: {damaged} ({error})", path=str(path), damaged=DAMAGED, error=str(error)
            )
        )
    code = _code_of(error)
    meaning: str = str(error)
    if code in _MEANINGS:
        meaning = Phrase("{meaning} ({error})", meaning=_MEANINGS[code], error=meaning)
    return (JournalDamagedError if code in _DAMAGE else JournalError)(
        Phrase("the journal {path}: {meaning}", path=str(path), meaning=meaning)
    )


def _code_of(error: BaseException | None) -> int:
    """Give the kind of an SQLite error; it is the low byte of the code, the rest only refines it."""
    return (getattr(error, "sqlite_errorcode", None) or 0) & 0xFF


def open_to_write(path: Path, *, fresh: bool = False) -> sqlite3.Connection:
    """Open the journal to write, make it where there is none, and bring an older one up to date.

    The connection is in autocommit; the caller sees to it that two threads never use it at once. With
    ``fresh`` an empty one is begun even where there are backups that it could be restored from.

    Raises:
        JournalDamagedError: the file is damaged, or is gone while backups of it exist.
        JournalError: it cannot be opened now, or is not ours to touch.
    """
    with journal_errors(path):
        path.parent.mkdir(parents=True, exist_ok=True)
        with _connected(path, "mode=rwc", BUSY_S) as connection:
            _bring_up_to_date(connection, path, fresh=fresh)
            connection.execute("PRAGMA foreign_keys = ON")
            connection.execute(f"PRAGMA wal_autocheckpoint = {_CHECKPOINT_PAGES}")
            connection.execute(f"PRAGMA journal_size_limit = {4 * _CHECKPOINT_PAGES * PAGE_BYTES}")
        return connection


@contextlib.contextmanager
def open_to_read(
    path: Path, *, busy_s: float = BUSY_S, any_version: bool = False
) -> Iterator[sqlite3.Connection]:
    """Open a journal, live or a backup, only to read; an older version only if ``any_version`` is true.

    With no log beside it nobody has it open, and it is read as a file that does not change. SQLite would make
    a log and its index, which whoever asks would own, and Leerie then could not write.

    Raises:
        JournalError: there is none, it cannot be read now, it is of another version, or it was written
            meanwhile by somebody who opened it only after us.
    """
    log, *_ = files_of(path)
    with journal_errors(path):
        if not path.exists():
            raise JournalError(
                Phrase(
                    "there is no journal at {path}; it begins with the first `leerie run`, or comes back "
                    "with its disk or folder",
                    path=str(path),
                )
            )
        found, fixed = path.stat(), not log.exists()
    try:
        connection = _connect_to_read(path, busy_s, fixed=fixed, any_version=any_version)
    except JournalError as error:
        locked_out = _code_of(error.__cause__) in (sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_READONLY)
        if fixed or not locked_out or (log.exists() and log.stat().st_size):
            raise
        # A backup on a medium that may not be written: with nothing in its log nothing can change under us.
        fixed = True
        connection = _connect_to_read(path, busy_s, fixed=fixed, any_version=any_version)
    try:
        with contextlib.closing(connection):
            yield connection
    except _READING_ERRORS:
        if not fixed or not _is_rewritten(path, found):
            raise
    if fixed and _is_rewritten(path, found):
        raise JournalError(
            Phrase("the journal {path} was written while it was read; try again", path=str(path))
        )


def _is_rewritten(path: Path, found: os.stat_result) -> bool:
    """Whether a file was written since; another one in its place does not concern who reads the first."""
    with contextlib.suppress(OSError):
        now = path.stat()
        same = (now.st_dev, now.st_ino) == (found.st_dev, found.st_ino)
        return same and (now.st_mtime_ns, now.st_size) != (found.st_mtime_ns, found.st_size)
    return False


def _connect_to_read(path: Path, busy_s: float, *, fixed: bool, any_version: bool) -> sqlite3.Connection:
    mode = "mode=ro&immutable=1" if fixed else "mode=ro"
    with journal_errors(path), _connected(path, mode, busy_s) as connection:
        version = _version_of(connection, path)
        if version != len(STEPS) and not any_version:
            raise JournalError(
                Phrase(
                    "the journal {path} is of version {version}; `leerie run` brings it up to date",
                    path=str(path),
                    version=version,
                )
            )
    return connection


@contextlib.contextmanager
def _connected(path: Path, mode: str, busy_s: float) -> Iterator[sqlite3.Connection]:
    """Connect; where what is done with the connection first fails, close it."""
    # A generator that reads may be continued by another thread of a pool, never by two at once.
    uri = f"{path.absolute().as_uri()}?{mode}"
    connection = sqlite3.connect(uri, busy_s, isolation_level=None, check_same_thread=False, uri=True)
    try:
        yield connection
    except BaseException:
        connection.close()
        raise


def empty_journal() -> sqlite3.Connection:
    """Make a journal in memory, to compare with."""
    connection = sqlite3.connect(":memory:", isolation_level=None)
    _take_steps(connection, 0)
    return connection


@cache
def _expected_tables() -> list[tuple[str, ...]]:
    with contextlib.closing(empty_journal()) as empty:
        return empty.execute(_TABLES).fetchall()


def _version_of(connection: sqlite3.Connection, path: Path) -> int:
    """Give a journal's version, 0 where the file is empty; refuse what is damaged, newer or not ours."""
    newest = len(STEPS)
    version = int(connection.execute("PRAGMA user_version").fetchone()[0])
    marked = connection.execute("PRAGMA application_id").fetchone() == (APPLICATION_ID,)
    tables = {name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    if not tables and not version:
        return 0
    if not marked and not tables >= _OUR_TABLES:
        raise JournalError(
            Phrase("{path} is not a journal of Leerie; move it away, or use another folder", path=str(path))
        )
    if not marked or not 0 < version < newest + _FURTHEST_VERSION:
        raise JournalDamagedError(
            Phrase("the journal {path}: {damaged} (its first page)", path=str(path), damaged=DAMAGED)
        )
    if version > newest:
        raise JournalError(
            Phrase(
                "the journal {path} was written by a newer Leerie (version {version}, this one knows "
                "{newest}); install that one again, or move the journal away",
                path=str(path),
                version=version,
                newest=newest,
            )
        )
    return version


def _bring_up_to_date(connection: sqlite3.Connection, path: Path, *, fresh: bool) -> None:
    """Make the tables, or what is new in them, in one transaction."""
    version = _version_of(connection, path)
    if version == 0 and not fresh and backups_of(path):
        raise JournalDamagedError(
            Phrase("the journal {path} is empty or gone; Leerie restores it from a backup", path=str(path))
        )
    if version == 0:
        connection.execute(f"PRAGMA page_size = {PAGE_BYTES}")
    connection.execute("PRAGMA journal_mode = WAL")
    if version == len(STEPS):
        return
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute("BEGIN IMMEDIATE")
    try:
        _take_steps(connection, _version_of(connection, path))
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        connection.execute(f"PRAGMA user_version = {len(STEPS)}")
        connection.execute("COMMIT")
    except sqlite3.Error as error:
        if version and isinstance(explain_error(error, path), JournalDamagedError):
            # A step that does not fit is our mistake; the journal must not be set aside for it.
            raise JournalError(
                Phrase(
                    "the journal {path} could not be brought from version {version} to {newest} "
                    "({error}); nothing in it was changed; install the earlier Leerie again",
                    path=str(path),
                    version=version,
                    newest=len(STEPS),
                    error=str(error),
                )
            ) from error
        raise


def _take_steps(connection: sqlite3.Connection, version: int) -> None:
    for step in STEPS[version:]:
        for statement in step:
            connection.execute(statement)


def is_nothing(path: Path) -> bool:
    """Whether there is no file, or an empty one."""
    return not path.exists() or path.stat().st_size == 0


def find_damage(path: Path) -> str | None:
    """Read the whole of a journal or a backup and say what is wrong with it; slow where it is large.

    Returns:
        What is wrong: NOTHING_THERE where the file is empty or gone; None where it is whole.

    Raises:
        JournalError: it cannot be read now, or is not ours to judge.
    """
    if is_nothing(path):
        return NOTHING_THERE
    try:
        with journal_errors(path), open_to_read(path, any_version=True) as connection:
            return _look_through(connection)
    except JournalDamagedError as error:
        return str(error.__cause__ or error)


def _look_through(connection: sqlite3.Connection) -> str | None:
    # Not quick_check, which does not compare the indexes with the tables, and we answer from the indexes.
    # Measured over 30 years and 8 zones it takes 0.15 s, this 0.35 s.
    found = connection.execute("PRAGMA integrity_check(1)").fetchone()[0]
    if found != "ok":
        return str(found).replace("\n", " ")
    dangling = connection.execute("PRAGMA foreign_key_check").fetchone()
    if dangling is not None:
        return f"row {dangling[1]} of {dangling[0]} names a row of {dangling[2]} that is not there"
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    if version == 0:
        (pages,) = connection.execute("PRAGMA page_count").fetchone()
        return NOTHING_THERE if pages <= 1 else "its tables are gone"
    if version != len(STEPS):
        return None
    if connection.execute(_TABLES).fetchall() != _expected_tables():
        return "its tables are not what they should be"
    for make, select in _TEXTS:
        for (text,) in connection.execute(select):
            make(text)
    return None

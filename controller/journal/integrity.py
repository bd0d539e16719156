"""Whether a journal's file is whole: its pages, its indexes, its references and the values in it."""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Callable
from datetime import date
from pathlib import Path

from config.errors import JournalDamagedError
from controller.journal.database import READING_ERRORS, copies_of, empty_journal, explain, open_to_read
from controller.journal.schema import STEPS
from controller.records.entries import Cause, EventKind

NOTHING_THERE = "the file is empty or gone"

_TABLES = "SELECT type, name, tbl_name, sql FROM sqlite_master ORDER BY type, name"
# Texts that no rule of the tables guards: each must be text, and what it is read as must be possible.
_WORDS: tuple[tuple[Callable[[str], object], str], ...] = (
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
    (str, "SELECT note FROM replacement"),
)


def find_damage(path: Path) -> str | None:
    """Read the whole journal and say what is wrong with it; slow where it is large.

    Returns:
        What is wrong, None where nothing is, or where there is no journal yet and no copy of one.

    Raises:
        JournalError: it cannot be looked at now, or is not ours to judge.
    """
    if not path.exists() or path.stat().st_size == 0:
        return NOTHING_THERE if copies_of(path) else None
    damage = damage_of(path)
    return None if damage == NOTHING_THERE and not copies_of(path) else damage


def damage_of(path: Path) -> str | None:
    """Read all of a journal or a copy, and say what is wrong with it; see ``find_damage``."""
    try:
        connection = open_to_read(path, any_version=True)
    except JournalDamagedError as error:
        return str(error)
    with contextlib.closing(connection):
        try:
            return _look_through(connection)
        except READING_ERRORS as error:
            meaning = explain(error, path)
            if isinstance(meaning, JournalDamagedError):
                return str(error)
            raise meaning from error


def _look_through(connection: sqlite3.Connection) -> str | None:
    """Read all of an open journal and say what is wrong with it.

    Not quick_check, which does not compare the indexes with the tables, and we answer from the indexes.
    Measured over 30 years and 8 zones it takes 0.15 s, this 0.35 s.
    """
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
    with contextlib.closing(empty_journal()) as empty:
        if empty.execute(_TABLES).fetchall() != connection.execute(_TABLES).fetchall():
            return "its tables are not what they should be"
    for make, select in _WORDS:
        for (word,) in connection.execute(select):
            make(word)
    return None

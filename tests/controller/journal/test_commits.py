"""Commits of the journal that fail, and are in the file or not."""

from __future__ import annotations

import contextlib
import sqlite3

import pytest

from config.errors import JournalError
from controller.journal.reader import JournalReader
from controller.records.entries import OverrideEnded
from tests.controller.journal_samples import assert_refused, overridden, reading, switch_often, written


class LyingConnection:
    """A connection whose commit fails, before or after it reached the disk."""

    def __init__(self, connection: sqlite3.Connection, *, reached: bool) -> None:
        self._connection, self._reached = connection, reached

    def execute(self, statement: str, *values: object) -> sqlite3.Cursor:
        if statement == "COMMIT":
            if self._reached:
                self._connection.execute(statement)
            raise sqlite3.OperationalError("disk I/O error")
        return self._connection.execute(statement, *values)

    def close(self) -> None:
        self._connection.close()


class TestCommitThatFails:
    """Where the disk fails as it syncs, only opening the file again shows whether the rows are there."""

    @pytest.mark.parametrize("reached", [True, False])
    def test_nothing_is_doubled_and_nothing_lost(self, journal, reached):
        """Entries whose commit failed are there once, whether it had reached the disk or not."""
        journal.append(overridden("jetty", reading()))
        journal.flush()
        switch_often(journal, 4)
        journal.append(OverrideEnded(zone="jetty", at=reading(4), words="its time was over"))
        journal._connection = LyingConnection(journal._connection, reached=reached)
        assert_refused(journal, "disk I/O error")
        switch_often(journal, 2, begin=4)
        # Failing for another reason meanwhile does not make it forget the doubt.
        with contextlib.closing(sqlite3.connect(journal.path, isolation_level=None)) as other:
            other.execute("BEGIN IMMEDIATE")
            with pytest.raises(JournalError, match="another program"):
                journal.flush()
            assert journal.waiting == (2 if reached else 7)
        journal.flush()
        assert written(journal) == [0, 1, 2, 3, 4, 5]
        assert journal.previous_run().overrides == ()
        assert (journal.waiting, journal.lost) == (0, 0)
        assert [run.lit_s for run in JournalReader(journal.directory).runs()] == [1.0, 1.0, 1.0]

    @pytest.mark.parametrize("reached", [True, False])
    def test_entries_that_add_no_row(self, journal, reached):
        """The end of an override alone is written, whether the commit had reached the disk or not."""
        journal.append(overridden("jetty", reading()))
        journal.flush()
        journal.append(OverrideEnded(zone="jetty", at=reading(4), words="its time was over"))
        journal._connection = LyingConnection(journal._connection, reached=reached)
        assert_refused(journal)
        assert journal.flush() == 1
        (past,) = JournalReader(journal.directory).overrides()
        assert past.ended == OverrideEnded(zone="jetty", at=reading(4), words="its time was over")

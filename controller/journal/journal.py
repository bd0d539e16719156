"""The journal: takes what happened from the keeper at once, and writes it to SQLite when the disk can.

``append`` only puts an entry into memory. ``flush`` writes all that waits in one transaction, in its order,
and forgets it only after the commit: a failure keeps it for the next time, a crash before the commit loses
what waits and doubles nothing, one after it takes the memory along with the process. Where a commit failed
and reached the disk all the same, the next flush finds that out.

A commit with anything but beats in it reaches the disk before ``flush`` returns. A beat alone rides with
the next write-back of the system, some thirty seconds later, because beats are many and a power cut costs
no more than that.

In the folder: ``journal.sqlite`` with its log beside it, ``backups`` with copies, ``set-aside-*`` with what
was damaged, ``keeper.lock`` held by the one keeper.
"""

from __future__ import annotations

import contextlib
import sqlite3
import threading
from collections.abc import Callable
from datetime import date, datetime
from pathlib import Path
from typing import TypeVar

from config.errors import AlreadyRunningError, JournalDamagedError, JournalError
from controller.journal import backup as journal_care
from controller.journal import recovery as journal_start
from controller.journal.backup import Quarantined
from controller.journal.database import JOURNAL_NAME, READING_ERRORS, explain, open_to_read, open_to_write
from controller.journal.integrity import NOTHING_THERE, find_damage
from controller.journal.lock import StateLock, lock_state
from controller.journal.queue import BOUND, CurrentState, WriteQueue
from controller.journal.transaction import Transactions
from controller.journal.writer import CloseOpenRuns, StartFresh
from controller.records.entries import Entry, Override, Switching
from controller.records.reading import Reading

T = TypeVar("T")


class Journal:
    """The journal of one state directory, for the one keeper that holds it.

    One thread may append while another flushes, checks or copies. The connection goes from thread to thread,
    but only under a lock.

    Args:
        directory: the state directory; neither it nor anything in it is touched before ``open`` or ``flush``.
        bound: the most entries that wait in memory.
        lock: the directory's hold where the caller has it already; else ``open`` takes one.
    """

    def __init__(self, directory: Path, *, bound: int = BOUND, lock: StateLock | None = None) -> None:
        """Remember where; nothing is opened."""
        self.directory = directory
        self.path = directory / JOURNAL_NAME
        self._lock = lock
        self._queue = WriteQueue(bound)
        self._at_file = threading.RLock()
        self._connection: sqlite3.Connection | None = None
        self._file_id: tuple[int, int] | None = None
        self._present: CurrentState | None = None
        self._commits = Transactions()
        self._fault: JournalError | None = None
        # How often a fresh file was begun, what a check that was not finished had moved away, and whether the
        # next file may begin empty.
        self._begun = 0
        self._aside: Path | None = None
        self._fresh = False

    # -- for the keeper: never blocks, never raises ----------------------------------------------------------

    def append(self, entry: Entry) -> None:
        """Take an entry; it is written by the next ``flush`` that can."""
        self._queue.put(entry)

    def close_open_runs(self, now: Reading) -> None:
        """Ask that the runs which an earlier keeper left lit be ended, before all that comes after this.

        Each ends at the last sign of life of its boot: "power lost" where ``now`` is in another boot,
        "stopped" where it is in the same one and only the process died. To be called once, at the start,
        before the first entry. Where the file cannot be used yet, it is done as soon as it can.
        """
        self._queue.put(CloseOpenRuns(now=now))

    @property
    def waiting(self) -> int:
        """Entries not written yet."""
        return len(self._queue)

    @property
    def lost(self) -> int:
        """Entries given up since the start: too many waited, or one could not be written at all."""
        return self._queue.lost

    @property
    def fault(self) -> str | None:
        """Why nothing can be written now, None where the last try went well."""
        return None if self._fault is None else str(self._fault)

    @property
    def damaged(self) -> bool:
        """Whether only ``check`` can help."""
        return isinstance(self._fault, JournalDamagedError)

    # -- the file --------------------------------------------------------------------------------------------

    def open(self) -> None:
        """Hold the directory and open the file, made or brought up to date where it must be.

        ``flush`` does the same where this failed, until it succeeds.

        Raises:
            AlreadyRunningError: another keeper holds the directory.
            JournalError: the file cannot be used now; the journal goes on taking entries.
        """
        with self._at_file:
            self._noting_faults(self._opened)

    def flush(self) -> int:
        """Write all that waits, in one transaction.

        Returns:
            How many entries were written.

        Raises:
            JournalError: nothing could be written; all of it goes on waiting.
        """
        with self._at_file:
            if not self.waiting and self._fault is None:
                return 0
            try:
                return self._noting_faults(self._flush)
            except AlreadyRunningError as error:
                self._fault = JournalError(str(error))
                raise self._fault from error

    def check(self, at: Reading) -> Quarantined | None:
        """Read the whole file and begin a fresh one where it is damaged; slow, so lights come first.

        The damaged file is set aside whole. The fresh one is begun from the newest good copy, and is told
        what is lit and which overrides are in force.

        Args:
            at: now, for the name of what is set aside and for what the copy left open.

        Returns:
            What was done, None where the file is whole.

        Raises:
            JournalError: it cannot be looked at, or not be replaced, now.
        """
        begun = self._begun
        damage = find_damage(self.path) or (self._damage_again() if self.damaged else None)
        with self._at_file:
            if damage is None or begun != self._begun:
                # Nothing to do, or another thread has done it meanwhile.
                return None
            return self._noting_faults(lambda: self._begin_anew(damage, at))

    def back_up(self, night_date: date) -> Path | None:
        """Make the copy of a night, where one is due; see ``journal_care.back_up``."""
        try:
            return journal_care.back_up(self.path, night_date)
        except JournalDamagedError as error:
            self._fault = error
            raise

    def copy_to(self, target: Path) -> None:
        """Write a consistent copy to a file that does not exist yet; see ``journal_care.copy_to``."""
        journal_care.copy_to(self.path, target)

    def close(self) -> None:
        """Let go of the file and the directory; what waits is not written, ``flush`` does that."""
        with self._at_file:
            self._shut()
            if self._lock is not None:
                self._lock.release()
                self._lock = None

    # -- what a keeper asks at its start ---------------------------------------------------------------------
    # Each opens the file for itself, only to read, and may raise JournalError; where there is no journal yet,
    # the answer is empty. What waits in memory is not in the answers.

    def overrides_in_force(self) -> list[Override]:
        """Give the overrides that were placed and not ended, at most one a zone."""
        return self._ask(journal_start.overrides_in_force, [])

    def unfinished(self) -> list[Switching]:
        """Give the switchings that lit what was never put out, at most one a zone."""
        return self._ask(journal_start.unfinished, [])

    def last_switchings(self) -> list[Switching]:
        """Give the newest switching of each zone that switched lately."""
        return self._ask(journal_start.last_switchings, [])

    def last_beat(self) -> Reading | None:
        """Give the last sign of life: a beat, or any entry that is later."""
        return self._ask(journal_start.last_sign_of_life, None)

    def ended_well(self) -> bool:
        """Say whether the last keeper told that it stopped; also true where there was none."""
        return self._ask(journal_start.ended_well, nothing=True)

    def last_instant(self) -> datetime | None:
        """Give the latest instant that a trusted clock gave to any entry."""
        return self._ask(journal_start.last_instant, None)

    def trusted_boot_id(self) -> str | None:
        """Give the id of the newest boot in which the clock was trusted."""
        return self._ask(journal_start.trusted_boot_id, None)

    # -- inside ----------------------------------------------------------------------------------------------

    def _ask(self, question: Callable[[sqlite3.Connection], T], nothing: T) -> T:
        """Answer from the file."""
        if not self.path.exists() or self.path.stat().st_size == 0:
            return nothing
        with contextlib.closing(open_to_read(self.path)) as connection:
            try:
                return question(connection)
            except READING_ERRORS as error:
                raise explain(error, self.path) from error

    def _noting_faults(self, work: Callable[[], T]) -> T:
        """Do something with the file, and remember whether it went well."""
        try:
            result = work()
        except JournalError as error:
            self._shut()
            self._fault = error
            raise
        except (*READING_ERRORS, OSError) as error:
            self._shut()
            self._fault = explain(error, self.path)
            raise self._fault from error
        except BaseException:
            self._shut()
            raise
        self._fault = None
        return result

    def _opened(self) -> sqlite3.Connection:
        """Give the open connection, opening the file where it is not, or is another one than it was."""
        if self._connection is not None and self._file_id == _file_id(self.path):
            return self._connection
        self._shut()
        if self._lock is None:
            self._lock = lock_state(self.directory)
        connection = self._connection = open_to_write(self.path, fresh=self._fresh)
        self._file_id, self._fresh = _file_id(self.path), False
        if self._present is None:
            lit = journal_start.unfinished(connection)
            self._present = CurrentState([*lit, *journal_start.overrides_in_force(connection)])
        return connection

    def _shut(self) -> None:
        """Close the connection; what was not committed is rolled back."""
        if self._connection is not None:
            with contextlib.suppress(sqlite3.Error):
                self._connection.close()
            self._connection = self._file_id = None

    def _flush(self) -> int:
        """Write what waits, leaving out what can never be written."""
        connection = self._opened()
        there = self._commits.resolve_doubt(connection)
        self._queue.forget(there)
        taken = self._queue.take()
        try:
            written = self._commits.commit(connection, taken)
        except BaseException:
            self._queue.requeue()
            raise
        if self._present is not None:
            self._present.note([*there, *written])
        self._queue.done(lost=len(taken) - len(written))
        return len(there) + len(written)

    def _damage_again(self) -> str | None:
        """Try once more what found the file damaged, though it looks whole; say what it finds this time."""
        try:
            self.flush()
        except JournalDamagedError as error:
            return str(error)
        return None

    def _begin_anew(self, damage: str, at: Reading) -> Quarantined:
        """Set the damaged file aside and put a copy in its place; the next flush tells what is in force."""
        self._shut()
        if self._lock is None:
            self._lock = lock_state(self.directory)
        self._commits = Transactions()
        if damage == NOTHING_THERE:
            journal_care.clear_away(self.path)
        else:
            self._aside = journal_care.quarantine(self.path, at.utc)
        # Where this fails for now, as on a full disk, the next check finds nothing there and goes on here.
        copy = journal_care.restore_from_backup(self.path)
        self._fresh = copy is None
        self._begun += 1
        self._present = self._present or CurrentState()
        present = self._present
        self._queue.put_first(StartFresh(lit=present.lit, overrides=present.overrides, now=at))
        aside, self._aside = self._aside, None
        return Quarantined(damage=damage, path=aside, begun_from=copy)


def _file_id(path: Path) -> tuple[int, int] | None:
    """Tell one file from another under the same name; None where there is none."""
    try:
        status = path.stat()
    except OSError:
        return None
    return status.st_dev, status.st_ino

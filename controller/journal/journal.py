"""The journal: takes what happened from the keeper at once, and writes it to SQLite when the disk can."""

from __future__ import annotations

import contextlib
import logging
import sqlite3
import threading
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from config.errors import AlreadyRunningError, JournalDamagedError, JournalError
from controller.journal.database import (
    DAMAGED,
    JOURNAL_NAME,
    NOTHING_THERE,
    backups_of,
    find_damage,
    is_nothing,
    journal_errors,
    open_to_write,
)
from controller.journal.lock import StateLock
from controller.journal.previous_run import (
    EMPTY,
    PreviousRun,
    Stamp,
    is_before,
    overrides_in_force,
    previous_run_in,
    read_previous_run,
)
from controller.journal.queue import CloseOpenRuns, CurrentState, StartFresh, Work, WriteQueue
from controller.journal.recent import RecentEntries
from controller.records.entries import Entry, EventKind
from controller.records.reading import Reading

if TYPE_CHECKING:
    # Imported with the first write or backup: the lights come first.
    from controller.journal.backup import Quarantined
    from controller.journal.writer import Transactions

log = logging.getLogger(__name__)


class Journal:
    """The journal of one state folder, for the one keeper that has locked it.

    One thread may append while another flushes, checks or backs up. The connection goes from thread to
    thread, but only under a lock.

    The folder may be moved away, unmounted or emptied at any time, and come back. Whatever file is at the
    path is written to; where it is not as this keeper left it, it is first told what is in force.

    Args:
        directory: the state folder; neither it nor anything in it is touched before ``open`` or ``flush``.
        lock: the folder's lock where the caller has it already; else ``open`` takes it.

    Attributes:
        found: what earlier keepers left behind in a file that turned up since the start; the caller takes it.
        replaced: how often another file has taken the journal's place since the start.
        recent: what was recorded since then that others are told of.
    """

    def __init__(self, directory: Path, *, lock: StateLock | None = None) -> None:
        self.directory = directory
        self.path = directory / JOURNAL_NAME
        self.found: PreviousRun | None = None
        self.replaced = 0
        self.recent = RecentEntries()
        self._lock = lock or StateLock(directory)
        self._queue = WriteQueue()
        self._one_at_a_time = threading.RLock()
        self._connection: sqlite3.Connection | None = None
        self._file_id: tuple[int, int] | None = None
        self._fault: JournalError | None = None
        # What is in force, None before any file was read; what the file must be told of it before anything
        # else; and this keeper's start.
        self._state: CurrentState | None = None
        self._fresh_start: StartFresh | None = None
        self._started: Reading | None = None
        # The stamp of the file that was read at the start.
        self._left: Stamp | None = None
        # Whether the keeper knows what is in force by that file: it was read at the start, or written to.
        self._is_shared = False
        self._transactions: Transactions | None = None
        # Where a replacement that is not finished moved the damaged file, and whether the next one may begin
        # empty.
        self._quarantine: Path | None = None
        self._fresh = False

    # -- for the keeper: never blocks, never raises ----------------------------------------------------------

    def append(self, entry: Entry) -> None:
        """Take an entry; it is written by the next ``flush`` that can."""
        self._queue.put(entry)
        self.recent.add(entry)

    def close_open_runs(self, now: Reading) -> None:
        """Ask, before the first entry, that the runs which an earlier keeper left lit be ended.

        Each ends at the last sign of life of its boot: "power lost" where ``now`` is in another boot,
        "stopped" where it is in the same one and only the process died.
        """
        self._started = now
        self._queue.put(CloseOpenRuns(now=now))

    @property
    def waiting(self) -> int:
        """Entries not written yet."""
        return len(self._queue) + (self._fresh_start is not None)

    def unwritten(self) -> tuple[Work, ...]:
        """Give what waits, oldest first."""
        return self._queue.all()

    @property
    def lost(self) -> int:
        """Entries dropped since the start: too many waited, or one could not be written at all."""
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
        """Lock the folder and open the file; ``flush`` does the same where this failed.

        Raises:
            AlreadyRunningError: another keeper has locked the folder.
            JournalError: the file cannot be used now; the journal goes on taking entries.
        """
        with self._using_file():
            self._opened(None)

    def flush(self, at: Reading | None = None) -> int:
        """Write all that waits, in one transaction, and give how many entries that were.

        Where nothing waits, it sees to it that the file is locked, and is there if anything is in force.

        Args:
            at: now; it dates what another file is told. Without it, this keeper's start does.

        Raises:
            JournalError: nothing could be written; all of it goes on waiting.
        """
        with self._one_at_a_time:
            if not self.waiting and self._fault is None and not self._is_needed():
                self._leave()
                return 0
            try:
                with self._using_file():
                    return self._write(at)
            except AlreadyRunningError as error:
                self._fault = JournalError(str(error))
                raise self._fault from error

    def check(self, at: Reading) -> Quarantined | None:
        """Read the whole file and replace it where it is damaged; slow, so lights come first.

        The damaged file is set aside whole, under a name with the instant. The new one is restored from the
        newest good backup, and gets what is lit and which overrides are in force. None: all is well.

        Raises:
            JournalError: it cannot be read, or not be replaced, now.
        """
        replaced, examined = self.replaced, _file_id(self.path)
        try:
            damage = find_damage(self.path)
        except JournalError:
            with self._one_at_a_time:
                if replaced == self.replaced:
                    raise
            return None  # another thread replaced the file under the reader
        if damage == NOTHING_THERE and not backups_of(self.path):
            damage = None
        if damage is None and self.damaged:
            # It looks whole: try once more what found it damaged.
            try:
                self.flush(at)
            except JournalDamagedError as error:
                damage = str(error)
        with self._one_at_a_time:
            # Where another thread, or somebody else, has replaced it meanwhile, nothing is left to do.
            if damage is None or replaced != self.replaced or examined != _file_id(self.path):
                return None
            with self._using_file():
                return self._replace_damaged(damage, at)

    def back_up(self, night_date: date) -> Path | None:
        """Make the backup of a night, where one is due; see ``backup.back_up``."""
        from controller.journal import backup  # noqa: PLC0415 - lights first

        try:
            return backup.back_up(self.path, night_date)
        except JournalDamagedError as error:
            self._fault = error
            raise

    def previous_run(self) -> PreviousRun | None:
        """Read what earlier keepers left behind; what waits in memory is not in it.

        None where the file cannot be read now, for whatever reason; it is logged, and the lights come first.
        """
        try:
            previous = read_previous_run(self.path)
        except JournalError as error:
            log.warning("journal: %s", error)
            return None
        except Exception:
            log.exception("journal: what earlier keepers left behind could not be read")
            return None
        if self._state is None:
            self._state, self._left = CurrentState(previous.overrides), previous.stamp
        self._is_shared = True
        return previous

    def close(self) -> None:
        """Close the file and unlock the folder; what waits is not written, ``flush`` does that."""
        with self._one_at_a_time:
            self._close_file()
            self._lock.release()

    # -- inside ----------------------------------------------------------------------------------------------

    @contextlib.contextmanager
    def _using_file(self) -> Iterator[None]:
        """Do something with the file, in one thread at a time, and remember whether it went well."""
        with self._one_at_a_time:
            try:
                with journal_errors(self.path):
                    yield
            except BaseException as error:
                self._close_file()
                if isinstance(error, JournalError):
                    self._fault = error
                raise
            self._fault = None

    def _is_needed(self) -> bool:
        """Whether the file must be looked after though nothing waits."""
        if self._state is None or self._transactions is None:
            return False
        with contextlib.suppress(OSError):
            return bool(self._state.lit or self._state.overrides) or not is_nothing(self.path)
        return True

    def _leave(self) -> None:
        """Let go of a file that is not there any more, and begin no other while nothing is in force.

        The folder may be moved, and its disk unmounted. If it comes back as it was left, nothing happened.
        """
        self._close_file()
        self._lock.leave()

    def _is_in_place(self) -> bool:
        """Whether the open file is the one at the path; it may have been moved, removed or unmounted."""
        return self._connection is not None and self._file_id == _file_id(self.path)

    def _opened(self, at: Reading | None) -> sqlite3.Connection:
        """Give the open connection, opening the file where it is not, or is another one than it was."""
        if self._connection is not None and self._is_in_place():
            self._lock.keep()
            return self._connection
        found = _look_for(self.path)
        self._close_file()
        self._lock.keep()
        connection = self._connection = open_to_write(self.path, fresh=self._fresh)
        self._file_id, self._fresh = _file_id(self.path), False
        self._recognise(connection, found, at)
        return connection

    def _recognise(self, connection: sqlite3.Connection, found: str, at: Reading | None) -> None:
        """Go on where the file is as this keeper left it; else prepare to tell it what is in force."""
        from controller.journal.writer import Transactions  # noqa: PLC0415 - lights first

        transactions = self._transactions = self._transactions or Transactions(self._left)
        state = self._state = self._state or CurrentState(overrides_in_force(connection))
        saved = transactions.resume(connection)
        if saved is not None:
            self._queue.remove(work for work in saved if not isinstance(work, StartFresh))
            state.update(saved)
            if transactions.left is not None:
                self._fresh_start = None
            return
        previous = previous_run_in(connection)
        if previous.stamp != EMPTY and (damage := find_damage(self.path)):
            raise JournalDamagedError(f"the journal {self.path}: {DAMAGED} ({damage})")
        words = f"{found}; {'a new one was begun' if previous.stamp == EMPTY else 'it is continued'}"
        log.warning("journal %s: %s", self.path, words)
        self.replaced += 1
        if is_before(previous.last_sign, self._started):
            self.found = previous
            # Those of before are still in force, unless this keeper placed another.
            state.overrides = {each.zone: each for each in previous.overrides} | state.overrides
        self._begin_afresh(EventKind.JOURNAL_REPLACED, words, at)

    def _begin_afresh(self, kind: EventKind, words: str, at: Reading | None) -> None:
        """Have the next flush tell the file what is in force, before anything else."""
        self.recent.forget()
        now = at or self._started
        if now is not None:
            state = self._state = self._state or CurrentState()
            self._fresh_start = StartFresh(state=state, now=now, kind=kind, words=words)

    def _close_file(self) -> None:
        if self._connection is not None:
            if not self._is_in_place():
                # SQLite does not fold the log into a file that was moved, and where the log stayed behind,
                # the next file would take it for its own.
                with contextlib.suppress(sqlite3.Error):
                    self._connection.rollback()
                    self._connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            # What was not committed is rolled back.
            with contextlib.suppress(sqlite3.Error):
                self._connection.close()
            self._connection = self._file_id = None

    def _write(self, at: Reading | None) -> int:
        before = len(self._queue)
        connection = self._opened(at)
        saved = max(0, before - len(self._queue))
        waiting, fresh_start = self._queue.all(), self._fresh_start
        works = [fresh_start, *waiting] if fresh_start is not None else list(waiting)
        if not works or self._transactions is None or self._state is None:
            return saved
        written = self._transactions.commit(connection, works)
        self._queue.remove(waiting, lost=len(works) - len(written))
        self._fresh_start = None
        self._state.update(written)
        self._is_shared = True
        return saved + len(written)

    def _replace_damaged(self, damage: str, at: Reading) -> Quarantined:
        """Set the damaged file aside and put a backup in its place; the next flush adds what is in force."""
        from controller.journal import backup  # noqa: PLC0415 - lights first

        self._close_file()
        self._lock.keep()
        if damage == NOTHING_THERE:
            backup.clear_away(self.path)
        else:
            self._quarantine = backup.quarantine(self.path, at.utc)
        # Where this fails for now, as on a full disk, the next check finds nothing there and goes on here.
        restored_from = backup.restore_from_backup(self.path)
        self._fresh = restored_from is None
        self._transactions = self._left = None
        if not self._is_shared:
            self._state = None  # what was read of it the keeper could not know
        self.replaced += 1
        path, self._quarantine = self._quarantine, None
        done = backup.Quarantined(damage=damage, path=path, restored_from=restored_from)
        kind = EventKind.JOURNAL_SET_ASIDE if path else EventKind.JOURNAL_REPLACED
        self._begin_afresh(kind, str(done), at)
        return done


def _look_for(path: Path) -> str:
    """Say what is at the path of a journal that is not the one that was open."""
    if not is_nothing(path):
        return "another journal was found in its place"
    if not path.parent.is_dir():
        return "the state folder was gone"
    if not any(path.parent.iterdir()):
        return "the state folder was empty"
    return "the journal file was empty or gone"


def _file_id(path: Path) -> tuple[int, int] | None:
    """Tell one file from another under the same name; None where there is none."""
    with contextlib.suppress(OSError):
        status = path.stat()
        return status.st_dev, status.st_ino
    return None

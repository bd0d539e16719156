"""The journal: takes what happened from the keeper at once, and writes it to SQLite when the disk can."""

from __future__ import annotations

import contextlib
import logging
import os
import sqlite3
import threading
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from config.errors import AlreadyRunningError, JournalDamagedError, JournalError
from config.file.lock import FileLock
from controller.journal.database import (
    JOURNAL_NAME,
    NOTHING_THERE,
    backups_of,
    find_damage,
    journal_errors,
    open_to_write,
)
from controller.journal.previous_run import (
    PreviousRun,
    open_switchings,
    overrides_in_force,
    read_previous_run,
)
from controller.journal.queue import CloseOpenRuns, CurrentState, StartFresh, Work, WriteQueue
from controller.records.entries import Entry
from controller.records.reading import Reading

if TYPE_CHECKING:
    # Imported with the first write or backup: the lights come first.
    from controller.journal.backup import Quarantined
    from controller.journal.writer import Transactions

log = logging.getLogger(__name__)

LOCK_NAME = "keeper.lock"


class Journal:
    """The journal of one state folder, for the one keeper that has locked it.

    One thread may append while another flushes, checks or backs up. The connection goes from thread to
    thread, but only under a lock.

    Args:
        directory: the state folder; neither it nor anything in it is touched before ``open`` or ``flush``.
        lock: the folder's lock where the caller has it already; else ``open`` takes it.
    """

    def __init__(self, directory: Path, *, lock: FileLock | None = None) -> None:
        self.directory = directory
        self.path = directory / JOURNAL_NAME
        self._state_lock = lock
        self._queue = WriteQueue()
        self._one_at_a_time = threading.RLock()
        self._connection: sqlite3.Connection | None = None
        self._file_id: tuple[int, int] | None = None
        self._state: CurrentState | None = None
        self._transactions: Transactions | None = None
        self._fault: JournalError | None = None
        # How often the file was replaced, where a replacement that is not finished moved the damaged one, and
        # whether the next file may begin empty.
        self._replaced = 0
        self._quarantine: Path | None = None
        self._fresh = False

    # -- for the keeper: never blocks, never raises ----------------------------------------------------------

    def append(self, entry: Entry) -> None:
        """Take an entry; it is written by the next ``flush`` that can."""
        self._queue.put(entry)

    def close_open_runs(self, now: Reading) -> None:
        """Ask, before the first entry, that the runs which an earlier keeper left lit be ended.

        Each ends at the last sign of life of its boot: "power lost" where ``now`` is in another boot,
        "stopped" where it is in the same one and only the process died.
        """
        self._queue.put(CloseOpenRuns(now=now))

    @property
    def waiting(self) -> int:
        """Entries not written yet."""
        return len(self._queue)

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
            self._opened()

    def flush(self) -> int:
        """Write all that waits, in one transaction, and give how many entries that were.

        Raises:
            JournalError: nothing could be written; all of it goes on waiting.
        """
        with self._one_at_a_time:
            if not self.waiting and self._fault is None:
                return 0
            try:
                with self._using_file():
                    return self._write()
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
        replaced = self._replaced
        try:
            damage = find_damage(self.path)
        except JournalError:
            with self._one_at_a_time:
                if replaced == self._replaced:
                    raise
            return None  # another thread replaced the file under the reader
        if damage == NOTHING_THERE and not backups_of(self.path):
            damage = None
        if damage is None and self.damaged:
            # It looks whole: try once more what found it damaged.
            try:
                self.flush()
            except JournalDamagedError as error:
                damage = str(error)
        with self._one_at_a_time:
            # Where another thread has replaced it meanwhile, nothing is left to do.
            if damage is None or replaced != self._replaced:
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
            return read_previous_run(self.path)
        except JournalError as error:
            log.warning("journal: %s", error)
        except Exception:
            log.exception("journal: what earlier keepers left behind could not be read")
        return None

    def close(self) -> None:
        """Close the file and unlock the folder; what waits is not written, ``flush`` does that."""
        with self._one_at_a_time:
            self._close_file()
            if self._state_lock is not None:
                self._state_lock.release()
                self._state_lock = None

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

    def _opened(self) -> sqlite3.Connection:
        """Give the open connection, opening the file where it is not, or is another one than it was."""
        if self._connection is not None and self._file_id == _file_id(self.path):
            return self._connection
        self._close_file()
        self._state_lock = self._state_lock or lock_state(self.directory)
        connection = self._connection = open_to_write(self.path, fresh=self._fresh)
        self._file_id, self._fresh = _file_id(self.path), False
        if self._state is None:
            self._state = CurrentState([*open_switchings(connection), *overrides_in_force(connection)])
        return connection

    def _close_file(self) -> None:
        if self._connection is not None:
            # What was not committed is rolled back.
            with contextlib.suppress(sqlite3.Error):
                self._connection.close()
            self._connection = self._file_id = None

    def _write(self) -> int:
        from controller.journal.writer import Transactions  # noqa: PLC0415 - lights first

        connection = self._opened()
        transactions = self._transactions = self._transactions or Transactions()
        saved = transactions.resolve_doubt(connection)
        self._queue.remove(saved)
        waiting = self._queue.all()
        written = transactions.commit(connection, waiting)
        self._queue.remove(waiting, lost=len(waiting) - len(written))
        if self._state is not None:
            self._state.update([*saved, *written])
        return len(saved) + len(written)

    def _replace_damaged(self, damage: str, at: Reading) -> Quarantined:
        """Set the damaged file aside and put a backup in its place; the next flush adds what is in force."""
        from controller.journal import backup  # noqa: PLC0415 - lights first

        self._close_file()
        self._state_lock = self._state_lock or lock_state(self.directory)
        self._transactions = None
        if damage == NOTHING_THERE:
            backup.clear_away(self.path)
        else:
            self._quarantine = backup.quarantine(self.path, at.utc)
        # Where this fails for now, as on a full disk, the next check finds nothing there and goes on here.
        restored_from = backup.restore_from_backup(self.path)
        self._fresh = restored_from is None
        self._replaced += 1
        self._state = self._state or CurrentState()
        self._queue.put(StartFresh(state=self._state, now=at), first=True)
        path, self._quarantine = self._quarantine, None
        return backup.Quarantined(damage=damage, path=path, restored_from=restored_from)


def _file_id(path: Path) -> tuple[int, int] | None:
    """Tell one file from another under the same name; None where there is none."""
    with contextlib.suppress(OSError):
        status = path.stat()
        return status.st_dev, status.st_ino
    return None


def lock_state(directory: Path) -> FileLock:
    """Lock a state folder, made where it is missing, for its one keeper; to read needs no lock.

    Raises:
        AlreadyRunningError: another keeper has locked it.
        JournalError: the lock file can be neither made nor opened, as on a read-only disk.
    """
    path = directory / LOCK_NAME
    try:
        lock = FileLock(_open_lock(path))
    except TimeoutError as error:
        holder = path.read_bytes()[:20].decode("ascii", "replace").strip()
        who = f"another Leerie (process {holder})" if holder else "another Leerie"
        raise AlreadyRunningError(
            f"{who} already runs with the state folder {directory}; stop it, or use another folder"
        ) from error
    except OSError as error:
        why = error.strerror or error
        raise JournalError(f"the state folder {directory}: {why}; check the path and who owns it") from error
    # Only for the message above: the lock is what counts, and a full disk does not matter.
    with contextlib.suppress(OSError):
        os.ftruncate(lock.descriptor, 0)
        os.pwrite(lock.descriptor, f"{os.getpid()}\n".encode("ascii"), 0)
    return lock


def _open_lock(path: Path) -> int:
    """Open the lock file, made where possible; an existing one can be locked even on a read-only disk."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        return os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
    except OSError:
        with contextlib.suppress(OSError):
            return os.open(path, os.O_RDONLY | os.O_CLOEXEC)
        raise

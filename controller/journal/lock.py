"""The lock on the state folder: two keepers never switch the same relays or write the same journal."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path

from config.errors import AlreadyRunningError, JournalError
from config.file.lock import FileLock

LOCK_NAME = "keeper.lock"


def lock_state(directory: Path) -> FileLock:
    """Lock a state folder, made where it is missing, for its one keeper; to read needs no lock.

    Raises:
        AlreadyRunningError: another keeper has locked it.
        JournalError: the lock file can be neither made nor opened, as on a read-only disk.
    """
    path = directory / LOCK_NAME
    try:
        lock = FileLock(_open(path))
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


def _open(path: Path) -> int:
    """Open the lock file, made where possible; an existing one can be locked even on a read-only disk."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        return os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
    except OSError:
        with contextlib.suppress(OSError):
            return os.open(path, os.O_RDONLY | os.O_CLOEXEC)
        raise

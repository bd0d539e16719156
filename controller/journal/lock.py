"""Holding a state directory, so that two keepers never switch the same relays or write the same journal."""

from __future__ import annotations

import contextlib
import fcntl
import os
from pathlib import Path
from types import TracebackType

from config.errors import AlreadyRunningError, JournalError

LOCK_NAME = "keeper.lock"


class StateLock:
    """A state directory that is held; until ``release``, or the end of the process however it ends."""

    def __init__(self, descriptor: int) -> None:
        """Take over the locked file."""
        self._descriptor: int | None = descriptor

    def release(self) -> None:
        """Let go; once is enough."""
        if self._descriptor is not None:
            os.close(self._descriptor)
            self._descriptor = None

    def __enter__(self) -> StateLock:
        """Hold for the length of a block."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Let go at its end."""
        self.release()


def lock_state(directory: Path) -> StateLock:
    """Hold a state directory as its one keeper; tools that only read need not.

    The kernel keeps the lock and drops it when the process dies, so nothing is ever left to clear away.

    Args:
        directory: made where it is missing.

    Raises:
        AlreadyRunningError: another keeper holds it.
        JournalError: the lock file can be neither made nor opened, as on a disk that is read-only.
    """
    path = directory / LOCK_NAME
    try:
        directory.mkdir(parents=True, exist_ok=True)
        descriptor = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
    except OSError as error:
        # What is there already can be locked even where nothing can be written.
        try:
            descriptor = os.open(path, os.O_RDONLY | os.O_CLOEXEC)
        except OSError:
            raise JournalError(f"the state folder {directory}: {error.strerror or error}") from error
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        holder = os.pread(descriptor, 20, 0).decode("ascii", "replace").strip()
        os.close(descriptor)
        who = f"another Leerie (process {holder})" if holder else "another Leerie"
        raise AlreadyRunningError(
            f"{who} already runs with the state folder {directory}; end that one, or name another folder"
        ) from error
    # For the message above only; the lock is what counts, and a full disk does not matter.
    with contextlib.suppress(OSError):
        os.ftruncate(descriptor, 0)
        os.pwrite(descriptor, f"{os.getpid()}\n".encode("ascii"), 0)
    return StateLock(descriptor)

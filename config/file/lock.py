"""The exclusive lock on a file or a folder, for editors of the site file and for the keeper's state folder.

The kernel drops it when the process ends, however it ends: nothing is left to clear away.
"""

import errno
import fcntl
import os
import time
from pathlib import Path
from typing import Self

_POLL_S = 0.02


class FileLock:
    """A lock that is held from construction until ``release`` or the end of a ``with`` block.

    Args:
        descriptor: of an open file or folder; taken over, and closed on failure or by ``release``.
        wait_s: how many seconds to wait for another holder, 0 or more.

    Raises:
        TimeoutError: another program holds the lock for longer.
        OSError: the file system has no locks.
    """

    def __init__(self, descriptor: int, *, wait_s: float = 0.0) -> None:
        self.descriptor = descriptor
        try:
            self._lock(time.monotonic() + wait_s)
        except BaseException:
            self.release()
            raise

    def _lock(self, give_up_at_s: float) -> None:
        while True:
            try:
                return fcntl.flock(self.descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                if time.monotonic() >= give_up_at_s:
                    raise TimeoutError(errno.ETIMEDOUT, "another program holds it") from None
            time.sleep(_POLL_S)

    def is_on(self, path: Path) -> bool:
        """Whether a path names the file that is locked; it may have been removed, moved away or replaced."""
        try:
            return os.path.samestat(path.stat(), os.fstat(self.descriptor))
        except OSError:
            return False

    def release(self) -> None:
        """Give the lock up; a second call does nothing."""
        if self.descriptor >= 0:
            os.close(self.descriptor)
            self.descriptor = -1

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_error: object) -> None:
        self.release()


def lock_folder(folder: Path, *, wait_s: float) -> FileLock:
    """Keep other editors of this program out of a folder; makes no lock file, raises as FileLock does."""
    return FileLock(os.open(folder, os.O_RDONLY | os.O_DIRECTORY), wait_s=wait_s)

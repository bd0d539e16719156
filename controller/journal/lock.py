"""One keeper for each state folder: a second one is refused, also where the folder was removed meanwhile.

Two locks keep the others out. A name in the kernel (an abstract socket, unix(7)) that is made of the folder's
path: nobody can remove it, and it ends with the process. And the lock file in the folder, for those who reach
the folder by another path or from another network namespace: it is made again where it was removed.
"""

import contextlib
import errno
import logging
import os
import socket
import struct
from hashlib import sha256
from pathlib import Path
from typing import Self

from config.errors import AlreadyRunningError, JournalError
from config.file.lock import FileLock
from config.phrase import Phrase

log = logging.getLogger(__name__)

LOCK_NAME = "keeper.lock"

# How many who were refused may wait until the holder lets go of them, which it does whenever it looks.
_REFUSED_AT_MOST = 64
# struct ucred of unix(7): process, user and group.
_CREDENTIALS = struct.Struct("3i")


class StateLock:
    """The lock of a state folder for its one keeper, from ``keep`` to ``release``; to read needs none."""

    def __init__(self, directory: Path) -> None:
        self.directory = directory
        self._path = directory / LOCK_NAME
        self._name = -1
        self._file: FileLock | None = None

    def keep(self) -> None:
        """Lock the folder that is at the path now, made where it is missing; well where it is locked already.

        Raises:
            AlreadyRunningError: another keeper has locked it.
            JournalError: the lock file can be neither made nor opened, as on a read-only disk. The name is
                held all the same.
        """
        self._keep_name()
        if self._file is None or not self._file.is_on(self._path):
            before, self._file = self._file, self._lock_file()
            if before is not None:
                log.warning("%s was removed or moved; it is locked again", self._path)
                before.release()

    def leave(self) -> None:
        """Let go of a lock file that is not at the path any more, as on a disk that is to be unmounted."""
        if self._file is not None and not self._file.is_on(self._path):
            self._file.release()
            self._file = None

    def release(self) -> None:
        """Give the lock up; a second call does nothing."""
        if self._file is not None:
            self._file.release()
            self._file = None
        if self._name >= 0:
            os.close(self._name)
            self._name = -1

    def __enter__(self) -> Self:
        try:
            self.keep()
        except BaseException:
            self.release()
            raise
        return self

    def __exit__(self, *_error: object) -> None:
        self.release()

    def _keep_name(self) -> None:
        """Hold the name of the folder's path; where the system has no such names, the lock file must do."""
        if self._name >= 0:
            _turn_away(self._name)
            return
        with contextlib.suppress(OSError), socket.socket(socket.AF_UNIX) as holder:
            holder.settimeout(0)
            name = name_of(self.directory)
            try:
                holder.bind(name)
            except OSError as error:
                if error.errno == errno.EADDRINUSE and (process := _holder_of(name)) is not None:
                    raise self._refusal(process) from error
                return
            holder.listen(_REFUSED_AT_MOST)
            self._name = holder.detach()

    def _lock_file(self) -> FileLock:
        try:
            lock = FileLock(_open(self._path))
        except TimeoutError as error:
            raise self._refusal(_read_process(self._path)) from error
        except OSError as error:
            raise JournalError(_explain(error, self.directory)) from error
        # Only for the message of the refusal: the lock is what counts, and a full disk does not matter.
        with contextlib.suppress(OSError):
            os.ftruncate(lock.descriptor, 0)
            os.pwrite(lock.descriptor, f"{os.getpid()}\n".encode("ascii"), 0)
        return lock

    def _refusal(self, process: object) -> AlreadyRunningError:
        who = Phrase("another Leerie")
        if process:
            who = Phrase("another Leerie (process {process})", process=str(process))
        return AlreadyRunningError(
            Phrase(
                "{who} already runs with the state folder {directory}; stop it, or use another folder",
                who=who,
                directory=str(self.directory),
            )
        )


def _explain(error: OSError, directory: Path) -> str:
    why = error.strerror or str(error)
    with contextlib.suppress(OSError):
        if not directory.is_dir():
            return Phrase(
                "the state folder {directory} is gone and cannot be made ({why}); bring it back",
                directory=str(directory),
                why=why,
            )
    return Phrase(
        "the state folder {directory}: {why}; check the path and who owns it",
        directory=str(directory),
        why=why,
    )


def _open(path: Path) -> int:
    """Open the lock file, made where possible; an existing one can be locked even on a read-only disk."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        return os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
    except OSError:
        with contextlib.suppress(OSError):
            return os.open(path, os.O_RDONLY | os.O_CLOEXEC)
        raise


def name_of(directory: Path) -> bytes:
    """Make the name of a folder's path, the same by whatever links it is reached."""
    return b"\0leerie " + sha256(os.fsencode(os.path.realpath(directory))).hexdigest().encode("ascii")


def _read_process(path: Path) -> str:
    """Give the process that a lock file names; an empty text where it cannot be read."""
    with contextlib.suppress(OSError):
        return path.read_bytes()[:20].decode("ascii", "replace").strip()
    return ""


def _holder_of(name: bytes) -> int | None:
    """Give the process that holds a name; None where it is nobody who may: names are open to every user."""
    with socket.socket(socket.AF_UNIX) as asking:
        asking.settimeout(0)
        try:
            asking.connect(name)
        except OSError:
            return None
        found = asking.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, _CREDENTIALS.size)
    process, user, _ = _CREDENTIALS.unpack(found)
    own = os.geteuid()
    return int(process) if own == 0 or user in (own, 0) else None


def _turn_away(name: int) -> None:
    """Let go of those who asked who holds the name, so that the next can ask."""
    with contextlib.suppress(OSError), socket.socket(fileno=os.dup(name)) as holder:
        holder.settimeout(0)
        while True:
            holder.accept()[0].close()

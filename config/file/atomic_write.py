"""Replaces a file as a whole or not at all, through a power cut as well.

The new text goes into a second file in the same folder, is forced to the disk, and then changes places
with the old file in one step. Until the folder too is on the disk, the old file is kept, and comes back if
anything fails.
"""

from __future__ import annotations

import contextlib
import errno
import fcntl
import os
import time
from collections.abc import Iterator
from pathlib import Path

# From linux/fcntl.h and linux/fs.h; Python has no name for them.
_AT_FDCWD = -100
_RENAME_EXCHANGE = 2
_NOT_SUPPORTED = (errno.EINVAL, errno.ENOSYS, errno.EOPNOTSUPP)
_PAUSE_S = 0.02


class FileChangedError(OSError):
    """Somebody else changed the file between its reading and its writing."""


class NotSyncedError(OSError):
    """The new file is in its place, but a power cut might still bring the old one back."""


@contextlib.contextmanager
def lock_folder(folder: Path, wait_s: float) -> Iterator[None]:
    """Keep every other editor of this program out of a folder; leaves no lock file behind.

    Args:
        folder: the folder of the file that will be replaced.
        wait_s: how many seconds to wait for another editor to finish.

    Raises:
        TimeoutError: another editor holds the folder for longer.
        OSError: there is no such folder, or it may not be opened.
    """
    give_up_at = time.monotonic() + wait_s
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        while True:
            try:
                fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
                break
            except BlockingIOError:
                if time.monotonic() >= give_up_at:
                    raise TimeoutError(errno.ETIMEDOUT, "another program is changing it") from None
                time.sleep(_PAUSE_S)
        yield
    finally:
        os.close(handle)


def replace_file(path: Path, *, old: bytes, new: bytes) -> None:
    """Put new content in the place of the old one; the caller holds the folder.

    Mode is kept, and owner and group as far as the system lets this user give files away. If anything
    fails, the old file stands as it was, and nothing is left beside it, but for the case of NotSyncedError.

    Args:
        path: the file itself, not a link to it.
        old: what was read from it.
        new: what shall stand in it.

    Raises:
        FileChangedError: the file no longer holds ``old``; it is left alone.
        NotSyncedError: the file system cannot exchange two names, so there is no way back, and the last step
            failed, that of forcing the folder's entry to the disk. The new file stands.
        OSError: the disk is full, read-only or broken, or this user may not write there.
    """
    spare = path.with_name(f".{path.name}.leerie-new")
    # Only a crash in the middle leaves one behind, and whoever holds the folder may clear it away.
    spare.unlink(missing_ok=True)
    try:
        _write_spare(spare, new, like=path.stat())
        exchanged = _swap(spare, path, old)
        try:
            _force_folder(path.parent)
        except OSError as error:
            if not exchanged:
                raise NotSyncedError(error.errno, error.strerror) from error
            _exchange(spare, path)
            raise
    finally:
        with contextlib.suppress(OSError):
            spare.unlink(missing_ok=True)


def _write_spare(spare: Path, new: bytes, *, like: os.stat_result) -> None:
    """Write the new content to a file of its own, with the old file's mode and owner, down to the disk."""
    handle = os.open(spare, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW, 0o600)
    try:
        # A user who may edit the file without owning it cannot give the copy away; the mode still lets
        # both of them in.
        with contextlib.suppress(PermissionError):
            os.fchown(handle, -1, like.st_gid)
            os.fchown(handle, like.st_uid, -1)
        os.fchmod(handle, like.st_mode & 0o7777)
        rest = memoryview(new)
        while rest:
            rest = rest[os.write(handle, rest) :]
        os.fsync(handle)
    finally:
        os.close(handle)


def _swap(spare: Path, path: Path, old: bytes) -> bool:
    """Let the two files change places if the old one still is what was read; say whether both still exist."""
    if path.read_bytes() != old:
        raise FileChangedError(errno.ESTALE, "somebody else changed it meanwhile")
    if not _exchange(spare, path):
        spare.replace(path)
        return False
    # Between that look and the exchange another hand could still have come in; now nothing can.
    if spare.read_bytes() != old:
        _exchange(spare, path)
        raise FileChangedError(errno.ESTALE, "somebody else changed it meanwhile")
    return True


def _exchange(one: Path, other: Path) -> bool:
    """Exchange two names in one step; False where the system or the file system cannot."""
    import ctypes  # noqa: PLC0415 (only an edit needs it)

    rename = getattr(ctypes.CDLL(None, use_errno=True), "renameat2", None)
    if rename is None:
        return False
    if rename(_AT_FDCWD, os.fsencode(one), _AT_FDCWD, os.fsencode(other), _RENAME_EXCHANGE) == 0:
        return True
    code = ctypes.get_errno()
    if code in _NOT_SUPPORTED:
        return False
    raise OSError(code, os.strerror(code), os.fspath(other))


def _force_folder(folder: Path) -> None:
    """Force the names in a folder to the disk."""
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)

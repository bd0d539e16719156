"""Writes a file as a whole or not at all, through a power cut as well.

The content goes into a temporary file in the same folder, is forced to the disk, and then takes the file's
name in one step; last, the folder is forced to the disk. Where the caller says what it expects to replace,
the two files exchange names, so that the old one can come back if the last step fails.
"""

import contextlib
import errno
import os
from pathlib import Path

# From linux/fcntl.h and linux/fs.h; Python has no name for them.
_AT_FDCWD = -100
_RENAME_EXCHANGE = 2
_NOT_SUPPORTED = (errno.EINVAL, errno.ENOSYS, errno.EOPNOTSUPP)


class FileChangedError(OSError):
    """Another program changed the file between its reading and its writing."""


class NotSyncedError(OSError):
    """The new file is in its place, but a power cut might still bring the old one back."""


def write_atomically(path: Path, content: bytes, *, expected: bytes | None = None, mode: int = 0o644) -> None:
    """Write a file as a whole or not at all; the caller lets in one writer at a time.

    The mode of an existing file is kept, and its owner and group as far as the system allows. If anything
    fails, the old file stands and nothing is left beside it, but for NotSyncedError.

    Args:
        path: the file itself, not a link to it.
        content: what it will hold.
        expected: what it must hold now; None to replace whatever is there, if anything.
        mode: of a file that does not exist yet.

    Raises:
        FileChangedError: the file does not hold ``expected``; it is left alone.
        NotSyncedError: the folder could not be forced to the disk, and there is no way back.
        OSError: the disk is full, read-only or broken, or this user may not write there.
    """
    temporary = path.with_name(f".{path.name}.leerie-new")
    # Only a crash half way leaves one behind.
    temporary.unlink(missing_ok=True)
    try:
        exists = expected is not None or path.exists()
        _write_temporary(temporary, content, like=path.stat() if exists else None, mode=mode)
        if expected is None:
            move_into_place(temporary, path)
        else:
            _exchange_expected(temporary, path, expected)
    finally:
        with contextlib.suppress(OSError):
            temporary.unlink(missing_ok=True)


def move_into_place(finished: Path, path: Path) -> None:
    """Give a finished file, which is on the disk already, its name, and force the name to the disk."""
    finished.replace(path)
    try:
        fsync(path.parent)
    except OSError as error:
        raise NotSyncedError(error.errno, error.strerror) from error


def fsync(path: Path) -> None:
    """Force the content of a file, or the names in a folder, to the disk."""
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _write_temporary(temporary: Path, content: bytes, *, like: os.stat_result | None, mode: int) -> None:
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW
    descriptor = os.open(temporary, flags, 0o600 if like else mode)
    try:
        if like:
            _keep_owner(descriptor, like)
            os.fchmod(descriptor, like.st_mode & 0o7777)
        rest = memoryview(content)
        while rest:
            rest = rest[os.write(descriptor, rest) :]
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _keep_owner(descriptor: int, like: os.stat_result) -> None:
    """Give a new file to the group and the owner of another, as far as the system allows.

    A user who may edit a file without owning it cannot give the copy away; the mode still lets both of them
    in. In a user namespace an unknown owner shows as nobody, and giving a file to it is an invalid argument.
    """
    for user, group in ((-1, like.st_gid), (like.st_uid, -1)):
        try:
            os.fchown(descriptor, user, group)
        except OSError as error:
            if error.errno not in (errno.EPERM, errno.EINVAL):
                raise


def _exchange_expected(temporary: Path, path: Path, expected: bytes) -> None:
    _require_unchanged(path, expected)
    if not _exchange(temporary, path):
        move_into_place(temporary, path)
        return
    try:
        # Between that look and the exchange another program could still have written; now none can.
        _require_unchanged(temporary, expected)
        fsync(path.parent)
    except OSError:
        _exchange(temporary, path)
        raise


def _require_unchanged(path: Path, expected: bytes) -> None:
    if path.read_bytes() != expected:
        raise FileChangedError(errno.ESTALE, "another program changed it meanwhile")


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

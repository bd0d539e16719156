"""Replacing a file: whole or not at all, whatever fails, whoever comes between, whenever the power goes."""

import ctypes
import errno
import os
import resource
import stat
import subprocess
import sys

import pytest

from config.file import atomic_write
from config.file.atomic_write import (
    FileChangedError,
    NotSyncedError,
    fsync,
    move_into_place,
    write_atomically,
)

OLD, NEW = b"old text\n", b"new and longer text\n"


@pytest.fixture
def path(tmp_path):
    """A file with the old text, alone in its folder."""
    path = tmp_path / "site.toml"
    path.write_bytes(OLD)
    return path


def names_beside(path):
    """The names of all files in the folder of a file."""
    return sorted(each.name for each in path.parent.iterdir())


def assert_untouched(path):
    """The old file stands as it was, and nothing lies beside it."""
    assert path.read_bytes() == OLD
    assert names_beside(path) == [path.name]


def test_the_new_text_takes_the_place_of_the_old(path):
    """Afterwards the file holds the new text, and nothing lies beside it."""
    write_atomically(path, NEW, expected=OLD)
    assert path.read_bytes() == NEW
    assert names_beside(path) == [path.name]


class NoRename:
    """A system library of before renameat2."""


class Refusing:
    """A system library whose renameat2 fails with one error code."""

    def __init__(self, code):
        self.code = code

    def renameat2(self, *_args):
        ctypes.set_errno(self.code)
        return -1


@pytest.mark.parametrize("library", [NoRename(), Refusing(errno.EINVAL), Refusing(errno.ENOSYS)])
def test_without_an_exchange_of_names_it_works_as_well(path, monkeypatch, library):
    """A system or a file system that cannot exchange two names gets the new file by a rename."""
    monkeypatch.setattr(ctypes, "CDLL", lambda *_args, **_more: library)
    assert atomic_write._exchange(path, path) is False
    write_atomically(path, NEW, expected=OLD)
    assert path.read_bytes() == NEW
    assert names_beside(path) == [path.name]


def test_an_exchange_that_fails_is_an_error(path, monkeypatch):
    """Any other error of the exchange is no reason to try something else."""
    monkeypatch.setattr(ctypes, "CDLL", lambda *_args, **_more: Refusing(errno.EACCES))
    with pytest.raises(PermissionError):
        write_atomically(path, NEW, expected=OLD)
    assert_untouched(path)


def test_without_an_exchange_the_new_file_stays_where_the_last_step_fails(path, monkeypatch):
    """The one gap that is left: the folder's entry is not on the disk for sure, and the error says so."""
    monkeypatch.setattr(atomic_write, "_exchange", lambda *_names: False)
    fail_at(monkeypatch, "fsync", 2, errno.EIO)
    with pytest.raises(NotSyncedError, match="Input/output error"):
        write_atomically(path, NEW, expected=OLD)
    assert path.read_bytes() == NEW
    assert names_beside(path) == [path.name]


@pytest.mark.parametrize("mode", [0o600, 0o640, 0o664])
def test_the_mode_is_kept(path, mode):
    """Who could read and write the old file can read and write the new one, and nobody else."""
    path.chmod(mode)
    write_atomically(path, NEW, expected=OLD)
    assert stat.S_IMODE(path.stat().st_mode) == mode


@pytest.mark.parametrize("mode", [0o600, 0o644])
def test_a_new_file_never_has_a_wider_mode(path, mode, monkeypatch):
    """A file that does not exist yet gets the mode that is asked for, from its first byte on."""
    path.unlink()
    seen, real = [], os.write
    monkeypatch.setattr(
        os,
        "write",
        lambda handle, data: seen.append(stat.S_IMODE(os.fstat(handle).st_mode)) or real(handle, data),
    )
    write_atomically(path, NEW, mode=mode)
    assert set(seen) == {mode}
    assert stat.S_IMODE(path.stat().st_mode) == mode


@pytest.mark.skipif(os.geteuid() != 0, reason="only root can give a file away")
def test_the_owner_is_kept(path):
    """The new file belongs to whom the old one belonged."""
    os.chown(path, 12345, 23456)
    write_atomically(path, NEW, expected=OLD)
    assert (path.stat().st_uid, path.stat().st_gid) == (12345, 23456)


@pytest.mark.parametrize("code", [errno.EPERM, errno.EINVAL])
def test_an_owner_who_cannot_be_kept_does_not_stop_the_edit(path, monkeypatch, code):
    """A service that may write somebody else's file does so, in a user namespace too; group and mode stay."""
    given = []

    def refuse_owner(_handle, user, group):
        if user != -1:
            raise OSError(code, os.strerror(code))
        given.append(group)

    monkeypatch.setattr(os, "fchown", refuse_owner)
    path.chmod(0o664)
    write_atomically(path, NEW, expected=OLD)
    assert path.read_bytes() == NEW
    assert stat.S_IMODE(path.stat().st_mode) == 0o664
    assert given == [path.stat().st_gid]


def fail_at(monkeypatch, call, nth, code):
    """Let the nth call of a function of os fail with an error code."""
    real = getattr(os, call)
    count = 0

    def maybe_fail(*args, **more):
        nonlocal count
        count += 1
        if count == nth:
            raise OSError(code, os.strerror(code))
        return real(*args, **more)

    monkeypatch.setattr(os, call, maybe_fail)


@pytest.mark.parametrize(
    ("call", "nth", "code"),
    [
        ("open", 1, errno.EACCES),
        ("open", 1, errno.EROFS),
        ("open", 1, errno.ENOSPC),
        ("fchmod", 1, errno.EPERM),
        ("write", 1, errno.ENOSPC),
        ("write", 1, errno.EIO),
        ("fsync", 1, errno.EIO),
        ("fsync", 1, errno.ENOSPC),
        ("open", 2, errno.EMFILE),
        ("fsync", 2, errno.EIO),
    ],
)
def test_a_failure_at_any_step_leaves_the_old_file(path, monkeypatch, call, nth, code):
    """Opening, mode, writing, forcing the file and forcing the folder: each may fail, and nothing is lost."""
    fail_at(monkeypatch, call, nth, code)
    with pytest.raises(OSError, match=os.strerror(code)) as caught:
        write_atomically(path, NEW, expected=OLD)
    monkeypatch.undo()
    assert caught.value.errno == code
    assert_untouched(path)


def test_a_disk_that_fills_up_half_way_leaves_the_old_file(path, monkeypatch):
    """Some bytes written, then no atomic_write: the half is thrown away."""
    real, calls = os.write, []

    def write_a_little(handle, data):
        calls.append(len(data))
        if len(calls) > 3:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return real(handle, data[:2])

    monkeypatch.setattr(os, "write", write_a_little)
    with pytest.raises(OSError, match="No space left"):
        write_atomically(path, NEW, expected=OLD)
    assert calls == [len(NEW), len(NEW) - 2, len(NEW) - 4, len(NEW) - 6]
    assert_untouched(path)


def test_a_write_in_small_pieces_is_complete(path, monkeypatch):
    """The system may take fewer bytes than offered; none is lost."""
    real = os.write
    monkeypatch.setattr(os, "write", lambda handle, data: real(handle, data[:3]))
    write_atomically(path, NEW, expected=OLD)
    assert path.read_bytes() == NEW


def test_a_limit_set_by_the_kernel_leaves_the_old_file(path):
    """The kernel itself refuses the write beyond a limit on file sizes; no stand-in is in between."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (4096, hard))
    try:
        with pytest.raises(OSError, match="File too large") as caught:
            write_atomically(path, b"x" * 10_000, expected=OLD)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert caught.value.errno == errno.EFBIG
    assert_untouched(path)


@pytest.mark.parametrize("exchange", [True, False])
def test_a_failing_rename_leaves_the_old_file(path, monkeypatch, exchange):
    """Neither way of renaming can lose the file."""

    def fail(*_names):
        raise OSError(errno.EIO, os.strerror(errno.EIO))

    if exchange:
        monkeypatch.setattr(atomic_write, "_exchange", fail)
    else:
        monkeypatch.setattr(atomic_write, "_exchange", lambda *_names: False)
        monkeypatch.setattr("pathlib.Path.replace", fail)
    with pytest.raises(OSError, match="Input/output error"):
        write_atomically(path, NEW, expected=OLD)
    assert_untouched(path)


def test_a_file_changed_before_the_writing_is_left_alone(path):
    """What somebody else wrote meanwhile is never overwritten."""
    path.write_bytes(b"theirs\n")
    with pytest.raises(FileChangedError):
        write_atomically(path, NEW, expected=OLD)
    assert path.read_bytes() == b"theirs\n"
    assert names_beside(path) == [path.name]


@pytest.mark.parametrize("in_place", [True, False])
def test_a_file_changed_in_the_last_moment_is_left_alone(path, monkeypatch, in_place):
    """Another hand between the last look and the exchange is noticed, and gets its file back."""
    real = atomic_write._exchange
    calls = []

    def come_between(temporary, target):
        if not calls:
            if in_place:
                path.write_bytes(b"theirs\n")
            else:
                theirs = path.with_name("theirs")
                theirs.write_bytes(b"theirs\n")
                theirs.replace(path)
        calls.append(temporary)
        return real(temporary, target)

    monkeypatch.setattr(atomic_write, "_exchange", come_between)
    with pytest.raises(FileChangedError):
        write_atomically(path, NEW, expected=OLD)
    assert len(calls) == 2
    assert path.read_bytes() == b"theirs\n"
    assert names_beside(path) == [path.name]


def test_a_file_deleted_meanwhile_is_not_brought_back(path):
    """Who deletes the site file during an edit finds it deleted."""
    path.unlink()
    with pytest.raises(FileNotFoundError):
        write_atomically(path, NEW, expected=OLD)
    assert names_beside(path) == []


CRASH = """
import os, sys
from pathlib import Path
from config.file import atomic_write
step, path = sys.argv[1], Path(sys.argv[2])
calls = []
real_fsync, real_exchange = os.fsync, atomic_write._exchange
def fsync(handle):
    calls.append("fsync")
    if step == f"fsync{len(calls)}":
        os._exit(9)
    real_fsync(handle)
def exchange(one, other):
    if step == "before":
        os._exit(9)
    done = real_exchange(one, other)
    if step == "after":
        os._exit(9)
    return done
os.fsync, atomic_write._exchange = fsync, exchange
atomic_write.write_atomically(path, sys.argv[4].encode(), expected=sys.argv[3].encode())
"""


@pytest.mark.parametrize(
    ("step", "left"), [("fsync1", OLD), ("before", OLD), ("after", NEW), ("fsync2", NEW)]
)
def test_a_process_that_dies_in_the_middle_leaves_a_whole_file(path, step, left):
    """The file is the old one or the new one, and the next edit clears what was left beside it."""
    words = [step, str(path), OLD.decode(), NEW.decode()]
    done = subprocess.run([sys.executable, "-c", CRASH, *words], check=False)
    assert done.returncode == 9
    assert path.read_bytes() == left
    assert len(names_beside(path)) == 2
    write_atomically(path, b"third\n", expected=left)
    assert path.read_bytes() == b"third\n"
    assert names_beside(path) == [path.name]


@pytest.mark.parametrize("before", [None, OLD])
def test_without_an_expectation_whatever_is_there_is_replaced(tmp_path, before):
    """A file that may be missing, such as a copy of a good one, is written whole with its mode kept."""
    path = tmp_path / "copy.toml"
    if before is not None:
        path.write_bytes(before)
        path.chmod(0o640)
    write_atomically(path, NEW)
    assert path.read_bytes() == NEW
    assert stat.S_IMODE(path.stat().st_mode) == (0o640 if before else 0o644)
    assert names_beside(path) == [path.name]


@pytest.mark.parametrize(("call", "nth"), [("open", 1), ("write", 1), ("fsync", 1)])
def test_without_an_expectation_a_failure_leaves_the_old_file(path, monkeypatch, call, nth):
    """Nothing takes the file's name before it is on the disk."""
    fail_at(monkeypatch, call, nth, errno.EIO)
    with pytest.raises(OSError, match="Input/output error"):
        write_atomically(path, NEW)
    monkeypatch.undo()
    assert_untouched(path)


def test_a_finished_file_gets_its_name_and_the_folder_reaches_the_disk(path, monkeypatch):
    """The name counts only once the folder is on the disk; where that fails, the error says so."""
    finished = path.with_name("finished")
    finished.write_bytes(NEW)
    synced = []
    real = os.fsync
    monkeypatch.setattr(os, "fsync", lambda handle: (synced.append(os.fstat(handle).st_mode), real(handle)))
    fsync(finished)
    move_into_place(finished, path)
    assert [stat.S_ISDIR(mode) for mode in synced] == [False, True]
    assert path.read_bytes() == NEW
    monkeypatch.setattr(os, "fsync", real)
    finished.write_bytes(OLD)
    fail_at(monkeypatch, "fsync", 1, errno.EIO)
    with pytest.raises(NotSyncedError):
        move_into_place(finished, path)
    assert path.read_bytes() == OLD

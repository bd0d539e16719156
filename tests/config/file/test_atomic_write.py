"""Replacing a file: whole or not at all, whatever fails, whoever comes between, whenever the power goes."""

import ctypes
import errno
import os
import resource
import stat
import subprocess
import sys
import threading

import pytest

from config.file import atomic_write as room
from config.file.atomic_write import FileChangedError, NotSyncedError, lock_folder, replace_file

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
    replace_file(path, old=OLD, new=NEW)
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
    assert room._exchange(path, path) is False
    replace_file(path, old=OLD, new=NEW)
    assert path.read_bytes() == NEW
    assert names_beside(path) == [path.name]


def test_an_exchange_that_fails_is_an_error(path, monkeypatch):
    """Any other error of the exchange is no reason to try something else."""
    monkeypatch.setattr(ctypes, "CDLL", lambda *_args, **_more: Refusing(errno.EACCES))
    with pytest.raises(PermissionError):
        replace_file(path, old=OLD, new=NEW)
    assert_untouched(path)


def test_without_an_exchange_the_new_file_stays_where_the_last_step_fails(path, monkeypatch):
    """The one gap that is left: the folder's entry is not on the disk for sure, and the error says so."""
    monkeypatch.setattr(room, "_exchange", lambda *_names: False)
    fail_at(monkeypatch, "fsync", 2, errno.EIO)
    with pytest.raises(NotSyncedError, match="Input/output error"):
        replace_file(path, old=OLD, new=NEW)
    assert path.read_bytes() == NEW
    assert names_beside(path) == [path.name]


@pytest.mark.parametrize("mode", [0o600, 0o640, 0o664])
def test_the_mode_is_kept(path, mode):
    """Who could read and write the old file can read and write the new one, and nobody else."""
    path.chmod(mode)
    replace_file(path, old=OLD, new=NEW)
    assert stat.S_IMODE(path.stat().st_mode) == mode


@pytest.mark.skipif(os.geteuid() != 0, reason="only root can give a file away")
def test_the_owner_is_kept(path):
    """The new file belongs to whom the old one belonged."""
    os.chown(path, 12345, 23456)
    replace_file(path, old=OLD, new=NEW)
    assert (path.stat().st_uid, path.stat().st_gid) == (12345, 23456)


def test_an_owner_who_cannot_be_kept_does_not_stop_the_edit(path, monkeypatch):
    """A service that may write a file of somebody else's does so; the mode stays."""

    def refuse(*_args):
        raise PermissionError(errno.EPERM, "Operation not permitted")

    monkeypatch.setattr(os, "fchown", refuse)
    path.chmod(0o664)
    replace_file(path, old=OLD, new=NEW)
    assert path.read_bytes() == NEW
    assert stat.S_IMODE(path.stat().st_mode) == 0o664


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
        replace_file(path, old=OLD, new=NEW)
    monkeypatch.undo()
    assert caught.value.errno == code
    assert_untouched(path)


def test_a_disk_that_fills_up_half_way_leaves_the_old_file(path, monkeypatch):
    """Some bytes written, then no room: the half is thrown away."""
    real, calls = os.write, []

    def write_a_little(handle, data):
        calls.append(len(data))
        if len(calls) > 3:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return real(handle, data[:2])

    monkeypatch.setattr(os, "write", write_a_little)
    with pytest.raises(OSError, match="No space left"):
        replace_file(path, old=OLD, new=NEW)
    assert calls == [len(NEW), len(NEW) - 2, len(NEW) - 4, len(NEW) - 6]
    assert_untouched(path)


def test_a_write_in_small_pieces_is_complete(path, monkeypatch):
    """The system may take fewer bytes than offered; none is lost."""
    real = os.write
    monkeypatch.setattr(os, "write", lambda handle, data: real(handle, data[:3]))
    replace_file(path, old=OLD, new=NEW)
    assert path.read_bytes() == NEW


def test_a_limit_set_by_the_kernel_leaves_the_old_file(path):
    """The kernel itself refuses the write beyond a limit on file sizes; no stand-in is in between."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (4096, hard))
    try:
        with pytest.raises(OSError, match="File too large") as caught:
            replace_file(path, old=OLD, new=b"x" * 10_000)
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
        monkeypatch.setattr(room, "_exchange", fail)
    else:
        monkeypatch.setattr(room, "_exchange", lambda *_names: False)
        monkeypatch.setattr("pathlib.Path.replace", fail)
    with pytest.raises(OSError, match="Input/output error"):
        replace_file(path, old=OLD, new=NEW)
    assert_untouched(path)


def test_a_file_changed_before_the_writing_is_left_alone(path):
    """What somebody else wrote meanwhile is never overwritten."""
    path.write_bytes(b"theirs\n")
    with pytest.raises(FileChangedError):
        replace_file(path, old=OLD, new=NEW)
    assert path.read_bytes() == b"theirs\n"
    assert names_beside(path) == [path.name]


@pytest.mark.parametrize("in_place", [True, False])
def test_a_file_changed_in_the_last_moment_is_left_alone(path, monkeypatch, in_place):
    """Another hand between the last look and the exchange is noticed, and gets its file back."""
    real = room._exchange
    calls = []

    def come_between(spare, target):
        if not calls:
            if in_place:
                path.write_bytes(b"theirs\n")
            else:
                theirs = path.with_name("theirs")
                theirs.write_bytes(b"theirs\n")
                theirs.replace(path)
        calls.append(spare)
        return real(spare, target)

    monkeypatch.setattr(room, "_exchange", come_between)
    with pytest.raises(FileChangedError):
        replace_file(path, old=OLD, new=NEW)
    assert len(calls) == 2
    assert path.read_bytes() == b"theirs\n"
    assert names_beside(path) == [path.name]


def test_a_file_deleted_meanwhile_is_not_brought_back(path):
    """Who deletes the site file during an edit finds it deleted."""
    path.unlink()
    with pytest.raises(FileNotFoundError):
        replace_file(path, old=OLD, new=NEW)
    assert names_beside(path) == []


CRASH = """
import os, sys
from pathlib import Path
from config.file import atomic_write as room
step, path = sys.argv[1], Path(sys.argv[2])
calls = []
real_fsync, real_exchange = os.fsync, room._exchange
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
os.fsync, room._exchange = fsync, exchange
room.replace_file(path, old=sys.argv[3].encode(), new=sys.argv[4].encode())
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
    replace_file(path, old=left, new=b"third\n")
    assert path.read_bytes() == b"third\n"
    assert names_beside(path) == [path.name]


def test_a_folder_is_held_by_one_at_a_time(tmp_path):
    """A second editor waits, and gives up when it was told to."""
    with lock_folder(tmp_path, 0), pytest.raises(TimeoutError), lock_folder(tmp_path, 0.05):
        pytest.fail("two editors hold the same folder")
    with lock_folder(tmp_path, 0):
        pass
    assert list(tmp_path.iterdir()) == []


def test_a_second_editor_goes_on_when_the_first_has_finished(tmp_path):
    """Waiting ends as soon as the folder is free."""
    order = []
    held = threading.Event()

    def wait_and_hold():
        held.wait()
        with lock_folder(tmp_path, 10):
            order.append("second")

    other = threading.Thread(target=wait_and_hold)
    other.start()
    with lock_folder(tmp_path, 0):
        held.set()
        other.join(0.1)
        order.append("first")
    other.join()
    assert order == ["first", "second"]


def test_a_folder_that_is_not_there_cannot_be_held(tmp_path):
    """No folder is made by holding it."""
    with pytest.raises(FileNotFoundError), lock_folder(tmp_path / "none", 0):
        pytest.fail("a folder was held that is not there")

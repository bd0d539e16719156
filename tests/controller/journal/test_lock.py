"""One keeper for each state folder, whatever becomes of the folder and of the lock file in it."""

from __future__ import annotations

import os
import shutil
import socket
import struct
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from config.errors import AlreadyRunningError, JournalError
from config.file.lock import FileLock
from controller.journal import lock as lock_module
from controller.journal.journal import Journal
from controller.journal.lock import LOCK_NAME, StateLock, name_of

HOLD = (
    "import sys; from pathlib import Path; from controller.journal.lock import StateLock\n"
    "StateLock(Path(sys.argv[1])).keep(); print('locked', flush=True); sys.stdin.read()"
)


def test_a_second_process_is_refused_until_the_first_is_gone(state: Path) -> None:
    """The lock holds between processes, and is gone when its process is."""
    with subprocess.Popen(
        [sys.executable, "-c", HOLD, str(state)], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as first:
        assert first.stdout is not None
        assert first.stdout.readline() == b"locked\n"
        for _ in range(3):
            with pytest.raises(AlreadyRunningError, match=f"process {first.pid}"):
                StateLock(state).keep()
        first.kill()
        first.wait()
    with StateLock(state):
        assert (state / LOCK_NAME).exists()


def test_a_lock_of_the_callers_is_used(state: Path) -> None:
    """A journal that is given a lock takes none of its own, and releases it at its end."""
    lock = StateLock(state)
    lock.keep()
    journal = Journal(state, lock=lock)
    journal.open()
    journal.close()
    with StateLock(state):
        pass


def remove_lock_file(state: Path) -> None:
    (state / LOCK_NAME).unlink()


def empty(state: Path) -> None:
    for each in state.iterdir():
        each.unlink()


def move_away(state: Path) -> None:
    state.rename(state.with_name("away"))


def replace_by_an_empty_one(state: Path) -> None:
    move_away(state)
    state.mkdir()


@pytest.mark.parametrize(
    "change", [remove_lock_file, empty, shutil.rmtree, move_away, replace_by_an_empty_one]
)
def test_a_second_keeper_is_refused_whatever_became_of_the_folder(
    state: Path, change: Callable[[Path], None]
) -> None:
    """Without a lock file, or without the folder, the path still has its one keeper, who is named."""
    with StateLock(state):
        change(state)
        with pytest.raises(AlreadyRunningError, match=r"process \d+.*already runs with the state folder"):
            StateLock(state).keep()
    with StateLock(state):
        pass


def test_a_folder_is_known_by_any_of_its_paths(state: Path) -> None:
    """A link to the folder is the folder."""
    state.mkdir()
    link = state.with_name("link")
    link.symlink_to(state)
    with StateLock(link):
        shutil.rmtree(state)
        with pytest.raises(AlreadyRunningError):
            StateLock(state).keep()


def holds(path: Path) -> bool:
    """Whether somebody has locked a lock file: by flock, as somebody does who knows nothing of names."""
    with path.open() as file:
        try:
            FileLock(os.dup(file.fileno())).release()
        except TimeoutError:
            return True
    return False


@pytest.mark.parametrize("change", [remove_lock_file, shutil.rmtree, move_away, replace_by_an_empty_one])
def test_the_lock_file_is_locked_again_where_it_was_removed(
    state: Path, change: Callable[[Path], None]
) -> None:
    """For those who cannot see the name, such as a container that shares the folder."""
    with StateLock(state) as lock:
        change(state)
        lock.keep()
        assert holds(state / LOCK_NAME)
    assert not holds(state / LOCK_NAME)


def test_a_folder_that_was_moved_away_is_free_once_another_is_kept(state: Path) -> None:
    """Until the keeper has seen it, the folder is still its own; then anybody may use it."""
    with StateLock(state) as lock:
        away = state.rename(state.with_name("away"))
        with pytest.raises(AlreadyRunningError), StateLock(away):
            pass
        lock.keep()
        with StateLock(away):
            pass


def test_a_lock_file_that_another_holds_refuses_the_keeper_that_looks_again(state: Path) -> None:
    """Where two could start, as in two network namespaces, the second to lock the file gives way."""
    with StateLock(state) as lock:
        remove_lock_file(state)
        (state / LOCK_NAME).write_text("4711\n")
        with (state / LOCK_NAME).open() as file:
            other = FileLock(os.dup(file.fileno()))
        with pytest.raises(AlreadyRunningError, match="process 4711"):
            lock.keep()
        other.release()
        lock.keep()
        assert holds(state / LOCK_NAME)


def test_a_folder_that_cannot_be_made_is_held_by_its_name(tmp_path: Path) -> None:
    """On a disk that takes no file a second keeper is refused all the same."""
    (tmp_path / "in the way").touch()
    state = tmp_path / "in the way" / "state"
    lock = StateLock(state)
    with pytest.raises(JournalError, match=r"is gone and cannot be made \(.*\); bring it back"):
        lock.keep()
    with pytest.raises(AlreadyRunningError):
        StateLock(state).keep()
    lock.release()


def test_many_who_are_refused_do_not_wear_the_lock_out(state: Path) -> None:
    """However often a second one tries, it is told who holds the folder, and refused."""
    with StateLock(state) as lock:
        for _ in range(3):
            for _ in range(lock_module._REFUSED_AT_MOST):
                with pytest.raises(AlreadyRunningError, match="process"):
                    StateLock(state).keep()
            lock.keep()
        remove_lock_file(state)
        with pytest.raises(AlreadyRunningError, match="process"):
            StateLock(state).keep()


def test_a_name_that_a_stranger_holds_keeps_no_garden_dark(
    state: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every user of the machine may take any name; only one's own or root's is believed."""
    with socket.socket(socket.AF_UNIX) as holder:
        holder.bind(name_of(state))
        holder.listen()
        with pytest.raises(AlreadyRunningError, match=f"process {os.getpid()}"), StateLock(state):
            pass
        # As this process sees the holder where the two belong to users of whom neither is root.
        monkeypatch.setattr(os, "geteuid", lambda: 12345)
        monkeypatch.setattr(socket.socket, "getsockopt", lambda *_: struct.pack("3i", 4711, 54321, 54321))
        with StateLock(state):
            assert holds(state / LOCK_NAME)

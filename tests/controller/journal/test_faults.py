"""The journal when its disk or its file fails: it says so, keeps what waits, and recovers."""

from __future__ import annotations

import contextlib
import os
import resource
import shutil
import sqlite3
import subprocess
from pathlib import Path

import pytest

from config.errors import JournalDamagedError, JournalError
from controller.journal.database import APPLICATION_ID
from controller.journal.journal import Journal
from controller.journal.previous_run import read_previous_run
from controller.journal.reader import JournalReader
from controller.journal.schema import STEPS
from tests.controller.journal_samples import assert_refused, event, overridden, reading, switch_often, written


@pytest.fixture
def small_disk(tmp_path: Path):
    """A file system of 256 kB of its own, where the system lets us have one."""
    folder = tmp_path / "disk"
    folder.mkdir()
    mount = shutil.which("mount")
    made = (
        mount
        and os.geteuid() == 0
        and subprocess.run(
            [mount, "-t", "tmpfs", "-o", "size=256k", "tmpfs", str(folder)], capture_output=True, check=False
        )
    )
    if not made or made.returncode:
        pytest.skip("no right to mount a file system here")
    yield folder
    subprocess.run(["umount", str(folder)], check=True)


class TestLocked:
    def test_a_file_that_another_program_holds(self, journal):
        """Entries wait while somebody else writes, and are written in order once they let go."""
        journal.open()
        with contextlib.closing(sqlite3.connect(journal.path, isolation_level=None)) as other:
            other.execute("BEGIN IMMEDIATE")
            switch_often(journal, 3)
            assert_refused(journal, "another program holds it", str(journal.path))
            switch_often(journal, 1, begin=3)
        assert (journal.flush(), journal.fault) == (4, None)
        assert written(journal) == [0, 1, 2, 3]

    def test_a_new_journal_that_is_locked_while_it_is_made(self, journal):
        """The same holds for a file that has no tables yet."""
        journal.directory.mkdir()
        with contextlib.closing(sqlite3.connect(journal.path, isolation_level=None)) as other:
            other.execute("BEGIN EXCLUSIVE")
            switch_often(journal, 2)
            assert_refused(journal, "another program holds it")
        assert journal.flush() == 2

    def test_a_fault_is_over_even_where_nothing_waits(self, journal):
        """A flush with nothing to write still finds out that the file can be used again."""
        journal.open()
        journal.close()
        with contextlib.closing(sqlite3.connect(journal.path, isolation_level=None)) as other:
            other.execute("PRAGMA locking_mode = EXCLUSIVE")
            other.execute("BEGIN EXCLUSIVE")
            with pytest.raises(JournalError):
                journal.open()
            assert journal.fault
        assert (journal.flush(), journal.fault) == (0, None)


class TestDiskFull:
    def test_a_database_that_may_not_grow(self, journal):
        """SQLite says that the disk is full; what waits is written when it no longer is."""
        journal.open()
        pages = journal._connection.execute("PRAGMA page_count").fetchone()[0]
        journal._connection.execute(f"PRAGMA max_page_count = {pages}")
        switch_often(journal, 400)
        assert_refused(journal, "the disk is full", "make room")
        # The limit belonged to the connection, and each failure opens the file afresh.
        assert journal.flush() == 400
        assert written(journal) == list(range(400))

    def test_a_log_that_may_not_grow(self, journal):
        """A write that the system refuses in the middle of a commit leaves none of its rows behind."""
        journal.open()
        switch_often(journal, 2)
        journal.flush()
        soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
        log = journal.path.with_name("journal.sqlite-wal")
        switch_often(journal, 400, begin=2)
        resource.setrlimit(resource.RLIMIT_FSIZE, (log.stat().st_size + 3000, hard))
        try:
            assert_refused(journal, str(journal.path))
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
        assert written(journal) == [0, 1]
        assert journal.flush() == 400
        assert written(journal) == list(range(402))

    def test_a_full_file_system_at_the_start(self, small_disk):
        """A journal that cannot be made for want of room is made when there is some."""
        with contextlib.suppress(OSError):
            (small_disk / "full").write_bytes(bytes(300_000))
        journal = Journal(small_disk)
        switch_often(journal, 2)
        assert_refused(journal, "journal")
        (small_disk / "full").unlink()
        assert (journal.flush(), written(journal)) == (2, [0, 1])
        journal.close()

    def test_a_file_system_that_runs_full(self, small_disk):
        """Entries wait in order while the disk is full, over many tries, and none is lost or doubled."""
        journal = Journal(small_disk)
        journal.open()
        faults, count = 0, 0
        while faults < 3:
            switch_often(journal, 100, begin=count)
            count += 100
            try:
                journal.flush()
            except JournalError:
                faults += 1
                acknowledged = count - journal.waiting
                assert written(journal) == list(range(acknowledged))
        assert journal.waiting >= 300
        # Room is made by remounting the same file system larger: what is in it stays.
        subprocess.run(["mount", "-o", "remount,size=8m", str(small_disk)], check=True)
        journal.flush()
        assert (written(journal), journal.lost) == (list(range(count)), 0)
        journal.close()


@contextlib.contextmanager
def read_only(folder: Path):
    """Make a folder read-only: by its rights, or by its file system where rights do not bind us."""
    if os.geteuid() == 0:
        subprocess.run(["mount", "-o", "remount,ro", str(folder)], check=True)
        yield
        subprocess.run(["mount", "-o", "remount,rw", str(folder)], check=True)
        return
    paths = [folder, *folder.rglob("*")]
    for path in paths:
        path.chmod(path.stat().st_mode & ~0o222)
    yield
    for path in paths:
        path.chmod(path.stat().st_mode | 0o200)


@pytest.fixture
def disk(request, tmp_path: Path):
    """A folder that can be made read-only, whoever runs the tests."""
    return request.getfixturevalue("small_disk") if os.geteuid() == 0 else tmp_path


class TestReadOnly:
    def test_a_disk_that_turns_read_only(self, disk):
        """What was written can still be read, what is new waits, and is written when the disk allows."""
        journal = Journal(disk)
        journal.append(overridden("jetty", reading()))
        journal.flush()
        journal.close()
        with read_only(disk):
            journal = Journal(disk)
            with pytest.raises(JournalError, match=r"may not be written|cannot be opened|[Rr]ead-only"):
                journal.open()
            assert [override.zone for override in journal.previous_run().overrides] == ["jetty"]
            switch_often(journal, 2)
            assert_refused(journal)
        assert (journal.flush(), written(journal)) == (2, [0, 1])
        journal.close()

    def test_a_folder_that_cannot_be_made(self, tmp_path):
        """A file where the folder should be is named, and once it is moved away the journal begins."""
        (tmp_path / "state").write_text("in the way")
        journal = Journal(tmp_path / "state")
        with pytest.raises(JournalError, match="state"):
            journal.open()
        switch_often(journal, 2)
        assert_refused(journal, str(tmp_path / "state"))
        (tmp_path / "state").unlink()
        assert journal.flush() == 2
        journal.close()


class TestDamaged:
    @pytest.mark.parametrize("size", [100, 4096, 100_000])
    def test_a_file_of_garbage(self, journal, size):
        """It is called damaged, not touched by open or flush, and mended by check."""
        journal.directory.mkdir()
        garbage = bytes(number * 89 % 256 for number in range(size))
        journal.path.write_bytes(garbage)
        with pytest.raises(JournalDamagedError, match="damaged"):
            journal.open()
        with pytest.raises(JournalDamagedError):
            read_previous_run(journal.path)
        switch_often(journal, 2)
        assert isinstance(assert_refused(journal, "damaged"), JournalDamagedError)
        assert journal.damaged
        assert journal.path.read_bytes() == garbage
        done = journal.check(reading())
        assert done.path.read_bytes() == garbage
        assert (journal.damaged, journal.flush(), written(journal)) == (False, 3, [0, 1])

    def test_a_file_that_was_cut_off(self, journal):
        """A journal that lost its second half is set aside, and what waits goes into a new one."""
        switch_often(journal, 600)
        journal.flush()
        journal.close()
        os.truncate(journal.path, journal.path.stat().st_size // 2)
        switch_often(journal, 2)
        done = journal.check(reading())
        assert done is not None
        assert done.restored_from is None
        assert "damaged" in str(done)
        journal.flush()
        assert written(journal) == [0, 1]

    def test_a_page_in_the_middle_that_was_overwritten(self, journal):
        """Damage deep in the file, which no start-up would notice, is found by check."""
        switch_often(journal, 2000)
        journal.flush()
        journal.close()
        with journal.path.open("r+b") as file:
            file.seek(journal.path.stat().st_size // 2 // 1024 * 1024)
            file.write(b"\xa5" * 1024)
        journal.open()
        assert journal.check(reading()).damage
        journal.append(event(reading()))
        assert journal.flush() == 2

    def test_a_file_that_was_deleted_while_open(self, journal):
        """A journal that is removed under the keeper is made again, not written into nothing."""
        switch_often(journal, 2)
        journal.flush()
        for file in journal.directory.glob("journal.sqlite*"):
            file.unlink()
        switch_often(journal, 2, begin=2)
        journal.flush()
        assert written(journal) == [2, 3]


class TestNotOurs:
    def test_a_newer_version_is_left_alone(self, journal):
        """A journal of a later Leerie is neither changed nor set aside, and the message says what to do."""
        journal.open()
        journal.close()
        with contextlib.closing(sqlite3.connect(journal.path)) as newer:
            newer.execute(f"PRAGMA user_version = {len(STEPS) + 1}")
        before = journal.path.read_bytes()
        switch_often(journal, 1)
        error = assert_refused(journal, "newer Leerie", f"version {len(STEPS) + 1}", "install")
        assert not isinstance(error, JournalDamagedError)
        with pytest.raises(JournalError, match="newer Leerie"):
            journal.check(reading())
        with pytest.raises(JournalError, match="newer Leerie"):
            list(JournalReader(journal.directory).runs())
        assert journal.path.read_bytes() == before
        assert not list(journal.directory.glob("set-aside-*"))

    def test_another_programs_file_is_left_alone(self, journal):
        """A SQLite file that is no journal is neither changed nor set aside."""
        journal.directory.mkdir()
        with contextlib.closing(sqlite3.connect(journal.path)) as other:
            other.execute("CREATE TABLE birds (name TEXT)")
        before = journal.path.read_bytes()
        switch_often(journal, 1)
        assert_refused(journal, "not a journal of Leerie")
        with pytest.raises(JournalError, match="not a journal of Leerie"):
            journal.check(reading())
        assert journal.path.read_bytes() == before

    def test_ours_is_marked(self, journal):
        """The file carries the number that tells a journal from other SQLite files."""
        journal.open()
        journal.close()
        # The application id stands at offset 68 of the header, big-endian, by SQLite's file format.
        assert journal.path.read_bytes()[68:72] == APPLICATION_ID.to_bytes(4, "big") == b"Leer"

"""A damaged journal is set aside whole, and a new one is started from the newest good backup."""

from __future__ import annotations

import contextlib
import errno
import os
import shutil
import threading
from collections import Counter
from datetime import date, timedelta

import pytest

from config.errors import JournalError
from controller.journal.journal import Journal
from controller.journal.reader import JournalReader
from controller.records.entries import Cause, EventKind, OverrideEnded
from tests.controller.journal_samples import (
    corrupt,
    dark,
    event,
    lit,
    overridden,
    reading,
    unended,
    write,
    write_nights,
)

NIGHT = date(2027, 6, 21)
SOON = reading(5000)


def corrupt_open(journal: Journal) -> None:
    """Damage the file of a journal that stays open: fold in the log, then put zeros over the pages."""
    journal._connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    size = journal.path.stat().st_size
    with journal.path.open("r+b") as file:
        file.seek(1024)
        file.write(bytes(size - 1024))
    # SQLite looks at a page again only where another connection has changed the file.
    journal._close_file()


class TestQuarantine:
    def test_the_damaged_file_is_set_aside_whole(self, journal, tmp_path):
        """The file is moved, with its log, to a dated name, which the message gives."""
        write_nights(journal, 30)
        journal.close()
        write(journal, event(reading()))
        # As after a crash: the file with a log that nobody folded in.
        crashed = Journal(shutil.copytree(journal.directory, tmp_path / "crashed"))
        corrupt(crashed.path)
        names = ("journal.sqlite", "journal.sqlite-wal")
        before = [(crashed.directory / name).read_bytes() for name in names]
        done = crashed.check(SOON)
        crashed.close()
        assert done.path == crashed.directory / "set-aside-20270621T230320Z.sqlite"
        after = [done.path.with_name(name.replace("journal", done.path.stem)).read_bytes() for name in names]
        assert after == before
        assert "set-aside-20270621T230320Z.sqlite" in str(done)
        assert "no good backup" in str(done)

    def test_a_fresh_one_is_restored_from_the_newest_copy(self, journal):
        """What the backup holds is there, and so is what waited; only what came between is lost."""
        write_nights(journal, 30)
        copy = journal.back_up(NIGHT)
        write(journal, event(reading(3e6), "after the copy"))
        journal.close()
        corrupt(journal.path)
        journal.append(event(reading(3e6 + 1), "while it was damaged"))
        done = journal.check(SOON)
        assert done.restored_from == copy
        journal.flush()
        reader = JournalReader(journal.directory)
        words = [entry.words for entry in reader.events()]
        assert words[0].endswith("a new one was started from the backup journal-2027-06-21.sqlite")
        assert words[1:] == ["after the copy", "while it was damaged"]  # the keeper's start is told again
        assert len(list(reader.runs())) == 60

    def test_a_copy_that_is_damaged_itself_is_passed_over(self, journal):
        """The newest copy that is whole is taken, however many newer ones are not."""
        write_nights(journal, 30)
        good = journal.back_up(NIGHT)
        for later in (1, 2, 3):
            bad = journal.back_up(NIGHT + timedelta(days=later))
            if later == 1:
                corrupt(bad)
            else:
                bad.write_bytes(b"" if later == 2 else b"no journal at all" * 100)
        journal.close()
        corrupt(journal.path)
        assert journal.check(SOON).restored_from == good

    @pytest.mark.parametrize("leave", ["nothing", "an empty file"])
    def test_a_journal_that_is_gone_is_restored_from_its_copy(self, journal, leave):
        """A file that vanished, or was cut to nothing, does not silently begin empty where copies exist."""
        write_nights(journal, 3)
        journal.back_up(NIGHT)
        journal.close()
        journal.path.unlink()
        if leave == "an empty file":
            journal.path.touch()
        with pytest.raises(JournalError, match="gone"):
            journal.open()
        assert journal.damaged
        done = journal.check(SOON)
        assert done.restored_from is not None
        assert len(list(JournalReader(journal.directory).runs())) == 6

    def test_what_is_in_force_is_carried_over(self, journal):
        """The fresh journal knows what is lit and overridden now, and ends what the copy thought was."""
        write(
            journal,
            lit("since before", reading()),
            lit("put out later", reading(1)),
            overridden("since before", reading()),
            overridden("lifted later", reading(1)),
        )
        journal.back_up(NIGHT)
        write(
            journal,
            dark("put out later", reading(100)),
            OverrideEnded(zone="lifted later", at=reading(100), words="lifted by api"),
            lit("lit later", reading(101)),
            overridden("placed later", reading(102)),
        )
        corrupt_open(journal)
        assert journal.check(reading(200)).restored_from is not None
        write(journal, dark("since before", reading(300)), dark("lit later", reading(301)))
        runs = {run.zone: run for run in JournalReader(journal.directory).runs()}
        assert runs["since before"].lit_s == 300.0
        assert runs["lit later"].lit_s == 200.0
        assert (runs["put out later"].lit_s, runs["put out later"].ended_by) == (0.0, Cause.STOPPED)
        assert {override.zone for override in journal.previous_run().overrides} == {
            "since before",
            "placed later",
        }
        assert unended(journal) == []
        placed = [past.override.zone for past in JournalReader(journal.directory).overrides()]
        assert placed.count("since before") == 1

    def test_an_open_journal_that_is_damaged_is_replaced(self, journal):
        """Damage that shows while the keeper writes is in the fault, and check replaces the file."""
        write_nights(journal, 60)
        corrupt_open(journal)
        journal.append(event(reading()))
        with pytest.raises(JournalError):
            journal.flush()
        assert journal.damaged
        journal.check(SOON)
        assert journal.flush() == 2
        assert not journal.damaged

    def test_only_some_are_kept_aside(self, journal):
        """The twelve newest damaged files are kept; the disk does not fill with them."""
        for number in range(15):
            write(journal, event(reading()))
            journal.close()
            corrupt(journal.path)
            journal.check(reading(number * 10 * 86400))
        aside = sorted(path.name for path in journal.directory.glob("set-aside-*.sqlite"))
        instants = [reading(number * 10 * 86400).utc for number in range(3, 15)]
        assert aside == [f"set-aside-{at:%Y%m%dT%H%M%SZ}.sqlite" for at in instants]

    def test_a_disk_that_spoils_whatever_it_is_given(self, journal):
        """At most twelve a month are set aside, so that the first, which holds most, is kept."""
        write_nights(journal, 30)
        for number in range(12):
            journal.close()
            corrupt(journal.path)
            journal.check(reading(number * 60))
            write(journal, event(reading()))
        journal.close()
        corrupt(journal.path)
        with pytest.raises(JournalError, match="replace it"):
            journal.check(reading(86400))
        aside = sorted(journal.directory.glob("set-aside-*.sqlite"))
        assert len(aside) == 12
        assert aside[0].name == "set-aside-20270621T214000Z.sqlite"
        assert aside[0].stat().st_size > max(other.stat().st_size for other in aside[1:])
        # Once the disk was replaced, or after a month without damage, it goes on.
        assert journal.check(reading(40 * 86400)).path is not None

    @pytest.mark.parametrize("copy", ["a good copy", "a bad copy", "no copy"])
    def test_a_disk_that_fails_meanwhile(self, journal, monkeypatch, copy):
        """Starting a new one may fail half way, and often: it goes on from there, with one file set aside."""
        write_nights(journal, 30)
        if copy != "no copy":
            made = journal.back_up(NIGHT)
            if copy == "a bad copy":
                corrupt(made)
        journal.close()
        corrupt(journal.path)
        journal.append(lit("path", reading(9e6)))

        def no_room(*_: object, **__: object) -> None:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

        done_by_check = []
        folder = "controller.journal"
        for broken in (f"{folder}.backup.put_in_place", f"{folder}.journal.open_to_write", None):
            with monkeypatch.context() as patch:
                if broken:
                    patch.setattr(broken, no_room)
                for _ in range(5):
                    try:
                        journal.flush()
                    except JournalError:
                        if journal.damaged:
                            with contextlib.suppress(JournalError):
                                done_by_check.append(journal.check(SOON))
        assert (journal.waiting, journal.fault) == (0, None)
        assert [done.path.name for done in done_by_check] == ["set-aside-20270621T230320Z.sqlite"]
        assert len(list(journal.directory.glob("set-aside-*.sqlite"))) == 1
        assert len(list(JournalReader(journal.directory).runs())) == (61 if copy == "a good copy" else 1)

    def test_two_threads_that_find_the_same_damage(self, journal):
        """Only one of them starts a new journal, and the other does not set that one aside."""
        write_nights(journal, 30)
        journal.back_up(NIGHT)
        journal.close()
        corrupt(journal.path)
        both = threading.Barrier(2)
        done_by_check = []

        def check_and_write() -> None:
            both.wait()
            done_by_check.append(journal.check(SOON))
            journal.append(event(reading()))
            journal.flush()

        threads = [threading.Thread(target=check_and_write) for _ in range(2)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert len([done for done in done_by_check if done is not None]) == 1
        assert len(list(journal.directory.glob("set-aside-*.sqlite"))) == 1
        kinds = Counter(entry.kind for entry in JournalReader(journal.directory).events())
        assert kinds == {EventKind.STARTED: 2, EventKind.JOURNAL_SET_ASIDE: 1}

    def test_two_in_one_second_do_not_meet(self, journal):
        """A name that is taken gets a number."""
        names = []
        for _ in range(2):
            write(journal, event(reading()))
            journal.close()
            corrupt(journal.path)
            names.append(journal.check(SOON).path.name)
        assert names == ["set-aside-20270621T230320Z.sqlite", "set-aside-20270621T230320Z-2.sqlite"]

"""Copies of the journal, each night and on request, and putting a copy back."""

from __future__ import annotations

import shutil
import threading
from datetime import date, timedelta

import pytest

from config.errors import JournalError
from controller.journal import backup
from controller.journal.database import find_damage
from controller.journal.journal import Journal
from controller.journal.reader import JournalReader
from controller.journal.schema import STEPS
from tests.controller.journal_samples import (
    corrupt,
    dark,
    event,
    everything,
    lit,
    overridden,
    reading,
    write,
    write_nights,
)

NIGHT = date(2027, 6, 21)
SOON = reading(5000)


class TestCopies:
    def test_a_copy_is_a_whole_journal_in_one_file(self, journal, tmp_path):
        """A copy made while the journal is open answers like the journal itself."""
        write_nights(journal, 30)
        write(journal, overridden("jetty", reading()), lit("jetty", reading(3e6)))
        backup.copy_to(journal.path, tmp_path / "copy.sqlite")
        assert sorted(path.name for path in tmp_path.iterdir()) == ["copy.sqlite", "state"]
        assert everything(tmp_path / "copy.sqlite") == everything(journal.directory)

    def test_a_copy_is_consistent_while_the_keeper_writes(self, journal, tmp_path):
        """Whatever is written meanwhile, a backup has whole transactions only: pairs of both zones."""
        stop = threading.Event()
        write_nights(journal, 200)

        def write_on() -> None:
            night = 1000
            while not stop.is_set():
                for zone in ("jetty", "steps"):
                    journal.append(lit(zone, reading(night * 86400)))
                    journal.append(dark(zone, reading(night * 86400 + 60)))
                journal.flush()
                night += 1

        writer = threading.Thread(target=write_on)
        writer.start()
        try:
            counts = []
            for number in range(8):
                copy = tmp_path / f"copy-{number}.sqlite"
                backup.copy_to(journal.path, copy)
                assert find_damage(copy) is None
                lit_s = {life.zone: life.lit_s for life in JournalReader(copy).totals()}
                assert lit_s["jetty"] == lit_s["steps"]
                counts.append(len(list(JournalReader(copy).runs())))
        finally:
            stop.set()
            writer.join()
        assert counts == sorted(counts)
        assert all(count % 2 == 0 for count in counts)

    def test_a_copy_does_not_replace_a_file(self, journal, tmp_path):
        """A file that exists is not overwritten, and one in a folder that does not leaves nothing behind."""
        write(journal, event(reading()))
        (tmp_path / "mine").write_text("mine")
        with pytest.raises(JournalError, match="exists already"):
            backup.copy_to(journal.path, tmp_path / "mine")
        assert (tmp_path / "mine").read_text() == "mine"
        with pytest.raises(JournalError, match="was not made"):
            backup.copy_to(journal.path, tmp_path / "nowhere" / "copy")

    def test_a_copy_of_nothing_is_refused(self, journal, tmp_path):
        """Where there is no journal there is no backup, and the message says so."""
        with pytest.raises(JournalError, match="there is no journal"):
            backup.copy_to(journal.path, tmp_path / "copy")

    def test_nightly_copies_are_named_by_their_night_and_the_oldest_go(self, journal):
        """Fourteen are kept."""
        write(journal, event(reading()))
        for number in range(16):
            assert journal.back_up(NIGHT + timedelta(days=number)) is not None
        names = sorted(path.name for path in (journal.directory / "backups").iterdir())
        assert names == [f"journal-{NIGHT + timedelta(days=number)}.sqlite" for number in range(2, 16)]

    def test_a_night_is_copied_once(self, journal):
        """A second call for the same night makes nothing."""
        write(journal, event(reading()))
        assert journal.back_up(NIGHT) == journal.directory / "backups" / "journal-2027-06-21.sqlite"
        assert journal.back_up(NIGHT) is None

    def test_a_large_journal_is_copied_less_often(self, journal, monkeypatch):
        """So that copies cost the card no more on average, whatever the journal's size."""
        write_nights(journal, 100)
        journal.close()
        monkeypatch.setattr(backup, "COPIED_BYTES_PER_NIGHT", journal.path.stat().st_size // 3)
        made = [number for number in range(13) if journal.back_up(NIGHT + timedelta(days=number))]
        assert made == [0, 4, 8, 12]

    def test_a_copy_that_fails_leaves_the_earlier_ones(self, journal):
        """Without room for a new backup the old ones stay, and no half of a new one is left."""
        write_nights(journal, 30)
        journal.back_up(NIGHT)
        journal.close()
        corrupt(journal.path)
        with pytest.raises(JournalError):
            journal.back_up(NIGHT + timedelta(days=1))
        assert journal.damaged
        assert [path.name for path in (journal.directory / "backups").iterdir()] == [
            "journal-2027-06-21.sqlite"
        ]

    def test_a_copy_of_an_older_version_is_taken_too(self, journal, monkeypatch):
        """After an update the last copy is of the version before; it is brought up to date."""
        write_nights(journal, 3)
        journal.back_up(NIGHT)
        journal.close()
        newer = (*STEPS, ("ALTER TABLE zone ADD COLUMN colour TEXT",))
        monkeypatch.setattr("controller.journal.database.STEPS", newer)
        corrupt(journal.path)
        assert journal.check(SOON).restored_from is not None
        journal.open()
        assert journal._connection.execute("SELECT count(colour), count(*) FROM zone").fetchone() == (0, 2)


class TestRestore:
    @pytest.fixture
    def two_states(self, journal, tmp_path):
        """A copy with one event, and a journal that has a second one, still in its log."""
        write(journal, event(reading(), "before"))
        copy = tmp_path / "copy.sqlite"
        backup.copy_to(journal.path, copy)
        write(journal, event(reading(1), "after"))
        kept = tmp_path / "as after a crash"
        shutil.copytree(journal.directory, kept)
        return copy, kept

    def test_by_hand(self, two_states):
        """The steps that the module's text gives: all three files away, the copy in place, start."""
        copy, state = two_states
        away = state / "away"
        away.mkdir()
        for name in ("journal.sqlite", "journal.sqlite-wal", "journal.sqlite-shm"):
            if (state / name).exists():
                (state / name).rename(away / name)
        shutil.copyfile(copy, state / "journal.sqlite")
        restored = Journal(state)
        write(restored, event(reading(2), "restored"))
        assert [entry.words for entry in JournalReader(state).events()] == ["before", "restored"]
        restored.close()
        assert [entry.words for entry in JournalReader(away / "journal.sqlite").events()] == [
            "before",
            "after",
        ]

    def test_by_restore(self, two_states):
        """The backup is in place, and the journal that was there is set aside whole."""
        copy, state = two_states
        aside = backup.restore(copy, state / "journal.sqlite", SOON.utc)
        assert [entry.words for entry in JournalReader(state).events()] == ["before"]
        assert [entry.words for entry in JournalReader(aside).events()] == ["before", "after"]

    def test_a_damaged_backup_is_not_restored(self, two_states):
        """The journal stays where the copy is no good, or is not there."""
        copy, state = two_states
        corrupt(copy)
        for bad in (copy, copy.with_name("no such copy")):
            with pytest.raises(JournalError, match=r"is damaged|is no file"):
                backup.restore(bad, state / "journal.sqlite", SOON.utc)
        assert [entry.words for entry in JournalReader(state).events()] == ["before", "after"]

    def test_into_an_empty_folder(self, two_states, tmp_path):
        """A copy can begin a new state folder, as on a new card."""
        copy, _ = two_states
        assert backup.restore(copy, tmp_path / "new" / "journal.sqlite", SOON.utc) is None
        assert len(list(JournalReader(tmp_path / "new").events())) == 1

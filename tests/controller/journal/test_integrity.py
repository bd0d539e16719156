"""Finding damage in the journal's file: in its pages, its indexes, its references and its values."""

from __future__ import annotations

import contextlib
import random
import sqlite3
from datetime import date

import pytest

from config.errors import JournalDamagedError, JournalError
from controller.journal.database import find_damage
from controller.journal.journal import Journal
from controller.journal.previous_run import read_previous_run
from controller.journal.reader import JournalReader
from tests.controller.journal_samples import (
    dark,
    event,
    everything,
    heartbeat,
    lit,
    overridden,
    reading,
    write,
    write_nights,
)

NIGHT = date(2027, 6, 21)
SOON = reading(5000)


class TestCheck:
    def test_a_journal_that_is_whole_is_left_alone(self, journal):
        """A check of a whole journal, or of none, changes nothing."""
        assert journal.check(SOON) is None
        assert not journal.directory.exists()
        write_nights(journal, 30)
        before = everything(journal.directory)
        assert journal.check(SOON) is None
        assert everything(journal.directory) == before

    def test_it_is_whole_while_somebody_writes(self, journal):
        """A check reads one state of the file, whatever is written meanwhile."""
        write_nights(journal, 30)
        journal.append(event(reading(9)))
        with contextlib.closing(sqlite3.connect(journal.path, isolation_level=None)) as other:
            other.execute("BEGIN IMMEDIATE")
            other.execute("DELETE FROM event")
            assert journal.check(SOON) is None

    def test_what_the_keeper_could_not_read_is_not_in_force_afterwards(self, journal):
        """An override in a file that nobody could read at the start would never end: no keeper holds it."""
        write(journal, event(reading()), overridden("jetty", reading(5)))
        journal.close()
        with contextlib.closing(sqlite3.connect(journal.path)) as connection:
            connection.execute("DROP TABLE load")
            connection.commit()
        again = Journal(journal.directory)
        assert again.previous_run() is None
        again.append(lit("jetty", reading(9)))
        with pytest.raises(JournalDamagedError):
            again.flush(SOON)
        assert again.check(SOON) is not None
        again.flush(SOON)
        again.close()
        assert not [each for each in JournalReader(journal.directory).overrides() if not each.ended]

    @pytest.mark.parametrize(
        ("what", "statement"),
        [
            ("a cause that is none", "UPDATE reason SET cause = 'moonlight'"),
            ("an event that is none", "UPDATE event SET kind = 'rain'"),
            ("text that is no text", "UPDATE zone SET name = CAST(x'ff41' AS TEXT) WHERE name = 'jetty'"),
            ("a zone that is not there", "DELETE FROM zone WHERE name = 'steps'"),
            ("no such boot", "UPDATE switching SET boot = 77 WHERE id = 3"),
            ("a date that is none", "UPDATE replacement SET on_date = '2027-02-30'"),
        ],
    )
    def test_values_that_nobody_wrote_are_damage(self, journal, what, statement):
        """Pages may be whole and hold nonsense: that is found, too, and a keeper that asks is not misled."""
        write_nights(journal, 3)
        write(journal, event(reading()))
        journal.close()
        with contextlib.closing(sqlite3.connect(journal.path)) as connection:
            connection.execute(
                "INSERT INTO replacement (at_ms, boot_ms, boot, trusted, zone, part, on_date, note) "
                "VALUES (0, 0, 1, 1, 1, 'path', '2027-06-01', '')"
            )
            connection.commit()
            assert find_damage(journal.path) is None
            connection.execute(statement)
            connection.commit()
        assert journal.check(SOON) is not None
        assert journal.check(SOON) is None

    def test_an_index_that_disagrees_with_its_table_is_damage(self, journal):
        """Answers come from the indexes, so an index that misses a row is found."""
        write_nights(journal, 3)
        journal.close()
        with contextlib.closing(sqlite3.connect(journal.path)) as connection:
            (page,) = connection.execute(
                "SELECT rootpage FROM sqlite_master WHERE name = 'switching_by_instant'"
            ).fetchone()
            connection.execute("PRAGMA writable_schema = ON")
            connection.execute("DELETE FROM sqlite_master WHERE name = 'switching_by_instant'")
            connection.commit()
        with contextlib.closing(sqlite3.connect(journal.path)) as connection:
            connection.execute("DELETE FROM switching WHERE id = 1")
            connection.execute("PRAGMA writable_schema = ON")
            connection.execute(
                "INSERT INTO sqlite_master VALUES ('index', 'switching_by_instant', 'switching', ?, "
                "'CREATE INDEX switching_by_instant ON switching (at_ms)')",
                (page,),
            )
            connection.commit()
        with contextlib.closing(sqlite3.connect(journal.path)) as connection:
            assert connection.execute("PRAGMA quick_check").fetchone() == ("ok",)
        assert "switching_by_instant" in journal.check(SOON).damage

    @pytest.mark.parametrize("seed", range(40))
    def test_whatever_bytes_are_spoilt_the_journal_goes_on(self, journal, seed):
        """Random damage anywhere is either found and set aside, or harms no answer and no write."""
        dice = random.Random(seed)
        write_nights(journal, 25)
        write(
            journal,
            event(reading()),
            overridden("jetty", reading(1)),
            lit("jetty", reading(9e6)),
            heartbeat(reading(9e6)),
        )
        journal.close()
        content = bytearray(journal.path.read_bytes())
        for _ in range(dice.choice([1, 4, 40])):
            content[dice.randrange(len(content))] ^= dice.randrange(1, 256)
        journal.path.write_bytes(bytes(content))
        for ask in (journal.open, lambda: read_previous_run(journal.path)):
            with contextlib.suppress(JournalError):
                ask()
        journal.append(lit("path", reading(9e6 + 1)))
        with contextlib.suppress(JournalError):
            journal.flush()
        journal.check(SOON)
        journal.append(dark("path", reading(9e6 + 61)))
        journal.flush()
        assert journal.fault is None
        (run,) = [run for run in JournalReader(journal.directory).runs() if run.zone == "path"]
        assert run.lit_s == 60.0
        everything(journal.directory)

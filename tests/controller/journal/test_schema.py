"""The tables of the journal: their rules, their version, and the way from one version to the next."""

from __future__ import annotations

import contextlib
import sqlite3
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from config.errors import JournalDamagedError, JournalError
from controller.journal.database import empty_journal, find_damage, open_to_read, open_to_write
from controller.journal.journal import Journal
from controller.journal.reader import JournalReader
from controller.journal.schema import STEPS
from controller.records.entries import Cause, EventKind
from tests.controller.journal_samples import dark, reading

SECOND = ("ALTER TABLE zone ADD COLUMN colour TEXT", "CREATE TABLE visit (id INTEGER PRIMARY KEY) STRICT")
THIRD = ("UPDATE zone SET colour = 'amber'",)
# A dump of a journal as version 1 wrote it. It never changes: journals like it lie on cards in gardens.
VERSION_1 = Path(__file__).parent / "journal_v1.sql"
# A longer one of the same version: three nights with a power cut, a stop, and lamps that were replaced.
OF_0_1_0 = VERSION_1.with_name("journal_of_0_1_0.sql")


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "journal.sqlite"


@pytest.fixture
def of_version_1(path: Path) -> Path:
    with contextlib.closing(sqlite3.connect(path)) as connection:
        connection.executescript(VERSION_1.read_text(encoding="utf-8"))
    return path


def version(path: Path) -> int:
    with contextlib.closing(sqlite3.connect(path)) as connection:
        return connection.execute("PRAGMA user_version").fetchone()[0]


class TestVersions:
    def test_a_journal_of_version_1_is_read_and_written(self, of_version_1):
        """What version 1 wrote is answered by today's code, and more can be written to it."""
        journal = Journal(of_version_1.parent)
        journal.append(dark("steps", reading(9000)))
        journal.flush()
        assert journal.check(reading(9001)) is None
        journal.close()
        reader = JournalReader(of_version_1)
        runs = [(run.zone, run.lit_s, run.ended_by) for run in reader.runs()]
        assert runs == [("jetty", 3600.0, Cause.PROGRAM), ("steps", 7200.0, Cause.PROGRAM)]
        assert [entry.kind for entry in reader.events()] == [EventKind.STARTED]
        assert [(past.override.lasts_s, past.ended.words) for past in reader.overrides()] == [
            (1800.0, "its time was over")
        ]
        (lamps,) = reader.replacements()
        assert (lamps.id, lamps.note) == ("jetty.1.2027-06-01", "two of six")
        assert lamps.at.utc == datetime(2027, 6, 21, 22, 43, 20, tzinfo=UTC)

    def test_a_journal_of_0_1_0_loses_nothing(self, path):
        """What a garden has had since version 0.1.0 is all there; a replacement recorded twice is one."""
        with contextlib.closing(sqlite3.connect(path)) as connection:
            connection.executescript(OF_0_1_0.read_text(encoding="utf-8"))
            tables = ("switching", "event", "override", "account", "beat", "load", "reason", "zone")
            before = {name: connection.execute(f"SELECT * FROM {name}").fetchall() for name in tables}
        open_to_write(path).close()
        assert find_damage(path) is None
        with contextlib.closing(sqlite3.connect(path)) as connection:
            after = {name: connection.execute(f"SELECT * FROM {name}").fetchall() for name in tables}
            # Each boot is told when it began: the last trusted sign of life less the time since.
            boots = connection.execute("SELECT id, boot_id, trusted, began_ms FROM boot").fetchall()
        assert after == before
        assert boots == [(1, "boot-1", 1, 1813579200000), (2, "boot-2", 1, 1813702200000)]
        found = [(each.id, each.note) for each in JournalReader(path).replacements()]
        assert found == [
            ("front-path.2.2027-06-01", ""),
            ("front-path.1.2027-06-22", "warm white,two of four"),
        ]

    def test_runs_that_version_1_put_elsewhere_come_back_to_their_nights(self, of_version_1):
        """Put out in 1970 after a trusted beginning, or lit and put out by a clock that was right later."""
        row = "INSERT INTO switching VALUES({})"
        with contextlib.closing(sqlite3.connect(of_version_1)) as connection:
            for values in (
                "4,1813618000000,5000000,1,1,1,1,1,1,NULL,NULL,NULL",
                "5,1000,12200000,1,0,1,0,2,1,4,-7199000,7200000",
                "6,2000000,14000000,1,0,2,1,1,1,NULL,NULL,NULL",
                "7,3000000,15000000,1,0,2,0,2,1,6,2000000,1000000",
            ):
                connection.execute(row.format(values))
            connection.execute("UPDATE beat SET at_ms = 1813620000000, boot_ms = 7000000")
            connection.commit()
        open_to_write(of_version_1).close()
        began = {1: 1813614060, 2: 1813618000, 3: 1813620000 - 7000 + 14000}
        night = datetime.fromtimestamp(1813614060, UTC) - timedelta(hours=8)
        runs = list(JournalReader(of_version_1).runs(night, night + timedelta(days=1)))
        ended = [(run.on_utc.timestamp(), run.lit_s) for run in runs if run.off_utc is not None]
        assert ended == [(began[1], 3600.0), (began[2], 7200.0), (began[3], 1000.0)]
        assert len(list(JournalReader(of_version_1).runs())) == len(runs)

    def test_version_1_is_still_what_it_was(self, of_version_1, monkeypatch):
        """The first step makes the very tables of the dump: a released step is never changed."""
        monkeypatch.setattr("controller.journal.database.STEPS", STEPS[:1])
        select = "SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL ORDER BY name"
        with (
            contextlib.closing(sqlite3.connect(of_version_1)) as old,
            contextlib.closing(empty_journal()) as now,
        ):
            assert now.execute(select).fetchall() == old.execute(select).fetchall()

    def test_an_older_journal_takes_every_step_that_it_lacks(self, of_version_1, monkeypatch):
        """From version 1 to 3: each step once, in order, and the rows stay."""
        monkeypatch.setattr("controller.journal.database.STEPS", (*STEPS[:1], SECOND, THIRD))
        connection = open_to_write(of_version_1)
        assert connection.execute("SELECT name, colour FROM zone ORDER BY id").fetchall() == [
            ("jetty", "amber"),
            ("steps", "amber"),
        ]
        assert connection.execute("SELECT count(*) FROM switching").fetchone() == (3,)
        connection.close()
        assert version(of_version_1) == 3
        open_to_write(of_version_1).close()
        assert version(of_version_1) == 3

    def test_a_step_that_fails_changes_nothing(self, of_version_1, monkeypatch):
        """All steps go together or not at all, so that the older program can still use the file."""
        before = of_version_1.read_bytes()
        broken = (*STEPS[:1], SECOND, ("INSERT INTO nowhere VALUES (1)",))
        with monkeypatch.context() as patch:
            patch.setattr("controller.journal.database.STEPS", broken)
            with pytest.raises(JournalError, match="from version 1 to 3") as refusal:
                open_to_write(of_version_1)
        # No damage: or a good journal would be set aside for our mistake.
        assert not isinstance(refusal.value, JournalDamagedError)
        assert version(of_version_1) == 1
        assert find_damage(of_version_1) is None
        monkeypatch.setattr("controller.journal.database.STEPS", STEPS[:1])
        assert len(list(JournalReader(of_version_1).switchings())) == 3
        # Nothing but the mark of the write-ahead log, at offsets 18 and 19 by SQLite's file format, and the
        # counters of changes that go with it.
        after = of_version_1.read_bytes()
        differ = {place for place, (one, other) in enumerate(zip(before, after, strict=True)) if one != other}
        assert differ <= {18, 19, *range(24, 28), *range(92, 100)}

    def test_a_reader_does_not_bring_up_to_date(self, of_version_1, monkeypatch):
        """An older journal is left to the keeper, and the message says so."""
        monkeypatch.setattr("controller.journal.database.STEPS", (*STEPS, SECOND))
        before = of_version_1.read_bytes()
        with pytest.raises(JournalError, match="version 1"), open_to_read(of_version_1):
            pass
        with open_to_read(of_version_1, any_version=True):
            pass
        assert of_version_1.read_bytes() == before

    def test_a_version_that_cannot_be_is_damage(self, of_version_1):
        """A version of thousands was never released, and one of nothing has no tables."""
        for nonsense in (0, -5, 4711):
            with contextlib.closing(sqlite3.connect(of_version_1)) as connection:
                connection.execute(f"PRAGMA user_version = {nonsense}")
            with pytest.raises(JournalDamagedError):
                open_to_write(of_version_1)


class TestRules:
    @pytest.mark.parametrize(
        "statement",
        [
            "INSERT INTO zone (name) VALUES ('')",
            "INSERT INTO zone (name) VALUES ('jetty')",
            "INSERT INTO load (watts, origin) VALUES (-1, 'rated')",
            "INSERT INTO load (watts, origin) VALUES (27, 'fixtures')",
            "UPDATE switching SET lit = 2",
            "UPDATE switching SET trusted = NULL",
            "UPDATE switching SET zone = 99",
            "UPDATE switching SET at_ms = 'yesterday'",
            "UPDATE switching SET at_ms = 300000000000000 WHERE lit = 1",
            "UPDATE switching SET boot_ms = -1",
            "UPDATE switching SET lit_ms = -1 WHERE lit = 0",
            "UPDATE switching SET lit_ms = NULL WHERE lit = 0",
            "UPDATE switching SET lit = 1",
            "UPDATE switching SET lit_from_ms = at_ms + 1 WHERE lit = 0",
            "UPDATE override SET ended_words = NULL",
            "UPDATE replacement SET part = ''",
            "UPDATE replacement SET undone_at_ms = 0",
        ],
    )
    def test_the_tables_refuse_what_makes_no_sense(self, of_version_1, statement):
        """Rules stand in the file itself, so that no other program can break them by mistake."""
        connection = open_to_write(of_version_1)
        with contextlib.closing(connection), pytest.raises(sqlite3.IntegrityError):
            connection.execute(statement)

    def test_one_override_a_zone_is_in_force(self, of_version_1):
        """The file itself holds at most one override in force for each zone."""
        columns = "at_ms, boot_ms, boot, trusted, zone, lit, by"
        insert = f"INSERT INTO override ({columns}) VALUES (0, 0, 1, 1, 1, 1, 'api')"
        connection = open_to_write(of_version_1)
        with contextlib.closing(connection):
            connection.execute(insert)
            with pytest.raises(sqlite3.IntegrityError):
                connection.execute(insert)

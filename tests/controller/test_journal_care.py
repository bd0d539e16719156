"""Care for the journal's file: finding damage, beginning afresh, copies, and putting a copy back."""

from __future__ import annotations

import contextlib
import random
import shutil
import sqlite3
import threading
from datetime import date, timedelta
from pathlib import Path

import pytest

from config.errors import JournalError
from controller import journal_care
from controller.entries import Cause, OverrideEnded
from controller.journal import Journal
from controller.journal_damage import find_damage
from controller.journal_reading import JournalReader
from controller.journal_schema import STEPS
from tests.controller.journal_samples import beat, dark, event, lit, reading, wish

NIGHT = date(2027, 6, 21)
SOON = reading(5000)


@pytest.fixture
def journal(tmp_path: Path):
    journal = Journal(tmp_path / "state")
    yield journal
    journal.close()


def keep(journal: Journal, *entries: object) -> None:
    for entry in entries:
        journal.append(entry)
    journal.flush()


def a_year(journal: Journal, nights: int = 365) -> None:
    for night in range(nights):
        for zone in ("jetty", "steps"):
            journal.append(lit(zone, reading(night * 86400)))
            journal.append(dark(zone, reading(night * 86400 + 7200)))
    journal.flush()


def spoil(path: Path) -> None:
    """Overwrite the second half of a file."""
    content = path.read_bytes()
    path.write_bytes(content[: len(content) // 2] + b"\x5a" * (len(content) - len(content) // 2))


def everything(place: Path) -> tuple[list, ...]:
    reader = JournalReader(place)
    return (
        list(reader.switchings()),
        list(reader.runs()),
        list(reader.events()),
        list(reader.overrides()),
        list(reader.replacements()),
        reader.whole_life(),
    )


class TestCheck:
    def test_a_journal_that_is_whole_is_left_alone(self, journal):
        """A check of a whole journal, or of none, changes nothing."""
        assert journal.check(SOON) is None
        assert not journal.directory.exists()
        a_year(journal, 30)
        before = everything(journal.directory)
        assert journal.check(SOON) is None
        assert everything(journal.directory) == before

    def test_it_is_whole_while_somebody_writes(self, journal):
        """A check reads one state of the file, whatever is written meanwhile."""
        a_year(journal, 30)
        journal.append(event(reading(9)))
        with contextlib.closing(sqlite3.connect(journal.path, isolation_level=None)) as other:
            other.execute("BEGIN IMMEDIATE")
            other.execute("DELETE FROM event")
            assert journal.check(SOON) is None

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
        a_year(journal, 3)
        keep(journal, event(reading()))
        journal.close()
        with contextlib.closing(sqlite3.connect(journal.path)) as connection:
            connection.execute(
                "INSERT INTO replacement (at_ms, boot_ms, boot, trusted, zone, fixture, on_date, note) "
                "VALUES (0, 0, 1, 1, 1, 1, '2027-06-01', '')"
            )
            connection.commit()
            assert find_damage(journal.path) is None
            connection.execute(statement)
            connection.commit()
        assert journal.check(SOON) is not None
        assert journal.check(SOON) is None

    def test_an_index_that_disagrees_with_its_table_is_damage(self, journal):
        """Answers come from the indexes, so an index that misses a row is found."""
        a_year(journal, 3)
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
        a_year(journal, 25)
        keep(journal, event(reading()), wish("jetty", reading(1)), lit("jetty", reading(9e6)), beat(reading(9e6)))
        journal.close()
        content = bytearray(journal.path.read_bytes())
        for _ in range(dice.choice([1, 4, 40])):
            content[dice.randrange(len(content))] ^= dice.randrange(1, 256)
        journal.path.write_bytes(bytes(content))
        for ask in (journal.open, journal.unfinished, journal.overrides_in_force, journal.last_beat):
            with contextlib.suppress(JournalError):
                ask()
        journal.append(lit("path", reading(9e6 + 1)))
        with contextlib.suppress(JournalError):
            journal.flush()
        journal.check(SOON)
        journal.append(dark("path", reading(9e6 + 61)))
        journal.flush()
        assert journal.fault is None
        (run,) = JournalReader(journal.directory).runs(zone="path")
        assert run.lit_s == 60.0
        everything(journal.directory)


class TestBeginAnew:
    def test_the_damaged_file_is_set_aside_whole(self, journal, tmp_path):
        """The file goes, with its log, under a dated name; the words say so."""
        a_year(journal, 30)
        journal.close()
        keep(journal, event(reading()))
        # As after a crash: the file with a log that nobody folded in.
        crashed = Journal(shutil.copytree(journal.directory, tmp_path / "crashed"))
        spoil(crashed.path)
        names = ("journal.sqlite", "journal.sqlite-wal")
        before = [(crashed.directory / name).read_bytes() for name in names]
        done = crashed.check(SOON)
        crashed.close()
        assert done.path == crashed.directory / "set-aside-20270621T230320Z.sqlite"
        after = [done.path.with_name(name.replace("journal", done.path.stem)).read_bytes() for name in names]
        assert after == before
        assert "set-aside-20270621T230320Z.sqlite" in str(done)
        assert "no good copy" in str(done)

    def test_a_fresh_one_is_begun_from_the_newest_copy(self, journal):
        """What the copy holds is there, and so is what waited; only what came between is lost."""
        a_year(journal, 30)
        copy = journal.back_up(NIGHT)
        keep(journal, event(reading(3e6), "after the copy"))
        journal.close()
        spoil(journal.path)
        journal.append(event(reading(3e6 + 1), "while it was damaged"))
        done = journal.check(SOON)
        assert done.begun_from == copy
        journal.flush()
        reader = JournalReader(journal.directory)
        assert [entry.words for entry in reader.events()] == ["while it was damaged"]
        assert len(list(reader.runs())) == 60

    def test_a_copy_that_is_damaged_itself_is_passed_over(self, journal):
        """The newest copy that is whole is taken, however many newer ones are not."""
        a_year(journal, 30)
        good = journal.back_up(NIGHT)
        for later in (1, 2, 3):
            bad = journal.back_up(NIGHT + timedelta(days=later))
            if later == 1:
                spoil(bad)
            else:
                bad.write_bytes(b"" if later == 2 else b"no journal at all" * 100)
        journal.close()
        spoil(journal.path)
        assert journal.check(SOON).begun_from == good

    @pytest.mark.parametrize("leave", ["nothing", "an empty file"])
    def test_a_journal_that_is_gone_is_begun_from_its_copy(self, journal, leave):
        """A file that vanished, or was cut to nothing, does not silently begin empty where copies exist."""
        a_year(journal, 3)
        journal.back_up(NIGHT)
        journal.close()
        journal.path.unlink()
        if leave == "an empty file":
            journal.path.touch()
        with pytest.raises(JournalError, match="gone"):
            journal.open()
        assert journal.damaged
        done = journal.check(SOON)
        assert done.begun_from is not None
        assert len(list(JournalReader(journal.directory).runs())) == 6

    def test_what_is_in_force_is_carried_over(self, journal):
        """The fresh journal knows what is lit and overridden now, and ends what the copy thought was."""
        keep(
            journal,
            lit("since before", reading()),
            lit("put out later", reading(1)),
            wish("since before", reading()),
            wish("lifted later", reading(1)),
        )
        journal.back_up(NIGHT)
        keep(
            journal,
            dark("put out later", reading(100)),
            OverrideEnded(zone="lifted later", at=reading(100), words="lifted by api"),
            lit("lit later", reading(101)),
            wish("placed later", reading(102)),
        )
        spoil_open(journal)
        assert journal.check(reading(200)).begun_from is not None
        keep(journal, dark("since before", reading(300)), dark("lit later", reading(301)))
        runs = {run.zone: run for run in JournalReader(journal.directory).runs()}
        assert runs["since before"].lit_s == 300.0
        assert runs["lit later"].lit_s == 200.0
        assert (runs["put out later"].lit_s, runs["put out later"].ended_by) == (0.0, Cause.STOPPED)
        assert {override.zone for override in journal.overrides_in_force()} == {"since before", "placed later"}
        assert journal.unfinished() == []
        assert len(list(JournalReader(journal.directory).overrides(zone="since before"))) == 1

    def test_an_open_journal_that_is_damaged_is_begun_anew(self, journal):
        """Damage that shows while the keeper writes is told by the fault, and mended by check."""
        a_year(journal, 60)
        spoil_open(journal)
        journal.append(event(reading()))
        with pytest.raises(JournalError):
            journal.flush()
        assert journal.damaged
        journal.check(SOON)
        assert journal.flush() == 2
        assert not journal.damaged

    def test_only_some_are_kept_aside(self, journal):
        """The five newest damaged files are kept; the disk does not fill with them."""
        for number in range(8):
            keep(journal, event(reading()))
            journal.close()
            spoil(journal.path)
            journal.check(reading(number * 3600))
        aside = sorted(path.name for path in journal.directory.glob("set-aside-*.sqlite"))
        assert aside == [f"set-aside-202706{day}Z.sqlite" for day in
                         ("22T004000", "22T014000", "22T024000", "22T034000", "22T044000")]

    def test_two_in_one_second_do_not_meet(self, journal):
        """A name that is taken gets a number."""
        names = []
        for _ in range(2):
            keep(journal, event(reading()))
            journal.close()
            spoil(journal.path)
            names.append(journal.check(SOON).path.name)
        assert names == ["set-aside-20270621T230320Z.sqlite", "set-aside-20270621T230320Z-2.sqlite"]


def spoil_open(journal: Journal) -> None:
    """Damage the file of a journal that stays open: first all of it into the file, then zeros over its pages."""
    journal._connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    size = journal.path.stat().st_size
    with journal.path.open("r+b") as file:
        file.seek(1024)
        file.write(bytes(size - 1024))
    # SQLite looks at a page again only where another connection has changed the file.
    journal._shut()


class TestCopies:
    def test_a_copy_is_a_whole_journal_in_one_file(self, journal, tmp_path):
        """A copy made while the journal is open answers like the journal itself."""
        a_year(journal, 30)
        keep(journal, wish("jetty", reading()), lit("jetty", reading(3e6)))
        journal.copy_to(tmp_path / "copy.sqlite")
        assert sorted(path.name for path in tmp_path.iterdir()) == ["copy.sqlite", "state"]
        assert everything(tmp_path / "copy.sqlite") == everything(journal.directory)

    def test_a_copy_is_consistent_while_the_keeper_writes(self, journal, tmp_path):
        """Whatever is written meanwhile, a copy holds whole transactions only: pairs of both zones."""
        stop = threading.Event()
        a_year(journal, 200)

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
                journal.copy_to(copy)
                assert find_damage(copy) is None
                lit_s = {life.zone: life.lit_s for life in JournalReader(copy).whole_life()}
                assert lit_s["jetty"] == lit_s["steps"]
                counts.append(len(list(JournalReader(copy).runs())))
        finally:
            stop.set()
            writer.join()
        assert counts == sorted(counts)
        assert all(count % 2 == 0 for count in counts)

    def test_a_copy_does_not_replace_a_file(self, journal, tmp_path):
        """A file that exists is not overwritten, and one in a folder that does not leaves nothing behind."""
        keep(journal, event(reading()))
        (tmp_path / "mine").write_text("mine")
        with pytest.raises(JournalError, match="exists already"):
            journal.copy_to(tmp_path / "mine")
        assert (tmp_path / "mine").read_text() == "mine"
        with pytest.raises(JournalError, match="was not made"):
            journal.copy_to(tmp_path / "nowhere" / "copy")

    def test_a_copy_of_nothing_is_refused(self, journal, tmp_path):
        """Where there is no journal there is no copy, and the words say so."""
        with pytest.raises(JournalError, match="there is no journal"):
            journal.copy_to(tmp_path / "copy")

    def test_nightly_copies_are_named_by_their_night_and_the_oldest_go(self, journal):
        """Fourteen are kept."""
        keep(journal, event(reading()))
        for number in range(16):
            assert journal.back_up(NIGHT + timedelta(days=number)) is not None
        names = sorted(path.name for path in (journal.directory / "backups").iterdir())
        assert names == [f"journal-{NIGHT + timedelta(days=number)}.sqlite" for number in range(2, 16)]

    def test_a_night_is_copied_once(self, journal):
        """A second call for the same night makes nothing."""
        keep(journal, event(reading()))
        assert journal.back_up(NIGHT) == journal.directory / "backups" / "journal-2027-06-21.sqlite"
        assert journal.back_up(NIGHT) is None

    def test_a_large_journal_is_copied_less_often(self, journal, monkeypatch):
        """So that copies cost the card no more on average, whatever the journal's size."""
        a_year(journal, 100)
        journal.close()
        monkeypatch.setattr(journal_care, "COPIED_BYTES_PER_NIGHT", journal.path.stat().st_size // 3)
        made = [number for number in range(13) if journal.back_up(NIGHT + timedelta(days=number))]
        assert made == [0, 4, 8, 12]

    def test_a_copy_that_fails_leaves_the_earlier_ones(self, journal):
        """Without room for a new copy the old ones stand, and no half of a new one is left."""
        a_year(journal, 30)
        journal.back_up(NIGHT)
        journal.close()
        spoil(journal.path)
        with pytest.raises(JournalError):
            journal.back_up(NIGHT + timedelta(days=1))
        assert journal.damaged
        assert [path.name for path in (journal.directory / "backups").iterdir()] == ["journal-2027-06-21.sqlite"]

    def test_a_copy_of_an_older_version_is_taken_too(self, journal, monkeypatch):
        """After an update the last copy is of the version before; it is brought up to date."""
        a_year(journal, 3)
        journal.back_up(NIGHT)
        journal.close()
        newer = (*STEPS, ("ALTER TABLE zone ADD COLUMN colour TEXT",))
        monkeypatch.setattr("controller.journal_file.STEPS", newer)
        monkeypatch.setattr("controller.journal_damage.STEPS", newer)
        monkeypatch.setattr("controller.journal_file.open_to_write.__kwdefaults__", {"steps": newer, "fresh": False})
        monkeypatch.setattr("controller.journal_file.version_of.__kwdefaults__", {"newest": len(newer)})
        spoil(journal.path)
        assert journal.check(SOON).begun_from is not None
        assert journal._connection.execute("SELECT count(colour), count(*) FROM zone").fetchone() == (0, 2)


class TestPutBack:
    @pytest.fixture
    def two_states(self, journal, tmp_path):
        """A copy with one event, and a journal that has a second one, still in its log."""
        keep(journal, event(reading(), "before"))
        copy = tmp_path / "copy.sqlite"
        journal.copy_to(copy)
        keep(journal, event(reading(1), "after"))
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
        keep(restored, event(reading(2), "restored"))
        assert [entry.words for entry in JournalReader(state).events()] == ["before", "restored"]
        restored.close()
        assert [entry.words for entry in JournalReader(away / "journal.sqlite").events()] == ["before", "after"]

    def test_by_put_back(self, two_states):
        """The copy is in place, and the journal that was there is set aside whole."""
        copy, state = two_states
        aside = journal_care.put_back(copy, state / "journal.sqlite", SOON.utc)
        assert [entry.words for entry in JournalReader(state).events()] == ["before"]
        assert [entry.words for entry in JournalReader(aside).events()] == ["before", "after"]

    def test_a_damaged_copy_is_not_put_back(self, two_states):
        """The journal stays where the copy is no good, or is not there."""
        copy, state = two_states
        spoil(copy)
        for bad in (copy, copy.with_name("no such copy")):
            with pytest.raises(JournalError, match="is damaged|there is no journal"):
                journal_care.put_back(bad, state / "journal.sqlite", SOON.utc)
        assert [entry.words for entry in JournalReader(state).events()] == ["before", "after"]

    def test_into_an_empty_folder(self, two_states, tmp_path):
        """A copy can begin a new state folder, as on a new card."""
        copy, _ = two_states
        assert journal_care.put_back(copy, tmp_path / "new" / "journal.sqlite", SOON.utc) is None
        assert len(list(JournalReader(tmp_path / "new").events())) == 1

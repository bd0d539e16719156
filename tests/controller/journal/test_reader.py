"""Reading the journal: its questions, and readers beside a writer."""

from __future__ import annotations

import contextlib
import shutil
import sqlite3
import threading
from datetime import date, timedelta

import pytest

from config.errors import JournalError
from controller.journal.backup import copy_to
from controller.journal.database import find_damage
from controller.journal.journal import Journal
from controller.journal.previous_run import read_previous_run
from controller.journal.reader import JournalReader
from controller.records.entries import (
    Event,
    EventKind,
    OverrideEnded,
    Replacement,
)
from tests.controller.journal_samples import (
    DUSK,
    dark,
    event,
    lit,
    overridden,
    reading,
    written_to,
)


class TestQuestions:
    def test_overrides_of_an_interval_are_those_in_force_in_it(self, state):
        """One that was placed before and ended within, or not yet, belongs to the interval."""
        reader = written_to(
            state,
            overridden("jetty", reading(0)),
            overridden("steps", reading(10)),
            OverrideEnded(zone="jetty", at=reading(100), words="its time was over"),
        )

        def found(from_s: float, to_s: float) -> list[str]:
            interval = (DUSK + timedelta(seconds=from_s), DUSK + timedelta(seconds=to_s))
            return [past.override.zone for past in reader.overrides(*interval)]

        assert found(0, 1) == ["jetty"]
        assert found(50, 60) == ["jetty", "steps"]
        assert found(100, 200) == ["steps"]
        assert found(-9, 0) == []
        assert [past.override.zone for past in reader.overrides()] == ["jetty", "steps"]

    def test_events_are_ordered_by_instant(self, state):
        """Those of a zone stand between the others."""
        fault = Event(kind=EventKind.RELAY_FAULT, at=reading(1), words="pin taken", zone="jetty", size_s=None)
        first, last = event(reading(0)), event(reading(2))
        assert list(written_to(state, last, fault, first).events()) == [first, fault, last]

    def test_replacements_are_ordered_by_their_date(self, state):
        """One that was written down late stands where it belongs."""
        late = Replacement(zone="jetty", part="1", on_date=date(2026, 5, 1), at=reading(9))
        early = Replacement(zone="steps", part="relay", on_date=date(2027, 6, 1), at=reading(1), note="both")
        reader = written_to(state, early, late)
        assert list(reader.replacements()) == [late, early]
        assert list(reader.replacements("steps")) == [early]

    def test_an_unknown_zone_has_nothing(self, state):
        """A zone that the journal never heard of has an empty past."""
        reader = written_to(state, lit("jetty", reading()))
        assert list(reader.switchings(zone="nowhere")) == list(reader.replacements("nowhere")) == []

    def test_no_journal_yet(self, state):
        """Where there is none, the message says so, and none is made."""
        with pytest.raises(JournalError, match="there is no journal at"):
            list(JournalReader(state).runs())
        assert not state.exists()


class TestBesideAWriter:
    def test_a_reader_sees_one_state_while_the_writer_goes_on(self, state):
        """A stream that was begun shows the journal as it was then, and delays no write."""
        journal = Journal(state)
        for number in range(2000):
            journal.append((dark if number % 2 else lit)("jetty", reading(number)))
        journal.flush()
        runs = JournalReader(state).runs()
        first = next(runs)
        journal.append(lit("jetty", reading(5000)))
        assert journal.flush() == 1
        assert 1 + len(list(runs)) == 1000
        assert first.on_utc == DUSK
        assert len(list(JournalReader(state).runs())) == 1001
        journal.close()

    def test_many_threads_read_while_one_writes(self, state):
        """Readers in other threads meet no error and no half of a transaction."""
        journal = Journal(state)
        journal.append(event(reading()))
        journal.flush()
        errors: list[Exception] = []
        done = threading.Event()

        def read_on() -> None:
            try:
                while not done.is_set():
                    count = len(list(JournalReader(state).switchings()))
                    assert count % 2 == 0
            except Exception as error:  # noqa: BLE001 - told by the test, not by its thread
                errors.append(error)

        readers = [threading.Thread(target=read_on) for _ in range(3)]
        for thread in readers:
            thread.start()
        for number in range(100):
            journal.append(lit("jetty", reading(number * 10)))
            journal.append(dark("jetty", reading(number * 10 + 5)))
            journal.flush()
        done.set()
        for thread in readers:
            thread.join()
        journal.close()
        assert errors == []

    def test_a_stream_may_be_continued_by_another_thread(self, state):
        """A web server hands a stream from thread to thread; it goes on, and is closed, wherever that is."""
        reader = written_to(state, *(event(reading(number)) for number in range(10)))
        stream = reader.events()
        next(stream)
        found: list[int] = []
        thread = threading.Thread(target=lambda: found.append(len(list(stream))))
        thread.start()
        thread.join()
        assert found == [9]

    def test_a_stream_that_is_given_up_lets_the_file_go(self, state):
        """A reader that stops half way leaves no transaction open, so the log can be folded in."""
        reader = written_to(state, *(event(reading(number)) for number in range(10)))
        stream = reader.events()
        next(stream)
        stream.close()
        with contextlib.closing(sqlite3.connect(reader.path, isolation_level=None)) as connection:
            connection.execute("DELETE FROM event")
            # Not busy: the first of the three numbers is 0, by SQLite's documentation of wal_checkpoint.
            assert connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0] == 0

    def test_a_copy_can_be_read_where_nothing_can_be_written(self, state, tmp_path):
        """A file taken from a stopped board is read without a log or anything else beside it."""
        written_to(state, lit("jetty", reading()), dark("jetty", reading(60)))
        shelf = tmp_path / "shelf"
        shelf.mkdir()
        shutil.copyfile(state / "journal.sqlite", shelf / "of the boathouse.sqlite")
        (shelf / "of the boathouse.sqlite").chmod(0o444)
        shelf.chmod(0o555)
        try:
            (run,) = JournalReader(shelf / "of the boathouse.sqlite").runs()
        finally:
            shelf.chmod(0o755)
        assert run.lit_s == 60.0


class TestFilesBesideIt:
    """What whoever asks leaves behind: another member of the group must not own what Leerie has to write."""

    def test_a_journal_that_nobody_has_open_stays_alone(self, state, tmp_path):
        """Neither a question nor a look for damage nor a backup leaves a log or its index behind."""
        reader = written_to(state, lit("jetty", reading(0)), dark("jetty", reading(60)))
        before = {each.name: each.read_bytes() for each in state.iterdir()}
        assert [run.lit_s for run in reader.runs()] == [60.0]
        assert len(list(reader.switchings())) == 2
        assert read_previous_run(reader.path).last_sign == reading(60)
        assert find_damage(reader.path) is None
        copy_to(reader.path, tmp_path / "copy.sqlite")
        assert [run.lit_s for run in JournalReader(tmp_path / "copy.sqlite").runs()] == [60.0]
        assert {each.name: each.read_bytes() for each in state.iterdir()} == before
        assert [each.name for each in tmp_path.glob("copy*")] == ["copy.sqlite"]

    def test_what_a_kill_left_in_the_log_is_read(self, state, tmp_path):
        """The file alone does not have it yet."""
        journal = Journal(state)
        journal.append(lit("jetty", reading(0)))
        journal.flush()
        killed = tmp_path / "killed"
        shutil.copytree(state, killed)
        journal.close()
        assert (killed / "journal.sqlite-wal").stat().st_size
        (killed / "journal.sqlite-shm").unlink()
        assert [each.zone for each in JournalReader(killed).switchings()] == ["jetty"]

    def test_a_leerie_that_starts_meanwhile_is_noticed(self, state):
        """While it only adds to its log, the answer is right; once it rewrote the file, it is refused."""
        reader = written_to(state, lit("jetty", reading(0)), dark("jetty", reading(60)))
        first, second = reader.switchings(), reader.switchings()
        assert next(first).on
        assert next(second).on
        journal = Journal(state)
        journal.append(lit("jetty", reading(120)))
        journal.flush()
        assert [each.on for each in first] == [False]
        journal.close()  # the last to close it takes the log into the file
        with pytest.raises(JournalError, match="was written while it was read; try again"):
            list(second)
        assert len(list(reader.switchings())) == 3

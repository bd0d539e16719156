"""Maintenance writes the journal, quarantines a damaged one, copies it, reports the previous run."""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing
from datetime import date
from pathlib import Path

import pytest

from config.errors import JournalError
from controller.clock.clock import SteppedClock
from controller.journal.database import JOURNAL_NAME
from controller.journal.journal import Journal
from controller.journal.maintenance import JournalMaintenance
from controller.journal.previous_run import PreviousRun
from controller.journal.reader import JournalReader
from controller.records.entries import EventKind, Override
from tests.controller.journal_samples import DUSK, dark, event, heartbeat, lit, overridden, reading


class Setup:
    """A journal with its maintenance; ``learned`` is what the keeper was given."""

    def __init__(self, state: Path, *, past: PreviousRun | None = None) -> None:
        self.journal = Journal(state)
        self.learned: list[PreviousRun] = []
        self.refuse = 0
        self.times_replaced = 0
        self.maintenance = JournalMaintenance(
            self.journal,
            clock=SteppedClock(DUSK, boot_s=2000),
            past=past,
            learn=self.learn,
            on_replaced=self.note_replaced,
        )

    @property
    def overrides_given(self) -> list[Override]:
        """The overrides that it was given."""
        return [override for past in self.learned for override in past.overrides]

    def note_replaced(self) -> None:
        self.times_replaced += 1

    def learn(self, past: PreviousRun) -> None:
        if self.refuse:
            self.refuse -= 1
            raise TimeoutError("the keeper did not answer")
        self.learned.append(past)


def test_what_waits_is_written(state: Path) -> None:
    """In order, and nothing waits afterwards."""
    setup = Setup(state, past=PreviousRun())
    for entry in (lit("jetty", reading(0)), dark("jetty", reading(60))):
        setup.journal.append(entry)
    setup.maintenance.flush()
    assert [each.on for each in JournalReader(state).switchings()] == [True, False]
    assert setup.journal.waiting == 0


def test_a_disk_that_fails_raises_and_loses_nothing(state: Path) -> None:
    """The state folder is a file: that is a fault; once it is gone, all is written."""
    state.write_text("in the way")
    setup = Setup(state, past=PreviousRun())
    setup.journal.append(lit("jetty", reading(0)))
    with pytest.raises(JournalError):
        setup.maintenance.flush()
    assert setup.journal.waiting == 1
    state.unlink()
    setup.maintenance.flush()
    assert setup.journal.fault is None
    assert len(list(JournalReader(state).switchings())) == 1


def test_it_is_told_once_that_the_folder_can_be_written_again(state: Path) -> None:
    """What else is kept in it may have been missed meanwhile, as the copy of the site file."""
    setup = Setup(state, past=PreviousRun())
    setup.journal.append(dark("jetty", reading(0)))
    setup.maintenance.flush()
    state.rename(state.with_name("away"))
    state.write_text("in the way")
    setup.journal.append(lit("jetty", reading(0)))
    with pytest.raises(JournalError):
        setup.maintenance.flush()
    before = setup.times_replaced
    state.unlink()
    state.with_name("away").rename(state)
    setup.maintenance.flush()
    setup.maintenance.flush()
    assert setup.times_replaced == before + 1


def test_what_an_earlier_keeper_left_is_given_once_it_can_be_read(state: Path) -> None:
    """The disk was not there at the start: the override of before comes back with the disk, once."""
    earlier = Journal(state)
    earlier.append(overridden("jetty", reading(0)))
    earlier.flush()
    earlier.close()
    away = state.rename(state.with_name("unplugged"))
    state.write_text("in the way")
    setup = Setup(state, past=None)
    setup.journal.close_open_runs(reading(20))
    setup.journal.append(heartbeat(reading(30)))
    with pytest.raises(JournalError):
        setup.maintenance.flush()
    assert setup.overrides_given == []
    state.unlink()
    away.rename(state)
    setup.maintenance.flush()
    assert [each.zone for each in setup.overrides_given] == ["jetty"]
    setup.journal.append(heartbeat(reading(60)))
    setup.maintenance.flush()
    assert len(setup.learned) == 1


def test_what_the_keeper_placed_itself_is_not_given_to_it(state: Path) -> None:
    """It may have ended by the time that the journal can be read; only earlier keepers' overrides return."""
    earlier = Journal(state)
    earlier.append(overridden("jetty", reading(0)))
    earlier.append(overridden("path", reading(0)))
    earlier.flush()
    earlier.close()
    setup = Setup(state, past=None)
    setup.journal.close_open_runs(reading(20))
    setup.journal.append(overridden("path", reading(30)))
    setup.journal.append(overridden("steps", reading(30)))
    setup.maintenance.flush()
    assert [(each.zone, each.placed_at) for each in setup.overrides_given] == [("jetty", reading(0))]


def test_a_keeper_that_does_not_answer_is_asked_again(state: Path) -> None:
    """What it could not take is offered at the next write."""
    earlier = Journal(state)
    earlier.append(overridden("jetty", reading(0)))
    earlier.flush()
    earlier.close()
    setup = Setup(state, past=None)
    setup.refuse = 1
    setup.journal.append(event(reading(30)))
    with pytest.raises(TimeoutError):
        setup.maintenance.flush()
    setup.maintenance.flush()
    (past,) = setup.learned
    assert [each.zone for each in past.overrides] == ["jetty"]
    assert past.last_sign == reading(0)


def test_how_an_earlier_keeper_ended_is_not_hidden_by_our_own_entries(state: Path) -> None:
    """It was killed while lit, and the journal was locked at our start: its last sign is given, not ours."""
    earlier = Journal(state)
    for entry in (event(reading(0)), lit("jetty", reading(60))):
        earlier.append(entry)
    earlier.flush()
    earlier.close()
    setup = Setup(state, past=None)
    setup.journal.append(event(reading(900)))
    with closing(sqlite3.connect(state / JOURNAL_NAME, isolation_level=None)) as other:
        other.execute("PRAGMA locking_mode = EXCLUSIVE")
        other.execute("BEGIN EXCLUSIVE")
        with pytest.raises(JournalError):
            setup.maintenance.flush()
    setup.maintenance.flush()
    (past,) = setup.learned
    assert (past.last_sign, past.ended_well) == (reading(60), False)


def test_a_journal_that_had_to_be_replaced_knows_no_earlier_end(state: Path) -> None:
    """What a damaged journal knew is lost; that we are the last keeper in the new one says nothing."""
    state.mkdir()
    (state / JOURNAL_NAME).write_bytes(b"garbage" * 1000)
    setup = Setup(state, past=None)
    setup.journal.append(event(reading(900)))
    setup.maintenance.flush()
    (past,) = setup.learned
    assert past.last_sign is None


def test_a_past_that_was_read_at_the_start_is_not_given_again(state: Path) -> None:
    """The keeper has it already."""
    setup = Setup(state, past=PreviousRun())
    setup.journal.append(overridden("jetty", reading(0)))
    setup.maintenance.flush()
    assert setup.overrides_given == []


@pytest.mark.parametrize("content", [b"garbage" * 1000, b""])
def test_a_journal_that_is_damaged_while_it_runs_is_replaced(state: Path, content: bytes) -> None:
    """Set aside whole, what is in force carried over, what waits written, and recorded in the journal."""
    setup = Setup(state, past=PreviousRun())
    setup.journal.append(lit("jetty", reading(0)))
    setup.maintenance.flush()
    setup.journal.close()
    for name in (JOURNAL_NAME, f"{JOURNAL_NAME}-wal", f"{JOURNAL_NAME}-shm"):
        (state / name).unlink(missing_ok=True)
    (state / JOURNAL_NAME).write_bytes(content)
    setup.journal.append(dark("jetty", reading(600)))
    setup.maintenance.flush()
    setup.maintenance.flush()
    assert [each.on for each in JournalReader(state).switchings()][-1] is False
    if content:
        assert len(list(state.glob("set-aside-*"))) == 1
        kinds = [event.kind for event in JournalReader(state).events()]
        assert kinds.count(EventKind.JOURNAL_SET_ASIDE) == 1


def test_a_check_of_a_whole_journal_says_nothing(state: Path) -> None:
    """Nothing is set aside, nothing is recorded."""
    setup = Setup(state, past=PreviousRun())
    setup.journal.append(lit("jetty", reading(0)))
    setup.maintenance.flush()
    setup.maintenance.check()
    assert setup.journal.waiting == 0
    assert list(state.glob("set-aside-*")) == []


def test_the_copy_of_a_night_is_made_and_can_be_read(state: Path) -> None:
    """A journal of its own, with all that was written."""
    setup = Setup(state, past=PreviousRun())
    setup.journal.append(lit("jetty", reading(0)))
    setup.maintenance.flush()
    setup.maintenance.back_up(date(2027, 6, 21))
    (copy,) = (state / "backups").glob("*.sqlite")
    assert [each.zone for each in JournalReader(copy).switchings()] == ["jetty"]


def test_a_copy_that_cannot_be_made_is_a_line_in_the_log(
    state: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """The next night tries again; nothing raises."""
    setup = Setup(state, past=PreviousRun())
    setup.journal.append(lit("jetty", reading(0)))
    setup.maintenance.flush()
    shutil.rmtree(state / "backups", ignore_errors=True)
    (state / "backups").write_text("in the way")
    setup.maintenance.back_up(date(2027, 6, 21))
    assert "no backup this night" in caplog.text
    assert setup.journal.previous_run() is not None

"""What a keeper that starts learns from the journal, whatever state that is in."""

from __future__ import annotations

import sqlite3
from pathlib import Path
from typing import Any

import pytest

from controller.journal.database import JOURNAL_NAME
from controller.journal.journal import Journal
from controller.journal.previous_run import PreviousRun
from controller.records.entries import Event, EventKind
from tests.controller.journal_samples import dark, heartbeat, lit, overridden, reading


def write(state: Path, *entries: Any) -> None:
    """Write a journal."""
    journal = Journal(state)
    for entry in entries:
        journal.append(entry)
    journal.flush()
    journal.close()


def recorded(kind: EventKind, **more: Any) -> Event:
    """Make an event."""
    return Event(kind=kind, at=reading(more.pop("after_s", 0.0), **more), words="as recorded")


def test_a_new_journal_has_no_past(state: Path) -> None:
    """No file, no folder: nothing in force, nothing lit, nothing to explain; and none is made by asking."""
    assert Journal(state).previous_run() == PreviousRun()
    assert not state.exists()


def test_what_a_keeper_left_behind(state: Path) -> None:
    """Overrides in force, the last sign of life, and that it did not say that it stopped."""
    asked = overridden("jetty", reading(5))
    write(state, recorded(EventKind.STARTED), asked, lit("jetty", reading(5)), heartbeat(reading(300)))
    past = Journal(state).previous_run()
    assert past is not None
    assert past.overrides == (asked,)
    assert past.last_sign == reading(300)
    assert past.ended_well is False
    assert past.last_instant_utc == reading(300).utc
    assert past.trusted_boot_id == "boot-1"


def test_of_two_signs_of_one_moment_the_trusted_one_counts(state: Path) -> None:
    """A lamp was lit in the moment in which the network set the clock: its second reading knows the time."""
    wrong, right = reading(-3600, boot_s=4.0, trusted=False), reading(0, boot_s=4.0)
    set_now = Event(kind=EventKind.CLOCK_STEPPED, at=right, words="the clock was set", size_s=3600)
    write(state, lit("jetty", wrong), set_now, lit("orchard", wrong))
    past = Journal(state).previous_run()
    assert past is not None
    assert past.last_sign == right


def test_a_keeper_that_wrote_on_in_another_journal_has_not_ended_well(state: Path) -> None:
    """A journal that was begun, or taken up again, in mid-run belongs to a keeper that was at work."""
    for kind in (EventKind.JOURNAL_REPLACED, EventKind.JOURNAL_SET_ASIDE):
        write(state, recorded(EventKind.STOPPED), recorded(kind, after_s=9))
        past = Journal(state).previous_run()
        assert past is not None
        assert past.ended_well is False


def test_a_keeper_that_stopped_left_in_good_order(state: Path) -> None:
    """Whatever came after its start, its last word counts."""
    write(
        state,
        recorded(EventKind.STARTED),
        lit("jetty", reading(5)),
        dark("jetty", reading(9)),
        recorded(EventKind.STOPPED, after_s=9),
    )
    past = Journal(state).previous_run()
    assert past is not None
    assert (past.ended_well, past.overrides) == (True, ())


def test_an_instant_that_was_not_trusted_is_no_floor(state: Path) -> None:
    """A clock in 2037 that nobody believed must not keep the right one from being believed."""
    write(
        state,
        recorded(EventKind.STARTED),
        recorded(EventKind.STARTED, after_s=3e8, boot="boot-2", trusted=False),
    )
    past = Journal(state).previous_run()
    assert past is not None
    assert past.last_instant_utc == reading(0).utc
    assert past.trusted_boot_id is None


@pytest.mark.parametrize("content", [b"", b"not a journal at all", b"SQLite format 3\0" + bytes(200)])
def test_a_journal_that_is_damaged_says_nothing_and_stops_nobody(state: Path, content: bytes) -> None:
    """The lights do not wait for it; an empty file is a new journal."""
    state.mkdir()
    (state / JOURNAL_NAME).write_bytes(content)
    past = Journal(state).previous_run()
    assert past == (None if content else PreviousRun())


@pytest.mark.parametrize(
    "error",
    [PermissionError(13, "Permission denied"), sqlite3.OperationalError("disk I/O error"), ValueError("odd")],
)
def test_no_error_of_the_journal_reaches_the_start(
    state: Path, monkeypatch: pytest.MonkeyPatch, error: Exception, caplog: pytest.LogCaptureFixture
) -> None:
    """Whatever asking it raises, even what it should not, goes into the log: the garden is lit without it."""

    def fail(_path: Path) -> None:
        raise error

    monkeypatch.setattr("controller.journal.journal.read_previous_run", fail)
    assert Journal(state).previous_run() is None
    assert "journal:" in caplog.text


def test_a_folder_that_may_not_be_looked_into_stops_nobody(
    state: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Even whether there is a file cannot be asked where the folder is another user's."""

    def refuse(*_args: Any, **_more: Any) -> bool:
        raise PermissionError(13, "Permission denied")

    with monkeypatch.context() as patched:
        patched.setattr(Path, "exists", refuse)
        assert Journal(state).previous_run() is None

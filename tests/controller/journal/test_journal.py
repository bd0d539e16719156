"""The journal as the keeper uses it: entries in, written in order, and what a new keeper asks."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from config.errors import AlreadyRunningError
from controller.journal.journal import Journal
from controller.journal.previous_run import PreviousRun
from controller.journal.reader import JournalReader
from controller.records.entries import Cause, EventKind, OverrideEnded, Replacement
from tests.controller.journal_samples import (
    DUSK,
    dark,
    event,
    heartbeat,
    lit,
    overridden,
    reading,
    unended,
    write,
)


def restart(journal: Journal) -> Journal:
    """End one keeper without a word, and begin another on the same folder."""
    journal.close()
    return Journal(journal.directory)


class TestWriting:
    def test_nothing_is_touched_before_it_must_be(self, journal):
        """Making a journal and appending to it touches no file."""
        journal.append(lit("jetty", reading()))
        assert not journal.directory.exists()
        assert journal.waiting == 1

    def test_flush_writes_all_that_waits_and_forgets_it(self, journal):
        """What was flushed waits no longer, and a second flush writes nothing again."""
        journal.append(lit("jetty", reading()))
        journal.append(dark("jetty", reading(60)))
        assert (journal.waiting, journal.flush(), journal.waiting, journal.flush()) == (2, 2, 0, 0)
        assert len(list(JournalReader(journal.directory).switchings())) == 2

    def test_switchings_come_back_as_they_went_in(self, journal):
        """Every field of a switching is kept."""
        entries = [
            lit("jetty", reading(0.125)),
            lit("steps", reading(1), load_w=None, load_from=""),
            dark("jetty", reading(60, trusted=False), cause=Cause.OVERRIDE, load_w=31.5),
        ]
        write(journal, *entries)
        assert list(JournalReader(journal.directory).switchings()) == entries

    def test_other_entries_come_back_as_they_went_in(self, journal):
        """Events, overrides, their ends and replacements are kept whole."""
        step = event(reading(5), "the clock was set +3600 s", EventKind.CLOCK_STEPPED)
        override = overridden("jetty", reading(7))
        ended = OverrideEnded(zone="jetty", at=reading(8), words="lifted by api")
        lamps = Replacement(
            zone="jetty", part="path", on_date=date(2027, 6, 1), at=reading(9), note="three of six"
        )
        write(journal, step, override, ended, lamps)
        reader = JournalReader(journal.directory)
        assert list(reader.events()) == [step]
        assert [(past.override, past.ended) for past in reader.overrides()] == [(override, ended)]
        assert list(reader.replacements("jetty")) == [lamps]
        assert list(reader.replacements("steps")) == []

    def test_an_entry_that_can_never_be_written_delays_no_other(self, journal):
        """One entry that the tables refuse is dropped and counted; those around it are written."""
        write(
            journal,
            lit("jetty", reading()),
            lit("", reading(1)),
            "no entry at all",
            dark("jetty", reading(60)),
        )
        assert (journal.waiting, journal.lost, journal.fault) == (0, 2, None)
        assert [switching.on for switching in JournalReader(journal.directory).switchings()] == [True, False]

    def test_only_heartbeats_may_ride_with_the_next_write_back(self, journal):
        """A commit waits for the disk, unless there is nothing but beats in it."""
        write(journal, event(reading()))
        statements: list[str] = []
        journal._connection.set_trace_callback(statements.append)
        modes = []
        for entries in (
            [heartbeat(reading(1))],
            [heartbeat(reading(2)), lit("jetty", reading(2))],
            [overridden("a", reading(3))],
        ):
            write(journal, *entries)
            modes.append(journal._connection.execute("PRAGMA synchronous").fetchone()[0])
        # 1 is NORMAL and 2 is FULL, by SQLite's documentation of PRAGMA synchronous.
        assert modes == [1, 2, 2]
        assert statements.count("COMMIT") == 3
        assert journal._connection.execute("PRAGMA journal_mode").fetchone() == ("wal",)


class TestRuns:
    def test_a_run_is_measured_on_the_boot_time_clock(self, journal):
        """A step of the wall clock adds no run hours and takes none."""
        write(journal, lit("jetty", reading()), dark("jetty", reading(5400, boot_s=1000 + 1800)))
        (run,) = JournalReader(journal.directory).runs()
        assert (run.lit_s, run.off_utc) == (1800.0, DUSK + timedelta(seconds=5400))

    def test_a_run_over_two_boots_is_measured_by_the_wall_clock(self, journal):
        """Where the two ends have no boot in common, the wall clock is all there is."""
        write(journal, lit("jetty", reading()), dark("jetty", reading(5400, boot="boot-2", boot_s=3)))
        (run,) = JournalReader(journal.directory).runs()
        assert run.lit_s == 5400.0

    def test_a_run_that_nobody_ended_is_ended_before_the_next(self, journal):
        """An "on" after an "on" ends the earlier run at the last sign of life of its boot."""
        write(
            journal,
            lit("jetty", reading()),
            heartbeat(reading(270)),
            lit("jetty", reading(9000, boot="boot-2", boot_s=10)),
        )
        ended, begun = JournalReader(journal.directory).runs()
        assert (ended.lit_s, ended.ended_by) == (270.0, Cause.POWER_LOST)
        assert (begun.on_utc, begun.off_utc) == (DUSK + timedelta(seconds=9000), None)

    def test_an_off_without_an_on_makes_no_run(self, journal):
        """A zone that was dark and is put out is written down, and is no run."""
        write(journal, dark("jetty", reading()))
        reader = JournalReader(journal.directory)
        assert (len(list(reader.switchings())), list(reader.runs())) == (1, [])


class TestStart:
    def test_a_new_journal_answers_with_nothing(self, journal):
        """Where there is no journal yet, nothing was in force."""
        assert journal.previous_run() == PreviousRun()
        assert not journal.directory.exists()

    def test_overrides_in_force_outlive_the_keeper(self, journal):
        """Those ended or replaced are gone; the others come back whole, at most one a zone."""
        earlier, later, other = (
            overridden("jetty", reading()),
            overridden("jetty", reading(9), on=False),
            overridden("a", reading(3)),
        )
        write(journal, earlier, other, later, overridden("b", reading(4)))
        write(journal, OverrideEnded(zone="b", at=reading(5), words="its time was over"))
        assert restart(journal).previous_run().overrides == (other, later)

    def test_the_end_of_an_override_that_the_journal_never_knew_is_passed_over(self, journal):
        """An end without a beginning, as after a fresh journal, is no fault."""
        write(journal, OverrideEnded(zone="jetty", at=reading(), words="its time was over"))
        assert (journal.lost, list(JournalReader(journal.directory).overrides())) == (0, [])

    def test_what_was_lit_and_not_put_out_is_found(self, journal):
        """The switchings that lit what is lit come back, oldest first."""
        steps, jetty = lit("steps", reading(1)), lit("jetty", reading(2))
        write(journal, lit("path", reading()), steps, jetty, dark("path", reading(3)))
        assert unended(restart(journal)) == [steps, jetty]

    def test_a_power_cut_ends_runs_at_the_last_beat(self, journal):
        """Unfinished runs of an earlier boot end at its last sign of life, with the cause "power lost"."""
        write(
            journal,
            lit("jetty", reading()),
            lit("steps", reading(2)),
            heartbeat(reading(270)),
            heartbeat(reading(540)),
        )
        after = restart(journal)
        assert after.previous_run().last_sign == reading(540)
        after.close_open_runs(reading(7200, boot="boot-2", boot_s=30))
        write(after, event(reading(7200, boot="boot-2", boot_s=30)))
        runs = list(JournalReader(journal.directory).runs())
        assert [(run.lit_s, run.ended_by) for run in runs] == [
            (540.0, Cause.POWER_LOST),
            (538.0, Cause.POWER_LOST),
        ]
        assert unended(after) == []
        after.close()

    def test_a_process_that_died_is_no_power_cut(self, journal):
        """In the boot that goes on, unfinished runs end with the cause "stopped"."""
        write(journal, lit("jetty", reading()), event(reading(100)))
        after = restart(journal)
        after.close_open_runs(reading(400))
        write(after, event(reading(400)), heartbeat(reading(400)), lit("jetty", reading(401)))
        ended, _ = JournalReader(journal.directory).runs()
        assert (ended.lit_s, ended.ended_by, ended.off_utc) == (100.0, Cause.STOPPED, reading(100).utc)
        after.close()

    def test_a_cut_before_the_first_beat_ends_the_run_where_it_began(self, journal):
        """Without any later sign of life a run has no length, and still is a start."""
        write(journal, lit("jetty", reading()))
        after = restart(journal)
        after.close_open_runs(reading(7200, boot="boot-2", boot_s=30))
        after.flush()
        (run,) = JournalReader(journal.directory).runs()
        assert (run.lit_s, run.on_utc, run.off_utc) == (0.0, DUSK, DUSK)
        assert JournalReader(journal.directory).totals()[0].starts == 1
        after.close()

    def test_the_last_sign_of_life_is_any_entry_of_the_newest_boot(self, journal):
        """A switching after the last heartbeat is a sign of life, even where the clock went back by years."""
        back = reading(-1e8, boot="boot-2", boot_s=40, trusted=False)
        write(journal, heartbeat(reading(300)), lit("jetty", back))
        assert journal.previous_run().last_sign == back

    def test_the_last_instant_is_one_that_a_trusted_clock_gave(self, journal):
        """A clock that runs ahead and is not trusted does not move the floor; every kind of entry may."""
        write(journal, lit("jetty", reading(9e8, trusted=False)), heartbeat(reading(8e8, trusted=False)))
        past = journal.previous_run()
        assert (past.last_instant_utc, past.trusted_boot_id) == (None, None)
        for number, entry in enumerate(
            (
                lambda at: lit("jetty", at),
                event,
                heartbeat,
                lambda at: overridden("jetty", at),
                lambda at: OverrideEnded(zone="jetty", at=at, words="over"),
                lambda at: Replacement(zone="jetty", part="path", on_date=date(2027, 6, 1), at=at),
            )
        ):
            at = reading(number, boot=f"boot {number}")
            write(journal, entry(at), event(reading(100, trusted=False)))
            assert journal.previous_run().last_instant_utc == at.utc

    @pytest.mark.parametrize("ahead_s", [3600.0, 365 * 86_400.0])
    def test_the_last_instant_is_not_that_of_a_clock_that_ran_ahead(self, journal, ahead_s):
        """An hour or a year typed wrong, believed and corrected, is no floor for the boots to come."""
        wrong = [reading(after_s + ahead_s, boot_s=1000 + after_s) for after_s in (10, 20)]
        write(journal, lit("jetty", wrong[0]), heartbeat(wrong[1]), overridden("jetty", wrong[1]))
        assert journal.previous_run().last_instant_utc == wrong[1].utc
        write(journal, event(reading(30)))
        assert journal.previous_run().last_instant_utc == reading(30).utc
        write(journal, event(reading(90, boot="boot-2", boot_s=5.0)))
        assert journal.previous_run().last_instant_utc == reading(90).utc

    def test_the_boot_is_trusted_whose_clock_was_trusted_last(self, journal):
        """Trust that ended, or was never found in the newest boot, is not there for the next keeper."""
        for entry, trusted_boot in (
            (event(reading(boot="boot-1")), "boot-1"),
            (event(reading(5, boot="boot-1", trusted=False)), None),
            (heartbeat(reading(9, boot="boot-1")), "boot-1"),
            (event(reading(99, boot="boot-2", trusted=False)), None),
            (heartbeat(reading(199, boot="boot-2")), "boot-2"),
        ):
            write(journal, entry)
            assert journal.previous_run().trusted_boot_id == trusted_boot

    def test_a_confirmation_counts_until_something_else_is_found_in_its_boot(self, journal):
        """A stop and a start do not end it; the network, a clock that was set, or another boot does."""
        said = reading(10)
        write(journal, event(said, kind=EventKind.CLOCK_CONFIRMED))
        for kind in (EventKind.STOPPED, EventKind.STARTED, EventKind.SITE_CHANGED):
            write(journal, event(reading(20), kind=kind))
            past = journal.previous_run()
            assert (past.confirmed, past.trusted_boot_id) == (said, None)
        for number, (kind, trusted) in enumerate(
            ((EventKind.CLOCK_TRUSTED, True), (EventKind.CLOCK_NOT_TRUSTED, False))
        ):
            again = reading(100 * number + 30)
            write(journal, event(again, kind=EventKind.CLOCK_CONFIRMED))
            assert journal.previous_run().confirmed == again
            write(journal, event(reading(100 * number + 40, trusted=trusted), kind=kind))
            past = journal.previous_run()
            assert (past.confirmed, past.trusted_boot_id) == (None, "boot-1" if trusted else None)
        write(
            journal, event(reading(300), kind=EventKind.CLOCK_CONFIRMED), event(reading(400, boot="boot-2"))
        )
        assert journal.previous_run().confirmed is None


class TestLock:
    def test_a_second_keeper_is_refused(self, journal):
        """Only one journal at a time writes to a folder, and the refusal names the process that does."""
        journal.open()
        second = Journal(journal.directory)
        with pytest.raises(AlreadyRunningError, match=r"process \d+") as refusal:
            second.open()
        assert str(journal.directory) in str(refusal.value)
        second.append(event(reading()))
        with pytest.raises(OSError, match="already runs"):
            second.flush()
        journal.close()
        assert (second.flush(), second.fault) == (1, None)
        second.close()

    def test_readers_need_no_lock(self, journal):
        """A reader answers while the keeper has locked the folder."""
        write(journal, event(reading()))
        assert len(list(JournalReader(journal.directory).events())) == 1

"""The state folder is moved away and back, emptied, removed and replaced while lights are on."""

from __future__ import annotations

import contextlib
import shutil
import sqlite3
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest

from config.errors import JournalError
from controller.journal.database import JOURNAL_NAME, PAGE_BYTES, find_damage
from controller.journal.journal import Journal
from controller.journal.previous_run import read_previous_run
from controller.journal.reader import JournalReader
from controller.records.entries import Cause, EventKind, FixtureIds, Replacement, SiteRecord
from controller.records.reading import Reading
from tests.controller.journal.lost_and_found import (
    NOON,
    Garden,
    assert_true,
    events_of,
    rows_of,
    said,
    said_h,
)
from tests.controller.journal.test_commits import LyingConnection
from tests.controller.journal_samples import reading, write
from tests.sites import site, zone

REPLACED = EventKind.JOURNAL_REPLACED


def replaced_at(garden: Garden) -> Reading:
    """When the journal that is there now was told what is in force."""
    (event,) = [each for each in JournalReader(garden.state).events() if each.kind is REPLACED]
    return event.at


@pytest.fixture
def garden(tmp_path: Path):
    garden = Garden(tmp_path)
    yield garden
    garden.journal.close()


# What may become of the folder, and what is then found.
GONE: dict[str, tuple[Callable[[Garden], None], str]] = {
    "moved away": (Garden.move_away, "the state folder was gone; a new one was begun"),
    "removed": (Garden.remove, "the state folder was gone; a new one was begun"),
    "emptied": (Garden.empty, "the state folder was empty; a new one was begun"),
    "journal deleted": (Garden.delete_journal, "the journal file was empty or gone; a new one was begun"),
}


@pytest.mark.parametrize("what", GONE)
def test_a_fresh_journal_begins_with_what_is_lit_and_overridden(garden: Garden, what: str) -> None:
    """Within a tick a new one is begun: the run goes on from its true beginning, the override is in force."""
    change, words = GONE[what]
    garden.until("20:30")
    garden.keeper.override("orchard", on=True, lasts_s=7200)
    garden.round()
    placed_s = garden.clock.boot_s
    change(garden)
    garden.clock.advance(30)
    garden.round()
    assert events_of(garden.state, REPLACED) == [(words, None)]
    assert [each.placed_at.boot_s for each in Journal(garden.state).previous_run().overrides] == [placed_s]
    garden.until("23:30")
    garden.stop()
    for zone_id in garden.pins:
        assert said(garden.state, zone_id) == garden.truth(zone_id)
    totals = {each.zone: each.lit_s / 3600 for each in JournalReader(garden.state).totals()}
    assert totals == pytest.approx({"jetty": 3.0, "orchard": 2.0})
    assert totals == {zone_id: pytest.approx(said_h(garden.state, zone_id)) for zone_id in garden.pins}


def test_a_fresh_journal_knows_which_boot_is_the_newest(garden: Garden) -> None:
    """An override placed before the board started last is of an earlier boot, and is told so."""
    garden.until("20:30")
    garden.keeper.override("orchard", on=True, ends_at_utc=garden.clock.utc + timedelta(hours=5))
    garden.round()
    garden.cut(off_s=60)
    garden.begin()
    garden.empty()
    garden.until("20:35")
    garden.journal.close()
    before = read_previous_run(garden.state / JOURNAL_NAME)
    assert before.last_sign is not None
    assert before.last_sign.boot_id == garden.clock.boot_id
    garden.begin()
    ends = events_of(garden.state, EventKind.DIED, EventKind.POWER_LOST)
    assert [words for words, _ in ends] == ["Leerie ended without warning and was started again"]


@pytest.mark.parametrize("what", GONE)
def test_a_fresh_journal_knows_each_zones_program(garden: Garden, what: str) -> None:
    """What is planned, and so what may be missed, is known from then on."""
    garden.until("20:30")
    GONE[what][0](garden)
    garden.until("20:31")
    programs = [each for each in JournalReader(garden.state).events() if each.kind is EventKind.PROGRAM]
    assert [(each.zone, each.words) for each in programs] == [
        ("jetty", "20:00 to 23:00"),
        ("orchard", "21:00 to 22:00 and 05:30 to 07:00"),
    ]
    (begun,) = [each for each in JournalReader(garden.state).events() if each.kind is REPLACED]
    assert {each.at for each in programs} == {begun.at}


def test_a_fresh_journal_is_told_all_that_its_account_goes_by(garden: Garden) -> None:
    """What the site is, since when; the ids of its fixtures, for what was replaced; what does not answer."""
    garden.keeper.record_site()
    garden.until("20:30")
    garden.board.trouble[27] = "gone"
    garden.until("21:30")
    (known,) = JournalReader(garden.state).site_records()
    lamps = Replacement(zone="jetty", part="1", on_date=NOON.date(), at=reading())
    write(garden.journal, lamps, FixtureIds(ids={("jetty", 1): "steps"}))
    garden.delete_journal()
    garden.until("21:31")
    reader = JournalReader(garden.state)
    assert list(reader.site_records()) == [known]
    (fault,) = [each for each in reader.events() if each.kind is EventKind.RELAY_FAULT]
    assert (fault.zone, fault.at) == ("orchard", replaced_at(garden))
    # Somebody puts a journal there that knew the fixture by its place only.
    garden.delete_journal()
    write(earlier := Journal(garden.away), lamps)
    earlier.close()
    (garden.away / JOURNAL_NAME).rename(garden.state / JOURNAL_NAME)
    garden.until("21:32")
    assert [each.part for each in reader.replacements()] == ["steps"]


def test_a_fresh_journal_is_told_that_the_clock_is_not_trusted(tmp_path: Path) -> None:
    """Of what follows, nobody knows when it was; and that a relay recovered meanwhile is not forgotten."""
    garden = Garden(tmp_path, trusted=False)
    garden.until("20:30")
    garden.keeper.override("jetty", on=True, lasts_s=7200)
    garden.round()
    garden.remove()
    garden.until("20:31")
    kinds = [each.kind for each in JournalReader(garden.state).events()]
    assert kinds[:2] == [REPLACED, EventKind.CLOCK_NOT_TRUSTED]
    garden.journal.close()


def test_a_relay_that_works_again_and_a_zone_that_is_gone_are_not_told(garden: Garden) -> None:
    """Only what is so now is told: neither a fault that is over nor the program of a removed zone."""
    garden.board.trouble[17] = "gone"
    garden.until("20:30")
    garden.board.trouble.clear()
    garden.until("21:30")
    garden.keeper.change_site(site(zone("jetty", "20:00 to 23:00")), words="the site file was read again")
    garden.until("21:31")
    garden.remove()
    garden.until("21:32")
    events = list(JournalReader(garden.state).events())
    assert [each.zone for each in events if each.kind is EventKind.PROGRAM] == ["jetty"]
    assert [each for each in events if each.kind is EventKind.RELAY_FAULT] == []


def test_a_folder_that_comes_back_untouched_while_nothing_happens_is_nothing_to_tell(garden: Garden) -> None:
    """By day nothing is lit and nothing is written: no new journal is begun that the old one would meet."""
    garden.until("13:00")
    garden.move_away()
    garden.until("14:00")
    assert not garden.state.exists()
    garden.bring_back()
    garden.until("23:30")
    garden.stop()
    assert events_of(garden.state, REPLACED) == []
    assert said(garden.state, "jetty") == garden.truth("jetty")


def test_a_folder_that_is_not_needed_is_let_go(garden: Garden) -> None:
    """Moved away by day, its log is folded into the file, and nothing in it is held open: its disk may go."""
    garden.until("20:30")
    garden.until("13:00")
    garden.move_away()
    garden.until("13:01")
    assert (garden.away / f"{JOURNAL_NAME}-wal").stat().st_size == 0
    opened = [str(each.readlink()) for each in Path("/proc/self/fd").iterdir() if each.is_symlink()]
    assert [each for each in opened if str(garden.away) in each] == []
    garden.bring_back()
    garden.until("23:30")
    garden.stop()
    assert events_of(garden.state, REPLACED) == []
    assert said(garden.state, "jetty") == garden.truth("jetty")


def test_a_journal_that_comes_back_damaged_takes_no_entry(garden: Garden) -> None:
    """It is read before anything is written to it, and set aside; what waits is in the new one."""
    for number in range(100):
        garden.journal.append(SiteRecord(at=reading(), text=f"site {number} of another season{' ' * 300}"))
    garden.until("20:30")
    garden.move_away()
    garden.until("20:45")
    # A page of old records, which nothing reads that is written or asked for at the start.
    content = (garden.away / JOURNAL_NAME).read_bytes()
    page = content.index(b"site 50 of another season") // PAGE_BYTES * PAGE_BYTES
    spoilt = content[:page] + bytes(PAGE_BYTES) + content[page + PAGE_BYTES :]
    (garden.away / JOURNAL_NAME).write_bytes(spoilt)
    garden.bring_back()
    garden.until("23:30")
    garden.stop()
    (aside,) = garden.state.glob("set-aside-*.sqlite")
    assert aside.read_bytes() == spoilt
    for zone_id in garden.pins:
        assert said(garden.state, zone_id) == garden.truth(zone_id)
    assert (garden.journal.waiting, garden.journal.lost) == (0, 0)


def test_a_commit_that_was_in_doubt_when_the_file_went_is_not_doubled(garden: Garden) -> None:
    """It had reached the disk, which failed and went; nothing could be written until it came back."""
    garden.until("19:59")
    garden.journal._connection = LyingConnection(garden.journal._connection, reached=True)
    garden.until("20:00")
    assert garden.journal.waiting > 0
    garden.move_away()
    garden.state.mkdir()
    (garden.state / JOURNAL_NAME).mkdir()
    garden.until("20:10")
    shutil.rmtree(garden.state)
    garden.bring_back()
    garden.until("23:30")
    garden.stop()
    assert events_of(garden.state, REPLACED) == []
    assert said(garden.state, "jetty") == garden.truth("jetty")


def test_no_run_stretches_over_the_time_in_which_the_folder_was_away(garden: Garden) -> None:
    """Away from one evening to the next: each night is as long as it was, none is 24 hours and more."""
    garden.until("20:30")
    garden.until("21:30")
    garden.move_away()
    garden.until("20:30")
    between = garden.bring_back()
    garden.until("12:00")
    garden.stop()
    for zone_id in garden.pins:
        assert_true(said(garden.state, zone_id), garden.truth(zone_id))
        # The one that was begun meanwhile knows all of what was lit when it began, and what came after.
        ended = {"jetty": 1, "orchard": 2}[zone_id]
        assert said(between, zone_id) == garden.truth(zone_id)[:ended]
    # jetty: 20:00 to 21:30 as known before; then 20:00 to 23:00 of the next night.
    assert said_h(garden.state, "jetty") == pytest.approx(1.5 + 3, abs=HEARTBEAT_H)
    assert said_h(garden.state, "orchard") == pytest.approx(0.5 + 1 + 1.5, abs=HEARTBEAT_H)
    runs = [run for run in JournalReader(garden.state).runs() if run.zone == "jetty"]
    assert [run.ended_by for run in runs] == [Cause.STOPPED, Cause.PROGRAM]
    assert sum(run.lit_s for run in runs) / 3600 == pytest.approx(said_h(garden.state, "jetty"))
    ((words, size_s),) = events_of(garden.state, REPLACED)
    assert words == "another journal was found in its place; it is continued"
    assert size_s == pytest.approx(23 * 3600, abs=HEARTBEAT_H * 3600)


# A heartbeat comes at least every 300 s: so much of a run may be unknown where its end is.
HEARTBEAT_H = 300 / 3600


def test_what_stays_lit_all_the_while_is_known_in_full(garden: Garden) -> None:
    """Away for half an hour of one run: the keeper knows that it was lit, and both journals say so."""
    garden.until("20:30")
    garden.move_away()
    garden.until("21:30")
    between = garden.bring_back()
    garden.until("23:30")
    garden.stop()
    assert said(garden.state, "jetty") == garden.truth("jetty")
    assert said(garden.state, "orchard") == garden.truth("orchard")
    assert rows_of(between)["lit"].tolist() == [1, 1]
    assert len(events_of(garden.state, REPLACED)) == 1


def test_an_override_that_ended_meanwhile_is_over_in_the_journal_that_comes_back(garden: Garden) -> None:
    """It is not taken up again; one that was placed meanwhile is in force."""
    garden.until("14:00")
    garden.keeper.override("jetty", on=True, lasts_s=3600)
    garden.round()
    garden.move_away()
    garden.until("16:00")
    garden.keeper.override("orchard", on=True, lasts_s=7200)
    garden.until("16:30")
    garden.bring_back()
    garden.until("16:31")
    assert set(garden.keeper.overrides) == {"orchard"}
    assert [each.zone for each in Journal(garden.state).previous_run().overrides] == ["orchard"]
    assert said_h(garden.state, "jetty") <= 1
    garden.until("19:00")
    assert said(garden.state, "orchard") == garden.truth("orchard")


def test_the_folder_may_be_exchanged_again_and_again(garden: Garden) -> None:
    """Every half hour, over three nights: neither folder ever says that a dark zone was lit."""
    garden.until("19:50")
    for number in range(3 * 48):
        if number % 3:
            garden.away.mkdir(exist_ok=True)
            middle = garden.away.rename(garden.away.with_name("middle"))
            if garden.state.exists():
                garden.move_away()
            middle.rename(garden.state)
        minutes = 19 * 60 + 50 + 30 * (number + 1)
        garden.until(f"{minutes // 60 % 24:02}:{minutes % 60:02}")
    garden.stop()
    for zone_id in garden.pins:
        both = [said(folder, zone_id) for folder in (garden.state, garden.away)]
        for each in both:
            assert_true(each, garden.truth(zone_id))
        known = {lit for each in both for lit in each}
        assert known >= set(garden.truth(zone_id)), "each run was known to the end by one of the two"
    assert garden.journal.lost == 0


def test_what_waits_goes_into_the_journal_that_is_there(garden: Garden) -> None:
    """A switching that could not be written while the folder was away is in the one that came back."""
    garden.until("20:30")
    garden.move_away()
    garden.state.write_text("in the way: nothing can be made here")
    garden.until("23:30")
    assert garden.journal.waiting > 0
    garden.state.unlink()
    garden.away.rename(garden.state)
    garden.until("23:31")
    assert (garden.journal.waiting, garden.journal.lost, garden.journal.fault) == (0, 0, None)
    for zone_id in garden.pins:
        assert said(garden.state, zone_id) == garden.truth(zone_id)
    # It is the very file that was written last: nothing is missing in it, so nothing is told.
    assert events_of(garden.state, REPLACED) == []


def test_the_journal_of_an_earlier_keeper_that_turns_up_late_is_taken_up(garden: Garden) -> None:
    """Its disk was mounted late: runs end at their last sign, overrides return, and the cut is told."""
    garden.until("20:30")
    garden.keeper.override("orchard", on=True, ends_at_utc=garden.clock.utc + timedelta(hours=3))
    garden.round()
    garden.cut(off_s=900)
    garden.move_away()
    garden.state.mkdir()
    garden.begin()
    garden.until("21:15")
    assert garden.keeper.overrides == {}
    between = garden.bring_back()
    garden.until("21:30")
    assert set(garden.keeper.overrides) == {"orchard"}
    garden.until("23:45")
    garden.stop()
    events = list(JournalReader(garden.state).events())
    starts = [each.at for each in events if each.kind is EventKind.STARTED]
    assert len(starts) == 2
    (cut,) = [each for each in events if each.kind is EventKind.POWER_LOST]
    assert cut.size_s == pytest.approx(900, abs=600)
    (replaced,) = [each for each in events if each.kind is REPLACED]
    assert replaced.size_s == pytest.approx(replaced.at.boot_s - starts[1].boot_s)
    runs = [run for run in JournalReader(garden.state).runs() if run.zone == "jetty"]
    assert [(run.ended_by, run.lit_s) for run in runs] == [
        (Cause.STOPPED, pytest.approx(1800, abs=300)),
        (Cause.PROGRAM, pytest.approx(3 * 3600 - 1800 - 900)),
    ]
    assert rows_of(between)["lit"].tolist() == [1, 1]


def test_a_journal_that_went_back_to_an_earlier_state_is_put_right(garden: Garden) -> None:
    """Somebody copied yesterday's file over it: what it took to go on is ended, what is lit is begun."""
    garden.until("20:30")
    kept = garden.state.with_name("kept")
    with contextlib.closing(sqlite3.connect(garden.state / JOURNAL_NAME)) as connection:
        connection.execute("VACUUM INTO ?", (str(kept),))
    garden.until("21:30")
    garden.until("20:30")
    garden.delete_journal()
    shutil.copyfile(kept, garden.state / JOURNAL_NAME)
    garden.until("23:30")
    garden.stop()
    for zone_id in garden.pins:
        assert_true(said(garden.state, zone_id), garden.truth(zone_id))
    assert said_h(garden.state, "jetty") == pytest.approx(0.5 + 3, abs=HEARTBEAT_H)


def test_a_log_that_stayed_behind_is_not_taken_for_another_files(garden: Garden) -> None:
    """Only the file itself was moved, and an older one put there: neither is spoilt by the log between."""
    garden.until("20:30")
    kept = garden.state.with_name("kept")
    with contextlib.closing(sqlite3.connect(garden.state / JOURNAL_NAME)) as connection:
        connection.execute("VACUUM INTO ?", (str(kept),))
    garden.until("21:30")
    away = garden.away
    away.mkdir()
    (garden.state / JOURNAL_NAME).rename(away / JOURNAL_NAME)
    garden.until("21:35")
    (garden.state / JOURNAL_NAME).unlink()
    shutil.copyfile(kept, garden.state / JOURNAL_NAME)
    garden.until("23:30")
    garden.stop()
    for folder in (garden.state, away):
        with contextlib.closing(sqlite3.connect(folder / JOURNAL_NAME)) as connection:
            assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        for zone_id in garden.pins:
            assert_true(said(folder, zone_id), garden.truth(zone_id))
    assert rows_of(away)["lit"].tolist() == [1, 1], "what had been written is in the file that was moved"


def test_a_new_journal_is_restored_from_a_backup_where_one_is_left(garden: Garden) -> None:
    """The file was deleted and the backups were not: what was before is known, with the gap since."""
    garden.until("23:30")
    garden.maintenance.back_up(garden.clock.utc.date())
    garden.until("21:30")
    garden.delete_journal()
    garden.until("23:30")
    garden.stop()
    ((words, size_s),) = events_of(garden.state, REPLACED)
    assert words.startswith("the journal file was empty or gone; a new one was started from the backup")
    assert size_s == pytest.approx(22.5 * 3600, abs=60)
    assert said(garden.state, "jetty") == garden.truth("jetty")
    # The orchard's early light was after the backup, and is lost.
    assert_true(said(garden.state, "orchard"), garden.truth("orchard"))
    assert said_h(garden.state, "orchard") == pytest.approx(2)


def test_a_journal_that_comes_back_while_it_is_restored_is_not_overwritten(
    garden: Garden, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Between the look and the backup's copy somebody puts the file back: it stays, and is continued."""
    garden.until("20:30")
    garden.maintenance.back_up(garden.clock.utc.date())
    garden.until("21:30")
    garden.delete_journal_to(garden.away)
    copyfile = shutil.copyfile

    def copy_slowly(source: Path, target: Path) -> Path:
        copied = copyfile(source, target)
        for each in garden.away.iterdir():
            each.rename(garden.state / each.name)
        return copied

    with monkeypatch.context() as patched:
        patched.setattr(shutil, "copyfile", copy_slowly)
        garden.clock.advance(30)
        garden.keeper.reconcile()
        with pytest.raises(JournalError, match="came back"):
            garden.maintenance.flush()
    garden.until("23:30")
    garden.stop()
    assert events_of(garden.state, REPLACED) == []
    for zone_id in garden.pins:
        assert said(garden.state, zone_id) == garden.truth(zone_id)


def test_a_journal_that_comes_back_while_it_is_looked_for_is_not_cleared_away(
    garden: Garden, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The check finds nothing there, and then it is there again: it stays, and is continued."""
    garden.until("20:30")
    garden.maintenance.back_up(garden.clock.utc.date())
    garden.delete_journal_to(garden.away)

    def find_slowly(path: Path) -> str | None:
        found = find_damage(path)
        for each in garden.away.iterdir():
            each.rename(garden.state / each.name)
        return found

    with monkeypatch.context() as patched:
        patched.setattr("controller.journal.journal.find_damage", find_slowly)
        garden.maintenance.check()
    garden.until("23:30")
    garden.stop()
    assert events_of(garden.state, REPLACED) == []
    assert said(garden.state, "jetty") == garden.truth("jetty")


def test_a_new_journal_that_could_not_be_begun_leaves_nothing_to_tell(
    garden: Garden, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The disk took no entry until the old folder was back: nothing is missing in that one."""
    garden.until("20:30")
    garden.move_away()
    with monkeypatch.context() as patched:

        def fail(*_args: object) -> None:
            raise sqlite3.OperationalError("disk I/O error")

        patched.setattr("controller.journal.writer.Transactions.commit", fail)
        garden.until("21:30")
        assert (garden.state / JOURNAL_NAME).exists()
        garden.bring_back()
        garden.until("21:40")
    garden.until("23:30")
    garden.stop()
    assert events_of(garden.state, REPLACED) == []
    for zone_id in garden.pins:
        assert said(garden.state, zone_id) == garden.truth(zone_id)


def test_a_disk_that_does_not_come_back_at_once_loses_nothing(garden: Garden) -> None:
    """The first tries at the new folder fail: what is in force waits, and is told once."""
    garden.until("20:30")
    garden.remove()
    garden.state.write_text("in the way")
    garden.until("20:40")
    assert "is gone and cannot be made" in garden.journal.fault
    garden.state.unlink()
    garden.until("23:30")
    garden.stop()
    assert len(events_of(garden.state, REPLACED)) == 1
    assert garden.journal.lost == 0
    assert said(garden.state, "jetty") == garden.truth("jetty")

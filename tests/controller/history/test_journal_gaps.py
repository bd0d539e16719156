"""Time of which a journal has no record, because another one was written: nothing of it is called missed."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest

from controller.calendar.intervals import MS_PER_HOUR
from controller.calendar.periods import Each
from controller.history.account import light_of_past
from controller.history.clock_correction import ClockCorrection
from controller.history.nights import bounds_of
from controller.history.outages import gaps_of
from controller.history.query import HoursQuery
from controller.history.report import stream_hours
from controller.history.site_history import SiteHistory
from controller.history.totals import HourSum
from controller.journal.reader import JournalReader
from controller.planning.planner import Planner
from controller.records.entries import Cause, EventKind
from tests.controller.journal.lost_and_found import Garden, said_h, two_zones

FIRST, LAST = date(2027, 1, 5), date(2027, 1, 9)


@pytest.fixture
def garden(tmp_path: Path) -> Iterator[Garden]:
    garden = Garden(tmp_path)
    yield garden
    garden.journal.close()


def rows(folder: Path, now_utc: datetime, *, by: Each = Each.NIGHT) -> list[HourSum]:
    query = HoursQuery(by=by, first=FIRST, last=LAST)
    stream = stream_hours(Planner(two_zones()), JournalReader(folder), query, now_utc=now_utc)
    return [row for batch in stream.batches() for row in batch]


def planned_h(folder: Path, now_utc: datetime, zone_id: str) -> dict[int, float]:
    """What was planned, in hours, by the day of the night; nights of which nothing is known are left out."""
    found = {
        row.period.first.day: (row.planned_ms or 0) / MS_PER_HOUR
        for row in rows(folder, now_utc)
        if row.zone == zone_id
    }
    return {day: hours for day, hours in found.items() if hours}


def assert_account_is_true(folder: Path, now_utc: datetime) -> None:
    """Nothing is missed, what is lit is what the raw rows say, and nights add up to the whole."""
    for zone_id in ("jetty", "orchard"):
        of_zone = [row for row in rows(folder, now_utc) if row.zone == zone_id]
        assert [row.missed_ms for row in of_zone] == [0] * len(of_zone)
        lit_h = sum(row.lit_ms for row in of_zone) / MS_PER_HOUR
        assert lit_h == pytest.approx(said_h(folder, zone_id), abs=1e-6)
        (whole,) = [row for row in rows(folder, now_utc, by=Each.WHOLE) if row.zone == zone_id]
        assert whole.lit_ms == sum(row.lit_ms for row in of_zone)
        assert whole.planned_ms == sum(row.planned_ms or 0 for row in of_zone)
        assert whole.missed_ms == 0


def test_nights_that_another_journal_has_are_not_missed_in_the_one_that_comes_back(garden: Garden) -> None:
    """Away for two nights: both journals are right about what they saw, and say nothing of the rest."""
    garden.until("21:30")
    garden.move_away()
    for _ in range(2):
        garden.until("21:30")
    between, back_utc = garden.bring_back(), garden.clock.utc
    garden.until("12:00")
    garden.until("11:00")
    garden.stop()
    assert_account_is_true(garden.state, garden.clock.utc)
    assert [row.missed_ms for row in rows(between, back_utc)] == [0] * 10
    # jetty 20:00 to 23:00: what was lit when the folder went and when it came is known in part.
    assert planned_h(garden.state, garden.clock.utc, "jetty") == pytest.approx(
        {5: 1.5, 7: 1.5, 8: 3}, abs=0.1
    )
    assert planned_h(between, back_utc, "jetty") == pytest.approx({5: 1.5, 6: 3, 7: 1.5}, abs=0.1)


def test_a_fresh_journal_misses_nothing_from_before_it_began(garden: Garden) -> None:
    """It was deleted in the third night: what was planned in the first two is not known, and not missed."""
    for _ in range(3):
        garden.until("21:30")
    garden.delete_journal()
    garden.until("12:00")
    garden.stop()
    assert_account_is_true(garden.state, garden.clock.utc)
    assert planned_h(garden.state, garden.clock.utc, "jetty") == pytest.approx({7: 1.5}, abs=0.1)


def test_energy_of_a_run_that_began_before_its_journal_counts_in_full(garden: Garden) -> None:
    """The journal begins where the first run in it does: hours and energy are of the same time."""
    garden.until("21:30")
    garden.delete_journal()
    garden.until("12:00")
    garden.stop()
    for row in rows(garden.state, garden.clock.utc):
        if row.lit_ms:
            assert row.energy.lamps_j == 0  # no load is known
            assert row.without_load_ms == row.lit_ms


def test_a_restored_journal_misses_nothing_between_the_backup_and_the_loss(garden: Garden) -> None:
    """The nights that were lost with the file are unknown: no light is called missed."""
    garden.until("21:30")
    garden.maintenance.back_up(FIRST)
    for _ in range(2):
        garden.until("21:40")
    garden.delete_journal()
    garden.until("12:00")
    garden.stop()
    assert_account_is_true(garden.state, garden.clock.utc)
    assert planned_h(garden.state, garden.clock.utc, "jetty") == pytest.approx(
        {5: 1.5, 6: 1 + 1 / 3}, abs=0.1
    )


def test_what_was_missed_before_the_record_ended_stays_explained(garden: Garden) -> None:
    """A relay fails, and the folder goes: the fault lasts as long as the record, and on from its return."""
    garden.board.trouble[17] = "gone"
    garden.until("21:00")
    garden.move_away()
    garden.until("22:00")
    garden.bring_back()
    garden.until("22:30")
    garden.board.trouble.clear()
    garden.until("12:00")
    garden.stop()
    (first,) = [row for row in rows(garden.state, garden.clock.utc) if row.zone == "jetty" and row.lit_ms]
    reasons = {part.reason: part.lasts_ms / MS_PER_HOUR for part in first.missed}
    # From 20:00 to 21:00, when the other zone's light was the last thing recorded, and from 22:00 to 22:30.
    assert reasons == {Cause.RELAY_FAULT: pytest.approx(1.5, abs=0.01)}


def test_a_fault_that_was_over_when_the_journal_came_back_lasts_no_longer_than_its_record(
    garden: Garden,
) -> None:
    """It was recorded, and its end is in the other journal: nothing later is put down to it."""
    garden.until("20:10")
    garden.board.trouble[27] = "gone"
    garden.until("20:20")
    garden.move_away()
    garden.until("20:40")
    garden.board.trouble.clear()
    garden.until("20:50")
    garden.bring_back()
    garden.until("12:00")
    garden.stop()
    events = list(JournalReader(garden.state).events())
    assert EventKind.RELAY_RECOVERED not in {each.kind for each in events}
    fault, _stopped = gaps_of(events, ClockCorrection([each.at for each in events]))
    assert (fault.zone, fault.reason) == ("orchard", Cause.RELAY_FAULT)
    (back,) = [each for each in events if each.kind is EventKind.JOURNAL_REPLACED]
    assert back.size_s is not None
    assert fault.ends_at_utc == back.at.utc - timedelta(seconds=back.size_s)
    assert f"{fault.ends_at_utc:%H:%M}" == "20:18"  # the last heartbeat


def test_the_time_without_a_record_is_known_as_such(garden: Garden) -> None:
    """The picture of the year draws it as no record: from the last sign of life to the return."""
    garden.until("21:30")
    garden.move_away()
    garden.until("21:30")
    garden.bring_back()
    garden.until("12:00")
    garden.stop()
    source, now_utc = JournalReader(garden.state), garden.clock.utc
    history = SiteHistory(Planner(two_zones()), source.site_records())
    light = light_of_past(
        history, source, FIRST, FIRST + timedelta(days=1), bounds=bounds_of(history, source, now_utc)
    )
    ((since_ms, until_ms),) = light.unknown["jetty"]
    assert (until_ms - since_ms) / MS_PER_HOUR == pytest.approx(24, abs=0.1)

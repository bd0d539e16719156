"""Lamps and relays: hours from the journal since they were fitted, and what no journal saw by the plan."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from controller.forecast.forecast import forecast_input, look_ahead
from controller.history.lamp_wear import account_for_wear
from controller.journal.journal import Journal
from controller.journal.reader import JournalReader
from controller.planning.planner import Planner
from controller.records.entries import Replacement, ReplacementUndone
from tests.controller.board import Board
from tests.controller.journal_samples import write
from tests.sites import site, zone

START = datetime(2027, 3, 1, 12, tzinfo=UTC)
DAY = timedelta(days=1)
LAMP = {"kind": "path", "count": 4, "watts": 3, "rated_life_h": 1000}


def garden(*fixtures):
    """One zone, four hours each night whatever the sun does."""
    lamps = [{**LAMP, **each} for each in fixtures]
    return site(zone("jetty", "20:00 to 00:00", fixtures=lamps), relays={"endurance_cycles": 500})


def wear_of(board, first, until=None):
    """Lamps and relays of a board, the year to come beginning with a night; now, or after another night."""
    planner = Planner(board.site)
    year = look_ahead(
        forecast_input(planner), first, lambda zone_id, night: planner.plan(zone_id, night).windows
    )
    return account_for_wear(planner, board.reader, year, until=until)


@pytest.fixture(scope="module")
def ten_nights(tmp_path_factory):
    """Ten nights of four hours each; the lamps of the third fixture were replaced after four."""
    board = Board(
        tmp_path_factory.mktemp("nights"),
        garden({}, {"fitted": date(2027, 2, 19)}, {"fitted": date(2025, 1, 1)}, {"fitted": date(2027, 3, 8)}),
        START,
    )
    board.run_until(START + 4 * DAY)
    on_date = date(2027, 3, 5)
    board.journal.append(Replacement(zone="jetty", part="3", on_date=on_date, at=board.clock.read()))
    board.run_until(START + 10 * DAY)
    board.close()
    return board


def test_hours_count_from_the_fitting(ten_nights):
    """Not known: all there are; before the journal: estimated; replaced or fitted later: since then."""
    wear = wear_of(ten_nights, date(2027, 3, 11))
    found = [(each.since, round(each.lit_h, 2), round(each.estimated_h, 2)) for each in wear.lamps]
    assert found == [
        (None, 40.0, 0.0),
        (date(2027, 2, 19), 80.0, 40.0),
        (date(2027, 3, 5), 24.0, 0.0),
        (date(2027, 3, 8), 12.0, 0.0),
    ]


def test_the_end_of_a_life_is_the_night_on_which_its_hours_are_used(ten_nights):
    """With 40 of 1000 hours burned at 4 hours a night, 240 nights are left."""
    (first, *_) = wear_of(ten_nights, date(2027, 3, 11)).lamps
    assert first.used == pytest.approx(0.04)
    # The 240th night from the 11th of March on is the last; the clock changes leave four hours as they are.
    assert first.replace_about == date(2027, 3, 11) + 239 * DAY
    assert first.used_in_a_year == pytest.approx(365 * 4 / 1000)


def test_a_relay_counts_its_cycles(ten_nights):
    """Ten cycles of five hundred; one a night from now on."""
    (relay,) = wear_of(ten_nights, date(2027, 3, 11)).relays
    assert (relay.cycles, relay.endurance_cycles, relay.used) == (10, 500, 0.02)
    assert relay.wears_out_about == date(2027, 3, 11) + 489 * DAY


def test_lamps_are_shown_as_they_stood_after_a_night(ten_nights):
    """After the fourth night nothing counts that came later: no hours, no cycles, no new lamps.

    Lamps that were replaced later say so instead of an outlook.
    """
    wear = wear_of(ten_nights, date(2027, 3, 11), until=date(2027, 3, 4))
    found = [(each.since, round(each.lit_h, 2), round(each.estimated_h, 2)) for each in wear.lamps]
    # From 1 January 2025 to the end of February 2027 are 365 + 365 + 59 nights.
    assert found == [
        (None, 16.0, 0.0),
        (date(2027, 2, 19), 56.0, 40.0),
        (date(2025, 1, 1), 789 * 4 + 16.0, 789 * 4),
        (None, 16.0, 0.0),
    ]
    assert [each.words for each in wear.lamps[2:]] == ["replaced on 5 March 2027", "replaced on 8 March 2027"]
    (relay,) = wear.relays
    assert relay.cycles == 4
    # 984 hours are left at four a night, 496 cycles at one a night, from 5 March on.
    assert wear.lamps[0].replace_about == date(2027, 3, 5) + 245 * DAY
    assert relay.wears_out_about == date(2027, 3, 5) + 495 * DAY


def test_before_the_journal_lamps_have_estimated_hours_only(ten_nights):
    """After a night before the journal began, lamps have the hours of the plan since they were fitted."""
    wear = wear_of(ten_nights, date(2027, 3, 11), until=date(2027, 2, 23))
    found = [(each.since, round(each.lit_h, 2), round(each.estimated_h, 2)) for each in wear.lamps]
    before = 365 + 365 + 31 + 23
    assert found[:3] == [
        (None, 0, 0),
        (date(2027, 2, 19), 20, 20),
        (date(2025, 1, 1), before * 4, before * 4),
    ]
    assert wear.relays[0].cycles == 0


def test_with_an_empty_journal_all_hours_are_estimated(tmp_path):
    """A site that never ran has lamps all the same: fitted a year ago, by the plan."""
    journal = Journal(tmp_path)
    journal.open()
    journal.close()
    planner = Planner(garden({"fitted": date(2026, 3, 11)}, {}))
    first = date(2027, 3, 11)
    year = look_ahead(
        forecast_input(planner), first, lambda zone_id, night: planner.plan(zone_id, night).windows
    )
    fitted, unknown = account_for_wear(planner, JournalReader(tmp_path), year).lamps
    assert fitted.lit_h == fitted.estimated_h == pytest.approx(365 * 4)
    assert fitted.words == "past the rated life: replace"
    assert (unknown.lit_h, unknown.used) == (0.0, 0.0)


def test_lamps_of_a_zone_that_came_later_burned_before_that_too(tmp_path):
    """Fitted in 2024, told of after ten nights: hours are estimated up to the zone's own beginning."""
    board = Board(tmp_path, garden({}), START)
    board.run_until(START + 10 * DAY)
    old = {**LAMP, "fitted": date(2024, 3, 11)}
    pond = zone("pond", "20:00 to 23:00", pin=27, fixtures=[old, {**LAMP, "fitted": date(2027, 3, 13)}, LAMP])
    board.change(site(zone("jetty", "20:00 to 00:00", fixtures=[old]), pond))
    board.run_until(START + 14 * DAY)
    board.close()
    wear = wear_of(board, date(2027, 3, 15))
    found = [(each.lamps.zone, round(each.estimated_h), round(each.lit_h)) for each in wear.lamps]
    nights = (date(2027, 3, 11) - date(2024, 3, 11)).days
    assert found == [
        ("jetty", (nights - 10) * 4, (nights + 4) * 4),
        ("pond", nights * 3, (nights + 4) * 3),
        ("pond", 0, 2 * 3),
        ("pond", 0, 4 * 3),
    ]


def test_a_relay_counts_its_cycles_from_its_replacement(ten_nights):
    """Replaced after seven nights it has three cycles; taken back, it has all ten again."""
    journal = ten_nights.journal
    on_date, at = date(2027, 3, 8), ten_nights.clock.read()
    write(journal, Replacement(zone="jetty", part="relay", on_date=on_date, at=at))
    (relay,) = wear_of(ten_nights, date(2027, 3, 11)).relays
    assert (relay.since, relay.cycles) == (on_date, 3)
    assert relay.wears_out_about == date(2027, 3, 11) + 496 * DAY
    (relay,) = wear_of(ten_nights, date(2027, 3, 11), until=date(2027, 3, 8)).relays
    assert (relay.since, relay.cycles) == (on_date, 1)
    (relay,) = wear_of(ten_nights, date(2027, 3, 11), until=date(2027, 3, 6)).relays
    assert (relay.since, relay.cycles) == (None, 6)
    write(journal, ReplacementUndone(zone="jetty", part="relay", on_date=on_date, at=at))
    journal.close()
    (relay,) = wear_of(ten_nights, date(2027, 3, 11)).relays
    assert (relay.since, relay.cycles) == (None, 10)

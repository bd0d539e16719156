"""Lamps and relays: hours from the journal since they were fitted, and what no journal saw by the plan."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from controller.forecast.forecast import forecast_input, look_ahead
from controller.history.lamp_wear import account_for_wear
from controller.journal.journal import Journal
from controller.journal.reader import JournalReader
from controller.planning.planner import Planner
from controller.records.entries import Replacement
from tests.controller.board import Board
from tests.sites import site, zone

START = datetime(2027, 3, 1, 12, tzinfo=UTC)
DAY = timedelta(days=1)
LAMP = {"kind": "path", "count": 4, "watts": 3, "rated_life_h": 1000}


def garden(*fixtures):
    """One zone, four hours each night whatever the sun does."""
    lamps = [{**LAMP, **each} for each in fixtures]
    return site(zone("jetty", "20:00 to 00:00", fixtures=lamps), relays={"endurance_cycles": 500})


def wear_of(board, first):
    """Lamps and relays of a board, the year to come beginning with a night."""
    planner = Planner(board.site)
    year = look_ahead(
        forecast_input(planner), first, lambda zone_id, night: planner.plan(zone_id, night).windows
    )
    return account_for_wear(planner, board.reader, year)


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

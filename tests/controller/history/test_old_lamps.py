"""Lamps of a season that is over stay as they were, whatever becomes of the site file."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from controller.forecast.forecast import forecast_input, look_ahead
from controller.history.lamp_wear import account_for_wear
from controller.history.season import report_season
from controller.history.site_facts import format_facts, parse_facts
from controller.history.site_history import SiteHistory
from controller.history.source import RenamedJournal
from controller.planning.planner import Planner
from controller.records.entries import Replacement
from tests.controller.board import Board
from tests.sites import site, zone

START = datetime(2027, 3, 1, 12, tzinfo=UTC)
DAY = timedelta(days=1)
LAST = date(2027, 3, 20)  # the last night of what is over
PROGRAM = "20:00 to 00:00"
PATH = {"kind": "path", "count": 4, "watts": 3, "rated_life_h": 1000, "fitted": date(2026, 12, 1)}
SPOT = {"kind": "spot", "count": 2, "watts": 5, "rated_life_h": 2000}


def garden(*fixtures, program=PROGRAM, zone_id="jetty", formerly=(), **more):
    """One zone, four hours each night whatever the sun does."""
    lamps = list(fixtures or (PATH, SPOT))
    return site(zone(zone_id, program, fixtures=lamps, formerly=list(formerly)), **more)


@pytest.fixture(scope="module")
def board(tmp_path_factory):
    """A month of a garden that stays as it is."""
    board = Board(tmp_path_factory.mktemp("garden"), garden(), START, tick_s=6 * 3600.0)
    board.run_until(START + 30 * DAY)
    board.close()
    return board


def wear_of(board, today, until=LAST):
    """Lamps at the end of a night, or now, by a site file of today."""
    planner = Planner(today)
    year = look_ahead(
        forecast_input(planner), date(2027, 3, 31), lambda each, night: planner.plan(each, night).windows
    )
    return account_for_wear(planner, RenamedJournal(board.reader, today), year, until=until).lamps


def told(lamps):
    """What they are and how far along, without what is to come."""
    return [
        (
            (each.lamps.zone, each.lamps.name, each.lamps.fixture.count, each.lamps.life_h),
            (each.since, round(each.lit_h, 3), round(each.estimated_h, 3), each.used),
        )
        for each in lamps
    ]


# The four hours of 90 nights from December to February, and of 20 in March.
AS_IT_WAS = [
    (("jetty", "path", 4, 1000), (date(2026, 12, 1), 440.0, 360.0, 0.44)),
    (("jetty", "spot", 2, 2000), (None, 80.0, 0.0, 0.04)),
]


@pytest.mark.parametrize(
    "today",
    [
        garden(),
        garden({**PATH, "rated_life_h": 9000, "fitted": date(2027, 3, 25)}, {**SPOT, "count": 7}),
        garden({"kind": "well", "count": 1, "watts": 2}, PATH, SPOT),
        garden({**PATH, "name": "Edge", "lamp": "filament"}),
        garden(program="18:00 to 02:00"),
        garden(time_zone="Asia/Tokyo", latitude=-33.0, longitude=150.0),
    ],
    ids=["nothing", "life and fitting", "one above", "one gone", "program", "place"],
)
def test_an_edit_of_today_leaves_the_lamps_of_before(board, today):
    """At the end of a night that is over, lamps are what they were, and as old."""
    assert told(wear_of(board, today)) == AS_IT_WAS


def test_a_renamed_zone_and_fixture_are_found(board):
    """Under the present names the lamps are those of before, with the replacements of the fixture."""
    path, spot = {**PATH, "id": "edge"}, {**SPOT, "id": "oak", "formerly": ["tree"]}
    well = {"kind": "well", "count": 1, "watts": 2}
    today = garden(path, spot, zone_id="pier", formerly=["jetty"])
    (edge, oak) = wear_of(board, today)
    assert [(each.lamps.zone, each.lamps.part) for each in (edge, oak)] == [("pier", "edge"), ("pier", "oak")]
    assert [part for _, part in told((edge, oak))] == [part for _, part in AS_IT_WAS]
    # With a well above them nobody can say which has which id; what they are stays.
    assert [part for _, part in told(wear_of(board, garden(well, path, spot)))] == [
        part for _, part in AS_IT_WAS
    ]


def test_lamps_that_were_replaced_later_say_so(tmp_path):
    """A fixture gets its id with its first replacement, after the season: its lamps of then were replaced."""
    board = Board(tmp_path, garden(), START, tick_s=6 * 3600.0)
    board.run_until(START + 21 * DAY)
    with_id = garden(PATH, {**SPOT, "id": "oak"})
    board.change(with_id)
    at = board.clock.read()
    board.journal.append(Replacement(zone="jetty", part="oak", on_date=date(2027, 3, 22), at=at))
    board.run_until(START + 30 * DAY)
    board.close()
    # A well was put above both since.
    today = garden({"kind": "well", "count": 1, "watts": 2}, PATH, {**SPOT, "id": "oak"})
    path, spot = wear_of(board, today)
    assert (path.replaced_on, spot.replaced_on, spot.lit_h) == (None, date(2027, 3, 22), pytest.approx(80))
    assert [each.lamps.part for each in wear_of(board, today, until=date(2027, 3, 25))] == ["1", "oak"]


def without_lamps(record):
    """A record as earlier versions wrote it."""
    return replace(record, text=format_facts(replace(parse_facts(record.text), lamps=None)))


def test_before_a_journal_was_told_of_lamps_the_first_ones_count(tmp_path):
    """Earlier versions named no lamps: those of the first record that does are assumed, else today's."""
    board = Board(tmp_path, garden(), START, tick_s=6 * 3600.0)
    board.run_until(START + 25 * DAY)
    board.change(garden({**PATH, "watts": 4}, SPOT))
    board.run_until(START + 30 * DAY)
    board.close()
    old, new = board.reader.site_records()
    history = SiteHistory(Planner(garden({**PATH, "rated_life_h": 2000}, SPOT)), [without_lamps(old), new])
    at_utc = START + 20 * DAY
    assert [each.life_h for each in history.lamps_at(at_utc)] == [1000, 2000]
    assert SiteHistory(history.planner, [without_lamps(old), without_lamps(new)]).lamps_at(at_utc) is None


def test_estimated_hours_go_by_the_program_of_the_first_week(tmp_path):
    """What was tried on the first evening, and what is kept today, says nothing of the time before."""
    board = Board(tmp_path, garden(program="12:00 to 20:00"), START, tick_s=6 * 3600.0)
    board.run_until(START + DAY)
    board.change(garden())
    board.run_until(START + 10 * DAY)
    board.close()
    for today in (garden(), garden(program="18:00 to 02:00")):
        path = wear_of(board, today, until=None)[0]
        assert path.estimated_h == pytest.approx(360)


def test_a_season_before_the_journal_has_no_lamps(board):
    """Nothing is said of lamps of which nobody knew."""
    planner = Planner(garden())
    year = look_ahead(
        forecast_input(planner), date(2027, 3, 31), lambda each, night: planner.plan(each, night).windows
    )
    now = START + 30 * DAY
    before, after = (
        report_season(planner, board.reader, period, now_utc=now, year=year).wear
        for period in ("2026-06", "2027-03-01 to 2027-03-20")
    )
    assert (before.lamps, before.relays) == ((), ())
    assert told(after.lamps) == AS_IT_WAS

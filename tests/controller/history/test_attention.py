"""What wants attention now, whatever nights are asked about."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from controller.calendar.periods import Each
from controller.history.query import HoursQuery
from controller.history.report import stream_hours, year_to_come
from controller.planning.planner import Planner
from tests.controller.board import Board
from tests.sites import site, zone

START = datetime(2027, 5, 1, 11, tzinfo=UTC)
DAY = timedelta(days=1)
PROGRAM = "22:00 to 01:00"


def lamps(name, rated_life_h):
    """Six lamps that were fitted with the journal's beginning."""
    return {
        "kind": "path",
        "name": name,
        "count": 6,
        "watts": 5,
        "rated_life_h": rated_life_h,
        "fitted": START.date(),
    }


GARDEN = site(
    # After 40 nights 120 h: at its end, near it, and far from it.
    zone("jetty", PROGRAM, fixtures=[lamps("hats", 100), lamps("balls", 130), lamps("rods", 10_000)]),
    zone("path", PROGRAM, pin=18),
    transformers=[{"id": "shed", "rated_va": 150}],
    relays={"endurance_cycles": 40},
)
NOT_KNOWN = [
    ("path", "measure its load, for measured_watts in the site file"),
    (None, "look up the losses of the transformer shed, for efficiency in the site file"),
]


@pytest.fixture(scope="module")
def board(tmp_path_factory):
    """Forty nights in which nothing went wrong."""
    board = Board(tmp_path_factory.mktemp("garden"), GARDEN, START, tick_s=6 * 3600.0)
    board.run_until(START + 40 * DAY)
    board.close()
    return board


def tasks(board, **more):
    """What wants attention."""
    planner = Planner(board.site)
    query = HoursQuery(**({"by": Each.MONTH} | more))
    now = board.true_utc
    stream = stream_hours(planner, board.reader, query, now_utc=now, year=year_to_come(planner, now))
    return stream.head.attention


def attention(board, **more):
    """The same as (zone, what)."""
    return [(task.zone, task.words) for task in tasks(board, **more)]


def test_worn_lamps_and_relays_and_what_is_not_known_are_named(board):
    """Lamps past and near their end, worn relays, a zone without a load and a transformer without losses."""
    found = attention(board)
    assert ("jetty", "replace 6 × hats: 120 % of the rated life used") in found
    assert ("jetty", "replace 6 × balls: 92 % of the rated life used") in found
    assert not any("rods" in what for _, what in found)
    assert ("jetty", "replace the relay: 40 of 40 cycles are made") in found
    assert [each for each in found if each in NOT_KNOWN] == NOT_KNOWN
    # As `leerie replaced` names them.
    assert [task.part for task in tasks(board, zones=("jetty",))][:3] == ["1", "relay", None]


def test_it_is_about_now_whatever_is_asked(board):
    """Another period and another cut change nothing; a zone that is asked about has its own."""
    assert attention(board, by=Each.NIGHT, period="2027-05-02") == attention(board)
    assert {zone for zone, _ in attention(board, zones=("path",))} <= {"path", None}
    assert not any("replace 6" in what for _, what in attention(board, zones=("path",)))


def test_where_nothing_is_wrong_nothing_is_named(tmp_path):
    """A garden whose figures are all known, and which was lit as planned, wants nothing."""
    known = site(
        zone("jetty", PROGRAM, rated_watts=20),
        transformers=[{"id": "shed", "rated_va": 150, "efficiency": 0.8}],
    )
    board = Board(tmp_path, known, START, tick_s=6 * 3600.0)
    board.run_until(START + 5 * DAY)
    board.close()
    assert attention(board) == []


def test_light_missed_lately_is_named_and_of_old_is_not(tmp_path):
    """A relay that failed a week ago asks to be looked at; one that failed a month ago asks for nothing."""
    known = site(
        zone("jetty", PROGRAM, rated_watts=20),
        transformers=[{"id": "shed", "rated_va": 150, "efficiency": 0.8}],
    )
    board = Board(tmp_path, known, START, tick_s=6 * 3600.0)
    for night in (5, 33):
        board.run_until(START + night * DAY)
        board.break_relay("jetty")
        board.run_until(START + (night + 1) * DAY)
        board.mend_relay("jetty")
    board.run_until(START + 40 * DAY)
    board.close()
    night = (START + 33 * DAY).date()
    assert night == date(2027, 6, 3)
    assert attention(board) == [
        ("jetty", "check the relay and its wiring: it failed in the night of 3 June 2027"),
    ]

"""A frozen journal of version 0.1.0: its account is what it was, and what it lacks is assumed."""

from __future__ import annotations

import contextlib
import json
import sqlite3
from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path

import pytest

from controller.calendar.periods import Each, split, stretch_of_nights
from controller.history.account import account_for_past
from controller.history.nights import bounds_of
from controller.history.site_history import SiteHistory
from controller.planning.planner import Planner
from tests.controller.board import Board
from tests.controller.three_weeks import garden

HERE = Path(__file__).parent
ENDED = datetime(2027, 6, 18, 11, tzinfo=UTC)
# What stood in the site file when the three weeks were over.
LAST_SITE = garden(jetty_w=18, jetty="dusk to 23:00")
# Version 0.1.0 billed the idle transformer, 6 W, while the board had no power: for 30 and for 10 minutes, and
# as much as a heartbeat before.
UNPOWERED_J = {"2027-05-30": 6 * 1800, "2027-06-03": 6 * 600}


@pytest.fixture
def board(tmp_path):
    """A keeper of today starts with the old journal, and migrates it."""
    with contextlib.closing(sqlite3.connect(tmp_path / "journal.sqlite")) as connection:
        connection.executescript((HERE / "three_weeks_v1.sql").read_text("utf-8"))
    board = Board(tmp_path, LAST_SITE, ENDED)
    yield board
    board.close()


def account(board, site):
    history = SiteHistory(Planner(site), board.reader.site_records())
    tz = history.planner.tz
    periods = split(
        stretch_of_nights(date(2027, 5, 28), date(2027, 6, 16), tz), Each.NIGHT, tz, latitude_deg=51.5
    )
    bounds = bounds_of(history, board.reader, ENDED)
    return list(account_for_past(history, board.reader, periods, bounds=bounds))


def test_its_figures_are_those_that_version_1_gave(board):
    """Hours to the millisecond, energy to the last digits, but for the time without power; all is assumed."""
    board.journal.flush()
    *old, _, _ = json.loads((HERE / "three_weeks_v1.json").read_text("utf-8"))
    found = account(board, LAST_SITE)
    assert [(row.period.name, row.zone) for row in found] == [(name, zone) for name, zone, *_ in old]
    by_night: dict[str, Decimal] = {}
    for row, (name, _, lit_ms, planned_ms, missed_ms, meter_j, _) in zip(found, old, strict=True):
        assert (row.lit_ms, row.planned_ms, row.missed_ms, row.assumed) == (
            lit_ms,
            planned_ms,
            missed_ms,
            True,
        )
        by_night[name] = by_night.get(name, Decimal(0)) + Decimal(meter_j) - row.meter_j
    assert {name: float(lost_j) for name, lost_j in by_night.items()} == {
        name: pytest.approx(UNPOWERED_J.get(name, 0), abs=6 * 270) for name in by_night
    }


def test_what_it_lacked_is_fixed_by_the_first_start(board):
    """Once a keeper of today has run, an edit of the site file changes no figure of the old nights."""
    board.journal.flush()
    before = account(board, LAST_SITE)
    better = LAST_SITE.transformers[0].model_copy(update={"no_load_w": 1.0, "copper_w": 2.0})
    assert account(board, LAST_SITE.model_copy(update={"transformers": (better,)})) == before
